"""The level and spread a chart compares with: learned as it goes, then chosen once and frozen.

While there are fewer than BATCHES batches or LOTS lots in control, the chart learns (models.charts.learn): trade values
stand in, the level and the scale are estimated on the way, and gross changes signal all the same. When the stretch is
complete, the baseline is fitted to its batches in control, screened once more for single far points, and frozen.
"""

from __future__ import annotations

import hashlib
from dataclasses import replace
from datetime import datetime

import numpy as np

from models.charts.characteristics import Characteristic, characteristic
from models.charts.innovations import LEAST_SCALE2, Known, Model, Series
from models.charts.learn import BATCHES, LOTS, Learned, in_control
from models.charts.variation import PHI_MEAN, Trade, fit
from models.charts.working import REFERENCE_POINTS, Working, scaled, working
from models.shapes import Baseline, Points, Stream
from models.texts import texts

FAR = 5.0
"""Robust standard deviations from its lot beyond which a single batch is left out of a baseline."""
TRADE_DF = 6.0
"""Degrees of freedom the trade's spread counts for while learning."""
TRADE_NU = 8.0
TRADE_STAY = 0.9
"""Correlation of a lot's effect from day to day while learning (common practice, no source)."""


def trade_model(char: Characteristic, work: Working) -> Model:
    """The variation the trade expects, on the working scale, with a level still unknown."""
    t, factor = char.trade, _trade_factor(char, work)
    batch, lot, flour, within = (v * factor for v in (t.batch, t.lot, t.flour, t.within))
    wide = 20.0 * (batch + lot + flour + within)
    return Model(float(work.y[0]), batch, lot, flour, within, PHI_MEAN, TRADE_NU, wide, True, 1.0, TRADE_DF, TRADE_STAY)


def _trade_factor(char: Characteristic, work: Working) -> float:
    """What a trade value (in the unit, or relative) is multiplied with to stand on the working scale."""
    if char.scale == "loss":
        return 1.0 / float(np.exp(np.median(work.y[:REFERENCE_POINTS])))
    if char.scale == "spread":
        return work.reference * 2.0 / 3.0
    return work.reference if char.trade.relative else 1.0


def frozen_model(baseline: Baseline) -> Model:
    """The model a baseline stands for, on the working scale."""
    x = baseline.extra
    return Model(
        x["level"],
        x["batch"],
        x["lot"],
        x["flour"],
        x["within"],
        baseline.phi,
        x["nu"],
        x["level_se"],
        False,
        x["scale2"],
        stay=x.get("stay", 1.0),
    )


def freeze(char: Characteristic, points: Points, work: Working, learned: Learned) -> Baseline:
    """The frozen baseline of a complete stretch, without the batches of episodes and single far ones."""
    assert learned.done is not None
    stop = learned.done + 1
    inside = in_control(learned.start, stop, learned.episodes)
    reasons = _reasons(learned, inside, texts("curve")["baseline"]["while_learning"])
    far = _far(work, inside)
    reasons |= {i: texts("curve")["baseline"]["far"].format(sds=FAR) for i in far}
    inside[far] = False
    keep = np.flatnonzero(inside)
    within = _within(char, points, work, keep)
    model, sd_rel_se = fit(_part(work.series(within), keep), _ratios(char), within)
    least = char.trade.batch * _trade_factor(char, work) * (LEAST_SCALE2 / model.scale2) ** 0.5
    model = replace(model, batch=max(model.batch, least))
    return _described(points, work, learned.start, stop, keep, reasons, model, sd_rel_se, learning=False)


def chosen(stream: Stream, points: Points, first_key: str, last_key: str) -> Baseline:
    """The baseline a person sets, extends or restarts: fitted to points[first_key..last_key], screened for far batches.

    Raises ValueError where a key is not among the points, or the stretch has fewer than 8 points.
    """
    keys = [str(k) for k in points.keys]
    missing = [k for k in (first_key, last_key) if k not in keys]
    if missing:
        raise ValueError(f"{', '.join(missing)} is not among the {len(keys)} batches charted")
    start, done = keys.index(first_key), keys.index(last_key)
    if done + 1 - start < REFERENCE_POINTS:
        raise ValueError(f"{first_key} to {last_key} are too few batches; at least {REFERENCE_POINTS} are needed")
    char = characteristic(stream)
    reference = abs(float(np.median(scaled(char, points)[start : done + 1]))) or 1.0
    known = Known(0.0, 0.0, 1.0, 1.0)
    work = working(char, points, reference)
    return freeze(char, points, work, Learned(start, done, (), np.zeros(done + 1), known))


