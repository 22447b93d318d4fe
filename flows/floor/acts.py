"""What people do on the board: each is recorded by the owner of the store, with who and when, or refused in one line."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any

from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response

from flows import steps
from flows.door import signing
from flows.floor import taking
from models.storage.cases import CaseError, CaseEvent

if TYPE_CHECKING:
    from flows.floor.floor import Floor
    from models.people import Role

WAIT_S = 60.0


def pull(floor: Floor, logs: str) -> list[dict[str, Any]]:
    """Look into a folder now, on behalf of a run that was handed over; gives the contract's `files`."""
    folder = Path(logs)
    if not folder.is_dir():
        raise FileNotFoundError(f"{logs}: there is no such folder of logs")
    return list(floor.owner.take(logs=folder).result())


def alert(floor: Floor, request: Request) -> Response:
    """POST /alerts/<id>: seen, done, handed over or closed."""
    given = signing.form(request)
    act = given.get("act", "")
    if act not in {"seen", "done", "handed over", "closed"}:
        raise HTTPException(422, "what was done? seen, done, handed over or closed")
    needs: Role = "supervisor" if act == "closed" else "floor"
    signing.requires(needs)(request)
    name = request.path_params["alert"]
    event = CaseEvent(
        name,
        taking.utc_now().replace(microsecond=0),
        signing.signature(request, given.get("by", "")),
        act,  # type: ignore[arg-type]
        given.get("found") or None if act == "closed" else None,  # type: ignore[arg-type]
        " ".join(given.get("note", "").split())[:500],
    )
    _record(floor, lambda con, job, run: steps.note_case(con, job, event, run))
    return RedirectResponse(f"/alerts/{name}", 303)


def _record(floor: Floor, doing: taking.Act) -> Any:
    """Have it recorded by the owner of the store. Raises HTTPException, one line, where it cannot be."""
    try:
        return floor.owner.act(doing).result(WAIT_S)
    except CaseError as error:
        raise HTTPException(422, str(error)) from None
    except TimeoutError:
        raise HTTPException(503, "the store is busy; look in a minute if this was recorded") from None
    except RuntimeError as error:
        raise HTTPException(503, str(error)) from None


ACTS: dict[str, Callable[[Floor, Request], Response]] = {
    "/alerts/{alert}": alert,
}
