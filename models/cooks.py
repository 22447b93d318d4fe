"""The day's kettles and what their water did: cooks, doughs, water given and water owed."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING, Any

from models import cautions, words
from models.changes import Change, change
from models.curves import curve, in_order, weeks_before
from models.production_day import of_day, on_during
from models.shown import Cell, Curve, Level, Sheet
from models.words import number

if TYPE_CHECKING:
    import pandas as pd

    from models.snapshot import Snapshot

Columns = tuple[tuple[str, str, str], ...]
Levels = dict[tuple[str, str], Level]
_COOKS = (
    ("paste_batch", "Paste", ""), ("kettle", "Kettle", ""), ("cook_end", "Cooked", "time"), ("before_kg", "Wb", "kg"),
    ("after_kg", "Wa", "kg"), ("residue_kg", "Residue", "kg"), ("loss_pct", "Loss", "% of Wb"),
    ("points_lost", "Beyond usual", "points"), ("kettle_water_kg", "Put back", "kg"),
    ("cook_temp_c", "Cook", "°C"), ("cooling", "Cooling", ""),
)  # fmt: skip
_DOUGHS = (
    ("dough_batch", "Dough", ""), ("line", "Line", ""), ("mixed_at", "Mixed", "time"), ("paste_key", "Paste", "key"),
    ("hydration_pct", "Hydration", "%"), ("usual_gap_points", "Beside the formula", "points"),
    ("makeup_water_kg", "Water given", "kg"), ("water_owed_kg", "Water owed", "kg"), ("water_made_good", "Made good", ""),
    ("paste_temp_c", "Paste", "°C"), ("dough_temp_c", "Dough", "°C"),
)  # fmt: skip


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
        says=tuple(_says(pastes.to_dict("records"), batches.to_dict("records"), day)),
        cooks=_sheet(snapshot, day, "cooks", "Each cook", _COOKS, pastes),
        doughs=_sheet(snapshot, day, "doughs", "Each dough", _DOUGHS, batches),
        curves=tuple((kettle, found) for kettle in kettles if (found := _curves(snapshot, kettle, day))),
        changes=tuple(
            change(alert, snapshot, day)
            for alert in snapshot.alerts
            if alert.kettle and (alert.kind == "chart" or alert.causes) and on_during(alert, day, day, snapshot.plant)
        ),
        cautions=(cautions.HOT_PASTE, cautions.POTABLE, cautions.cooling(snapshot.plant)),
    )


def levels_of(snapshot: Snapshot) -> Levels:
    """(batch, column) -> the worse level that a finding gives it."""
    levels: Levels = {}
    for row in snapshot.findings.to_dict("records"):
        at = (row["key"], row["column"])
        if levels.get(at) != "action":
            levels[at] = row["level"]
    return levels


def _curves(snapshot: Snapshot, kettle: str, day: date) -> tuple[Curve, ...]:
    found = sorted((c for c in snapshot.charted if c.stream.kettle == kettle), key=in_order)
    return tuple(curve(c, snapshot, weeks_before(day), day, today=day) for c in found)


def _sheet(snapshot: Snapshot, day: date, name: str, says: str, columns: Columns, rows: pd.DataFrame) -> Sheet:
    levels = levels_of(snapshot)
    heads = tuple(f"{title}, {unit}" if unit not in ("", "time", "key") else title for _, title, unit in columns)
    key = "paste_key" if name == "cooks" else "batch_key"
    cells = tuple(
        tuple(
            _cell(row[column], unit, levels.get((row[key], column), ""), snapshot, day) for column, _, unit in columns
        )
        for row in rows.to_dict("records")
    )
    return Sheet(name, says, heads, cells, f"No {'paste' if name == 'cooks' else 'dough'} is recorded for this day.")


def _cell(value: Any, unit: str, level: Level, snapshot: Snapshot, on: date) -> Cell:
    if words.missing(value) or value in (words.NOT_RECORDED, "not checked"):
        return Cell(value if isinstance(value, str) and value else words.NOT_RECORDED, "missing")
    if unit == "time":
        return Cell(words.clock(value, snapshot.plant.zone), level)
    if unit == "key":
        return Cell(words.batch(value, on), level)
    if isinstance(value, str):
        return Cell(value, "action" if value == "missed" else level)
    return Cell(number(value, "", 1 if unit in ("points", "°C", "%", "% of Wb") else 2), level, number=True)


def _says(pastes: list[dict[str, Any]], batches: list[dict[str, Any]], day: date) -> list[str]:
    said = []
    losses = [p["loss_pct"] for p in pastes if not words.missing(p["loss_pct"])]
    if losses:
        mean = sum(losses) / len(losses)
        said.append(
            f"{words.count(len(pastes), 'cook')}: loss {words.interval(min(losses), max(losses), '% of Wb')},"
            f" mean {number(mean, '% of Wb')} (n = {len(losses)})."
        )
    short = [b for b in batches if b["water_made_good"] == "no"]
    unknown = [b for b in batches if b["water_made_good"] == words.NOT_RECORDED]
    if short:
        owed = sum(b["water_owed_kg"] for b in short if not words.missing(b["water_owed_kg"]))
        said.append(f"{number(owed, 'kg', 1)} of water owed and not given, in {words.count(len(short), 'dough')}.")
    if unknown:
        said.append(
            f"Water put back is not recorded on {words.count(len(unknown), 'dough')}: given or not, the logs do not say."
        )
    drawn = [p for p in pastes if not words.missing(p["overdrawn_kg"]) and p["overdrawn_kg"] > 0]
    for paste in drawn:
        said.append(
            f"{words.batch(paste['paste_key'], day)}: {number(paste['overdrawn_kg'], 'kg')} more paste used than was made."
        )
    return said
