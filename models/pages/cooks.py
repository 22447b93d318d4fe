"""The day's kettles and what their water did: cooks, doughs, water given and water owed."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING

from models.pages.changes import Change, change
from models.pages.curves import curve, in_order, weeks_before
from models.pages.production_day import of_day, on_during
from models.pages.shown import Curve, Sheet
from models.pages.tables import Head, of_batches
from models.pages.watersays import water
from models.trade import cautions

if TYPE_CHECKING:
    from models.snapshot import Snapshot

_COOKS = (
    Head("paste_batch", "Paste", kind="text"),
    Head("kettle", "Kettle", kind="text"),
    Head("cook_end", "Cooked", kind="time"),
    Head("before_kg", "Wb", "kg"),
    Head("after_kg", "Wa", "kg"),
    Head("residue_kg", "Residue", "kg"),
    Head("loss_pct", "Loss", "% of Wb"),
    Head("points_lost", "Beyond usual", "points"),
    Head("kettle_water_kg", "Put back", "kg"),
    Head("cook_temp_c", "Cook", "°C"),
    Head("cooling", "Cooling", kind="text"),
)
_DOUGHS = (
    Head("dough_batch", "Dough", kind="text"),
    Head("line", "Line", kind="text"),
    Head("mixed_at", "Mixed", kind="time"),
    Head("paste_key", "Paste", kind="batch"),
    Head("hydration_pct", "Hydration", "%"),
    Head("formula_gap_points", "Beside the formula", "points"),
    Head("usual_gap_points", "Usual loss allowed for", "points"),
    Head("makeup_water_kg", "Water given", "kg"),
    Head("water_owed_kg", "Water owed", "kg"),
    Head("water_made_good", "Made good", kind="text"),
    Head("paste_temp_c", "Paste", "°C"),
    Head("dough_temp_c", "Dough", "°C"),
)


@dataclass(frozen=True)
class Cooks:
    """Water and cooks of a day. `says`: the day's water in sentences; cautions: what the numbers do not settle."""

    says: tuple[str, ...]
    cooks: Sheet
    doughs: Sheet
    curves: tuple[tuple[str, tuple[Curve, ...]], ...]
    changes: tuple[Change, ...]
    cautions: tuple[str, ...]


def cooks(snapshot: Snapshot, day: date) -> Cooks:
    """The day's pastes and doughs with their water."""
    pastes, batches = of_day(snapshot.pastes, day), of_day(snapshot.batches, day)
    kettles = sorted(snapshot.plant.kettles)
    return Cooks(
        says=tuple(water(snapshot, pastes, batches, day)),
        cooks=of_batches(snapshot, day, "cooks", "Each cook", _COOKS, pastes, "No paste is recorded for this day."),
        doughs=of_batches(
            snapshot, day, "doughs", "Each dough", _DOUGHS, batches, "No dough is recorded for this day."
        ),
        curves=tuple((kettle, found) for kettle in kettles if (found := _curves(snapshot, kettle, day))),
        changes=tuple(
            change(alert, snapshot, day)
            for alert in snapshot.alerts
            if alert.kettle and (alert.kind == "chart" or alert.causes) and on_during(alert, day, day, snapshot.plant)
        ),
        cautions=(cautions.HOT_PASTE, cautions.POTABLE, cautions.cooling(snapshot.plant)),
    )


def _curves(snapshot: Snapshot, kettle: str, day: date) -> tuple[Curve, ...]:
    found = sorted((c for c in snapshot.charted if c.stream.kettle == kettle), key=in_order)
    return tuple(curve(c, snapshot, weeks_before(day), day, today=day) for c in found)
