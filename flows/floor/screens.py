"""Which screen stands at which address, drawn from the view as it is at this moment."""

from __future__ import annotations

import base64
import hashlib
import re
from collections.abc import Callable
from typing import TYPE_CHECKING, Any

from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import FileResponse, Response

from flows.door import signing
from reports import board
from reports.board import Frame

if TYPE_CHECKING:
    from flows.floor.floor import Floor

REPORT = re.compile(r"(index|day-\d{4}-\d{2}-\d{2}|month-\d{4}-\d{2}|alert-[A-Za-z0-9-]+)\.html|plotly\.min\.js")
INLINE = re.compile(rb"<script(?![^>]*\bsrc=)[^>]*>(.*?)</script>", re.DOTALL)


def frame(floor: Floor, request: Request, said: str = "") -> Frame:
    """What every screen carries, for this request."""
    person = signing.who(request)
    return Frame(
        plant=floor.plant.plant,
        here=request.url.path,
        nonce=signing.nonce(request),
        token=signing.form_token(request),
        who=person.initials,
        role=person.role,
        signs=floor.people is not None,
        said=said,
    )


def draw(floor: Floor, request: Request, name: str, **shown: Any) -> str:
    """One screen as HTML."""
    return board.screen(name, frame(floor, request), **shown)


def refused(request: Request, why: HTTPException) -> str:
    """A page that says in one line why something is not shown."""
    shown = Frame(plant="", here=request.url.path, nonce=signing.nonce(request), token="", said=str(why.detail))
    return board.screen("refused", shown)


def report(floor: Floor, name: str) -> Response:
    """A printed page. Its own scripts are known by their hash, so that none from elsewhere runs."""
    path = floor.job.out / name
    if not REPORT.fullmatch(name) or not path.is_file():
        raise HTTPException(404, "there is no such page; the list of reports names those that are printed")
    if name.endswith(".js"):
        return FileResponse(path, media_type="text/javascript")
    body = path.read_bytes()
    hashes = " ".join(
        f"'sha256-{base64.b64encode(hashlib.sha256(script).digest()).decode()}'" for script in INLINE.findall(body)
    )
    policy = (
        f"default-src 'none'; script-src 'self' {hashes}; style-src 'self' 'unsafe-inline'; img-src 'self' data:; "
        "font-src 'self'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'"
    )
    return Response(body, media_type="text/html", headers={"content-security-policy": policy})


SCREENS: dict[str, Callable[[Floor, Request], str]] = {}
