"""Chance that is the same on every machine: PCG64's raw numbers, turned into draws by plain arithmetic.

The methods of numpy's Generator may change their streams between releases; the raw numbers do not.
"""

from __future__ import annotations

import math
from statistics import NormalDist
from zlib import crc32

import numpy as np

_NORMAL = NormalDist()


class Chance:
    """Draws for one thing (a dough, a lot ...), independent of every other thing's draws."""

    def __init__(self, seed: int, *name: object) -> None:
        key = crc32("/".join(map(str, name)).encode())
        self._raw = np.random.PCG64(np.random.SeedSequence([seed, key]))

    def uniform(self, low: float = 0.0, high: float = 1.0) -> float:
        """A number between low and high, ends excluded."""
        part = ((int(self._raw.random_raw()) >> 11) + 0.5) * 2.0**-53
        return low + (high - low) * part

    def normal(self, mean: float = 0.0, sd: float = 1.0, within: float = 4.0) -> float:
        """A normal draw, kept within so many sd of the mean."""
        z = _NORMAL.inv_cdf(self.uniform())
        return mean + sd * max(-within, min(within, z))

    def lognormal(self, median: float, sd: float) -> float:
        """A right-skewed draw; sd is of its logarithm."""
        return median * math.exp(self.normal(0.0, sd, within=2.3))

    def happens(self, probability: float) -> bool:
        """True so often."""
        return self.uniform() < probability
