"""Each line beside the others: what yeast lots, flour and days do to all of them is taken off a line's specific volume.

Lines share their lots and their days, so what those do is seen on the others, too, and need not be told from few lots of
the line's own. What is left moves far less than the volume itself, and a lasting change of one line alone shows in it
within batches. It says only that the lines have parted; which of them moved is asked in `models.charts.parted`. Lots are no
labels of these points, because what they do is taken off; what is left of them is a matter of the line's days.

The points are made from batches mixed before each of them, once those are measured, and never change because later ones come.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace

import numpy as np

from models.charts.baseline import chosen
from models.charts.characteristics import BESIDE
from models.charts.working import REFERENCE_POINTS
from models.shapes import Baseline, Charted, Points, Stream

OF = "specific volume"
HOUR, MICRO = np.timedelta64(1, "h"), np.timedelta64(1, "us")
LATELY = 24 * HOUR
"""How far back the other lines' batches tell what lots and days do now; common practice, no source."""
MOST = 8
"""Of each other line at most so many batches, the newest."""
USUAL = 20
"""A line's first batches, whose median it is held against by the others.

One that begins beside others is held against them by what it was beside them: its first lots are not its usual, and would be
told of every other line from then on.
"""
LEAST_LINES = 2
"""Two lines that part cannot say which of them moved: at least so many others are needed."""
IN_USE = 48 * HOUR
"""A line that was measured within this is waited for: its loaves of the same hours may be measured later."""
GIVEN_UP = 24 * HOUR
"""By how much something newer must have been measured for a line to be waited for no longer."""


@dataclass(frozen=True)
class _Line:
    """One line's product as the others see it, its batches in order of their lots, then of time.

    place: a number that orders them so; sums: running sums of ln(value / usual), one longer; usual_at: time of the last batch
    that its usual is of.
    """

    line: str
    place: np.ndarray
    sums: np.ndarray
    usual_at: np.datetime64


def beside(found: dict[Stream, Points]) -> dict[Stream, Points]:
    """The points of every open line and product, in mL/g, less what the other lines did lately; streams without any left out.

    found: all streams of the plant. A batch has no point where fewer than LEAST_LINES others ran on its yeast and flour lots
    in the day before it.
    """
    volumes = {stream: points for stream, points in found.items() if stream.characteristic == OF and len(points)}
    if len({stream.line for stream in volumes}) <= LEAST_LINES:
        return {}
    places = dict(zip(volumes, _places(list(volumes.values())), strict=True))
    lines = _all_seen(volumes, places)
    made = {}
    for stream, points in volumes.items():
        all_in = _all_in(points.at, stream.line, volumes)
        others = [other for other in lines if other.line != stream.line]
        made[replace(stream, characteristic=BESIDE.name)] = _less(points, places[stream], others, all_in)
    return {stream: points for stream, points in made.items() if len(points)}


def _places(every: list[Points]) -> list[np.ndarray]:
    """For each batch a number, whole microseconds, in which batches of the same yeast and flour lot lie together by time."""
    import pandas as pd

    first = min(points.at[0] for points in every)
    last = max(points.at[-1] for points in every)
    apart = int((last - first + 2 * LATELY) / MICRO)
    flours = [np.full(len(p), "", dtype=object) if p.flour is None else p.flour for p in every]
    pairs = pd.MultiIndex.from_arrays([np.concatenate([p.lot for p in every]), np.concatenate(flours)])
    lots = np.split(pd.factorize(pairs)[0].astype(np.int64), np.cumsum([len(p) for p in every])[:-1])
    return [lot * apart + ((p.at - first + LATELY) / MICRO).astype(np.int64) for lot, p in zip(lots, every, strict=True)]


def _all_seen(volumes: dict[Stream, Points], places: dict[Stream, np.ndarray]) -> list[_Line]:
    """Every line's product that has its usual, in order of when: the earlier ones tell what a later one began with."""
    usual = {stream: points.at[USUAL - 1] for stream, points in volumes.items() if len(points) >= USUAL}
    lines: list[_Line] = []
    for stream in sorted(usual, key=lambda one: (usual[one], repr(one))):
        others = [other for other in lines if other.line != stream.line]
        lines.append(_seen(stream, volumes[stream], places[stream], others))
    return lines


