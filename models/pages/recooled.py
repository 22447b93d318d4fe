"""Cooling readings that a later sheet changed from over the limits to within them before anything was held: a person decides.

A later row is the one in force, so no rule speaks of the earlier reading any more. What was held on it stays held; what came
with its correction in one run never was.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from datetime import date
from typing import TYPE_CHECKING, Any

from models.pages import words
from models.pages.production_day import of_day
from models.pages.shown import Item
from models.snapshot import records
from models.texts import texts

if TYPE_CHECKING:
    from models.plant import Plant
    from models.snapshot import Snapshot

HOURS = {"temp_2h_c": 2.0, "temp_6h_c": 6.0}


def recooled(snapshot: Snapshot, day: date) -> Iterator[Item]:
    """One item a reading of the day that was over the plant's own limits and is not now, of a paste that was never held."""
    held = {key for event in snapshot.hold_events for key in event.pastes}
    held |= {key for alert in snapshot.alerts if alert.urgency == "hold" for key in alert.batches}
    for row in records(of_day(snapshot.restated, day)):
        if row["kind"] != "paste" or row["column"] not in HOURS or row["key"] in held:
            continue
        before, after, hour = _number(row["before"]), _number(row["after"]), HOURS[row["column"]]
        if _over(before, hour, snapshot.plant) and not _over(after, hour, snapshot.plant):
            yield _item(row, before, after, hour, day)


def _item(row: dict[str, Any], before: float, after: float, hour: float, on: date) -> Item:
    t = texts("account")["recooled"]
    shown = {"before": words.number(before, "°C"), "after": words.number(after, "°C")}
    title = t["title"].format(paste=words.batch(row["key"], on), hour=words.number(hour, "h", 0), **shown)
    brought = t["brought"].format(file=row["file"], row=int(row["row"]))
    return Item("waiting", title, t["says"], (brought,))


def _over(reading: float, hour: float, plant: Plant) -> bool:
    """Whether a reading at that hour shows that a limit was missed; one that is not recorded shows nothing."""
    limits = plant.cooling.limits if plant.cooling else ()
    return any(reading > temperature and hour >= within_h for temperature, within_h in limits)


def _number(text: Any) -> float:
    try:
        return float(text)
    except (TypeError, ValueError):
        return math.nan
