"""Constants of the charts for subgroups of normal observations, computed from their definitions.

d2, d3: mean and sd of the range of n standard normal observations; c4: mean of their sample sd. The others follow:
A2, A3, B3, B4, D3, D4, E2 as in ASTM E2587 and ISO 7870-2.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from math import exp, lgamma, sqrt

import numpy as np

_REACH = 9.0
_NODES = 240


@dataclass(frozen=True)
class Constants:
    """Chart constants for subgroups of n."""

    n: int
    d2: float
    d3: float
    c4: float

    @property
    def a2(self) -> float:
        """Mean +- a2 * mean range."""
        return 3.0 / (self.d2 * sqrt(self.n))

    @property
    def a3(self) -> float:
        """Mean +- a3 * mean sd."""
        return 3.0 / (self.c4 * sqrt(self.n))

    @property
    def b3(self) -> float:
        """Lower limit of the sd, times the mean sd."""
        return max(0.0, 1.0 - 3.0 * sqrt(1.0 - self.c4**2) / self.c4)

    @property
    def b4(self) -> float:
        """Upper limit of the sd, times the mean sd."""
        return 1.0 + 3.0 * sqrt(1.0 - self.c4**2) / self.c4

    @property
    def d3_limit(self) -> float:
        """D3: lower limit of the range, times the mean range."""
        return max(0.0, 1.0 - 3.0 * self.d3 / self.d2)

    @property
    def d4_limit(self) -> float:
        """D4: upper limit of the range, times the mean range."""
        return 1.0 + 3.0 * self.d3 / self.d2

    @property
    def e2(self) -> float:
        """Individuals: mean +- e2 * mean moving range of n."""
        return 3.0 / self.d2


@lru_cache
def constants(n: int) -> Constants:
    """Constants for subgroups of n >= 2. Raises ValueError below."""
    if n < 2:
        raise ValueError(f"a subgroup of {n} has no range; it is at least 2")
    mean, square = _range_moments(n)
    c4 = sqrt(2.0 / (n - 1)) * exp(lgamma(n / 2.0) - lgamma((n - 1) / 2.0))
    return Constants(n, mean, sqrt(square - mean**2), c4)


def _range_moments(n: int) -> tuple[float, float]:
    """E R and E R^2: integrals over the joint chance that the smallest exceeds x and the largest stays below y."""
    from scipy.special import ndtr

    nodes, weights = np.polynomial.legendre.leggauss(_NODES)
    x, wx = _REACH * nodes, _REACH * weights
    below = ndtr(x)
    mean = float(wx @ (1.0 - below**n - ndtr(-x) ** n))
    half = 0.5 * (_REACH - x)
    y = x[:, None] + half[:, None] * (nodes[None, :] + 1.0)
    inner = 1.0 - ndtr(y) ** n - ndtr(-x)[:, None] ** n + (ndtr(y) - below[:, None]) ** n
    return mean, float(2.0 * wx @ (half * (inner @ weights)))
