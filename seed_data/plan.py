"""When the bakery works and what it makes: the part of the demo that is the same for every seed.

Times are given as the plant's clock shows them and turned into instants (aware, UTC) at once.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from functools import cache
from pathlib import Path
from zoneinfo import ZoneInfo

from models.plant import Plant, load

SEED = 20260504
FIRST_DAY = date(2026, 10, 5)
DAYS = 35
PLANT_FILE = Path(__file__).with_name("plant.toml")
ZONE = ZoneInfo("Europe/Lisbon")


@cache
def plant() -> Plant:
    """The demo bakery's plant file."""
    return load(PLANT_FILE)


def instant(day: date, clock: str) -> datetime:
    """The instant of a local clock time. Twice a clock time: the first."""
    return datetime.combine(day, time.fromisoformat(clock), ZONE).astimezone(UTC)


def shift_of(at: datetime) -> tuple[date, str]:
    """shift_date and code of the shift in which an instant falls."""
    here = at.astimezone(ZONE)
    begun = [(start, code) for code, start in plant().shift_starts.items() if start <= here.time()]
    if begun:
        return here.date(), max(begun)[1]
    last = max(plant().shift_starts.items(), key=lambda item: item[1])[0]
    return here.date() - timedelta(days=1), last


def days(count: int) -> list[date]:
    """The shift dates of the demo."""
    return [FIRST_DAY + timedelta(days=n) for n in range(count)]


@dataclass(frozen=True)
class Cook:
    """One place in a kettle's day. `flour_kg` goes in with the recipe's liquid."""

    number: str
    kettle: str
    recipe: str
    clock: str
    flour_kg: float


COOKS = (
    Cook("01", "K1", "water-2", "19:00", 64.0),
    Cook("02", "K1", "water-2", "20:15", 64.0),
    Cook("03", "K1", "water-2", "22:30", 64.0),
    Cook("04", "K1", "water-2", "23:45", 64.0),
    Cook("01", "K2", "milk-5", "07:00", 24.0),
    Cook("02", "K2", "water-5", "08:15", 23.0),
    Cook("03", "K2", "water-5", "18:30", 23.0),
    Cook("04", "K2", "milk-5", "22:20", 24.0),
)


@dataclass(frozen=True)
class Make:
    """How a product is made on the floor: what the plant file does not say. kg per dough; mL/g; %; min; mm."""

    flour_kg: float
    other_pct: float
    specific_volume: float
    bake_loss_pct: float
    proof_minutes: float
    proof_height_mm: float
    mix_energy: float
    bake_minutes: float


MAKES = {
    "white-tin": Make(80.0, 11.0, 4.60, 10.8, 58.0, 92.0, 10.6, 28.0),
    "family-tin": Make(100.0, 9.0, 4.20, 10.6, 62.0, 118.0, 9.8, 34.0),
    "long-roll": Make(100.0, 12.0, 5.30, 12.2, 52.0, 48.0, 10.2, 13.0),
    "toast": Make(90.0, 10.0, 4.40, 10.0, 56.0, 104.0, 9.4, 32.0),
    "milk-loaf": Make(70.0, 18.0, 4.50, 11.0, 60.0, 96.0, 10.9, 27.0),
}

WORKS = {"L1": ("early", "late"), "L2": ("early", "late"), "L3": ("early", "night"), "L4": ("late", "night")}
_OFFSET = {"L1": 22, "L2": 41, "L3": 30, "L4": 52}
DOUGHS_A_SHIFT = 4
MINUTES_BETWEEN = 112


@dataclass(frozen=True)
class Slot:
    """One dough that the plan asks for; `paste` is the shift_date, kettle and number of its paste."""

    line: str
    product: str
    day: date
    shift: str
    number: str
    planned: datetime
    paste: tuple[date, str, str]


def product_of(line: str, day: date, shift: str) -> str:
    """What a line makes in a shift: L2 turns to long rolls on Tuesday and Friday in the late shift."""
    first, *others = plant().lines[line].products
    return others[0] if others and shift == "late" and day.weekday() in (1, 4) else first


def _paste_of(line: str, day: date, place: int) -> tuple[date, str, str]:
    before = day - timedelta(days=1)
    if line in ("L1", "L2"):
        return before, "K1", f"{(place + 1) // 2:02d}"
    if place <= DOUGHS_A_SHIFT:
        return before, "K2", "03" if line == "L3" else "04"
    return day, "K2", "02" if line == "L3" else "01"


def slots(line: str, day: date) -> list[Slot]:
    """The doughs of a line on one shift date, in order. On the first day the second kettle has no paste yet."""
    found = []
    for part, shift in enumerate(WORKS[line]):
        if day == FIRST_DAY and line in ("L3", "L4") and part == 0:
            continue
        start = instant(day, plant().shifts[shift])
        for k in range(DOUGHS_A_SHIFT):
            place = part * DOUGHS_A_SHIFT + k + 1
            planned = start + timedelta(minutes=_OFFSET[line] + MINUTES_BETWEEN * k)
            paste = _paste_of(line, day, place)
            found.append(Slot(line, product_of(line, day, shift), day, shift, "", planned, paste))
    return [_numbered(slot, n) for n, slot in enumerate(found, start=1)]


def _numbered(slot: Slot, n: int) -> Slot:
    return Slot(slot.line, slot.product, slot.day, slot.shift, f"{n:02d}", slot.planned, slot.paste)


def end(count: int) -> datetime:
    """When the logs were handed over: the end of the last night shift."""
    return instant(FIRST_DAY + timedelta(days=count), "06:00")
