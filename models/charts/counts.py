"""Charts for proportions and counts, with limits made for them.

Loaves outside the window out of those measured, rows quarantined out of those received, faults in a shift. Limits are
quantiles of the binomial or Poisson distribution, so they are never below zero and the chance beyond them is what was
asked for; where groups differ more than that from one another, the spread between groups is estimated and the
limits are those of the wider (beta-binomial, negative binomial) distribution. What lasts is found by the same scan as
on every other chart, over the normal score of each count's middle probability.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from models.charts.boundary import boundary
from models.charts.innovations import Model, Series, filtered
from models.charts.scan import scan


@dataclass(frozen=True)
class CountChart:
    """level: proportion, or count per unit of exposure; lower, upper: limits of each group's count, both inside.

    beyond: groups outside them; lasting: first group at which the scan signals (None: none); spread: relative sd of
    the level between groups beyond what counting explains.
    """

    level: float
    spread: float
    lower: np.ndarray
    upper: np.ndarray
    beyond: tuple[int, ...]
    lasting: int | None


def counted(
    counts: np.ndarray, sizes: np.ndarray, *, proportion: bool, arl0: float, baseline: int | None = None
) -> CountChart:
    """Chart counts out of sizes (proportion) or over exposures.

    arl0: in-control average run length in groups. baseline: the first groups that set the level (None: all).
    Raises ValueError where nothing was counted, or a count exceeds its size in a proportion.
    """
    counts, sizes = np.asarray(counts, dtype=float), np.asarray(sizes, dtype=float)
    if not len(counts) or (sizes <= 0).any() or (proportion and (counts > sizes).any()):
        raise ValueError("every group needs a size above 0, and no more counted than there are")
    own, whole = counts[:baseline], sizes[:baseline]
    level = float((own.sum() + 0.5) / (whole.sum() + 1.0))
    spread = _extra_spread(own, whole, level, proportion)
    share = 0.5 / arl0
    lower, upper = _quantiles(share, sizes, level, spread, proportion)
    beyond = np.flatnonzero((counts < lower) | (counts > upper))
    found = scan(_scores(counts, sizes, level, spread, proportion), boundary(arl0, 100))
    lasting = np.flatnonzero(found.excess > 0)
    return CountChart(level, spread, lower, upper, tuple(map(int, beyond)), int(lasting[0]) if len(lasting) else None)


def _extra_spread(counts, sizes, level, proportion) -> float:
    """Relative sd of the level between groups beyond counting, by moments; 0 where counting explains it all."""
    if len(counts) < 8:
        return 0.0
    unit = level * (1.0 - level) if proportion else level
    expected = sizes * unit
    excess = float(np.sum((counts - sizes * level) ** 2 - expected))
    noise = 1.65 * float(np.sqrt(2.0 * np.sum(expected**2)))
    scale = float(np.sum(sizes * (sizes - 1.0) if proportion else sizes**2)) * level**2
    return (excess / scale) ** 0.5 if excess > noise and scale > 0 else 0.0


def _law(sizes, level, spread, proportion):
    """The distribution of each group's count, spread between groups included, and its parameters."""
    from scipy import stats

    if proportion:
        if spread <= 0:
            return stats.binom, (sizes.astype(int), level)
        strength = max((1.0 - level) / (level * spread**2) - 1.0, 0.1)
        return stats.betabinom, (sizes.astype(int), level * strength, (1.0 - level) * strength)
    if spread <= 0:
        return stats.poisson, (level * sizes,)
    shape = 1.0 / spread**2
    return stats.nbinom, (shape, shape / (shape + level * sizes))


def _quantiles(share, sizes, level, spread, proportion) -> tuple[np.ndarray, np.ndarray]:
    law, of = _law(sizes, level, spread, proportion)
    return np.asarray(law.ppf(share, *of), dtype=float), np.asarray(law.isf(share, *of), dtype=float)


def _scores(counts, sizes, level, spread, proportion):
    """Normal scores of the counts' middle probabilities, as the scan takes them."""
    from scipy.special import ndtri

    law, of = _law(sizes, level, spread, proportion)
    middle = law.cdf(counts, *of) - 0.5 * law.pmf(counts, *of)
    score = ndtri(np.clip(middle, 1e-12, 1.0 - 1e-12))
    size = len(score)
    alike = np.zeros(size, dtype=int)
    return filtered(Series(score, np.zeros(size), alike, alike), Model(0.0, 1.0, 0.0, 0.0, 0.0, 0.0, 1e9, 0.0, False))
