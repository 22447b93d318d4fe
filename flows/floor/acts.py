"""What people do on the board: each is recorded by the owner of the store, with who and when, or refused in one line."""

from __future__ import annotations

import tempfile
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any
from urllib.parse import quote

from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response

from flows import holding, steps
from flows import quarantine as quarantining
from flows.door import signing
from flows.floor import screens, taking
from models.floor import acting, kettleside, mixer, quarantine
from models.storage.cases import CaseError
from models.storage.decisions import DecisionError
from models.storage.holds import HoldError
from models.storage.store import open_for_reading
from models.texts import texts
from reports import said, tablets

if TYPE_CHECKING:
    from flows.floor.floor import Floor

WAIT_S = 60.0
REFUSED = (CaseError, DecisionError, HoldError)


def pull(floor: Floor, logs: str) -> list[dict[str, Any]]:
    """Look into a folder now, on behalf of a run that was handed over; gives the contract's `files`."""
    folder = Path(logs)
    if not folder.is_dir():
        raise FileNotFoundError(f"{logs}: there is no such folder of logs")
    return list(floor.owner.take(logs=folder).result())


def alert(floor: Floor, request: Request) -> Response:
    """POST /alerts/<id>: seen, done, handed over or closed."""
    name, view = request.path_params["alert"], floor.view
    found = next((one for one in view.alerts if one.alert == name), None)
    if found is None:
        raise HTTPException(404, _why("no_alert"))
    person = signing.requires("floor")(request)
    form = signing.form(request)
    try:
        event = acting.act_of(form, found, person, signing.signature(request, form.get("by", "")), _now())
    except acting.ActRefused as no:
        raise HTTPException(403 if no.why == "may not" else 422, said.act_refused(no)) from None
    _recorded(floor.owner.act(lambda con, job, run: steps.note_case(con, event, run)))
    return RedirectResponse(f"/alerts/{name}", 303)


def hold(floor: Floor, request: Request) -> Response:
    """POST /holds: hold a paste or a dough by hand."""
    person, form = signing.requires("floor")(request), signing.form(request)
    who = signing.signature(request, form.get("by", ""))
    _recorded(floor.owner.act(holding.held_by_form(form, person, who, _now())))
    return RedirectResponse("/holds", 303)


def release(floor: Floor, request: Request) -> Response:
    """POST /holds/<hold>/release: released, disposed, or left the house; the record itself knows which role may."""
    person, form = signing.requires("floor")(request), signing.form(request)
    who = signing.signature(request, form.get("by", ""))
    _recorded(floor.owner.act(holding.ended_by_form(request.path_params["hold"], form, person, who, _now())))
    return RedirectResponse("/holds", 303)


def decide(floor: Floor, request: Request) -> Response:
    """POST /quarantine: QA confirms what is proposed for a row, or rejects it."""
    person, form = signing.requires("floor")(request), signing.form(request)
    who = signing.signature(request, form.get("by", ""))
    try:
        asked = quarantine.asked(form, floor.view, person, who)
    except quarantine.DecisionRefused as no:
        raise HTTPException(403 if no.why == "may not" else 422, said.decision_refused(no)) from None
    with tempfile.TemporaryDirectory(prefix="loaftrace-") as place:
        folder = Path(place) / "corrections"
        folder.mkdir()
        con = open_for_reading(floor.job.store)
        try:
            decided, logs = quarantining.decide(
                con, floor.plant, asked.verdict, asked.seqs, asked.alike, who, asked.because
            )
        except REFUSED as error:
            raise HTTPException(422, str(error)) from None
        finally:
            con.close()
        for name, content in logs.items():
            (folder / name).write_bytes(content)
        _recorded(floor.owner.take(logs=Path(place), decisions=tuple(decided)))
    return RedirectResponse("/quarantine", 303)


def kettle(floor: Floor, request: Request) -> Response:
    """POST /kettle: one step of a paste; what is asked about is drawn again, what stands becomes a log."""
    return _tablet(floor, request, "kettle", kettleside.post, tablets.kettle_screen)


def mix(floor: Floor, request: Request) -> Response:
    """POST /mixer: one step of a dough, likewise."""
    return _tablet(floor, request, "mixer", mixer.post, tablets.mixer_screen)


def _tablet(floor: Floor, request: Request, name: str, post: Callable[..., Any], draw: Callable[..., str]) -> Response:
    form = signing.form(request)
    who = signing.signature(request, form.get("by", ""))
    try:
        with floor.at_tablet:
            outcome = post(form, floor.view, floor.tablet, taking.utc_now(), who)
    except OSError as error:
        raise HTTPException(503, _why("not_written", error=error.strerror)) from None
    try:
        if outcome.csv_text is not None:
            floor.drop_typed(outcome.log_name, outcome.csv_text)
    except OSError as error:
        raise HTTPException(503, _why("not_shown", error=error.strerror)) from None
    words = texts(name)["said"].get(outcome.said, "")
    if outcome.questions or words:
        frame = screens.frame(floor, request, words)
        return Response(draw(frame, outcome.screen), 422 if outcome.questions else 200, media_type="text/html")
    where = "line" if name == "mixer" else "kettle"
    return RedirectResponse(f"/{name}?{where}={quote(getattr(outcome.screen, where))}", 303)


def _why(key: str, **filled: object) -> str:
    return texts("refused")["why"][key].format(**filled)


def _now() -> Any:
    return taking.utc_now().replace(microsecond=0)


def _recorded(future: Any) -> Any:
    """What the owner of the store answered. Raises HTTPException, one line, where it was not recorded."""
    try:
        return future.result(WAIT_S)
    except REFUSED as error:
        raise HTTPException(422, str(error)) from None
    except TimeoutError:
        raise HTTPException(503, _why("busy")) from None
    except Exception as error:  # a full disk comes as an error of the database's own
        raise HTTPException(503, _why("failed", error=" ".join(str(error).split()))) from None


ACTS: dict[str, Callable[[Floor, Request], Response]] = {
    "/alerts/{alert}": alert,
    "/holds": hold,
    "/holds/{hold}/release": release,
    "/quarantine": decide,
    "/kettle": kettle,
    "/mixer": mix,
}
