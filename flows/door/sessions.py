"""Signed sessions: who signed in on which device, in a cookie that nobody but this service can write."""

from __future__ import annotations

import base64
import hashlib
import hmac
import json
import secrets
from dataclasses import asdict, dataclass, field, replace
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from models.people import People, Person

# someone who signs in by passphrase at a shared device is forgotten there after this long, s
AT_A_DEVICE = 15 * 60.0
LONGEST = 2000


@dataclass(frozen=True)
class Session:
    """One browser. device, person: signed in by passphrase, with a mark of it and when (s since 1970); tapped: initials."""

    nonce: str = field(default_factory=lambda: secrets.token_urlsafe(18))
    device: str = ""
    device_mark: str = ""
    device_at: float = 0.0
    person: str = ""
    person_mark: str = ""
    person_at: float = 0.0
    tapped: str = ""
    tapped_at: float = 0.0


def sealed(session: Session, key: bytes) -> str:
    """The cookie's value."""
    body = _text(json.dumps(asdict(session), separators=(",", ":")).encode())
    return f"{body}.{_mac(key, 'session', body)}"


def opened(value: str, key: bytes) -> Session | None:
    """The session of a cookie's value; None unless this service sealed it with this key."""
    body, _, mac = value.partition(".")
    if len(value) > LONGEST or not hmac.compare_digest(mac.encode(), _mac(key, "session", body).encode()):
        return None
    try:
        return Session(**json.loads(base64.urlsafe_b64decode(body + "=" * (-len(body) % 4))))
    except (ValueError, TypeError):
        return None


def form_token(session: Session, key: bytes) -> str:
    """What the forms of one session carry, and no page of anybody else can know."""
    return _mac(key, "form", session.nonce)


def right_token(session: Session, key: bytes, given: str) -> bool:
    """Whether a form carries its session's token."""
    return hmac.compare_digest(form_token(session, key).encode(), given.encode("utf-8", "replace"))


def signed_in(session: Session, people: People, name: str, now: float) -> Session:
    """The session after `name`, a person or a device, gave the right passphrase: a new one, so that none is foisted on them."""
    mark = _mark(people, name)
    fresh = Session().nonce
    if name in people.devices:
        return Session(nonce=fresh, device=name, device_mark=mark, device_at=now)
    return replace(session, nonce=fresh, person=name, person_mark=mark, person_at=now, tapped="")


def signed_out(session: Session) -> Session:
    """The person leaves; a device stays signed in, and leaves itself when nobody is signed in at it."""
    if session.device and (session.person or session.tapped):
        return replace(session, person="", person_mark="", tapped="")
    return Session()


def tapped(session: Session, initials: str, now: float) -> Session:
    """Initials were tapped at a device."""
    return replace(session, person="", person_mark="", tapped=initials, tapped_at=now)


def person_of(session: Session, people: People, now: float) -> Person | None:
    """Who acts: a person who signed in, initials tapped at a device, the device alone (initials ""); None: nobody.

    Initials tapped at a device may do no more than the device. Whoever left the file, or whose passphrase changed, is out.
    """
    device = _device(session, people, now)
    lasts = AT_A_DEVICE if device else people.sign_in.hours * 3600
    person = people.people.get(session.person)
    if person and session.person_mark == _mark(people, session.person) and 0 <= now - session.person_at < lasts:
        return person.model_copy(update={"device": device})
    if device is None:
        return None
    most = people.devices[device].role
    someone = people.people.get(session.tapped) if 0 <= now - session.tapped_at < people.sign_in.hours * 3600 else None
    if someone is None:
        return _at(device)
    role = most if someone.may(most) else "floor"
    return someone.model_copy(update={"role": role, "device": device})


def _at(device: str) -> Person:
    from models.people import Person

    return Person(device=device)


def _device(session: Session, people: People, now: float) -> str | None:
    if session.device not in people.devices or session.device_mark != _mark(people, session.device):
        return None
    return session.device if 0 <= now - session.device_at < people.sign_in.device_days * 86400 else None


def _mark(people: People, name: str) -> str:
    """Changes with the passphrase, and does not tell it."""
    kept = people.devices[name].passphrase if name in people.devices else None
    if name in people.people:
        kept = people.people[name].passphrase
    return _mac(people.key(), "mark", kept.get_secret_value())[:16] if kept is not None else "none"


def _mac(key: bytes, use: str, text: str) -> str:
    return _text(hmac.new(key, f"{use}|{text}".encode("utf-8", "replace"), hashlib.sha256).digest())


def _text(raw: bytes) -> str:
    return base64.urlsafe_b64encode(raw).rstrip(b"=").decode("ascii")
