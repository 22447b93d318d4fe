"""From what charts, limits and the weight law found to the plant's alerts, each traced where it can be."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING, Any

import numpy as np

from models.alarms import alerts, evidence, limits, paste_part, short_weight
from models.alarms.evidence import Other, Window
from models.alarms.short_weight import Weighed
from models.charts.events import Event, merge
from models.shapes import Alert, Call, Cause, Charted, Episode
from models.texts import texts

if TYPE_CHECKING:
    import pandas as pd

    from models.alarms.kept import Kept
    from models.plant import Plant

TRACED = "specific volume"


@dataclass(frozen=True)
class Found:
    """Everything alerts are raised from. Frames as `batchbook`, `snapshot.FINDINGS` and the logbook declare them.

    weighed: what each shift's loaves say of their label, in order of production, as from `short_weight.weigh`.
    """

    pastes: pd.DataFrame
    batches: pd.DataFrame
    findings: pd.DataFrame
    changes: pd.DataFrame
    checks: pd.DataFrame
    charted: tuple[Charted, ...]
    newest: datetime
    weighed: tuple[Weighed, ...]


def raise_alerts(plant: Plant, found: Found, kept: Kept | None = None) -> list[Alert]:
    """All alerts that the data speak of, before they are held against those already raised.

    kept: traces of earlier runs; those made from the same rows are not made again. The answer is the same without.
    """
    wide = alerts.Wide(found.pastes, found.batches, found.newest)
    tracing = _Tracing(plant, found, merge(list(found.charted)), kept)
    result = [alerts.of_event(event, plant, wide, tracing.of_event(event)) for event in tracing.events]
    for run in limits.runs(plant, found.pastes, found.batches, found.findings):
        run = limits.from_chart(run, _level_of(run, found.charted))
        call = _trace_limit(tracing, run)
        causes = call.causes if call else _untraced(run)
        result.append(alerts.of_limit(run, plant, wide, causes, call))
    result += short_weight.raise_alerts(plant, found.weighed)
    return [paste_part.with_bound(alert, plant, found.batches) for alert in result]


@dataclass(frozen=True)
class _Tracing:
    """Where charted changes of specific volume come from."""

    plant: Plant
    found: Found
    events: list[Event]
    kept: Kept | None

    def of_event(self, event: Event) -> Call | None:
        """The trace of an event; None for other characteristics."""
        if event.lead.stream.characteristic != TRACED or event.lead.baseline is None:
            return None
        return self.of(event.lead, event.episode)

    def of(self, charted: Charted, episode: Episode) -> Call:
        """The trace of one episode of a chart with a baseline."""
        seen = evidence.window(charted, episode, self.found.newest)
        elsewhere = evidence.others(charted, self.events, seen)
        if self.kept is None:
            return self._made(charted, episode, seen, elsewhere)
        stream = charted.stream
        signalled = str(charted.points.keys[episode.signalled])
        name = "/".join([stream.line or "", stream.product or "", episode.direction, episode.kind, signalled])
        key = evidence.key(charted, episode, seen, elsewhere, self.kept.days)
        return self.kept.trace(name, key, lambda: self._made(charted, episode, seen, elsewhere))

    def _made(self, charted: Charted, episode: Episode, seen: Window, elsewhere: list[Other]) -> Call:
        from models.causes.attribute import attribute

        assert charted.baseline is not None
        found = self.found
        return attribute(
            self.plant,
            found.batches[seen.holds(found.batches["shift_date"])],
            found.pastes[seen.holds(found.pastes["shift_date"], evidence.PASTE_BEFORE)],
            charted.stream,
            charted.baseline,
            episode,
            charted.points,
            changes=found.changes[seen.holds(found.changes["changed_at"].dt.normalize())],
            checks=found.checks[seen.holds(found.checks["checked_at"].dt.normalize())],
            others=elsewhere,
        )


def _trace_limit(tracing: _Tracing, run: limits.Run) -> Call | None:
    """A run of batches outside the product's window, traced like a charted change, measured from the chart's level."""
    if run.family.characteristic != TRACED:
        return None
    charted = next(
        (
            c
            for c in tracing.found.charted
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
    return tracing.of(charted, _as_episode(run, charted, places))


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
    return alerts.unexplained(limits.change(run), texts("raised")["no_chart"])
