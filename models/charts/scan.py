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

from dataclasses import dataclass

import numpy as np

from models.charts.innovations import Innovations, student_score

WINDOW = 200
"""Onsets up to this many batches back are looked at."""
_TINY = 1e-12


@dataclass(frozen=True)
class Scan:
    """For every filtered batch: the largest excess over the boundary, and the T (signed) that made it."""

    excess: np.ndarray
    score: np.ndarray
    lag: np.ndarray


def onset_sums(innovations: Innovations, first: int, stop: int, window: int):
    """Yield lag and, for every onset tau in first..stop, the sums s u, s^2, s c over tau..tau + lag. Shared buffers."""
    v = innovations
    size = stop - first
    num, den, off = np.zeros(size), np.zeros(size), np.zeros(size)
    q_lot, q_flour, q_a, q_level = (np.zeros(size) for _ in range(4))
    for lag in range(min(window, size)):
        n = size - lag
        here = slice(first + lag, stop)
        r = 1.0 - q_lot[:n] - q_flour[:n] - q_a[:n] - q_level[:n]
        s = r * v.root[here]
        num[:n] += s * v.score[here]
        den[:n] += s * s
        off[:n] += s * v.offset[here]
        yield lag, num[:n], den[:n], off[:n]
        q_lot[:n] = (q_lot[:n] + v.gain_lot[here] * r) * v.same_lot[here]
        q_flour[:n] = (q_flour[:n] + v.gain_flour[here] * r) * v.same_flour[here]
        q_a[:n] = (q_a[:n] + v.gain_a[here] * r) * v.phi
        q_level[:n] += v.gain_level[here] * r


def scan(innovations: Innovations, boundary: np.ndarray, level_se: float = 0.0, first: int = 0) -> Scan:
    """Scan all onsets from `first` (counted from the start of the filtered stretch) on.

    boundary: limit for windows of 1, 2, ... batches; its length is the longest window.
    """
    size = len(innovations.score)
    excess, score, lags = np.full(size, -np.inf), np.zeros(size), np.zeros(size, dtype=int)
    for lag, num, den, off in onset_sums(innovations, first, size, len(boundary)):
        t = num / np.sqrt(den + (level_se * off) ** 2 + _TINY)
        over = np.abs(t) - boundary[lag]
        at = slice(first + lag, None)
        better = over > excess[at]
        excess[at][better] = over[better]
        score[at][better] = t[better]
        lags[at][better] = lag
    return Scan(excess, score, lags)


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
    size = len(innovations.score)
    sums = onset_sums(innovations, 0, size, min(window, max(size - 4, 1)))
    return np.array([float(np.mean(den)) for _, _, den, _ in sums])


def reach(held: np.ndarray, limits: np.ndarray, level_se: float, nu: float) -> np.ndarray:
    """How far off 1, 2, ... batches in a row are, all alike, when they signal; in the working scale's unit.

    held: as from `information`. Heavy tails (nu) and a level known only to within level_se put it farther out. The
    batches' own scatter is left out.
    """
    limits = limits[: len(held)]
    each = limits / np.sqrt(np.arange(1, len(held) + 1))
    return student_score(each, nu) / each * limits * np.sqrt(1.0 / held + level_se**2)


def expected_batches(reaches: np.ndarray, shift: float) -> int | None:
    """Batches after which a lasting step of `shift` is expected to signal; None: not within the windows of `reach`."""
    found = np.flatnonzero(reaches <= shift)
    return int(found[0]) + 1 if len(found) else None
