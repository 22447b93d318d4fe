"""The level and spread a chart compares with: learned as it goes, then chosen once and frozen.

While there are fewer than BATCHES batches or LOTS lots in control, the chart learns: trade values stand in, the level
and the scale are estimated on the way, and gross changes signal all the same. When both are reached and no episode is
on, the baseline is fitted to the batches in control so far, screened once more for single far points, and frozen.
"""

from __future__ import annotations

import hashlib
from datetime import datetime

import numpy as np

from models.charts.characteristics import Characteristic
from models.charts.follow import Known, Raw
from models.charts.innovations import Model
from models.charts.variation import fit
from models.charts.working import REFERENCE_POINTS, Working
from models.shapes import Baseline, Points

BATCHES = 100
LOTS = 8
FAR = 5.0
"""Robust standard deviations from its lot beyond which a single batch is left out of a baseline."""
TRADE_DF = 6.0
"""Degrees of freedom the trade's spread counts for while learning."""


def trade_model(char: Characteristic, work: Working) -> Model:
    """The variation the trade expects, on the working scale, with a level still unknown."""
    factor = _trade_factor(char, work)
    batch, lot, within = (v * factor for v in (char.trade.batch, char.trade.lot, char.trade.within))
    return Model(float(work.y[0]), batch, lot, within, 0.2, 8.0, 20.0 * (batch + lot + within), True, TRADE_DF)


def _trade_factor(char: Characteristic, work: Working) -> float:
    """What a trade value (in the unit, or relative) is multiplied with to stand on the working scale."""
    if char.scale == "loss":
        return 1.0 / float(np.exp(np.median(work.y[:REFERENCE_POINTS])))
    if char.scale == "spread":
        return work.reference * 2.0 / 3.0
    return work.reference if char.trade.relative else 1.0


def frozen_model(char: Characteristic, baseline: Baseline) -> Model:
    """The model a frozen baseline stands for, on the working scale."""
    x = baseline.extra
    return Model(x["level"], x["batch"], x["lot"], x["within"], baseline.phi, x["nu"], x["level_se"], False)


def complete_at(work: Working, episodes: tuple[Raw, ...]) -> int | None:
    """The first index at which enough batches and lots were in control and no episode was on; None: not yet."""
    size = len(work.y)
    on = np.zeros(size, dtype=bool)
    for raw in episodes:
        on[raw.signalled : size if raw.declared is None else raw.declared + 1] = True
    for i in np.flatnonzero(~on):
        if i + 1 < BATCHES:
            continue
        inside = in_control(i + 1, tuple(r for r in episodes if r.signalled <= i))
        if inside.sum() >= BATCHES and len(np.unique(work.lots[: i + 1][inside])) >= LOTS:
            return int(i)
    return None


def in_control(size: int, episodes: tuple[Raw, ...]) -> np.ndarray:
    """Mask of the first `size` batches that lie in no episode."""
    inside = np.ones(size, dtype=bool)
    for raw in episodes:
        inside[raw.began : raw.until + 1] = False
    return inside


def freeze(char: Characteristic, points: Points, work: Working, stop: int, episodes: tuple[Raw, ...]) -> Baseline:
    """The frozen baseline of points[:stop], without the batches of episodes and single far ones."""
    inside = in_control(stop, episodes)
    excluded = [(str(points.keys[i]), "in an episode that signalled while the chart learned") for i in np.flatnonzero(~inside)]
    far = _far(work, inside, stop)
    excluded += [(str(points.keys[i]), f"more than {FAR:g} robust sd from its lot") for i in far]
    inside[far] = False
    keep = np.flatnonzero(inside)
    within = _within(char, points, work, keep)
    ratio = char.trade.lot / char.trade.batch
    found = fit(work.y[keep], work.error_var(within)[keep], work.lots[keep], ratio)
    extra = {
        "level": found.level, "level_se": found.level_se, "batch": found.batch, "lot": found.lot, "within": within,
        "nu": found.nu, "reference": work.reference,
    }
    return _described(points, work, keep, excluded, extra, found.phi, found.sd_rel_se, learning=False)


def learning(char: Characteristic, points: Points, work: Working, known: Known, episodes: tuple[Raw, ...]) -> Baseline:
    """What the chart compares with while it learns: the level so far, the trade's spread scaled by what was seen."""
    model = trade_model(char, work)
    keep = np.flatnonzero(in_control(len(points), episodes))
    keep = keep if len(keep) else np.arange(1)
    scale = known.scale2**0.5
    extra = {
        "level": known.level, "level_se": known.level_var**0.5 * scale, "batch": model.batch * scale,
        "lot": model.lot * scale, "within": model.within * scale, "nu": model.nu, "reference": work.reference,
    }
    excluded = [(str(k), "in an episode") for k in np.delete(points.keys, keep)]
    return _described(points, work, keep, excluded, extra, model.phi, (0.5 / known.scale_df) ** 0.5, learning=True)


def _far(work: Working, inside: np.ndarray, stop: int) -> np.ndarray:
    residual = np.zeros(stop)
    for lot in np.unique(work.lots[:stop][inside]):
        rows = np.flatnonzero(inside & (work.lots[:stop] == lot))
        residual[rows] = work.y[rows] - np.median(work.y[rows])
    scale = 1.4826 * float(np.median(np.abs(residual[inside])))
    return np.flatnonzero(inside & (np.abs(residual) > FAR * scale)) if scale > 0 else np.array([], dtype=int)


def _within(char: Characteristic, points: Points, work: Working, keep: np.ndarray) -> float:
    """Sd of one reading within a batch: pooled where batches carry it, else the trade's."""
    freedom, sd = points.n[keep] - 1.0, points.sd_within[keep]
    known = np.isfinite(sd) & (freedom > 0)
    if known.any() and char.scale == "plain":
        return float(np.sqrt(np.sum(freedom[known] * sd[known] ** 2) / np.sum(freedom[known])))
    return char.trade.within * _trade_factor(char, work)


def _described(points, work, keep, excluded, extra, phi, sd_rel_se, learning: bool) -> Baseline:
    first, last = int(keep[0]), int(keep[-1])
    batches, lots = len(keep), len(np.unique(work.lots[keep]))
    days = len(np.unique(points.day[keep]))
    error = float(np.mean(work.error_var(extra["within"])[keep]))
    sd = (extra["batch"] ** 2 + extra["lot"] ** 2 + error) ** 0.5
    label = "lots" if any(points.lot[keep]) else "days"
    says = f"learning: {batches} batches, {lots} {label} of {LOTS}" if learning else (
        f"{batches} batches on {days} days, {lots} {label}"
    )
    level = extra["level"]
    return Baseline(
        level=work.unit(level), sd=work.unit_sd(sd, level), sd_within=work.unit_sd(extra["within"], level), phi=phi,
        level_se=work.unit_sd(extra["level_se"], level), sd_rel_se=sd_rel_se, first_key=str(points.keys[first]),
        last_key=str(points.keys[last]), first_at=_moment(points.at[first]), last_at=_moment(points.at[last]),
        batches=batches, days=days, lots=lots, excluded=tuple(excluded), fingerprint=_fingerprint(points, keep),
        learning=learning, says=says, extra=extra,
    )


def _moment(at: np.datetime64) -> datetime:
    return at.astype("datetime64[us]").item()


def _fingerprint(points: Points, keep: np.ndarray) -> str:
    text = "\n".join(f"{points.keys[i]}\t{float(points.value[i])!r}" for i in keep)
    return hashlib.sha256(text.encode()).hexdigest()[:16]
