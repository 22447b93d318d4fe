"""The textbook charts, each in its plainest form: individuals, EWMA, CUSUM, and the limits of counts.

The plant's charts do not use them (see models.charts.scan); they are what its detection is compared with, and what
somebody who knows these charts can hold the points against.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from tests.reference.yardsticks.constants import constants


class Limits(NamedTuple):
    """Centre line and limits, in the unit of the values."""

    centre: float
    lower: float
    upper: float


class TwoSided(NamedTuple):
    """Upper and lower one-sided sums, and the first index at which one exceeds its limit (None: none)."""

    high: np.ndarray
    low: np.ndarray
    signal: int | None


def individuals(values: np.ndarray) -> Limits:
    """Mean +- 3 mean moving range / d2. Two values at least, else ValueError."""
    values = np.asarray(values, dtype=float)
    if len(values) < 2:
        raise ValueError(f"{len(values)} values have no moving range")
    reach = constants(2).e2 * float(np.abs(np.diff(values)).mean())
    return Limits(float(values.mean()), float(values.mean()) - reach, float(values.mean()) + reach)


def ewma(values: np.ndarray, weight: float, start: float) -> np.ndarray:
    """Exponentially weighted moving average, the newest value with `weight`, from `start`."""
    out, now = np.empty(len(values)), start
    for i, value in enumerate(values):
        now = weight * float(value) + (1.0 - weight) * now
        out[i] = now
    return out


def ewma_limits(centre: float, sd: float, weight: float, reach: float = 3.0) -> Limits:
    """Asymptotic limits of an EWMA: centre +- reach sd sqrt(weight / (2 - weight))."""
    half = reach * sd * (weight / (2.0 - weight)) ** 0.5
    return Limits(centre, centre - half, centre + half)


def cusum(values: np.ndarray, target: float, k: float, h: float) -> TwoSided:
    """Tabular CUSUM; reference value k and limit h in the unit of the values."""
    high, low = np.zeros(len(values)), np.zeros(len(values))
    up = down = 0.0
    for i, value in enumerate(values):
        up = max(0.0, up + float(value) - target - k)
        down = max(0.0, down + target - k - float(value))
        high[i], low[i] = up, down
    beyond = np.flatnonzero((high > h) | (low > h))
    return TwoSided(high, low, int(beyond[0]) if len(beyond) else None)


def three_sigma(level: float, size: float, *, proportion: bool) -> tuple[float, float]:
    """The textbook limits: level +- 3 sd of a proportion of `size`, or of a count per unit over `size` units.

    Lower limit not below 0. Good only where the counts are large; the charts of counts make their own.
    """
    sd = (level * (1.0 - level) / size) ** 0.5 if proportion else (level / size) ** 0.5
    return max(0.0, level - 3.0 * sd), level + 3.0 * sd
