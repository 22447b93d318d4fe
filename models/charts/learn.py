"""The stretch in which a chart learns, run forward in time, up to where its baseline is complete.

A baseline is complete at the first batch at which BATCHES batches in LOTS lots were in control and no episode is on.
If the level moves before that and stays away for as many batches and lots itself, longer than the stretch it left, then
that is the first stretch in control: the chart starts to learn there again, and the episode says so.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np

from models.charts.follow import Raw, follow
from models.charts.innovations import Known, Model
from models.charts.working import Working

BATCHES = 100
LOTS = 8
QUIET = 8
"""Batches at the very start that cannot signal: there is nothing yet to compare with."""
_FIRST = 400


@dataclass(frozen=True)
class Learned:
    """start: where the stretch in control begins; done: index at which the baseline is complete (None: not yet)."""

    start: int
    done: int | None
    episodes: tuple[Raw, ...]
    statistic: np.ndarray
    known: Known


def learn_until_complete(work: Working, model: Model, limits: np.ndarray) -> Learned:
    """Learn from as few of the first points as complete the baseline; from all of them if nothing does."""
    stop = min(len(work.y), _FIRST)
    while stop < len(work.y) and len(np.unique(work.lots[:stop])) < LOTS:  # those cannot complete it
        stop = min(len(work.y), 2 * stop)
    while True:
        found = learn(work, model, limits, stop)
        if found.done is not None or stop == len(work.y):
            return found
        stop = min(len(work.y), 2 * stop)


def learn(work: Working, model: Model, limits: np.ndarray, stop: int) -> Learned:
    """Chart work[:stop] as it is learned. limits: the boundary by window length."""
    series = work.series(model.within)
    earlier: tuple[Raw, ...] = ()
    statistic = np.zeros(stop)
    start, quiet = 0, QUIET
    while True:
        found = follow(series, replace(model, level=float(work.y[start])), limits, start, stop, quiet)
        statistic[start:] = found.statistic
        episodes = earlier + found.episodes
        done = complete_at(work, start, episodes, stop)
        moved = _settled(work, start, found.episodes)
        if moved is None or (
            done is not None and done < moved.until
        ):  # what came first in time, whatever is known later
            if done is not None:
                episodes = tuple(raw for raw in episodes if raw.signalled <= done)
            return Learned(start, done, episodes, statistic, found.known)
        earlier += (*(raw for raw in found.episodes if raw.signalled < moved.signalled), moved)
        start, quiet = moved.began, moved.until + 1 - moved.began


def closed(episodes: tuple[Raw, ...], stop: int) -> tuple[Raw, ...]:
    """Episodes of a stretch at whose end a person set the baseline anew: what was still on is over with it."""
    return tuple(replace(raw, declared=stop - 1, settled=True) if raw.declared is None else raw for raw in episodes)


def in_control(start: int, stop: int, episodes: tuple[Raw, ...]) -> np.ndarray:
    """Mask over the first `stop` batches: from `start` on and in no episode but one whose level was taken up."""
    inside = np.arange(stop) >= start
    for raw in episodes:
        if not raw.settled:
            inside[raw.began : raw.until + 1] = False
    return inside


def complete_at(work: Working, start: int, episodes: tuple[Raw, ...], stop: int) -> int | None:
    """The first index at which the baseline is complete, from what is known by then; None: not yet."""
    on = np.zeros(stop, dtype=bool)
    for raw in episodes:
        on[raw.signalled : stop if raw.declared is None else raw.declared + 1] = True
    earliest = start + BATCHES - 1
    news = sorted({raw.signalled for raw in episodes if earliest < raw.signalled < stop})
    for first, last in pairwise((earliest, *news, stop)):  # between two signals what is known stays
        inside = in_control(start, last, tuple(raw for raw in episodes if raw.signalled <= first))
        complete = (np.cumsum(inside) >= BATCHES) & (_lots_by(work.lots[:last], inside) >= LOTS) & ~on[:last]
        if complete[first:].any():
            return first + int(np.argmax(complete[first:]))
    return None


def _lots_by(lots: np.ndarray, inside: np.ndarray) -> np.ndarray:
    """How many lots there were, up to each batch, among those inside."""
    places = np.flatnonzero(inside)
    new = np.zeros(len(lots), dtype=int)
    new[places[np.unique(lots[places], return_index=True)[1]]] = 1
    return np.cumsum(new)


def _settled(work: Working, start: int, episodes: tuple[Raw, ...]) -> Raw | None:
    """The first episode that lasted for a whole baseline and longer than what came before it, cut where it had."""
    for number, raw in enumerate(episodes):
        before = int(in_control(start, raw.began, episodes[:number]).sum())
        enough = raw.began + max(BATCHES, before + 1) - 1
        firsts = np.sort(np.unique(work.lots[raw.began : raw.until + 1], return_index=True)[1])
        if len(firsts) < LOTS:
            continue
        at = max(enough, raw.began + int(firsts[LOTS - 1]))
        if at <= raw.until:
            return replace(raw, until=at, declared=at, settled=True)
    return None
