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
    for lag, sums in _sums([_taken(innovations, first, stop)], window):
        yield lag, sums[0, 0], sums[1, 0], sums[2, 0]


def _taken(innovations: Innovations, first: int, stop: int) -> np.ndarray:
    """What the sums of a stretch are made of, a row each: root; u, 1, c; what is taken up of a step, and how it lives on."""
    v, span, ones = innovations, slice(first, stop), np.ones(stop - first)
    return np.stack(
        [
            *(v.root[span], v.score[span], ones, v.offset[span]),
            *(v.gain_lot[span], v.gain_flour[span], v.gain_a[span], v.gain_level[span]),
            *(v.same_lot[span], v.same_flour[span].astype(float), v.phi * ones, ones),
        ]
    )


def _sums(stretches: list[np.ndarray], window: int) -> Iterator[tuple[int, np.ndarray]]:
    """Yield lag and the three sums of every onset of every stretch: sum, stretch, onset. A shared buffer.

    stretches: as from `_taken`. They end together: of a shorter one the first onsets are of no meaning. What costs is how
    many operations there are, so that several charts' new days are summed side by side.
    """
    size = max(taken.shape[1] for taken in stretches)
    given = np.zeros((12, len(stretches), size))
    for number, taken in enumerate(stretches):
        given[:, number, size - taken.shape[1] :] = taken
    root, times, gains, keeps = given[0], given[1:4], given[4:8], given[8:]
    sums, taken_up = np.zeros((3, len(stretches), size)), np.zeros((4, len(stretches), size))
    for lag in range(min(window, size)):
        n = size - lag
        q = taken_up[..., :n]
        r = 1.0 - q[0] - q[1] - q[2] - q[3]
        s = r * root[:, lag:]
        each = times[..., lag:] * s
        each[1] *= s
        held = sums[..., :n]
        held += each
        yield lag, held
        q += gains[..., lag:] * r
        q *= keeps[..., lag:]


@dataclass(frozen=True)
class Asked:
    """A stretch to be scanned: all onsets from `first` on, at batches from `fresh` on (both counted from its start).

    boundary: limit for windows of 1, 2, ... batches; its length is the longest window. Batches before `fresh` have no excess.
    """

    innovations: Innovations
    boundary: np.ndarray
    level_se: float = 0.0
    first: int = 0
    fresh: int = 0

    @property
    def size(self) -> int:
        """Onsets that are looked at."""
        return len(self.innovations.score) - self.first

    @property
    def news(self) -> int:
        """Batches that are looked at."""
        return len(self.innovations.score) - max(self.first, self.fresh)


def scan(innovations: Innovations, boundary: np.ndarray, level_se: float = 0.0, first: int = 0, fresh: int = 0) -> Scan:
    """Scan one stretch, as `Asked` has it."""
    return _scanned([Asked(innovations, boundary, level_se, first, fresh)])[0]


def scan_all(asked: list[Asked]) -> list[Scan]:
    """Scan each stretch as `scan` does; short ones, a new day of charts that go on, side by side."""
    short = [one for one in asked if one.size <= 2 * WINDOW]
    done: dict[int, Scan] = {}
    for window in {len(one.boundary) for one in short}:
        alike = [one for one in short if len(one.boundary) == window]
        done |= zip(map(id, alike), _scanned(alike), strict=True)
    return [done[id(one)] if id(one) in done else _scanned([one])[0] for one in asked]


def _scanned(asked: list[Asked]) -> list[Scan]:
    """Stretches scanned side by side, whose longest windows are the same."""
    found = [_nothing(len(one.innovations.score)) for one in asked]
    window, news = len(asked[0].boundary), max(one.news for one in asked)
    size = max(one.size for one in asked)
    if not size:
        return found
    at_once = max(_HELD // max(news * len(asked), 1), 1)
    held = np.zeros((min(at_once, window), 3, len(asked), news))
    count = 0
    stretches = [_taken(one.innovations, one.first, len(one.innovations.score)) for one in asked]
    for lag, sums in _sums(stretches, window):
        if count == len(held):
            _take_up(found, asked, held, lag)
            count = 0
        known = min(sums.shape[2], news)
        held[count, ..., news - known :] = sums[..., sums.shape[2] - known :]
        count += 1
    _take_up(found, asked, held[:count], min(window, size))
    return found


def _nothing(size: int) -> Scan:
    return Scan(np.full(size, -np.inf), np.zeros(size), np.zeros(size, dtype=int))


_HELD = 1 << 18
"""Sums of so many windows are looked at together: fewer operations where few batches are new, little memory where many are."""


def _take_up(found: list[Scan], asked: list[Asked], held: np.ndarray, upto: int) -> None:
    """The windows' sums, of lags up to before `upto`, into what was found so far. held: lag, sum, stretch, batch."""
    for number, (into, one) in enumerate(zip(found, asked, strict=True)):
        if len(held) and one.news > 0:
            _take_up_one(into, one, held[:, :, number, held.shape[3] - one.news :], upto)


def _take_up_one(found: Scan, asked: Asked, held: np.ndarray, upto: int) -> None:
    lags = np.arange(upto - len(held), upto)
    at = slice(len(found.excess) - held.shape[2], None)
    t = held[:, 0] / np.sqrt(held[:, 1] + (asked.level_se * held[:, 2]) ** 2 + _TINY)
    over = np.abs(t) - asked.boundary[lags, None]
    over[asked.first + lags[:, None] > np.arange(len(found.excess))[at]] = -np.inf
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
