"""The chart run forward in time: signal, onset, end, and a clean restart.

Nothing here looks ahead: the index at which an episode signals depends on the points up to it only, so it never moves
when later points come. When an episode is over the filter starts afresh at the first batch that was back.
"""

from __future__ import annotations

from collections.abc import Generator, Sequence
from dataclasses import dataclass
from typing import TypeVar

import numpy as np

from models.charts.innovations import Known, Model, Place, Series, filtered
from models.charts.scan import Asked, Scan, onset_evidence, scan_all

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
class Progress:
    """How far a chart with a frozen baseline has come, so that later points go on from here.

    start: where the filter last started afresh; scanned: the first batch not yet known to be quiet; place: where the
    filter stood far enough before it (None: at `start`); episodes: those that are over.
    """

    start: int
    scanned: int
    place: Place | None
    episodes: tuple[Raw, ...]


@dataclass(frozen=True)
class Followed:
    """Episodes in order, the largest score at every batch (NaN: scanned earlier), and what is known at the end."""

    episodes: tuple[Raw, ...]
    statistic: np.ndarray
    known: Known
    progress: Progress


T = TypeVar("T")
Scanning = Generator[Asked, Scan, T]
"""Work that asks for a stretch to be scanned, goes on with what was found, and returns what comes of it."""


def together(works: Sequence[Scanning[T]]) -> list[T]:
    """What comes of each; what they ask for at a time is scanned side by side."""
    done: dict[int, T] = {}
    answers: dict[int, Scan | None] = dict.fromkeys(range(len(works)))
    while answers:
        asked: dict[int, Asked] = {}
        for number, answer in answers.items():
            try:
                asked[number] = next(works[number]) if answer is None else works[number].send(answer)
            except StopIteration as over:
                done[number] = over.value
        answers = dict(zip(asked, scan_all(list(asked.values())), strict=True))
    return [done[number] for number in range(len(works))]


def follow(
    series: Series,
    model: Model,
    limits: np.ndarray,
    start: int,
    stop: int,
    quiet: int = 0,
    since: Progress | None = None,
) -> Followed:
    """Chart series[start:stop]. limits: the boundary by window length; quiet: first batches that cannot signal.

    since: how far an earlier chart of the same first points came, of a model that does not learn.
    """
    return together([following(series, model, limits, start, stop, quiet, since)])[0]


def following(
    series: Series,
    model: Model,
    limits: np.ndarray,
    start: int,
    stop: int,
    quiet: int = 0,
    since: Progress | None = None,
) -> Scanning[Followed]:
    """`follow`, that asks for what it scans."""
    known = Known(model.level, model.level_se**2, model.scale2, model.scale_df)
    at = since or Progress(start, start, None, ())
    statistic = np.zeros(stop - start)
    statistic[: at.scanned - start] = np.nan
    while at.start < stop:
        hit, v, scores = yield from _first_hit(series, model, limits, at, stop, known, start + quiet)
        last = stop if hit is None else hit + 1
        fresh = slice(at.scanned - v.start, last - v.start)
        statistic[at.scanned - start : last - start] = scores[fresh]
        if hit is None:
            return Followed(at.episodes, statistic, v.known(-1), _advanced(at, stop, series, model, known))
        episode, before = _track(series, model, v, hit, stop, known, at.place)
        resume = stop if episode.declared is None else episode.until + 1
        statistic[hit - start : resume - start] = statistic[hit - start]
        if episode.declared is None:
            progress = _advanced(at, hit, series, model, known)
            return Followed((*at.episodes, episode), statistic, before, progress)
        known, at = before, Progress(resume, resume, None, (*at.episodes, episode))
    return Followed(at.episodes, statistic, known, at)


def _advanced(at: Progress, scanned: int, series: Series, model: Model, known: Known) -> Progress:
    """The same stretch, quiet up to `scanned`: the filter's place moves up to where later evidence begins."""
    begin, needed = at.place.at if at.place else at.start, scanned - ONSETS
    place = at.place
    if needed > begin and not model.learns:
        place = filtered(series, model, begin, needed, known, place=at.place).end
    return Progress(at.start, scanned, place, at.episodes)


def _first_hit(series, model, limits, at, stop, known, earliest):
    """The first batch from `at.scanned` that signals (None: none), looking at longer and longer stretches."""
    block = _BLOCK
    level_se = 0.0 if model.learns else model.level_se
    begin = at.place.at if at.place else at.start
    first = max(at.scanned - begin - len(limits) + 1, 0)
    while True:
        end = min(stop, at.scanned + block)
        v = filtered(series, model, begin, end, known, place=at.place)
        found = yield Asked(v, limits, level_se, first, max(at.scanned - begin, 0))
        over = found.excess > 0
        over[: max(earliest - begin, at.scanned - begin, 0)] = False
        if over.any():
            return begin + int(np.argmax(over)), v, found.score
        if end == stop:
            return None, v, found.score
        block *= 4


def _track(series, model, v, signal, stop, known, place):
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
        v = filtered(series, model, pos, sharp + 1, known, hold=began, place=place)
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
