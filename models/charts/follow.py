"""The chart run forward in time: signal, onset, end, and a clean restart.

Nothing here looks ahead: the index at which an episode signals depends on the points up to it only, so it never moves
when later points come. When an episode is over the filter starts afresh at the first batch that was back.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from models.charts.innovations import Known, Model, Series, filtered
from models.charts.scan import onset_evidence, scan

BACK = 5.0
"""Log likelihood ratio, back at the level against still off, at which an episode is over."""
STAYED = 3
"""Batches that must at least have been back."""
SHARPEN = 40
"""Batches after the signal that still sharpen where it began."""
ONSETS = 600
"""Onsets up to this many batches before the signal are weighed."""
SIZE = 1.5
"""Sd of the step's prior, in sd of an innovation."""
_BLOCK = 512


@dataclass(frozen=True)
class Raw:
    """An episode on the working scale; indices into the series.

    declared: when it was seen to be over (None: on); settled: over because a learning chart took its level up.
    """

    direction: int
    signalled: int
    lag: int
    began: int
    began_low: int
    began_high: int
    until: int
    declared: int | None
    level: float
    level_se: float
    settled: bool = False


@dataclass(frozen=True)
class Followed:
    """Episodes in order, the largest score at every batch, and what is known at the end."""

    episodes: tuple[Raw, ...]
    statistic: np.ndarray
    known: Known


def follow(series: Series, model: Model, limits: np.ndarray, start: int, stop: int, quiet: int = 0) -> Followed:
    """Chart series[start:stop]. limits: the boundary by window length; quiet: first batches that cannot signal."""
    known = Known(model.level, model.level_se**2, model.scale2, model.scale_df)
    statistic, episodes = np.zeros(stop - start), list[Raw]()
    pos = start
    while pos < stop:
        hit, v, scores = _first_hit(series, model, limits, pos, stop, known, start + quiet)
        last = stop if hit is None else pos + hit + 1
        statistic[pos - start : last - start] = scores[: last - pos]
        if hit is None:
            return Followed(tuple(episodes), statistic, v.known(stop - pos - 1))
        episode, known = _track(series, model, v, pos + hit, stop, known)
        episodes.append(episode)
        resume = stop if episode.declared is None else episode.until + 1
        statistic[pos + hit - start : resume - start] = statistic[pos + hit - start]
        pos = resume
    return Followed(tuple(episodes), statistic, known)


def _first_hit(series, model, limits, pos, stop, known, earliest):
    """The first batch from `pos` that signals (None: none), looking at longer and longer stretches."""
    block = _BLOCK
    level_se = 0.0 if model.learns else model.level_se
    while True:
        end = min(stop, pos + block)
        v = filtered(series, model, pos, end, known)
        found = scan(v, limits, level_se)
        over = found.excess > 0
        over[: max(earliest - pos, 0)] = False
        if over.any():
            return int(np.argmax(over)), v, found.score
        if end == stop:
            return None, v, found.score
        block *= 4


def _track(series, model, v, signal, stop, known):
    """One episode from its signal on, and what is known of the level where the filter starts again."""
    pos = v.start
    unit2 = (SIZE / float(v.root[signal - pos])) ** 2
    level_se = 0.0 if model.learns else model.level_se
    evidence = onset_evidence(v, signal - pos, ONSETS, level_se)
    lag = int(np.argmax(_log_weight(*evidence, unit2)))
    began, sign = signal - lag, 1 if evidence[0][lag] > 0 else -1
    before = v.known(began - pos)
    deviation = series.y - before.level
    until, declared = _end(deviation, series.error_var, model, before.scale2, began, signal, sign, stop)
    sharp = min(until, signal + SHARPEN)
    if sharp > signal:
        v = filtered(series, model, pos, sharp + 1, known, hold=began)
        evidence = onset_evidence(v, sharp - pos, ONSETS + sharp - signal, level_se)
    low, best, high = _onset(evidence, unit2, sharp, sign, signal)
    return Raw(sign, signal, lag, best, low, high, until, declared, before.level, before.level_var**0.5), before


def _log_weight(nums, dens, variances, unit2):
    """Log posterior weight of every onset, the size of the step integrated out under a normal prior.

    nums, dens, variances: as from onset_evidence. unit2: variance of the prior, (SIZE sd of an innovation)^2: small
    steps are likelier than large ones.
    """
    moved = unit2 * dens**2 / (variances + 1e-300)
    return 0.5 * nums**2 / (variances + 1e-300) * moved / (1.0 + moved) - 0.5 * np.log1p(moved)


def _onset(evidence, unit2, at, sign, signal):
    """Most likely onset and the bounds of its central 90 % interval, as indices."""
    log_weight = np.where(np.sign(evidence[0]) == sign, _log_weight(*evidence, unit2), -np.inf)
    log_weight[: at - signal] = -np.inf
    if not np.isfinite(log_weight.max()):
        return signal, signal, signal
    weight = np.exp(log_weight - log_weight.max())
    cumulated = np.cumsum(weight / weight.sum())
    latest = int(np.searchsorted(cumulated, 0.05))
    earliest = int(np.searchsorted(cumulated, 0.95))
    return at - earliest, at - int(np.argmax(weight)), at - latest


def _end(d, error_var, model, scale2, began, signal, sign, stop):
    """Last batch of the episode so far, and the index at which its end was seen (None: still on)."""
    spread = model.batch**2 * (1 + model.phi) / (1 - model.phi) + model.lot**2 + model.flour**2
    total, count = float(d[began : signal + 1].sum()), signal + 1 - began
    evidence, back = 0.0, signal + 1
    for i in range(signal + 1, stop):
        shift = total / count
        if shift * sign <= 0:
            shift = sign * 0.25 * spread**0.5
        variance = (spread + error_var[i]) * scale2
        evidence += shift * (0.5 * shift - d[i]) / variance
        if evidence <= 0:
            evidence, back = 0.0, i + 1
            total, count = float(d[began : i + 1].sum()), i + 1 - began
        elif evidence > BACK and i + 1 - back >= STAYED:
            return back - 1, i
    return stop - 1, None
