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
from flows.door.arriving import sent_from
from flows.floor import taking
from models.floor import alertscreen as alerts
from models.floor import chartscreen as charts
from models.floor import floor as floors
from models.floor import handover, kettleside, mixer, printed, quarantine
from models.floor import holdscreen as holds
from models.texts import texts
from reports import board, tablets
from reports.board import Frame

if TYPE_CHECKING:
    from flows.floor.floor import Floor
    from models.fixed import Role

REPORT = re.compile(r"(index|day-\d{4}-\d{2}-\d{2}|month-\d{4}-\d{2}|alert-[A-Za-z0-9-]+)\.html|plotly\.min\.js")
# whose work it is to follow a line by the week and the month; the month's page has money on it
FOLLOWS: Role = "supervisor"
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
        follows=person.may(FOLLOWS),
        tap=_to_tap(request),
    )


def _to_tap(request: Request) -> tuple[str, ...]:
    """Initials to choose from in a form, at a device where nobody has tapped; none where they are typed."""
    people = signing.visit(request).people
    return tuple(people.people) if people and not signing.who(request).initials else ()


def draw(of: Floor, request: Request, name: str, **shown: Any) -> str:
    """One screen as HTML."""
    return board.screen(name, frame(of, request), **shown)


def refused(request: Request, why: HTTPException) -> str:
    """A page that says in one line why something is not shown; or not recorded, with the way back to what was typed."""
    person = signing.visit(request).person
    shown = Frame(
        plant="",
        here=request.url.path,
        nonce=signing.nonce(request),
        token="",
        who=person.initials if person else "",
        said=str(why.detail),
        unrecorded=request.method == "POST",
    )
    return board.screen(
        "refused", shown, back=sent_from({name.lower(): value for name, value in request.headers.items()})
    )


def report(floor: Floor, request: Request) -> Response:
    """A printed page. Its own scripts are known by their hash, so that none from elsewhere runs; the board alone frames it."""
    name = request.path_params["name"]
    if name.startswith("month-"):
        signing.requires(FOLLOWS)(request)
    path = floor.job.out / name
    if not REPORT.fullmatch(name) or not path.is_file():
        raise HTTPException(404, texts("refused")["why"]["no_report"])
    if name.endswith(".js"):
        return FileResponse(path, media_type="text/javascript")
    body = path.read_bytes()
    hashes = " ".join(
        f"'sha256-{base64.b64encode(hashlib.sha256(script).digest()).decode()}'" for script in INLINE.findall(body)
    )
    policy = (
        f"default-src 'none'; script-src 'self' {hashes}; style-src 'self' 'unsafe-inline'; img-src 'self' data:; "
        "font-src 'self'; base-uri 'none'; form-action 'none'; frame-ancestors 'self'"
    )
    return Response(
        body, media_type="text/html", headers={"content-security-policy": policy, "x-frame-options": "SAMEORIGIN"}
    )


def floor_screen(floor: Floor, request: Request) -> str:
    """Every line and kettle at one look."""
    return draw(floor, request, "floor", floor=floors.floor(floor.view, taking.utc_now()))


def alert_screen(floor: Floor, request: Request) -> str:
    """One alert, its history, and what may be done with it."""
    name, person = request.path_params["alert"], signing.who(request)
    shown = alerts.alert_screen(floor.view, name, taking.utc_now(), person, person.initials, floor.messenger.told(name))
    if shown is None:
        raise HTTPException(404, texts("refused")["why"]["no_alert"])
    return draw(floor, request, "alert", alert=shown)


def hold_screen(floor: Floor, request: Request) -> str:
    """What is held."""
    person = signing.who(request)
    shown = holds.screen(floor.view, taking.utc_now(), person.role, alone=person.alone)
    return draw(floor, request, "holds", shown=shown)


def handover_screen(floor: Floor, request: Request) -> str:
    """What one shift leaves to the next."""
    return draw(floor, request, "handover", handover=handover.handover(floor.view, taking.utc_now()))


def quarantine_screen(floor: Floor, request: Request) -> str:
    """Rows that wait for a person."""
    person = signing.who(request)
    return draw(floor, request, "quarantine", quarantine=quarantine.quarantine(floor.view, person, person.initials))


def report_screen(floor: Floor, request: Request) -> str:
    """The printed pages by date."""
    return draw(floor, request, "reports", reports=printed.printed(_printed(floor)))


def chart_screen(floor: Floor, request: Request) -> str:
    """What every line and product is followed by."""
    signing.requires(FOLLOWS)(request)
    return draw(floor, request, "charts", charts=charts.charts(floor.view, taking.utc_now()))


def month_screen(floor: Floor, request: Request) -> str:
    """A printed month, with the board around it."""
    signing.requires(FOLLOWS)(request)
    shown = printed.monthly(_printed(floor), request.query_params.get("month", ""))
    if shown is None:
        raise HTTPException(404, texts("refused")["why"]["no_month"])
    return draw(floor, request, "month", month=shown)


def _printed(floor: Floor) -> list[str]:
    return [path.name for path in floor.job.out.glob("*.html")]


def kettle_screen(floor: Floor, request: Request) -> str:
    """The tablet by the kettle."""
    with floor.at_tablet:
        shown = kettleside.get(
            dict(request.query_params), floor.view, floor.tablet, taking.utc_now(), signing.who(request).initials
        )
    return tablets.kettle_screen(frame(floor, request), shown)


def mixer_screen(floor: Floor, request: Request) -> str:
    """The tablet by the mixer."""
    with floor.at_tablet:
        shown = mixer.get(
            dict(request.query_params), floor.view, floor.tablet, taking.utc_now(), signing.who(request).initials
        )
    return tablets.mixer_screen(frame(floor, request), shown)


SCREENS: dict[str, Callable[[Floor, Request], str]] = {
    "/": floor_screen,
    "/alerts/{alert}": alert_screen,
    "/holds": hold_screen,
    "/kettle": kettle_screen,
    "/mixer": mixer_screen,
    "/handover": handover_screen,
    "/quarantine": quarantine_screen,
    "/reports": report_screen,
    "/charts": chart_screen,
    "/month": month_screen,
}
