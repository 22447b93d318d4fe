"""The thin way out: one message to one address, through the notifier library; and the same as a Prefect event.

Addresses hold secrets: none is logged, and nothing that the library or the network says of one is passed on.
"""

from __future__ import annotations

import logging
import os
import re
import uuid
from typing import TYPE_CHECKING, Any
from urllib.parse import quote

if TYPE_CHECKING:
    from models.people import People, Person

LONGEST_S = 30.0
EMAIL = "e-mail"
# they name addresses, with their secrets, when somebody turns debugging on
TELLTALES = ("apprise", "urllib3", "urllib3.connectionpool", "requests", "requests_oauthlib", "oauthlib")
log = logging.getLogger("loaftrace.messages")


def ways(person: Person, people: People) -> dict[str, str]:
    """How a person is reached: a label that tells no secret, and the notifier's address, which is one."""
    found = {}
    mail = people.messages.mail
    if person.email is not None and mail is not None:
        server = mail.get_secret_value()
        found[EMAIL] = f"{server}{'&' if '?' in server else '?'}to={quote(person.email)}"
    for number, way in enumerate(person.ways, 1):
        address = way.get_secret_value()
        scheme = re.match(r"[a-z][a-z0-9]{1,20}(?=://)", address)
        found[f"{scheme.group() if scheme else 'unknown'} {number}"] = address
    return found


def wrong_ways(people: People) -> list[str]:
    """One line for each address that the notifier does not know how to reach; none tells the address."""
    return [
        f"people.{person.initials}: the notifier cannot use the address {label!r}; see its documentation for how it is written"
        for person in people.people.values()
        for label, address in ways(person, people).items()
        if not usable(address)
    ]


def usable(address: str) -> bool:
    """Whether the notifier knows how to reach such an address."""
    return _notifier(address) is not None


def send(address: str, title: str, body: str) -> bool:
    """Send one message; whether it was taken. Takes no longer than about `LONGEST_S`."""
    from apprise import NotifyFormat

    notifier = _notifier(address)
    if notifier is None:
        return False
    return bool(notifier.notify(title=title, body=body, body_format=NotifyFormat.TEXT, timeout=LONGEST_S))


def _notifier(address: str) -> Any:
    """The library set up for one address: it keeps nothing, follows no redirection, and adds nothing of its own."""
    import apprise

    for name in TELLTALES:
        logging.getLogger(name).setLevel(logging.CRITICAL + 1)
    asset = apprise.AppriseAsset(
        storage_mode=apprise.PersistentStoreMode.MEMORY,
        allow_templates=False,
        app_id="loaftrace",
        app_desc="loaftrace",
        app_url="",
        image_url_mask="",
        image_url_logo="",
        http_redirects=False,
        pgp_autogen=False,
        pem_autogen=False,
    )
    notifier = apprise.Apprise(asset=asset)
    return notifier if notifier.add(address) else None


def event(name: str, alert: str, payload: dict[str, Any]) -> None:
    """Emit a Prefect event where a server is configured, else nothing."""
    if os.environ.get("PREFECT_API_URL"):
        emit(name, alert, payload)


def emit(name: str, alert: str, payload: dict[str, Any]) -> None:
    """Emit a Prefect event to the server of the settings in force; the same event keeps its id, whoever repeats it."""
    try:
        from prefect.events import emit_event

        emit_event(
            event=f"loaftrace.alert.{name}",
            resource={"prefect.resource.id": f"loaftrace.alert.{alert}", "prefect.resource.name": alert},
            payload=payload,
            id=uuid.uuid5(uuid.NAMESPACE_URL, f"loaftrace:{name}:{alert}:{payload.get('message', '')}"),
        )
    except Exception as error:  # an event is beside the message, and never in its way
        log.warning("alert %s: no Prefect event (%s)", alert, type(error).__name__)
