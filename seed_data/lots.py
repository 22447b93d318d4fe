"""Deliveries: yeast lots that last about two days, flour lots that last two or three (a tanker each time)."""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from seed_data.chance import Chance
from seed_data.faults import WEAK_YEAST
from seed_data.plan import FIRST_DAY, instant

LOT_DAYS_BEFORE = 1.9
LOT_DAYS_AFTER = 2.0
YEAST_SD = 0.013
YEAST_DECLINE = 0.006
FLOUR_SD = 0.004
GAS_ML = 1460.0
_WEAK = 10
_FLOUR_DAYS = (-2, 1, 3, 6, 8, 11, 13, 15, 17, 20, 23, 26, 29, 32, 34)


@dataclass(frozen=True)
class Yeast:
    """A yeast lot. `strength` is its gassing power when opened, over the usual."""

    lot: str
    number: int
    opened: datetime
    strength: float

    def strength_at(self, at: datetime) -> float:
        """The lot loses 0.6 % a day."""
        return self.strength * math.exp(-YEAST_DECLINE * max(0.0, (at - self.opened) / timedelta(days=1)))


@dataclass(frozen=True)
class Flour:
    """A flour lot. `volume` is what it does to ln(volume)."""

    lot: str
    delivered: datetime
    volume: float


def yeast_lots(seed: int, count: int) -> list[Yeast]:
    """The yeast lots of so many days, in the order of opening."""
    found: list[Yeast] = []
    last = instant(FIRST_DAY + timedelta(days=count + 1), "06:00")
    number = 0
    while not found or found[-1].opened < last:
        chance = Chance(seed, "yeast", number)
        span = LOT_DAYS_BEFORE if number < _WEAK else LOT_DAYS_AFTER
        moved = 0.0 if number in (_WEAK, _WEAK + 1) else chance.uniform(-2.0, 2.0)
        opened = WEAK_YEAST.since + timedelta(days=span * (number - _WEAK), hours=moved)
        strength = math.exp(chance.normal(0.0, YEAST_SD, within=1.5))
        if number == _WEAK:
            strength = 1.0 + WEAK_YEAST.size / 100.0
        found.append(Yeast(f"Y{number + 31}", number, opened, strength))
        number += 1
    return found[:-1]


def yeast_of(lots: list[Yeast], seed: int, line: str, at: datetime) -> Yeast:
    """The lot a line works with: each line opens a lot up to two hours after the store does, when its box is empty."""
    in_use = [lot for lot in lots if lot.opened + _late(seed, line, lot) <= at]
    return in_use[-1] if in_use else lots[0]


def _late(seed: int, line: str, lot: Yeast) -> timedelta:
    return timedelta(minutes=Chance(seed, "opens", line, lot.number).uniform(0.0, 120.0))


def flour_lots(seed: int) -> list[Flour]:
    """The flour lots of the five weeks."""
    found = []
    for number, day in enumerate(_FLOUR_DAYS):
        delivered = instant(FIRST_DAY + timedelta(days=day), "12:00")
        volume = Chance(seed, "flour", number).normal(0.0, FLOUR_SD, within=1.5)
        found.append(Flour(f"F{number + 7:02d}", delivered, volume))
    return found


def flour_of(lots: list[Flour], at: datetime) -> Flour:
    """The flour lot in the silo at this instant."""
    return [lot for lot in lots if lot.delivered <= at][-1]


def day_effect(seed: int, day: date) -> float:
    """What the day does to ln(volume) of everything baked on it."""
    return Chance(seed, "day", day).normal(0.0, 0.004, within=2.0)
