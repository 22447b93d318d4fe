"""Charts that move together raise one event between them.

Specific volume, volume, weight and bake loss of one line and product are one family: their episodes that overlap are
one event, led by the first of them in that order that moved. Every other stream stands alone.
"""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass

import numpy as np

from models.charts.characteristics import characteristic, family
from models.shapes import Charted, Episode


@dataclass(frozen=True)
class Event:
    """One event: the chart and episode that lead it, and the others of its family that moved with it."""

    lead: Charted
    episode: Episode
    others: tuple[tuple[Charted, Episode], ...] = ()


def merge(charted: list[Charted]) -> list[Event]:
    """Events of all charts, in order of the time they signalled, then of the stream."""
    families: dict[tuple[str, str, str, str], list[tuple[Charted, Episode]]] = defaultdict(list)
    for one in charted:
        for episode in one.episodes:
            families[family(one.stream)].append((one, episode))
    events = [_event(group) for members in families.values() for group in _together(members)]
    return sorted(events, key=lambda e: (e.lead.points.at[e.episode.signalled], repr(e.lead.stream)))


def _span(member: tuple[Charted, Episode]) -> tuple[np.datetime64, np.datetime64]:
    one, episode = member
    return one.points.at[episode.began], one.points.at[max(episode.until, episode.signalled)]


def _together(members: list[tuple[Charted, Episode]]) -> list[list[tuple[Charted, Episode]]]:
    """Episodes that are one event: each joins the leading episode that it shares most time with, else leads its own.

    An episode joins one event only. Were overlaps chained, a long episode of volume would tie two falls of specific
    volume, days apart and of different causes, into one.
    """
    groups: list[list[tuple[Charted, Episode]]] = []
    for member in sorted(members, key=lambda m: (characteristic(m[0].stream).rank, _span(m))):
        shared = [_shared(member, group[0]) for group in groups]
        if shared and max(shared) >= np.timedelta64(0):
            groups[shared.index(max(shared))].append(member)
        else:
            groups.append([member])
    return groups


def _shared(one: tuple[Charted, Episode], other: tuple[Charted, Episode]) -> np.timedelta64:
    """Time that two episodes share; negative where they do not overlap."""
    (a, b), (c, d) = _span(one), _span(other)
    return min(b, d) - max(a, c)


def _event(group: list[tuple[Charted, Episode]]) -> Event:
    ranked = sorted(group, key=lambda m: (characteristic(m[0].stream).rank, m[1].signalled))
    lead, episode = ranked[0]
    return Event(lead, episode, tuple(ranked[1:]))
