"""One-way analysis of variance and the components of variance it gives.

Sums are taken in deviations and without rounding (math.fsum): on data with many leading digits the textbook formula
that subtracts two large sums loses nearly all of them.
"""

from __future__ import annotations

from collections.abc import Hashable, Iterable
from dataclasses import dataclass
from math import fsum


@dataclass(frozen=True)
class OneWay:
    """Between and within groups: degrees of freedom, sums of squares, mean squares; and what follows from them.

    between_var is the variance component between groups, 0 where the mean squares put it below.
    """

    groups: int
    n: int
    between_ss: float
    within_ss: float
    n0: float

    @property
    def between_df(self) -> int:
        """Groups - 1."""
        return self.groups - 1

    @property
    def within_df(self) -> int:
        """Observations - groups."""
        return self.n - self.groups

    @property
    def between_ms(self) -> float:
        """Mean square between groups."""
        return self.between_ss / self.between_df

    @property
    def within_ms(self) -> float:
        """Mean square within groups: the variance component within."""
        return self.within_ss / self.within_df

    @property
    def f(self) -> float:
        """Ratio of the mean squares."""
        return self.between_ms / self.within_ms

    @property
    def r_squared(self) -> float:
        """Share of the sum of squares that lies between groups."""
        return self.between_ss / (self.between_ss + self.within_ss)

    @property
    def residual_sd(self) -> float:
        """Sd within groups."""
        return self.within_ms**0.5

    @property
    def between_var(self) -> float:
        """Variance component between groups; groups of unequal size by their effective mean size."""
        return max(0.0, (self.between_ms - self.within_ms) / self.n0)


def one_way(groups: Iterable[Hashable], values: Iterable[float]) -> OneWay:
    """Analysis of variance of values in groups. Raises ValueError with fewer than 2 groups or no replicate."""
    sets: dict[Hashable, list[float]] = {}
    for group, value in zip(groups, values, strict=True):
        sets.setdefault(group, []).append(float(value))
    n = sum(map(len, sets.values()))
    if len(sets) < 2 or n == len(sets):
        raise ValueError(f"{len(sets)} groups and {n} values: at least 2 groups and one replicate are needed")
    pivot = next(iter(sets.values()))[0]
    apart = {g: [v - pivot for v in values] for g, values in sets.items()}
    grand = fsum(v for values in apart.values() for v in values) / n
    means = {g: fsum(values) / len(values) for g, values in apart.items()}
    between = fsum(len(apart[g]) * (means[g] - grand) ** 2 for g in apart)
    within = fsum((v - means[g]) ** 2 for g, values in apart.items() for v in values)
    n0 = (n - sum(len(v) ** 2 for v in apart.values()) / n) / (len(apart) - 1)
    return OneWay(len(apart), n, between, within, n0)
