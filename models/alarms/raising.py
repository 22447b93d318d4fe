"""From what charts, limits and the weight law found to the plant's alerts, each traced where it can be."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING, Any

import numpy as np

from models.alarms import alerts, limits, paste_part, short_weight
from models.charts.events import Event, merge
from models.shapes import Alert, Cause, Charted, Episode

if TYPE_CHECKING:
    import pandas as pd

    from models.causes.attribute import Call
    from models.plant import Plant

TRACED = "specific volume"


@dataclass(frozen=True)
class Found:
    """Everything alerts are raised from. Frames as `batchbook`, `snapshot.FINDINGS` and the logbook declare them."""

    pastes: pd.DataFrame
    batches: pd.DataFrame
    findings: pd.DataFrame
    loaves: pd.DataFrame
    changes: pd.DataFrame
    checks: pd.DataFrame
    output: pd.DataFrame
    charted: tuple[Charted, ...]
    newest: datetime


def raise_alerts(plant: Plant, found: Found) -> list[Alert]:
    """All alerts that the data speak of, before they are held against those already raised."""
    wide = alerts.Wide(found.pastes, found.batches, found.newest)
    events = merge(list(found.charted))
    result = [alerts.of_event(event, plant, wide, trace(plant, found, event, events)) for event in events]
    for run in limits.runs(plant, found.pastes, found.batches, found.findings):
        run = limits.from_chart(run, _level_of(run, found.charted))
        call = _trace_limit(plant, found, run, events)
        causes = call.causes if call else _untraced(run)
        result.append(alerts.of_limit(run, plant, wide, causes, call))
    result += short_weight.raise_alerts(plant, found.batches, found.loaves, found.output, found.checks)
    return [paste_part.with_bound(alert, plant, found.batches) for alert in result]


def trace(plant: Plant, found: Found, event: Event, events: Sequence[Event]) -> Call | None:
    """Where a charted change of specific volume comes from; None for other characteristics."""
    if event.lead.stream.characteristic != TRACED or event.lead.baseline is None:
        return None
    return _attribute(plant, found, event.lead, event.episode, events)


def _attribute(plant: Plant, found: Found, charted: Charted, episode: Episode, events: Sequence[Event]) -> Call:
    from models.causes.attribute import attribute

    assert charted.baseline is not None
    others = [
        (e.lead.stream, e.episode, e.lead.points)
        for e in events
        if e.lead.stream.characteristic == TRACED and e.lead.stream != charted.stream
    ]
    return attribute(
        plant,
        found.batches,
        found.pastes,
        charted.stream,
        charted.baseline,
        episode,
        charted.points,
        changes=found.changes,
        checks=found.checks,
        others=others,
    )


def _trace_limit(plant: Plant, found: Found, run: limits.Run, events: Sequence[Event]) -> Call | None:
    """A run of batches outside the product's window, traced like a charted change, measured from the chart's level."""
    if run.family.characteristic != TRACED:
        return None
    charted = next(
        (
            c
            for c in found.charted
            if c.stream.characteristic == TRACED and c.stream.line == run.line and c.stream.product == run.product
        ),
        None,
    )
    if charted is None or charted.baseline is None:
        return None
    where = {str(key): i for i, key in enumerate(charted.points.keys)}
    places = [where.get(run.keys[i]) for i in (run.began, run.signalled, max(run.until, run.signalled))]
    if any(place is None for place in places):
        return None
    return _attribute(plant, found, charted, _as_episode(run, charted, places), events)


def _level_of(run: limits.Run, charted: Sequence[Charted]) -> float | None:
    names = (run.family.characteristic, run.line, run.product or run.recipe, run.kettle)
    for one in charted:
        s = one.stream
        if (s.characteristic, s.line, s.product or names[2], s.kettle) == names and one.baseline is not None:
            return one.baseline.level
    return None


def _as_episode(run: limits.Run, charted: Charted, places: list[Any]) -> Episode:
    began, signalled, until = places
    values = charted.points.value[began : until + 1]
    change = limits.change(run)
    assert charted.baseline is not None
    error = 1.645 * np.hypot(charted.baseline.level_se, charted.baseline.sd / np.sqrt(len(values)))
    return Episode(
        run.direction, signalled, began, began, began, until, change, change - error, change + error, run.over, "limit"
    )


def _untraced(run: limits.Run) -> tuple[Cause, ...]:
    if run.family.characteristic != TRACED:
        return ()
    return alerts.unexplained(limits.change(run), "no chart of this line and product to trace it on yet")
