"""The one scheme: has the level stepped at any batch of the last `WINDOW`?

For every batch t and every possible onset tau the score of a step that began at tau is

    T(tau, t) = sum s_i u_i / sqrt(sum s_i^2),    i = tau..t,

u_i the normal score of innovation i and s_i = r_i(tau) / sqrt(S_i) how a unit step moves it. In control every T is
normal with variance 1 (with a level known only to within level_se: 1 + level_se^2 (sum s_i c_i)^2 / sum s_i^2, c_i
the response to an offset that was there from the start). The chart signals at the first t at which

    max over tau of |T(tau, t)| - boundary(t - tau + 1) > 0,

a generalised likelihood ratio over onset and size at once: near the best scheme for each single size of shift,
because the shortest window is a Shewhart limit and the long ones find what lasts.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import islice

import numpy as np

from models.charts.innovations import Innovations, student_score

WINDOW = 200
"""Onsets up to this many batches back are looked at."""
_TINY = 1e-12
_FIRST = 10
"""Windows that are looked at first for when a change is found; most are found soon."""


@dataclass(frozen=True)
class Scan:
    """For every filtered batch: the largest excess over the boundary, and the T (signed) that made it."""

    excess: np.ndarray
    score: np.ndarray
    lag: np.ndarray


def onset_sums(innovations: Innovations, first: int, stop: int, window: int):
    """Yield lag and, for every onset tau in first..stop, the sums s u, s^2, s c over tau..tau + lag. Shared buffers."""
    v = innovations
    size, ones = stop - first, np.ones(stop - first)
    # side by side, because a chart's new day is short: what costs then is how many operations there are
    span = slice(first, stop)
    root, times = v.root[span], np.stack([v.score[span], ones, v.offset[span]])
    gains = np.stack([v.gain_lot[span], v.gain_flour[span], v.gain_a[span], v.gain_level[span]])
    keeps = np.stack([v.same_lot[span], v.same_flour[span].astype(float), v.phi * ones, ones])
    sums, taken_up = np.zeros((3, size)), np.zeros((4, size))
    for lag in range(min(window, size)):
        n = size - lag
        q = taken_up[:, :n]
        r = 1.0 - q[0] - q[1] - q[2] - q[3]
        s = r * root[lag:]
        each = times[:, lag:] * s
        each[1] *= s
        held = sums[:, :n]
        held += each
        yield lag, held[0], held[1], held[2]
        q += gains[:, lag:] * r
        q *= keeps[:, lag:]


def scan(innovations: Innovations, boundary: np.ndarray, level_se: float = 0.0, first: int = 0, fresh: int = 0) -> Scan:
    """Scan all onsets from `first` on, at batches from `fresh` on (both counted from the start of the filtered stretch).

    boundary: limit for windows of 1, 2, ... batches; its length is the longest window. Batches before `fresh` have no excess.
    """
    size = len(innovations.score)
    found = Scan(np.full(size, -np.inf), np.zeros(size), np.zeros(size, dtype=int))
    since = max(first, fresh)
    at_once = max(_HELD // max(size - since, 1), 1)
    held = np.zeros((min(at_once, len(boundary)), 3, size - since))
    count = 0
    for lag, *sums in onset_sums(innovations, first, size, len(boundary)):
        if count == len(held):
            _take_up(found, held, lag, boundary, level_se, first)
            count = 0
        known = min(size - first - lag, size - since)
        for into, one in zip(held[count], sums, strict=True):
            into[len(into) - known :] = one[len(one) - known :]
        count += 1
    _take_up(found, held[:count], min(len(boundary), size - first), boundary, level_se, first)
    return found


_HELD = 1 << 18
"""Sums of so many windows are looked at together: fewer operations where few batches are new, little memory where many are."""


def _take_up(found: Scan, held: np.ndarray, upto: int, boundary: np.ndarray, level_se: float, first: int) -> None:
    """The windows' sums, of lags up to before `upto`, into what was found so far. held: lag, sum, batch."""
    if not held.size:
        return
    lags = np.arange(upto - len(held), upto)
    at = slice(len(found.excess) - held.shape[2], None)
    t = held[:, 0] / np.sqrt(held[:, 1] + (level_se * held[:, 2]) ** 2 + _TINY)
    over = np.abs(t) - boundary[lags, None]
    over[first + lags[:, None] > np.arange(len(found.excess))[at]] = -np.inf
    best = np.argmax(over, axis=0), np.arange(held.shape[2])
    better = over[best] > found.excess[at]
    for into, new in ((found.excess, over[best]), (found.score, t[best]), (found.lag, lags[best[0]])):
        into[at][better] = new[better]


def onset_evidence(innovations: Innovations, at: int, window: int, level_se: float = 0.0) -> tuple[np.ndarray, ...]:
    """For the onsets tau = at, at - 1, ... (at most `window`): sum s u over tau..at, sum s^2, and the first's variance.

    That variance, in control: sum s^2, and what a level known only to within level_se adds.
    """
    first = max(at + 1 - window, 0)
    rows = [(num[-1], den[-1], off[-1]) for _, num, den, off in onset_sums(innovations, first, at + 1, window)]
    nums, dens, offs = np.array(rows).T
    return nums, dens, dens + (level_se * offs) ** 2


def information(innovations: Innovations, window: int) -> np.ndarray:
    """Sum s^2 for windows of 1, 2, ... batches: mean over the onsets of the stretch that have five windows at least."""
    return np.fromiter(_information(innovations, window), dtype=float)


def _information(innovations: Innovations, window: int) -> Iterator[float]:
    size = len(innovations.score)
    sums = onset_sums(innovations, 0, size, min(window, max(size - 4, 1)))
    return (float(np.mean(den)) for _, _, den, _ in sums)


def reach(held: np.ndarray, limits: np.ndarray, level_se: float, nu: float) -> np.ndarray:
    """How far off 1, 2, ... batches in a row are, all alike, when they signal; in the working scale's unit.

    held: as from `information`. Heavy tails (nu) and a level known only to within level_se put it farther out. The
    batches' own scatter is left out.
    """
    limits = limits[: len(held)]
    each = limits / np.sqrt(np.arange(1, len(held) + 1))
    return student_score(each, nu) / each * limits * np.sqrt(1.0 / held + level_se**2)


def expected_batches(
    innovations: Innovations, limits: np.ndarray, level_se: float, nu: float, shift: float
) -> int | None:
    """Batches after which a lasting step of `shift` is expected to signal; None: not within `WINDOW`.

    innovations: of the stretch whose lots tell how often they change; windows are looked at until one is long enough.
    """
    windows, held = _information(innovations, WINDOW), list[float]()
    while more := list(islice(windows, max(len(held), _FIRST))):
        held += more
        found = np.flatnonzero(reach(np.array(held), limits, level_se, nu) <= shift)
        if len(found):
            return int(found[0]) + 1
    return None
