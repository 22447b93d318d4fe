"""What goes back to a browser: the headers that every response carries, and responses that are known whole."""

from __future__ import annotations

import secrets
from collections.abc import Awaitable, Callable, MutableMapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

from flows.door import sessions

if TYPE_CHECKING:
    from flows.door.arriving import Scope
    from flows.door.sessions import Session
    from models.people import People, Person

Send = Callable[[MutableMapping[str, Any]], Awaitable[None]]
Headers = list[tuple[bytes, bytes]]

COOKIE = "loaftrace"
POLICY = (
    "default-src 'none'; script-src 'self' 'nonce-{nonce}'; style-src 'self' 'nonce-{nonce}'; img-src 'self' data:; "
    "font-src 'self'; connect-src 'self'; frame-src 'self'; manifest-src 'self'; form-action 'self'; base-uri 'none'; frame-ancestors 'none'"
)
ALWAYS = {
    "x-content-type-options": "nosniff",
    "x-frame-options": "DENY",
    "referrer-policy": "same-origin",
    "cross-origin-opener-policy": "same-origin",
    "cross-origin-resource-policy": "same-origin",
    "permissions-policy": "camera=(), microphone=(), geolocation=()",
}


@dataclass
class Visit:
    """One request: its session, who makes it (None: nobody), and its form once it is known to be no forged one."""

    session: Session
    key: bytes
    people: People | None
    person: Person | None
    nonce: str = field(default_factory=lambda: secrets.token_urlsafe(16))
    form: dict[str, str] = field(default_factory=dict)
    renewed: bool = False


class Reply:
    """Sends a response with the headers that every response of the board carries."""

    def __init__(self, send: Send, scope: Scope, seen: Visit, is_open: bool) -> None:
        self._send, self._scope, self._seen, self._open = send, scope, seen, is_open
        self.started = False

    async def __call__(self, message: MutableMapping[str, Any]) -> None:
        if message["type"] == "http.response.start":
            self.started = True
            headers = list(message.get("headers", []))
            page = any(name.lower() == b"content-type" and value.startswith(b"text/html") for name, value in headers)
            page = page or message["status"] == 303  # what leads to one
            message = {**message, "headers": self._dressed(headers, cookie=page and self._seen.renewed)}
        await self._send(message)

    def _dressed(self, headers: Headers, cookie: bool) -> Headers:
        own = dict(ALWAYS)
        named = {name.decode("latin-1").lower() for name, _ in headers}
        if "content-security-policy" not in named:
            own["content-security-policy"] = POLICY.format(nonce=self._seen.nonce)
        if "x-frame-options" in named:  # a printed page, which the board shows inside itself
            del own["x-frame-options"]
        if not (self._open and "cache-control" in named):
            headers = [(name, value) for name, value in headers if name.lower() != b"cache-control"]
            own["cache-control"] = "no-store"
        headers = [(name, value) for name, value in headers if name.decode("latin-1").lower() not in own]
        headers += [(name.encode(), value.encode("latin-1")) for name, value in own.items()]
        return [*headers, (b"set-cookie", self._cookie().encode())] if cookie else headers

    def _cookie(self) -> str:
        value = sessions.sealed(self._seen.session, self._seen.key)
        days = self._seen.people.sign_in.device_days if self._seen.people else 1.0
        secure = "; Secure" if self._scope.get("scheme") == "https" else ""
        return f"{COOKIE}={value}; Path=/; Max-Age={int(days * 86400)}; HttpOnly; SameSite=Strict{secure}"

    async def whole(self, status: int, kind: str, body: bytes, headers: dict[str, str], cookie: bool = False) -> None:
        """A response that is known whole."""
        fields = [(b"content-type", kind.encode()), (b"content-length", str(len(body)).encode())]
        fields += [(name.encode(), value.encode("latin-1")) for name, value in headers.items()]
        self.started = True
        await self._send({"type": "http.response.start", "status": status, "headers": self._dressed(fields, cookie)})
        sent = b"" if self._scope["method"] == "HEAD" else body
        await self._send({"type": "http.response.body", "body": sent})

    async def text(self, status: int, line: str, headers: dict[str, str] | None = None) -> None:
        """One line as plain text."""
        await self.whole(status, "text/plain; charset=utf-8", f"{line}\n".encode(), headers or {})

    async def moved(self, where: str, cookie: bool = False) -> None:
        """Go on there."""
        await self.whole(303, "text/plain; charset=utf-8", b"", {"location": where}, cookie)
