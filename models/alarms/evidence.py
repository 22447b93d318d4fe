"""What one episode is traced from: the stretch its baseline was learned in, the weeks before it, and its own days.

Bounded on both sides, so that an episode which is over keeps its answer while the plant goes on, and a trace costs
the same after two years as after two months. While an episode is on, everything up to the newest row counts.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from typing import TYPE_CHECKING

import numpy as np

from models.shapes import Charted, Episode, Points, Stream

if TYPE_CHECKING:
    import pandas as pd

    from models.charts.events import Event

Other = tuple[Stream, Episode, Points]
NONE, DAY = np.timedelta64(0, "D"), np.timedelta64(1, "D")
WEEKS_BEFORE = 42 * DAY
"""Before the episode may have begun: several yeast lots of each line."""
AFTER = 2 * DAY
"""After it ended: whether what came with it went with it."""
PASTE_BEFORE = 4 * DAY
"""A dough may be made of a paste cooked up to three days before."""
_MARGIN = 1 * DAY


@dataclass(frozen=True)
class Window:
    """Two stretches of production days, first and last of each inclusive."""

    learned: tuple[np.datetime64, np.datetime64]
    recent: tuple[np.datetime64, np.datetime64]

    def holds(self, days: pd.Series, before: np.timedelta64 = NONE) -> pd.Series:
        """Which days lie in it, or up to `before` ahead of it."""
        spans = [days.between(first - before, last) for first, last in (self.learned, self.recent)]
        return spans[0] | spans[1]

    def days(self, before: np.timedelta64 = NONE) -> Iterator[np.datetime64]:
        """Its days, and those up to `before` ahead of it; in order, each once."""
        every = [np.arange(first - before, last + DAY, DAY) for first, last in (self.learned, self.recent)]
        yield from np.unique(np.concatenate(every))


def window(charted: Charted, episode: Episode, newest: datetime) -> Window:
    """The days that one episode of a chart with a baseline is traced from."""
    assert charted.baseline is not None
    day = charted.points.day.astype("datetime64[D]")
    first, last = (np.datetime64(at, "D") for at in (charted.baseline.first_at, charted.baseline.last_at))
    end = day[max(episode.until, episode.signalled)] + AFTER if episode.over else np.datetime64(newest, "D") + _MARGIN
    return Window((first - _MARGIN, last + _MARGIN), (day[episode.began_low] - WEEKS_BEFORE, end))


def others(charted: Charted, events: Sequence[Event], seen: Window) -> list[Other]:
    """Episodes of the same characteristic elsewhere, as they were known at the end of the window."""
    found = []
    for event in events:
        lead, episode = event.lead, event.episode
        if lead.stream.characteristic != charted.stream.characteristic or lead.stream == charted.stream:
            continue
        day = lead.points.day.astype("datetime64[D]")
        if day[episode.signalled] > seen.recent[1] or day[episode.until] < seen.recent[0]:
            continue
        last = int(np.searchsorted(day, seen.recent[1], side="right")) - 1
        found.append(
            (lead.stream, replace(episode, until=min(episode.until, max(last, episode.signalled))), lead.points)
        )
    return found


def key(
    charted: Charted, episode: Episode, seen: Window, elsewhere: Sequence[Other], days: Mapping[str, Mapping[str, str]]
) -> str:
    """Fingerprint of all that a trace is made from. days: log or wide table -> day -> digest of its rows."""
    made = [
        vars(charted.stream),
        vars(charted.baseline) if charted.baseline else None,
        _named(episode, charted.points),
        [[vars(stream), _named(other, points)] for stream, other, points in elsewhere],
        [[str(day), days[table].get(str(day), "")] for table in ("batches", "change", "check") for day in seen.days()],
        [[str(day), days["pastes"].get(str(day), "")] for day in seen.days(PASTE_BEFORE)],
    ]
    return hashlib.sha256(json.dumps(made, default=str, sort_keys=True).encode()).hexdigest()


def _named(episode: Episode, points: Points) -> list[object]:
    """An episode by its batches: positions move when an older batch is added, and so do not matter."""
    places = (episode.signalled, episode.began, episode.began_low, episode.began_high, episode.until)
    span = points.keys[episode.began : episode.until + 1]
    inside = hashlib.sha256("\n".join(map(str, span)).encode()).hexdigest()
    sizes = [float(value) for value in (episode.change, episode.change_low, episode.change_high)]
    return [episode.direction, *(str(points.keys[i]) for i in places), inside, *sizes, episode.over, episode.kind]
