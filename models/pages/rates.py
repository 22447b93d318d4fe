"""How often and how different, with honest intervals: loaves outside the window, and lines held side by side.

Loaves of one day are alike, so the day is the unit that counts, not the loaf.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

_Z95 = 1.959963984540054
MIN_DAYS = 5
ENOUGH_HITS = 10


@dataclass(frozen=True)
class Rate:
    """A share with its 95 % interval. n: loaves, hits: loaves outside, days: clusters they come from."""

    share: float
    low: float
    high: float
    hits: int
    n: int
    days: int

    @property
    def enough(self) -> bool:
        """Whether there are days enough to say anything."""
        return self.days >= MIN_DAYS and self.n > 0


NOTHING = Rate(math.nan, math.nan, math.nan, 0, 0, 0)


@dataclass(frozen=True)
class Difference:
    """A difference with its interval; `clear` where the interval leaves zero out."""

    value: float
    low: float
    high: float
    n: int

    @property
    def clear(self) -> bool:
        """Whether the interval leaves zero out."""
        return self.low > 0 or self.high < 0


def rate(hits: Sequence[int], sizes: Sequence[int], z: float = _Z95, alike: float = 1.0) -> Rate:
    """Share of loaves outside the window from each day's counts (hits of sizes), Wilson interval, 95 % at z 1.96.

    The interval is that of as many independent loaves as these are worth: n over the design effect. From
    `ENOUGH_HITS` on that is the variance between days over that of independent loaves, never below 1; with fewer
    it is reckoned from how alike the loaves of one day are (`alike`, 0 to 1, see `likeness`; 1: every day counts once).
    """
    n, total, days = sum(sizes), sum(hits), sum(1 for size in sizes if size)
    if not n:
        return NOTHING
    share = total / n
    effect = 1 + (n / days - 1) * alike
    if not few(hits, sizes):
        effect = _design_effect(hits, sizes, share)
    low, high = wilson(share, max(n / effect, 1.0), z)
    return Rate(share, low, high, total, n, days)


def few(hits: Sequence[int], sizes: Sequence[int]) -> bool:
    """Whether there are too few loaves outside, or too few within, for the days to show how alike their loaves are."""
    return min(sum(hits), sum(sizes) - sum(hits)) < ENOUGH_HITS


@dataclass(frozen=True)
class Summed:
    """Values of one group: how many, their sum and that of their squares, in whole numbers of some unit: exact sums."""

    n: int
    total: int
    squares: int


def likeness(groups: Sequence[Summed]) -> float:
    """How alike the values of one group are, 0 to 1: the share of the variance that lies between groups.

    The analysis-of-variance estimate of the intraclass correlation (Fisher; from memory); 1 with too few groups.
    For whether a value lies beyond a limit the true likeness is smaller, so intervals made with it are wide enough.
    """
    used = [group for group in groups if group.n]
    n, k, total = sum(group.n for group in used), len(used), sum(group.total for group in used)
    if k < 2 or n <= k:
        return 1.0
    off = [(group.total * n - total * group.n) / (group.n * n) for group in used]
    between = math.fsum(group.n * mean**2 for group, mean in zip(used, off, strict=True)) / (k - 1)
    within = math.fsum((group.n * group.squares - group.total**2) / group.n for group in used) / (n - k)
    size = (n - sum(group.n**2 for group in used) / n) / (k - 1)
    whole = between + (size - 1) * within
    return min(1.0, max(0.0, (between - within) / whole)) if whole > 0 else 1.0


def _design_effect(hits: Sequence[int], sizes: Sequence[int], share: float) -> float:
    """Linearised variance of a ratio over clusters against the binomial one (after Cochran, from memory)."""
    used = [(y, m) for y, m in zip(hits, sizes, strict=True) if m]
    n, k = sum(m for _, m in used), len(used)
    if k < 2:
        return float(n)
    between = k / (k - 1) * sum((y - share * m) ** 2 for y, m in used) / n**2
    return max(1.0, between / (share * (1 - share) / n))


def wilson(share: float, n: float, z: float = _Z95) -> tuple[float, float]:
    """Wilson's score interval of a share of n independent trials (n need not be whole)."""
    middle = (share + z * z / (2 * n)) / (1 + z * z / n)
    half = z / (1 + z * z / n) * math.sqrt(share * (1 - share) / n + z * z / (4 * n * n))
    return max(0.0, middle - half), min(1.0, middle + half)


def rate_difference(after: Rate, before: Rate) -> Difference:
    """after less before, with the interval that combines both score intervals (Newcombe's hybrid; from memory)."""
    value = after.share - before.share
    low = value - math.hypot(after.share - after.low, before.high - before.share)
    high = value + math.hypot(after.high - after.share, before.share - before.low)
    return Difference(value, low, high, after.n + before.n)


def paired_difference(first: dict, second: dict, comparisons: int = 1) -> Difference | None:
    """Mean of second less first over the days both have, with a t interval (95 % over all `comparisons` together).

    first, second: day -> value. None with fewer than `MIN_DAYS` days in common: a day's lots and flour are the
    same for both, so only days with both tell anything.
    """
    from scipy.special import stdtrit

    days = sorted(set(first) & set(second))
    if len(days) < MIN_DAYS:
        return None
    gaps = [second[day] - first[day] for day in days]
    k = len(gaps)
    mean = math.fsum(gaps) / k
    sd = math.sqrt(math.fsum((gap - mean) ** 2 for gap in gaps) / (k - 1))
    half = float(stdtrit(k - 1, 1 - 0.025 / comparisons)) * sd / math.sqrt(k)
    return Difference(mean, mean - half, mean + half, k)


def mean_interval(values: Sequence[float]) -> Difference | None:
    """Mean with its 95 % t interval; None for fewer than `MIN_DAYS` values."""
    return paired_difference(dict.fromkeys(range(len(values)), 0.0), dict(enumerate(values)))
