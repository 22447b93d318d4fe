"""What runs and what does not, for whoever watches over the service: `GET /health`."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from flows.floor import taking

if TYPE_CHECKING:
    from datetime import datetime

    from flows.floor.floor import Floor

# the owner looks into the folder every few tenths of a second; a take of a month of logs keeps it for minutes
LOOKED_WITHIN_S = 900.0


def health(floor: Floor) -> dict[str, Any]:
    """`status` is "runs" or "in trouble"; `rows` is the contract's account by log; ages in seconds, instants UTC."""
    view, owner, now = floor.view, floor.owner, taking.utc_now()
    looked = _age_s(owner.looked_at, now)
    runs = owner.alive and owner.trouble is None and looked is not None and looked < LOOKED_WITHIN_S
    return {
        "status": "runs" if runs else "in trouble",
        "trouble": owner.trouble
        or (None if owner.alive else "what takes the logs has stopped; start the service again"),
        "plant": view.plant.plant,
        "begun_at": _text(floor.begun_at),
        "version": view.version,
        "rows": {kind: dict(counts) for kind, counts in view.rows.items()},
        "newest_row_at": _text(view.newest),
        "newest_row_age_s": _age_s(view.newest, now),
        "last_taken_at": _text(owner.taken_at),
        "folder": {"looked_at": _text(owner.looked_at), "age_s": looked},
        "waiting_for_a_person": len(view.quarantine),
        "alerts_on": sum(alert.signal == "on" for alert in view.alerts),
        "messages_unsent": len(view.unsent),
        "alerts_nobody_was_told_of": len(view.unheard),
        "boards": floor.hub.listeners,
        "pages": _clerk(floor),
        "prefect_events": floor.clerk.events if floor.clerk else {"waiting": 0, "lost": 0},
    }


def _clerk(floor: Floor) -> str:
    if floor.clerk is None:
        return "not written by this service"
    return "written" if floor.clerk.alive else "waiting: the process that writes them is being started again"


def _text(at: datetime | None) -> str | None:
    return None if at is None else at.isoformat(timespec="seconds") + "Z"


def _age_s(at: datetime | None, now: datetime) -> float | None:
    return None if at is None else round((now - at).total_seconds(), 1)
