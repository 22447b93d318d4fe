"""How pressing an alert still is while one looks: it falls by itself, nothing rises, and the stored alert stays as it is.

The store judges urgency against its own newest row. On the floor the clock goes on when no row comes: a dough is in the oven,
a paste is used or too old. The same limits of time are asked here, with the clock of the one who looks.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime, timedelta
from typing import TYPE_CHECKING, Any, Literal

from models.alarms.alerts import BAKED_AFTER, KETTLE_SIDE, USED_WITHIN
from models.floor.holds import gravity

if TYPE_CHECKING:
    from models.fixed import Urgency
    from models.floor.view import Paste, View
    from models.plant import Plant
    from models.shapes import Alert

Fallen = Literal["used", "too old", "baked", "decided"]
ORDER: dict[Urgency, int] = {"hold": 0, "now": 1, "review": 2}


def urgency_now(alert: Alert, view: View, now: datetime) -> Urgency:
    """The urgency at `now` (naive UTC): *now* falls to *hold* where a hold speaks of the same batch, else to *review*.

    A *hold* is one until QA has decided on all that it held; closing its case decides nothing.
    """
    if fallen(alert, view, now) is None:
        return alert.urgency
    return "hold" if alert.urgency == "now" and _held(alert, view) else "review"


def fallen(alert: Alert, view: View, now: datetime) -> Fallen | None:
    """Why nothing can be saved any more of an alert stored as *now*; None where it can, or where it never could."""
    if alert.urgency == "hold":
        return "decided" if (mine := hold_of(alert, view)) and not mine.stands else None
    if alert.urgency != "now":
        return None
    if alert.characteristic not in KETTLE_SIDE:
        return "baked" if now - alert.until_at > BAKED_AFTER else None
    paste = next((p for p in view.pastes if p.paste_key == alert.until_batch), None)
    if paste and paste.doughs:
        return "used"
    cooked = paste.cooked_at if paste and paste.cooked_at else alert.until_at
    return "too old" if now - cooked > _keeps(view.plant, paste) else None


def at(alert: Alert, view: View, now: datetime) -> Alert:
    """The alert with the urgency it has now."""
    return replace(alert, urgency=urgency_now(alert, view, now))


def open_alerts(view: View, now: datetime) -> tuple[Alert, ...]:
    """Alerts whose case is not closed, as urgent as they are now: hold, now, review; of holds the gravest first, then the oldest."""
    found = [at(alert, view, now) for alert in view.alerts if alert.case != "closed"]
    return tuple(sorted(found, key=_pressing))


def _pressing(alert: Alert) -> tuple[int, tuple[int, int], datetime, str]:
    grave = gravity(alert.characteristic) if alert.urgency == "hold" else (0, 0)
    return ORDER[alert.urgency], grave, alert.began_at, alert.alert


def hold_of(alert: Alert, view: View) -> Any:
    """The hold that an alert made, as the view has it; None where it made none."""
    return next((hold for hold in view.holds if hold.alert == alert.alert), None)


def _keeps(plant: Plant, paste: Paste | None) -> timedelta:
    """How long a paste may still be used: the plant's own age limit where that is the shorter one."""
    recipe = plant.pastes.get(paste.recipe) if paste else None
    return min(USED_WITHIN, timedelta(hours=recipe.age_h.act)) if recipe else USED_WITHIN


def _held(alert: Alert, view: View) -> bool:
    """Whether a hold that stands names the batch this alert speaks of, or a dough its paste went into."""
    mine = {alert.until_batch, *(d for p in view.pastes if p.paste_key == alert.until_batch for d in p.doughs)}
    if any(batch.stands and batch.key in mine for hold in view.holds for batch in hold.batches):
        return True
    return any(
        other.urgency == "hold" and hold_of(other, view) is None and mine & {*other.batches, other.until_batch}
        for other in view.alerts
        if other.case != "closed"
    )
