"""The batches of a chart as a page shows them. A batch stands on a dozen charts of many pages: it is made once a chart."""

from __future__ import annotations

from collections.abc import Iterator
from functools import lru_cache
from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo

import numpy as np

from models.pages import words
from models.pages.shown import Dot
from models.pages.words import number
from models.shapes import Charted
from models.texts import texts

if TYPE_CHECKING:
    from models.pages.stories import Stories

LEADING = ("specific volume", "paste loss")
"""Charts on which every batch tells its whole story."""


class Dots:
    """The dots of one chart, made as they are asked for. stories: what else is told of a batch (None: nothing is)."""

    def __init__(self, charted: Charted, zone: ZoneInfo, stories: Stories | None) -> None:
        self.charted, self._zone, self._stories = charted, zone, stories
        self._made: dict[int, Dot] = {}

    def of(self, shown: list[int], today: np.ndarray) -> tuple[Dot, ...]:
        """The batches shown, in order. today: whether each point of the chart is of the day in question."""
        made = self._made
        if new := [place for place in shown if place not in made]:
            made.update(zip(new, self._new(new), strict=True))
        found = [made[place] for place in shown]
        todays = np.flatnonzero(today[shown]).tolist()
        keys = [str(key) for key in self.charted.points.keys[[shown[at] for at in todays]]] if todays else []
        told = self._told(keys)
        for at, key in zip(todays, keys, strict=True):
            dot = found[at]
            found[at] = dot._replace(today=True, says=(dot.says[0], *told.get(key, ())))
        return tuple(found)

    def _told(self, keys: list[str]) -> dict[str, tuple[str, ...]]:
        return self._stories.of(keys) if self._stories is not None else {}

    def _new(self, places: list[int]) -> Iterator[Dot]:
        """Each as on a page about another day."""
        points, low, high = self.charted.points, self.charted.lower, self.charted.upper
        keys, value = [str(key) for key in points.keys[places]], points.value[places].astype(float)
        outside = np.full(len(places), False)
        outside |= False if low is None else value < low
        outside |= False if high is None else value > high
        tells = _tells(self.charted, places, outside).tolist()
        told = self._told([key for key, whole in zip(keys, tells, strict=True) if whole])
        parts = (points.at[places].astype(object), value.tolist(), outside.tolist(), keys, tells)
        for at, number_, beyond, key, whole, known in zip(*parts, known_of(self.charted, places), strict=True):
            says = (known, *told.get(key, ())) if whole else (known,)
            yield Dot(_on_the_clock(at, self._zone), round(number_, 4), False, beyond, *_names(key), says)


@lru_cache(maxsize=1 << 16)
def _on_the_clock(at: Any, zone: ZoneInfo) -> str:
    """Every chart of a line has its batches at the same instants."""
    return words.iso(at, zone)


@lru_cache(maxsize=1 << 16)
def _names(key: str) -> tuple[str, str]:
    """A batch's short and its full name."""
    return key.rsplit("/", 1)[-1], words.batch(key)


def _tells(charted: Charted, places: list[int], outside: np.ndarray) -> np.ndarray:
    """Whose whole story is told on every page: on a leading chart all, elsewhere those beyond the lines and episodes'."""
    if charted.stream.characteristic in LEADING:
        return np.full(len(places), True)
    place = np.array(places)
    for episode in charted.episodes:
        outside = outside | ((place >= episode.began) & (place <= episode.until))
    return outside


def known_of(charted: Charted, shown: list[int]) -> list[str]:
    """What each point itself says of its batch: loaves, their spread, the lot."""
    points, unit = charted.points, charted.stream.unit
    t, fine = texts("curve"), words.finer(unit)
    lot_says = t["flour_lot" if charted.stream.kettle else "yeast_lot"]
    sizes, spreads, lots = (values[shown].tolist() for values in (points.n, points.sd_within, points.lot))
    loaves = {n: t["n"].format(n=int(n)) for n in set(sizes)}
    of_lot = {lot: lot_says.format(lot=lot) for lot in set(lots) if lot}
    return [
        ", ".join(
            part
            for part in (loaves[n], t["sd"].format(sd=number(sd, unit, fine)) if sd == sd else "", of_lot.get(lot, ""))
            if part
        )
        for n, sd, lot in zip(sizes, spreads, lots, strict=True)
    ]