def row_changed(baseline: Baseline, points: Points) -> bool:
    """Whether a batch that a frozen baseline was made of has other values now, or is gone. The baseline itself stays."""
    if baseline.learning:
        return False
    ends = [np.flatnonzero(points.keys == key)[:1] for key in (baseline.first_key, baseline.last_key)]
    if not all(map(len, ends)):
        return True
    left_out = {key for key, _ in baseline.excluded}
    inside = np.arange(ends[0][0], ends[1][0] + 1)
    kept = np.array([str(key) not in left_out for key in points.keys[inside]], dtype=bool)
    return _fingerprint(points, inside[kept]) != baseline.fingerprint


def learning(char: Characteristic, points: Points, work: Working, learned: Learned) -> Baseline:
    """What the chart compares with while it learns: the level so far, the trade's spread scaled by what was seen."""
    t, known = trade_model(char, work), learned.known
    level_se = (known.level_var * known.scale2) ** 0.5
    model = replace(t, level=known.level, level_se=level_se, learns=False, scale2=known.scale2, scale_df=known.scale_df)
    inside = in_control(learned.start, len(points), learned.episodes)
    reasons = _reasons(learned, inside, texts("curve")["baseline"]["in_episode"])
    keep = np.flatnonzero(inside) if inside.any() else np.array([learned.start])
    sd_rel_se = (0.5 / known.scale_df) ** 0.5
    return _described(points, work, learned.start, len(points), keep, reasons, model, sd_rel_se, learning=True)


def _reasons(learned: Learned, inside: np.ndarray, episode: str) -> dict[int, str]:
    moved = texts("curve")["baseline"]["moved"]
    return {int(i): moved if i < learned.start else episode for i in np.flatnonzero(~inside)}


def _part(series: Series, keep: np.ndarray) -> Series:
    assert series.days is not None
    return Series(*(part[keep] for part in (series.y, series.error_var, series.lots, series.flours, series.days)))


def _ratios(char: Characteristic) -> Trade:
    return Trade(char.trade.lot / char.trade.batch, char.trade.flour / char.trade.batch)


def _far(work: Working, inside: np.ndarray) -> np.ndarray:
    """Indices of single batches far from the median of their lot."""
    residual = np.zeros(len(inside))
    for lot in np.unique(work.lots[: len(inside)][inside]):
        rows = np.flatnonzero(inside & (work.lots[: len(inside)] == lot))
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


def _described(points, work, start, stop, keep, reasons, model: Model, sd_rel_se, learning: bool) -> Baseline:
    """The baseline in the stream's unit; what the chart works with goes into `extra`, on the working scale."""
    scale = model.scale2**0.5
    error = float(np.mean(work.error_var(model.within)[keep]))
    sd = scale * (model.batch**2 + model.lot**2 + model.flour**2 + error) ** 0.5
    extra = {
        "level": model.level,
        "level_se": model.level_se,
        "batch": model.batch,
        "lot": model.lot,
        "flour": model.flour,
        "within": model.within,
        "nu": model.nu,
        "stay": model.stay,
        "scale2": model.scale2,
        "reference": work.reference,
    }
    lots, days = len(np.unique(work.lots[keep])), len(np.unique(points.day[keep]))
    return Baseline(
        level=work.unit(model.level),
        sd=work.unit_sd(sd, model.level),
        sd_within=work.unit_sd(scale * model.within, model.level),
        phi=model.phi,
        level_se=work.unit_sd(model.level_se, model.level),
        sd_rel_se=sd_rel_se,
        first_key=str(points.keys[start]),
        last_key=str(points.keys[stop - 1]),
        first_at=_moment(points.at[start]),
        last_at=_moment(points.at[stop - 1]),
        batches=len(keep),
        days=days,
        lots=lots,
        excluded=tuple((str(points.keys[i]), reasons[i]) for i in sorted(reasons)),
        fingerprint=_fingerprint(points, keep),
        learning=learning,
        says=_says(points, keep, lots, days, learning),
        extra=extra,
    )


def _says(points: Points, keep: np.ndarray, lots: int, days: int, learning: bool) -> str:
    t, by_lots = texts("curve")["baseline"], any(points.lot[keep])
    if learning:
        said = t["learning_by_lots"] if by_lots else t["learning_by_days"]
        return said.format(n=min(len(keep), BATCHES), enough=BATCHES, lots=min(lots, LOTS), enough_lots=LOTS)
    return (t["made_of_lots"] if by_lots else t["made_of"]).format(n=len(keep), days=days, lots=lots)


def _moment(at: np.datetime64) -> datetime:
    return at.astype("datetime64[us]").item()


def _fingerprint(points: Points, keep: np.ndarray) -> str:
    text = "\n".join(f"{points.keys[i]}\t{float(points.value[i])!r}" for i in keep)
    return hashlib.sha256(text.encode()).hexdigest()[:16]
