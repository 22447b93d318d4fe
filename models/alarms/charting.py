"""Every chart of the plant at once: streams, their shares of the false-alarm budget, their baselines."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from itertools import groupby
from typing import TYPE_CHECKING

import numpy as np

from models.charts.beside import beside
from models.charts.budget import share_budget
from models.charts.characteristics import streams
from models.charts.chart import charting
from models.charts.follow import Scanning, together
from models.charts.parted import lent
from models.charts.past import Last, fingerprint, last
from models.shapes import Baseline, Charted, Points, Stream
from models.sharing import Share, one_by_one

if TYPE_CHECKING:
    import pandas as pd

    from models.plant import Plant

WEEK = np.timedelta64(7, "D")


# a chart's share of the budget is set by how often it was sampled in its first weeks, so that limits do not move later
FIRST_WEEKS = 2


def points_per_week(points: Points) -> float:
    """How often a stream was sampled in its first two weeks; at least over one week, so that a first day is no rush."""
    if len(points) < 2:
        return float(len(points))
    since = (points.at - points.at[0]) / WEEK
    early = since <= FIRST_WEEKS
    return float(early.sum()) / max(float(since[early][-1]), 1.0)


def chart_plant(
    plant: Plant, pastes: pd.DataFrame, batches: pd.DataFrame, frozen: Mapping[Stream, tuple[Baseline, float]]
) -> list[tuple[Charted, float]]:
    """Chart every stream of the plant: each with the in-control run length (points) that its limits are set for.

    frozen: baselines in force with the run length they were frozen with; other streams learn theirs.
    """
    return [(one.charted, one.arl0) for one in go_on(plant, pastes, batches, frozen, {})]


@dataclass(frozen=True)
class Gone:
    """One stream charted, the run length its limits are set for, and what is kept for the next time."""

    charted: Charted
    arl0: float
    last: Last


def go_on(
    plant: Plant,
    pastes: pd.DataFrame,
    batches: pd.DataFrame,
    frozen: Mapping[Stream, tuple[Baseline, float]],
    lasts: Mapping[Stream, Last],
    share: Share = one_by_one,
) -> list[Gone]:
    """Chart every stream as `chart_plant` does: as it was where nothing is new, else from where it had come.

    lasts: of earlier runs, as far as kept. share: who charts which.
    """
    found = streams(plant, pastes, batches)
    found |= beside(found)
    shares = share_budget({s: points_per_week(p) for s, p in found.items()}, plant.alarms.false_alarms_per_week)
    asked = [
        (stream, points, *frozen.get(stream, (None, shares[stream])), lasts.get(stream))
        for stream, points in found.items()
    ]
    gone = [one for some in share(_some, _parts(asked)) for one in some]
    return [replace(one, charted=charted) for one, charted in zip(gone, lent(one.charted for one in gone), strict=True)]


Told = tuple[Stream, Points, Baseline | None, float, Last | None]
# charts that go on together: what they scan of a new day is scanned side by side
TOGETHER = 16


def _parts(asked: list[Told]) -> Iterator[list[Told]]:
    """Charts that follow one another: those that go on some at a time, one that is made anew by itself."""
    for goes_on, alike in groupby(asked, lambda one: one[4] is not None and one[4].past is not None):
        rest = list(alike)
        many = TOGETHER if goes_on else 1
        yield from (rest[first : first + many] for first in range(0, len(rest), many))


def _some(asked: list[Told]) -> list[Gone]:
    return together([_one(*one) for one in asked])


def _one(
    stream: Stream, points: Points, baseline: Baseline | None, arl0: float, before: Last | None
) -> Scanning[Gone]:
    key = ""
    if before is not None and before.may_be_of(points):
        key = fingerprint(points, len(points), baseline, arl0)
        if before.key == key:
            return Gone(before.again(stream, points), arl0, before)
    past, drawn = (before.past, before.drawn) if before else (None, None)
    charted, past = yield from charting(stream, points, arl0=arl0, baseline=baseline, past=past, drawn=drawn)
    if past is not None and baseline is charted.baseline:
        key = past.fingerprint  # of the same points, baseline and run length: years of them are read once
    return Gone(charted, arl0, last(charted, past, key or fingerprint(points, len(points), baseline, arl0)))
