"""Whether water that a paste lost was put back, told by the mixer where the sheet is silent: a drier dough takes more work."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from models.causes.effects import ENERGY_PER_POINT

HALF_PUT_BACK, HALF_SD = 0.5, 0.4
"""Share of a gap that stays where nobody wrote whether it was made good, and its sd. Common practice, no source."""
ENERGY_PER_POINT_SD = 0.01
MIXED_OTHERWISE_SD = 0.02
"""ln of mixing energy that an episode's doughs differ by for themselves where mixing minutes do not say."""
LEAST_GAP, FEWEST = 0.5, 3
NEAR = 3.0
"""Standard errors beyond none or all put back at which the mixer tells of mixing, not of water."""


@dataclass(frozen=True)
class LeftDry:
    """Share of the episode's gap in water that was not put back, with its standard deviation."""

    share: float
    sd: float


UNTOLD = LeftDry(HALF_PUT_BACK, HALF_SD)


def _moved(values: np.ndarray, after: np.ndarray, before: np.ndarray) -> tuple[float, float]:
    a, b = values[after], values[before]
    error = float(b.std(ddof=1)) * np.sqrt(1.5 / len(b) + (1 + 0.1 * len(a)) / len(a))
    return float(a.mean() - b.mean()), error


def left_dry(
    gap: np.ndarray, energy: np.ndarray, minutes: np.ndarray, after: np.ndarray, before: np.ndarray
) -> LeftDry:
    """What the mixer tells of the share not put back. gap: points; energy, minutes: ln over the usual, NaN not recorded.

    after: the episode's doughs whose sheet is silent; before: the baseline's. `UNTOLD` where the mixer tells nothing.
    """
    timed = bool(np.isfinite(minutes[after]).any() and np.isfinite(minutes[before]).any())
    stiff = energy - minutes if timed else energy
    known = np.isfinite(stiff) & np.isfinite(gap)
    after, before = after & known, before & known
    if min(after.sum(), before.sum()) < FEWEST:
        return UNTOLD
    points = float(gap[after].mean() - gap[before].mean())
    if abs(points) < LEAST_GAP:
        return UNTOLD
    more, error = _moved(stiff, after, before)
    error = float(np.hypot(error, 0.0 if timed else MIXED_OTHERWISE_SD))
    seen = -more / (ENERGY_PER_POINT * points)
    sd = float(np.hypot(error / ENERGY_PER_POINT, ENERGY_PER_POINT_SD / ENERGY_PER_POINT * points * HALF_PUT_BACK))
    sd /= abs(points)
    if not -NEAR * sd < seen < 1 + NEAR * sd:
        return UNTOLD
    weight = HALF_SD**2 / (HALF_SD**2 + sd**2)
    share = float(np.clip(HALF_PUT_BACK + weight * (seen - HALF_PUT_BACK), 0.0, 1.0))
    return LeftDry(share, HALF_SD * float(np.sqrt(1 - weight)))
