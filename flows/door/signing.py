"""Who may reach the board and do what: signed sessions, roles, forms that cannot be forged, limits on what is sent.

`guard(app, people, loopback_only=...)` stands before every request. Where there is no people file the service listens on
this machine alone and asks for no passphrase; any other address needs people. In a page or an endpoint: `who(request)`,
`requires(role)`, `form(request)`, `form_token(request)`, `nonce(request)`, `signature(request)`.
"""

from __future__ import annotations

import secrets
import time
from collections.abc import Awaitable, Callable
from typing import TYPE_CHECKING
from urllib.parse import quote, urlsplit

from starlette.exceptions import HTTPException
from starlette.requests import HTTPConnection

from flows.door import sessions
from flows.door.answering import SIGN_IN, SIGN_OUT, WHO, Door
from flows.door.arriving import (
    LARGEST_BODY,
    OWN_NAMES,
    SAFE,
    UNSAFE,
    Receive,
    Refused,
    Scope,
    fields_of,
    given_again,
    headers_of,
    host_name,
    same_site,
    sent_from,
    sound_path,
    whole_body,
)
from flows.door.replying import COOKIE, Reply, Send, Visit
from flows.door.sessions import Session
from models.fixed import Role
from models.people import ALONE, INITIALS, People, PeopleFileError, Person
from models.texts import texts

if TYPE_CHECKING:
    from starlette.applications import Starlette

PeopleNow = Callable[[], People]
TOKEN_FIELD, TOKEN_HEADER = "form_token", "x-form-token"
OPEN = ("/health", "/static/")


def guard(
    app: Starlette,
    people: People | PeopleNow | None,
    *,
    loopback_only: bool,
    largest_body: int = LARGEST_BODY,
    open_paths: tuple[str, ...] = OPEN,
    key: bytes | None = None,
) -> Starlette:
    """Put the guard before `app` (Starlette or FastAPI), and give it back.

    people: the people, or what gives them anew (`models.people.watched`), or None where there is no people file.
    open_paths: what may be seen by anybody; one that ends with / is a folder. key: of sessions where there are no people.
    Raises PeopleFileError where the service would listen to others and has no people.
    """
    if people is None and not loopback_only:
        raise PeopleFileError(
            "people file: only this machine (127.0.0.1) is served without one; "
            "`loaftrace person add` begins one, --people names it"
        )
    app.add_middleware(
        Guard,
        people=people,
        loopback_only=loopback_only,
        largest_body=largest_body,
        open_paths=open_paths,
        key=key or secrets.token_bytes(32),
    )
    return app


def visit(request: HTTPConnection) -> Visit:
    """What the guard knows of a request. Raises RuntimeError where no guard stands before the app."""
    found = request.scope.get("loaftrace.visit")
    if not isinstance(found, Visit):
        raise RuntimeError("no guard stands before this app; call flows.door.signing.guard first")
    return found


def who(request: HTTPConnection) -> Person:
    """Who makes this request. A device at which nobody has tapped has no initials. Raises 401 where nobody is signed in."""
    person = visit(request).person
    if person is None:
        raise HTTPException(401, texts("door")["sign_in_first"])
    return person


def requires(role: Role) -> Callable[[HTTPConnection], Person]:
    """A check for an endpoint, called with the request or used as a dependency: the person, who may do what needs `role`.

    Raises 401 where nobody is signed in, 403 where nobody has tapped initials or the role may not.
    """

    def check(request: HTTPConnection) -> Person:
        person = who(request)
        if not person.initials and not person.alone:
            raise HTTPException(403, texts("door")["tap_first"])
        if not person.may(role):
            said = texts("door")["role_at" if person.device else "role"]
            why = said.format(role=role, who=person.initials, is_role=person.role, device=person.device)
            raise HTTPException(403, why)
        return person

    return check


def signature(request: HTTPConnection, typed: str = "") -> str:
    """Initials for what is written: those signed in or tapped; where there is no people file, those typed.

    Raises 401 or 403 as `requires` does, 422 where initials are missing or are none.
    """
    person = requires("floor")(request)
    initials = person.initials or (typed.strip() if person.alone else "")
    if not INITIALS.fullmatch(initials):
        raise HTTPException(422, texts("door")["whose"])
    return initials


def form(request: HTTPConnection) -> dict[str, str]:
    """The fields of a posted form, the last of each name; the guard has read it and checked its token."""
    return visit(request).form


def form_token(request: HTTPConnection) -> str:
    """What every form on a page carries in a hidden field `form_token`, or a script in the header X-Form-Token."""
    seen = visit(request)
    return sessions.form_token(seen.session, seen.key)


def nonce(request: HTTPConnection) -> str:
    """What an inline script or style of this one page carries as its nonce."""
    return visit(request).nonce


