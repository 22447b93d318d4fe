"""Five weeks of the invented bakery, true values first."""

from __future__ import annotations

from dataclasses import dataclass

from seed_data.doughs import DoughMade, Store, make
from seed_data.kettles import PasteMade, cook_all
from seed_data.loaves import LoafMade, measure
from seed_data.lots import Flour, Yeast, flour_lots, yeast_lots
from seed_data.plan import days, end, plant, slots


@dataclass(frozen=True)
class Truth:
    """What really happened, in order of time; no sheet has been written yet."""

    seed: int
    days: int
    pastes: tuple[PasteMade, ...]
    doughs: tuple[DoughMade, ...]
    loaves: tuple[LoafMade, ...]
    yeasts: tuple[Yeast, ...]
    flours: tuple[Flour, ...]


def simulate(seed: int, count: int) -> Truth:
    """So many days of pastes, doughs and loaves; a loaf measured after the hand-over is left out."""
    dates = days(count)
    yeasts, flours = yeast_lots(seed, count), flour_lots(seed)
    pastes = cook_all(seed, dates, flours)
    store = Store(seed, {(p.day, p.kettle, p.number): p for p in pastes}, yeasts, flours)
    doughs = [make(store, slot) for day in dates for line in plant().lines for slot in slots(line, day)]
    doughs.sort(key=lambda dough: (dough.mixing.at, dough.slot.line))
    by = end(count)
    loaves = [loaf for dough in doughs for loaf in measure(seed, dough) if loaf.measured_at <= by]
    loaves.sort(key=lambda loaf: (loaf.measured_at, loaf.dough.slot.line, loaf.number))
    used = [lot for lot in yeasts if lot.opened <= by]
    arrived = [lot for lot in flours if lot.delivered <= by]
    return Truth(seed, count, tuple(pastes), tuple(doughs), tuple(loaves), tuple(used), tuple(arrived))
