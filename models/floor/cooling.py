"""The cooling clock of a paste: the plant's own limits, how much of them is left, and what a record shows.

There is no default limit, and a limit that no reading shows to be met is not met.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Literal

from models.floor.view import Paste
from models.plant import Plant

State = Literal["met", "missed", "not shown to be met"]

STAYS = timedelta(hours=2)  # how long a paste stays on the clock after its last limit
NEAR = timedelta(minutes=15)  # a reading counts as the one at 2 h or 6 h this close to it; common practice, no source


@dataclass(frozen=True)
class Limit:
    """One limit: °C to be reached by `until` (naive UTC). left_min: minutes left, below 0 when it is over."""

    to_c: float
    within_h: float
    until: datetime
    left_min: float
    state: State


@dataclass(frozen=True)
class Reading:
    """One reading the paste log has a column for: when it is due (naive UTC), and °C, None where it is not recorded."""

    column: str
    hour: float
    due: datetime
    temp_c: float | None


@dataclass(frozen=True)
class Clock:
    """One paste on the clock. limits: empty where the plant file names none, and then nothing is checked."""

    key: str
    name: str
    kettle: str
    cooked_at: datetime
    minutes: float
    limits: tuple[Limit, ...]
    readings: tuple[Reading, ...]
    state: State


def cooling(plant: Plant, paste: Paste, now: datetime) -> Clock | None:
    """How a paste cools at `now` (naive UTC); None where nobody knows when it was cooked.

    A reading at or before a limit's hour can show it met, one at or after it can show it missed. Without a reading
    it is not shown to be met, before its time and after it. Met in all wants both readings.
    """
    if paste.cooked_at is None:
        return None
    hours = {"temp_2h_c": 2.0, "temp_6h_c": 6.0}
    readings = tuple(
        Reading(name, hour, paste.cooked_at + timedelta(hours=hour), getattr(paste, name))
        for name, hour in hours.items()
    )
    limits = tuple(
        _limit(to_c, within_h, paste.cooked_at, readings, now)
        for to_c, within_h in (plant.cooling.limits if plant.cooling else ())
    )
    minutes = (now - paste.cooked_at).total_seconds() / 60
    state = _in_all(limits, readings)
    return Clock(paste.paste_key, paste.name, paste.kettle, paste.cooked_at, minutes, limits, readings, state)


def _limit(to_c: float, within_h: float, cooked_at: datetime, readings: tuple[Reading, ...], now: datetime) -> Limit:
    until = cooked_at + timedelta(hours=within_h)
    known = [(one.hour, one.temp_c) for one in readings if one.temp_c is not None]
    missed = any(temp_c > to_c and hour >= within_h for hour, temp_c in known)
    met = any(temp_c <= to_c and hour <= within_h for hour, temp_c in known)
    state: State = "missed" if missed else "met" if met else "not shown to be met"
    return Limit(to_c, within_h, until, (until - now).total_seconds() / 60, state)


def _in_all(limits: tuple[Limit, ...], readings: tuple[Reading, ...]) -> State:
    if any(limit.state == "missed" for limit in limits):
        return "missed"
    whole = limits and all(limit.state == "met" for limit in limits)
    return "met" if whole and all(one.temp_c is not None for one in readings) else "not shown to be met"


def on_the_clock(plant: Plant, pastes: tuple[Paste, ...], now: datetime) -> tuple[Clock, ...]:
    """The pastes that are still watched, the one whose next limit ends first at the top."""
    last_h = max(plant.cooling.to_21_c_within_h, plant.cooling.to_5_c_within_h, 6.0) if plant.cooling else 6.0
    clocks = [clock for paste in pastes if (clock := cooling(plant, paste, now)) is not None]
    watched = [one for one in clocks if one.minutes >= 0 and one.minutes <= 60 * last_h + STAYS.total_seconds() / 60]
    return tuple(sorted(watched, key=lambda one: (one.cooked_at, one.key)))
