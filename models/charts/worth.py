"""What a level and its spread are worth: loaves per 1000 outside the product's specific-volume window.

Each batch counts with its own level, drawn towards the mean by as much as its few loaves blur it, and the spread of
loaves within a batch about it; the share outside is averaged over the batches. The 90 % interval comes from drawing
whole lots again (2000 draws, fixed seed), because batches of one lot are alike, with the within-batch sd drawn too.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.polynomial.chebyshev import chebvander

from models.charts.characteristics import characteristic
from models.charts.working import lot_labels
from models.shapes import Charted
from models.texts import texts

LEAST_BATCHES = 30
LEAST_LOTS = 4
_DRAWS = 2000
_TOGETHER = 200  # draws that are worked out at once
_SEED = 20260406


@dataclass(frozen=True)
class Worth:
    """Loaves per 1000 outside the window with a 90 % interval, or why there is none; `says` is the sentence."""

    state: Literal["known", "not enough data", "unstable", "no window"]
    per_1000: float | None
    low: float | None
    high: float | None
    batches: int
    loaves: int
    says: str


def worth(charted: Charted, window: tuple[float, float] | None, since: np.datetime64 | None = None) -> Worth:
    """Loaves per 1000 outside `window` (mL/g), from the points since `since` (None: all).

    charted: a chart of specific volume. Nothing is said from too few batches or lots, without a known spread within
    batches, or from an unstable stretch (an episode in it).
    """
    if characteristic(charted.stream).name != "specific volume":
        raise ValueError(f"{charted.stream.characteristic} has no window; only specific volume has one")
    points = charted.points
    first = 0 if since is None else int(np.searchsorted(points.at, since))
    chosen = np.arange(first, len(points))
    batches, loaves = len(chosen), int(points.n[chosen].sum())
    t = texts("curve")["worth"]
    if window is None:
        return Worth("no window", None, None, None, batches, loaves, t["no_window"])
    freedom, sd = points.n[chosen] - 1.0, points.sd_within[chosen]
    known = np.isfinite(sd) & (freedom > 0)
    lots = lot_labels(points)[chosen]
    if batches < LEAST_BATCHES or len(np.unique(lots)) < LEAST_LOTS or freedom[known].sum() < LEAST_BATCHES:
        many = len(np.unique(lots))
        says = t["too_few"].format(batches=batches, enough=LEAST_BATCHES, lots=many, enough_lots=LEAST_LOTS)
        return Worth("not enough data", None, None, None, batches, loaves, says)
    if any(e.until >= first for e in charted.episodes):
        return Worth("unstable", None, None, None, batches, loaves, t["unstable"])
    within = float(np.sqrt(np.sum(freedom[known] * sd[known] ** 2) / freedom[known].sum()))
    share, low, high = _interval(points.value[chosen], points.n[chosen], within, freedom[known].sum(), lots, window)
    share, low, high = 1000 * share, 1000 * low, 1000 * high
    bounds = {"window_low": window[0], "window_high": window[1], "low": low, "high": high}
    says = t["known"].format(share=share, **bounds, batches=batches, loaves=loaves)
    return Worth("known", share, low, high, batches, loaves, says)


def _interval(value, n, within, freedom, lots, window) -> tuple[float, float, float]:
    rng = np.random.default_rng(_SEED)
    _, lot = np.unique(lots, return_inverse=True)
    many = int(lot.max()) + 1
    drawn, chance = rng.integers(many, size=(_DRAWS, many)), rng.chisquare(freedom, size=_DRAWS)
    of_draw = drawn + many * np.arange(_DRAWS)[:, None]
    times = np.bincount(of_draw.ravel(), minlength=_DRAWS * many).reshape(_DRAWS, many).astype(float)
    spread = within * np.sqrt(freedom / chance)
    once = np.ones((1, many))
    share = float(_outside(value, n, np.array([within]), lot, once, window)[0])
    low, high = np.quantile(_outside(value, n, spread, lot, times, window), [0.05, 0.95])
    return share, float(min(low, share)), float(max(high, share))


def _outside(value, n, within, lot, times, window) -> np.ndarray:
    """Mean chance of a loaf outside the window over the batches, for each draw.

    within: the spread of loaves of each draw; lot: each batch's, counted from 0; times: draws x lots, how often a lot
    was drawn.
    """
    off = value - value.mean()
    size, first, second, own = (times @ np.bincount(lot, part) for part in (np.ones(len(lot)), off, off**2, 1.0 / n))
    mean = first / size
    total = np.maximum(second / size - mean**2, 0.0)
    kept = np.maximum(total - within**2 * own / size, 0.0)
    keep = np.divide(kept, total, out=np.zeros_like(total), where=total > 0) ** 0.5
    places, weights = _places(off, lot, float(within.min()))
    found = np.zeros(len(times))
    for some in np.array_split(np.arange(len(times)), -(-len(times) // _TOGETHER)):
        level = value.mean() + mean[some] + keep[some] * (places[:, None] - mean[some])
        found[some] = np.sum((times[some] @ weights).T * _beyond(level, within[some], window), axis=0)
    return found / size


def _places(off, lot, within: float) -> tuple[np.ndarray, np.ndarray]:
    """Where the chance is worked out, and how much each place weighs for each lot (lots x places).

    Every draw bends the chance differently, but always smoothly: so its sum over a lot's batches is that of the
    polynomial through it at Chebyshev's places, whose weights are the same in every draw. With eight places to a spread
    within batches, and the 24 beside, what is left out is less than 1e-12. Fewer batches than that are their own places.
    """
    mine = (np.arange(lot.max() + 1)[:, None] == lot).astype(float)
    low, high = off.min(), off.max()
    half = (high - low) / 2
    many = 24 + 8 * int(np.ceil(half / within))
    if many >= len(off):
        return off, mine
    places = np.cos(np.pi * (np.arange(many) + 0.5) / many)
    terms = chebvander(places, many - 1) * 2 / many
    terms[:, 0] /= 2
    here = chebvander((off - (low + high) / 2) / (half or 1.0), many - 1)
    return (low + high) / 2 + half * places, mine @ here @ terms.T


def _beyond(level, within, window) -> np.ndarray:
    from scipy.special import ndtr

    return ndtr((window[0] - level) / within) + ndtr((level - window[1]) / within)