def _seen(stream: Stream, points: Points, places: np.ndarray, others: list[_Line]) -> _Line:
    logs = np.log(points.value)
    first = logs[:USUAL]
    off, ran = _off(points.at[:USUAL], places[:USUAL], others)
    known = ran >= LEAST_LINES
    usual = np.median(first[known] - off[known]) if 2 * known.sum() >= USUAL else np.median(first)
    order = np.argsort(places, kind="stable")
    off = (logs - usual)[order]
    return _Line(
        stream.line or "",
        places[order],
        np.concatenate([[0.0], np.cumsum(off)]),
        points.at[USUAL - 1],
    )


def _all_in(at: np.ndarray, line: str | None, volumes: dict[Stream, Points]) -> np.ndarray:
    """Whether what the other lines mixed before is measured: each that was in use has something newer, or is given up."""
    measured: dict[str, list[np.ndarray]] = {}
    for stream, points in volumes.items():
        if stream.line != line:
            measured.setdefault(stream.line or "", []).append(points.at)
    newest = max(points.at[-1] for points in volumes.values())
    waits = np.zeros(len(at), dtype=bool)
    for times in measured.values():
        of_line = np.sort(np.concatenate(times))
        before = np.searchsorted(of_line, at, side="left")
        lately = (before > 0) & (at - of_line[np.maximum(before - 1, 0)] <= IN_USE)
        waits |= lately & (before == len(of_line))
    return ~waits | (at <= newest - GIVEN_UP)


def _off(at: np.ndarray, places: np.ndarray, others: list[_Line]) -> tuple[np.ndarray, np.ndarray]:
    """Of batches at these times and places: mean of the others' latest ones off their usual, ln (0 of none), and how many lines ran."""
    total, count = np.zeros(len(at)), np.zeros(len(at))
    ran = {other.line: np.zeros(len(at), dtype=bool) for other in others}
    for other in others:
        upto = np.searchsorted(other.place, places, side="left")
        since = np.maximum(np.searchsorted(other.place, places - int(LATELY / MICRO), side="left"), upto - MOST)
        known = (upto > since) & (at > other.usual_at)
        total += np.where(known, other.sums[upto] - other.sums[since], 0.0)
        count += np.where(known, upto - since, 0)
        ran[other.line] |= known
    return total / np.maximum(count, 1.0), np.sum([np.zeros(len(at)), *ran.values()], axis=0)


def _less(points: Points, places: np.ndarray, others: list[_Line], all_in: np.ndarray) -> Points:
    """The points with the mean of the others' latest batches taken off, those of which all is in."""
    off, ran = _off(points.at, places, others)
    keep = (ran >= LEAST_LINES) & all_in
    value = points.value * np.exp(-off)
    p, no_lot = points, np.full(int(keep.sum()), "", dtype=object)
    return Points(p.keys[keep], p.at[keep], value[keep], p.n[keep], p.sd_within[keep], no_lot, p.day[keep])


def anew(charted: Iterable[tuple[Charted, float]], baseline: Baseline) -> list[tuple[Stream, Baseline, float]]:
    """What every line is beside the others, learned again from the days of a line's new baseline, as far as those are enough.

    charted: every chart with the run length its limits are set for, which stays.
    """
    found = []
    for one, arl0 in charted:
        at = one.points.at
        first, stop = (
            np.searchsorted(at, np.datetime64(baseline.first_at, "us"), side="left"),
            np.searchsorted(at, np.datetime64(baseline.last_at, "us"), side="right"),
        )
        if one.stream.characteristic == BESIDE.name and stop - first >= REFERENCE_POINTS:
            keys = one.points.keys
            found.append((one.stream, chosen(one.stream, one.points, str(keys[first]), str(keys[stop - 1])), arl0))
    return found
