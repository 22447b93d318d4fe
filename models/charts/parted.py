"""What is told of a line that parted from the others: an episode of its own specific volume, where it is the one that moved.

What a line is beside the others (models.charts.beside) moves as well where another line moved: a fall of one looks like a rise
of the rest. So a change is told where the line's own volume moved that way and no other line parted farther to the other side.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

import numpy as np

from models.charts.beside import LATELY, OF
from models.charts.characteristics import BESIDE, CHARACTERISTICS
from models.charts.chart import SHIFT_HOURS, TAKEN_UP, over_span
from models.charts.working import working
from models.shapes import Charted, Episode, Points
from models.texts import texts

OWN = 0.5
"""Part of the change beside the others that the line's own volume must have moved for the change to be its own."""
KIND = "apart from the other lines"
Pair = tuple[Charted, Charted | None]
"""A line's own chart of specific volume, and what it is beside the others, where that is watched."""


def lent(charted: Iterable[Charted]) -> list[Charted]:
    """The same charts, those of specific volume with what was found beside the other lines, and with what that promises.

    An episode found so that shares time with one of the line's own, to the same side, is one with it: the earlier signal stands.
    """
    every = list(charted)
    watched = [c for c in every if c.stream.characteristic == BESIDE.name and c.baseline is not None]
    found = {(c.stream.line, c.stream.product): c for c in watched}
    pairs = [
        (c, found.get((c.stream.line, c.stream.product))) for c in every if c.stream.characteristic == OF and len(c.points)
    ]
    return [
        _with(one, other, [pair for pair in pairs if pair[0].stream.line != one.stream.line])
        if one.stream.characteristic == OF and (other := found.get((one.stream.line, one.stream.product))) is not None
        else one
        for one in every
    ]


def of_pages(charted: Iterable[Charted]) -> tuple[Charted, ...]:
    """The charts that stand for themselves: what was watched beside the other lines is told on specific volume's."""
    return tuple(one for one in charted if one.stream.characteristic != BESIDE.name)


def _with(own: Charted, other: Charted, lines: list[Pair]) -> Charted:
    promise = texts("curve")["promise"]["beside"].format(own=own.promise, beside=other.promise)
    episodes = list(own.episodes)
    if other.episodes and own.baseline is not None:
        place = {str(key): i for i, key in enumerate(own.points.keys)}
        for episode in other.episodes:
            mine = _as_own(episode, other, own, place)
            if mine is None or _of_another(episode, other, lines) or _of_one_unseen(mine, own, lines):
                continue
            episodes = _joined(episodes, mine, own)
    episodes.sort(key=lambda e: (e.began, e.signalled))
    state = "signal" if any(not e.over for e in episodes) else own.state
    return replace(own, episodes=tuple(episodes), state=state, promise=promise)


def _apart(charted: Charted, first: np.datetime64, last: np.datetime64) -> float:
    """By how much a line's batches of this time are off its level beside the others, mL/g; 0 where it had none."""
    start, stop = np.searchsorted(charted.points.at, first), np.searchsorted(charted.points.at, last, side="right")
    if stop <= start or charted.baseline is None:
        return 0.0
    return float(charted.points.value[start:stop].mean()) - _level_at(charted, int(start))


def _level_at(charted: Charted, at: int) -> float:
    """The level a point was held against: up to where a learning chart took a new one up, the one it left."""
    assert charted.baseline is not None
    for episode in charted.episodes:
        if episode.kind == TAKEN_UP and at <= episode.until:
            return float(charted.points.value[episode.began : episode.until + 1].mean()) - episode.change
    return charted.baseline.level


def _of_another(episode: Episode, other: Charted, lines: list[Pair]) -> bool:
    """Whether another line had parted farther, to the other side, up to the signal: a fall of one looks like a rise of the rest.

    Its batches of the day before count as well, from which the first points were made: it may run when this one does not. So does
    the day up to the signal by itself, because later batches move where an episode seems to have begun.
    """
    first, last = other.points.at[episode.began], other.points.at[episode.signalled]
    mine = _apart(other, first, last)
    lately = max(abs(mine), abs(_apart(other, last - LATELY, last)))
    for since, farther in ((first, abs(mine)), (first - LATELY, abs(mine)), (last - LATELY, lately)):
        theirs = [_apart(line, since, last) for _, line in lines if line]
        if any(abs(one) > farther and one * mine < 0 for one in theirs):
            return True
    return False