class Guard:
    """The middleware itself: an ASGI app before the app, so that streams pass through it unharmed."""

    def __init__(
        self,
        app: Callable[[Scope, Receive, Send], Awaitable[None]],
        people: People | PeopleNow | None,
        loopback_only: bool,
        largest_body: int,
        open_paths: tuple[str, ...],
        key: bytes,
    ) -> None:
        self.app = app
        self.loopback_only, self.largest_body = loopback_only, largest_body
        self.open_paths, self.key = open_paths, key
        self.door = Door()
        self._people = people

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] not in {"http", "websocket"}:
            await self.app(scope, receive, send)
            return
        seen = self._visit(scope)
        scope["loaftrace.visit"] = seen
        if scope["type"] == "websocket":
            await self._socket(scope, receive, send, seen)
            return
        reply = Reply(send, scope, seen, self._is_open(scope["path"]))
        try:
            receive = await self._let_in(scope, receive, seen)
            if scope["path"] in {SIGN_IN, SIGN_OUT, WHO}:
                await self.door.answer(scope, seen, reply)
            elif seen.person is None and not self._is_open(scope["path"]):
                await self._ask(scope, reply)
            else:
                await self.app(scope, receive, reply)
        except Refused as refused:
            await self._refuse(scope, seen, reply, refused)
        except Exception:
            if not reply.started:
                await reply.text(500, texts("door")["broken"])
            raise

    def _visit(self, scope: Scope) -> Visit:
        people = self._people() if callable(self._people) else self._people
        key = people.key() if people else self.key
        cookie = HTTPConnection(scope).cookies.get(COOKIE, "")
        session = sessions.opened(cookie, key)
        seen = Visit(session or Session(), key, people, None, renewed=session is None)
        seen.person = _person(seen)
        return seen

    def _is_open(self, path: str) -> bool:
        return any(path.startswith(one) if one.endswith("/") else path == one for one in self.open_paths)

    async def _let_in(self, scope: Scope, receive: Receive, seen: Visit) -> Receive:
        """Refuse what no honest browser sends; else read and check what is posted, and give it on."""
        sound_path(scope)
        headers = headers_of(scope)
        if self.loopback_only and host_name(headers.get("host", "")) not in OWN_NAMES:
            raise Refused(421, texts("door")["this_machine"])
        if scope["method"] in SAFE:
            return receive
        if scope["method"] not in UNSAFE:
            raise Refused(405, texts("door")["no_method"])
        same_site(headers)
        body = await whole_body(headers, receive, self.largest_body)
        seen.form = fields_of(headers, body)
        given = headers.get(TOKEN_HEADER) or seen.form.pop(TOKEN_FIELD, "")
        if not sessions.right_token(seen.session, seen.key, given):
            raise Refused(403, texts("door")["old_form"])
        _tap_in_form(seen)
        return given_again(body, receive)

    async def _refuse(self, scope: Scope, seen: Visit, reply: Reply, refused: Refused) -> None:
        """One line for a script; for a person who sent a form, a page that leads back to what was typed."""
        headers = headers_of(scope)
        if scope["method"] == "POST" and "text/html" in headers.get("accept", ""):
            await self.door.unrecorded(seen, reply, refused, sent_from(headers))
        else:
            await reply.text(refused.status, str(refused), refused.headers)

    async def _socket(self, scope: Scope, receive: Receive, send: Send, seen: Visit) -> None:
        headers = headers_of(scope)
        own = not self.loopback_only or host_name(headers.get("host", "")) in OWN_NAMES
        origin = urlsplit(headers.get("origin", "")).netloc
        if seen.person is None or not own or origin != headers.get("host", ""):
            await receive()
            await send({"type": "websocket.close", "code": 1008})
            return
        await self.app(scope, receive, send)

    async def _ask(self, scope: Scope, reply: Reply) -> None:
        """Nobody is signed in: a page leads to the sign-in, anything else says so in one line."""
        if scope["method"] == "GET" and "text/html" in headers_of(scope).get("accept", ""):
            query = scope.get("query_string", b"").decode("latin-1")
            here = scope["path"] + (f"?{query}" if query else "")
            await reply.moved(f"{SIGN_IN}?next={quote(here, safe='')}")
            return
        raise Refused(401, texts("door")["sign_in_first"])


def _person(seen: Visit) -> Person | None:
    """Who makes this request; None: nobody."""
    if seen.people is not None:
        return sessions.person_of(seen.session, seen.people, time.time())
    typed = seen.session.tapped if INITIALS.fullmatch(seen.session.tapped) else ""
    return ALONE.model_copy(update={"initials": typed})


def _tap_in_form(seen: Visit) -> None:
    """Initials chosen in the form itself are as good as tapped, where nobody has tapped any."""
    given = seen.form.get("by", "").strip()
    if seen.person is None or seen.person.initials:
        return
    if given in seen.people.people if seen.people else INITIALS.fullmatch(given):
        seen.session, seen.renewed = sessions.tapped(seen.session, given, time.time()), True
        seen.person = _person(seen)
