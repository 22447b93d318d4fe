"""The scale a chart works on, where its points are near enough to normal.

plain: the value itself. spread: (s^2)^(1/3) with Wilson and Hilferty's correction for the number of loaves, so that
batches of three and of eight loaves stand on one level. loss: ln(loss + 2 % of Wb), because paste losses have a long
upper tail and may read a little below zero.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from models.charts.characteristics import Characteristic
from models.charts.innovations import Series
from models.shapes import Points

REFERENCE_POINTS = 8
LOSS_OFFSET = 2.0


@dataclass(frozen=True)
class Working:
    """The points on the working scale. y: value; n: readings; lots, flours, days: integer labels."""

    char: Characteristic
    y: np.ndarray
    n: np.ndarray
    lots: np.ndarray
    flours: np.ndarray
    days: np.ndarray
    reference: float

    def series(self, within: float) -> Series:
        """What the filter takes, `within` being the sd of one reading on the working scale."""
        return Series(self.y, self.error_var(within), self.lots, self.flours, self.days)

    def error_var(self, within: float) -> np.ndarray:
        """Variance of each point's own error, `within` being the sd of one reading on the working scale."""
        if self.char.scale == "spread":
            return self.reference**2 * 2.0 / (9.0 * np.maximum(self.n - 1.0, 1.0))
        return within**2 / self.n

    def unit(self, y: float) -> float:
        """A value of the working scale in the stream's unit."""
        if self.char.scale == "spread":
            return max(y, 0.0) ** 1.5
        return float(np.exp(y) - LOSS_OFFSET) if self.char.scale == "loss" else y

    def unit_sd(self, sd: float, at: float) -> float:
        """A small difference on the working scale near `at`, in the stream's unit."""
        if self.char.scale == "spread":
            return 1.5 * max(at, 0.0) ** 0.5 * sd
        return float(np.exp(at)) * sd if self.char.scale == "loss" else sd

    def shift(self, change: float, at: float) -> float:
        """A change in the stream's unit from the level `at` (working scale), on the working scale."""
        if self.char.scale == "spread":
            return max(self.unit(at) + change, 0.0) ** (2.0 / 3.0) - at
        if self.char.scale == "loss":
            return float(np.log(max(np.exp(at) + change, 0.05))) - at
        return change


def working(char: Characteristic, points: Points, reference: float | None = None) -> Working:
    """Points on their working scale. reference: the frozen one; None: median of the first points."""
    y = scaled(char, points)
    if reference is None:
        reference = abs(float(np.median(y[:REFERENCE_POINTS]))) or 1.0
    days = points.day.astype("datetime64[D]").astype(int)
    return Working(char, y, points.n, lot_labels(points), flour_labels(points), days, reference)


def scaled(char: Characteristic, points: Points) -> np.ndarray:
    """The values on the characteristic's working scale."""
    if char.scale == "spread":
        freedom = np.maximum(points.n - 1.0, 1.0)
        return np.square(points.value) ** (1.0 / 3.0) / (1.0 - 2.0 / (9.0 * freedom))
    if char.scale == "loss":
        return np.log(np.maximum(points.value + LOSS_OFFSET, 0.05))
    return points.value.astype(float)


def lot_labels(points: Points) -> np.ndarray:
    """Integer labels of the yeast (or flour) lot; where it is not recorded, of the day."""
    names = np.array(points.lot, dtype=object)
    unknown = names == ""
    if unknown.any():
        names[unknown] = "day " + points.day[unknown].astype(str).astype(object)
    return _labels(names)


def flour_labels(points: Points) -> np.ndarray:
    """Integer labels of the flour lot; all one where it is not recorded."""
    return np.zeros(len(points), dtype=int) if points.flour is None else _labels(np.array(points.flour, dtype=object))


def _labels(names: np.ndarray) -> np.ndarray:
    """0, 1, ... in the order in which the names first come."""
    import pandas as pd

    return pd.factorize(names, use_na_sentinel=False)[0].astype(int, copy=False)