def _of_one_unseen(mine: Episode, own: Charted, lines: list[Pair]) -> bool:
    """The same of a line that was held against none on these lots: its volume itself moved farther from what most lines did.

    Where lines run by turns, the one that a lot comes to first has nobody beside it, and the others are held against it.
    """
    first, last = own.points.at[mine.began], own.points.at[mine.signalled]
    lots = set(_lots(own.points, mine.began, mine.signalled + 1))
    every, unseen = [_moved(own, list(range(mine.began, mine.signalled + 1)))], []
    for line, beside_others in lines:
        at = line.points.at
        start, stop = np.searchsorted(at, first - LATELY), np.searchsorted(at, last, side="right")
        alike = [int(start) + i for i, lot in enumerate(_lots(line.points, start, stop)) if lot in lots]
        if not alike:
            continue
        every.append(_moved(line, alike))
        if not _keys(beside_others, first - LATELY, last) & {str(line.points.keys[i]) for i in alike}:
            unseen.append(every[-1])
    sign = 1.0 if mine.direction == "high" else -1.0
    off = (np.array([every[0], *unseen]) - np.median(every)) * sign
    return bool((-off[1:] > abs(off[0])).any())


def _keys(charted: Charted | None, first: np.datetime64, last: np.datetime64) -> set[str]:
    """The batches of this time that a chart holds."""
    if charted is None:
        return set()
    start, stop = np.searchsorted(charted.points.at, first), np.searchsorted(charted.points.at, last, side="right")
    return {str(key) for key in charted.points.keys[start:stop]}


def _moved(own: Charted, places: list[int]) -> float:
    """Mean of these points as part of the level, less one; 0 without a level."""
    return float(own.points.value[places].mean()) / _level_at(own, places[0]) - 1 if own.baseline else 0.0


def _lots(points: Points, start: int = 0, stop: int | None = None) -> list[tuple[str, str]]:
    """Yeast and flour lot of points[start:stop]."""
    lots = points.lot[start:stop]
    return list(zip(lots, [""] * len(lots) if points.flour is None else points.flour[start:stop], strict=True))


def _as_own(episode: Episode, other: Charted, own: Charted, place: dict[str, int]) -> Episode | None:
    """The episode on the line's own points, as far as its volume itself moved so; None where it did not, or a point is gone."""
    keys = other.points.keys
    told = [place.get(str(keys[getattr(episode, name)])) for name in _PLACES]
    found = [at for at in told if at is not None]
    if len(found) < len(_PLACES):
        return None
    signalled, began, low, high, until = found
    assert own.baseline is not None
    apart = _apart(other, other.points.at[episode.began], other.points.at[episode.signalled])
    sign = 1.0 if episode.direction == "high" else -1.0
    values = own.points.value[began : max(until, signalled) + 1]
    moved = (np.cumsum(values) / np.arange(1, len(values) + 1) - _level_at(own, began)) * sign
    if apart * sign <= 0 or moved[signalled - began] < OWN * abs(apart):
        return None
    # lots may bring the volume back to its level later: the episode's change is told to where it still is a change
    until = began + int(np.flatnonzero(moved > 0)[-1])
    there = replace(episode, kind=KIND, signalled=signalled, began=began, began_low=low, began_high=high)
    return _sized(replace(there, until=max(until, signalled)), own)


_PLACES = ("signalled", "began", "began_low", "began_high", "until")


def _sized(episode: Episode, own: Charted) -> Episode:
    """The episode with the change of the line's own points."""
    assert own.baseline is not None
    work = working(CHARACTERISTICS[OF], own.points, own.baseline.extra["reference"])
    change, half = over_span(episode.began, episode.until, own.points, work, own.baseline)
    change += own.baseline.level - _level_at(own, episode.began)
    return replace(episode, change=change, change_low=change - half, change_high=change + half)


def _joined(episodes: list[Episode], mine: Episode, own: Charted) -> list[Episode]:
    """The line's own episodes with one that was found beside the others: alone, or one with those it shares time with."""
    alike = [e for e in episodes if _meet(e, mine, own.points)]
    if any(e.direction != mine.direction or e.kind == TAKEN_UP for e in alike):
        return episodes
    rest = [e for e in episodes if e not in alike]
    every = sorted([*alike, mine], key=lambda e: (e.signalled, e.began))
    first, last = every[0], max(every, key=lambda e: e.until)
    if not alike:
        return [*rest, mine]
    one = _sized(replace(first, until=last.until, over=all(e.over for e in every)), own)
    return [*rest, one] if (one.change > 0) == (one.direction == "high") else episodes


def _meet(one: Episode, other: Episode, points: Points) -> bool:
    """Whether two episodes share time, or one follows within a shift."""
    (a, b), (c, d) = ((e.began, max(e.until, e.signalled)) for e in (one, other))
    gap = points.at[max(a, c)] - points.at[min(b, d)]
    return bool(gap <= SHIFT_HOURS * np.timedelta64(1, "h"))
