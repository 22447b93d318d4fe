"""What arrives from a browser, before it is believed: paths, hosts, origins, bodies and fields, within their bounds."""

from __future__ import annotations

import asyncio
from collections.abc import Awaitable, Callable, MutableMapping
from typing import Any
from urllib.parse import parse_qs, quote, urlsplit

from models.texts import texts

Scope = MutableMapping[str, Any]
Receive = Callable[[], Awaitable[MutableMapping[str, Any]]]

LARGEST_BODY = 64 * 1024
BODY_WITHIN_S = 20.0
MOST_FIELDS = 200
SAFE = frozenset({"GET", "HEAD", "OPTIONS"})
UNSAFE = frozenset({"POST", "PUT", "PATCH", "DELETE"})
OWN_NAMES = frozenset({"localhost", "127.0.0.1", "::1"})


class Refused(Exception):
    """The request goes no further. `str()` is one line for the person."""

    def __init__(self, status: int, why: str, headers: dict[str, str] | None = None) -> None:
        super().__init__(why)
        self.status, self.headers = status, headers or {}


def headers_of(scope: Scope) -> dict[str, str]:
    """Headers by name in small letters; the last where one comes twice."""
    return {name.decode("latin-1").lower(): value.decode("latin-1") for name, value in scope["headers"]}


def host_name(host: str) -> str:
    """The name in a Host header, without its port; empty where it is none."""
    try:
        return urlsplit(f"//{host}").hostname or ""
    except ValueError:
        return ""


def sound_path(scope: Scope) -> None:
    """No step upwards, no second spelling of a slash, no control character, however it is written."""
    path, raw = scope["path"], bytes(scope.get("raw_path") or b"").partition(b"?")[0].lower()
    parts = path.split("/")
    strange = "\\" in path or any(ord(letter) < 32 or ord(letter) == 127 for letter in path)
    if strange or "//" in path or ".." in parts or "." in parts or any(x in raw for x in (b"%2f", b"%5c", b"%25")):
        raise Refused(400, texts("door")["no_page"])


def same_site(headers: dict[str, str]) -> None:
    """A form comes from a page of this board; browsers say where it comes from."""
    origin, site = headers.get("origin"), headers.get("sec-fetch-site", "same-origin")
    foreign = origin is not None and urlsplit(origin).netloc != headers.get("host", "")
    if foreign or site not in {"same-origin", "none"}:
        raise Refused(403, texts("door")["foreign"])


async def whole_body(headers: dict[str, str], receive: Receive, largest: int) -> bytes:
    """All of what is posted, within its bounds of size and time."""
    too_large = Refused(413, texts("door")["too_large"].format(kib=largest // 1024), {"connection": "close"})
    said = headers.get("content-length", "0")
    if not said.isascii() or not said.isdigit() or len(said) > 12 or int(said) > largest:
        raise too_large
    read = bytearray()

    async def all_of_it() -> None:
        more = True
        while more:
            message = await receive()
            if message["type"] == "http.disconnect":
                raise Refused(400, texts("door")["not_whole"])
            read.extend(message.get("body", b""))
            more = message.get("more_body", False)
            if len(read) > largest:
                raise too_large

    try:
        await asyncio.wait_for(all_of_it(), BODY_WITHIN_S)
    except TimeoutError:
        raise Refused(408, texts("door")["too_slow"], {"connection": "close"}) from None
    return bytes(read)


def fields_of(headers: dict[str, str], body: bytes) -> dict[str, str]:
    """The last of each field of a posted form; none where it is no form."""
    if headers.get("content-type", "").partition(";")[0].strip().lower() != "application/x-www-form-urlencoded":
        return {}
    try:
        fields = parse_qs(body.decode("utf-8"), keep_blank_values=True, max_num_fields=MOST_FIELDS)
    except ValueError:
        raise Refused(400, texts("door")["unreadable"]) from None
    return {name: values[-1] for name, values in fields.items()}


def given_again(body: bytes, receive: Receive) -> Receive:
    """Gives the body that was read already, then what comes after it."""
    given = False

    async def once_more() -> MutableMapping[str, Any]:
        nonlocal given
        if given:
            return await receive()
        given = True
        return {"type": "http.request", "body": body, "more_body": False}

    return once_more


def on_this_board(where: str) -> str:
    """A page of this board to go on to; the first one where it is none."""
    sound = where.startswith("/") and not where.startswith("//") and where.isprintable() and "\\" not in where
    return quote(where, safe="/?&=%:+,;@-._~") if sound else "/"


def sent_from(headers: dict[str, str]) -> str:
    """The page of this board that a form stood on, as the browser says; the first one where it does not."""
    try:
        page = urlsplit(headers.get("referer", ""))
    except ValueError:
        return "/"
    if page.netloc != headers.get("host", ""):
        return "/"
    return on_this_board(page.path + (f"?{page.query}" if page.query else ""))
