"""The guard's own pages: a device or a person signs in and out, and initials are tapped."""

from __future__ import annotations

import asyncio
import logging
import time
from typing import TYPE_CHECKING
from urllib.parse import parse_qsl, quote

from starlette.concurrency import run_in_threadpool

from flows.door import sessions
from flows.door.arriving import Refused, Scope, on_this_board
from flows.door.attempts import Attempts
from models import passphrases
from models.people import INITIALS, People
from models.texts import texts

if TYPE_CHECKING:
    from flows.door.replying import Reply, Visit
    from flows.door.sessions import Session

SIGN_IN, SIGN_OUT, WHO = "/sign-in", "/sign-out", "/who"
log = logging.getLogger("loaftrace.signing")


class Door:
    """Answers the three addresses; `attempts` limits how often a passphrase is tried."""

    def __init__(self) -> None:
        self.attempts = Attempts()
        self._deriving = asyncio.Semaphore(2)  # each takes 32 MiB

    async def answer(self, scope: Scope, seen: Visit, reply: Reply) -> None:
        """Answer one of the three addresses."""
        if scope["method"] == "POST":
            act = {SIGN_IN: self._sign_in, SIGN_OUT: self._sign_out, WHO: self._tap}[scope["path"]]
            await act(scope, seen, reply)
            return
        query = dict(parse_qsl(scope.get("query_string", b"").decode("latin-1")))
        after = on_this_board(query.get("next", "/"))
        if scope["path"] == SIGN_IN and seen.people is not None:
            await _page(reply, seen, "sign in", after)
        elif scope["path"] == WHO:
            await self._who_page(seen, reply, after)
        else:
            await reply.moved("/")

    async def unrecorded(self, seen: Visit, reply: Reply, refused: Refused, back: str) -> None:
        """A form was sent and nothing was recorded: why, and the way back to what was typed, by the sign-in where need be."""
        out = seen.person is None and refused.status in (401, 403)
        said = texts("signin")["out"] if out else str(refused)
        what = "signed out" if out else "not recorded"
        await _page(reply, seen, what, back, said, refused.status, refused.headers)

    async def _who_page(self, seen: Visit, reply: Reply, after: str, said: str = "", status: int = 200) -> None:
        if seen.person is None:
            await reply.moved(f"{SIGN_IN}?next={quote(after, safe='')}")
        elif seen.people is None:
            await _page(reply, seen, "type", after, said, status)
        elif seen.person.device is None:
            await _page(reply, seen, "signed in", after, said, status)
        else:
            await _page(reply, seen, "tap", after, said, status)

    async def _sign_in(self, scope: Scope, seen: Visit, reply: Reply) -> None:
        if seen.people is None:
            raise Refused(404, texts("door")["no_people"])
        name, given = seen.form.get("name", "").strip(), seen.form.get("passphrase", "")
        after, address = on_this_board(seen.form.get("next", "/")), (scope.get("client") or ("unknown", 0))[0]
        wait = self.attempts.wait(name[:40], address)
        if wait > 0:
            log.warning("sign-in from %s refused: too many wrong passphrases", address)
            said = texts("signin")["too_many"].format(minutes=max(1, round(wait / 60 + 0.5)))
            await _page(reply, seen, "sign in", after, said, 429, {"retry-after": str(int(wait) + 1)})
            return
        kept = _kept(seen.people, name)
        async with self._deriving:
            right = await run_in_threadpool(passphrases.right, given, kept)
        if not right:
            log.warning("sign-in from %s: wrong name or passphrase", address)
            await _page(reply, seen, "sign in", after, texts("signin")["wrong"], 401)
            return
        self.attempts.succeeded(name[:40], address)
        log.info("%s signed in from %s", name, address)
        await self._renew(seen, sessions.signed_in(seen.session, seen.people, name, time.time()), reply, after)

    async def _sign_out(self, scope: Scope, seen: Visit, reply: Reply) -> None:
        await self._renew(seen, sessions.signed_out(seen.session), reply, "/")

    async def _tap(self, scope: Scope, seen: Visit, reply: Reply) -> None:
        if seen.person is None:
            raise Refused(401, texts("door")["sign_in_first"])
        initials, after = seen.form.get("initials", "").strip(), on_this_board(seen.form.get("next", "/"))
        if seen.people is not None and seen.person.device is None:
            raise Refused(403, texts("door")["signed_in"])
        if seen.people is not None and initials and initials not in seen.people.people:
            await self._who_page(seen, reply, after, texts("signin")["unknown"], 422)
        elif seen.people is None and not INITIALS.fullmatch(initials):
            await self._who_page(seen, reply, after, texts("signin")["initials"], 422)
        else:
            await self._renew(seen, sessions.tapped(seen.session, initials, time.time()), reply, after)

    async def _renew(self, seen: Visit, session: Session, reply: Reply, after: str) -> None:
        seen.session, seen.renewed = session, True
        await reply.moved(after, cookie=True)


async def _page(
    reply: Reply,
    seen: Visit,
    what: str,
    after: str,
    said: str = "",
    status: int = 200,
    headers: dict[str, str] | None = None,
) -> None:
    from reports.signin import Asked, page

    initials = tuple(seen.people.people) if seen.people and what == "tap" else ()
    token = sessions.form_token(seen.session, seen.key)
    who = seen.person.initials if seen.person and what == "signed in" else ""
    body = page(Asked(what, token, seen.nonce, after, said, initials, who)).encode()
    await reply.whole(status, "text/html; charset=utf-8", body, headers or {}, cookie=seen.renewed)


def _kept(people: People, name: str) -> str | None:
    found = people.devices[name].passphrase if name in people.devices else None
    if name in people.people:
        found = people.people[name].passphrase
    return found.get_secret_value() if found is not None else None
