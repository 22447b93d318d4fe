"""Plain words for numbers, times and states, so that every page says the same thing the same way."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import UTC, date, datetime
from typing import Any
from zoneinfo import ZoneInfo

NOT_RECORDED = "not recorded"
_SPACE = "\u00a0"
_MINUS = "\u2212"

_DECIMALS = {
    "mL/g": 2,
    "mL": 0,
    "g": 0,
    "kg": 2,
    "°C": 1,
    "%": 1,
    "% of Wb": 1,
    "points": 1,
    "min": 0,
    "h": 1,
    "n": 0,
    "mm": 0,
    "pieces": 0,
    "loaves": 0,
}


@dataclass(frozen=True)
class Characteristic:
    """How the floor speaks of one characteristic: too low, too high, and the name on a chart."""

    low: str
    high: str
    relative: bool
    title: str


CHARACTERISTICS: dict[str, Characteristic] = {
    "specific volume": Characteristic("small", "large", True, "Specific volume"),
    "volume": Characteristic("small", "large", True, "Loaf volume"),
    "weight": Characteristic("light", "heavy", True, "Loaf weight"),
    "bake loss": Characteristic("below its level", "above its level", False, "Bake loss"),
    "dough temperature": Characteristic("cold", "warm", False, "Dough temperature"),
    "cook temperature": Characteristic("below its level", "above its level", False, "Cook temperature"),
    "paste loss": Characteristic("less boiled off", "more boiled off", False, "Water lost in the cook"),
    "paste at 2 h": Characteristic("colder", "warmer", False, "Paste 2 h after cooking"),
    "paste at 6 h": Characteristic("colder", "warmer", False, "Paste 6 h after cooking"),
    "within-batch spread": Characteristic("more even", "less even", True, "Spread within the batch"),
    "gassing power": Characteristic("weaker", "stronger", True, "Gassing power of the dough"),
    "gassing power of the lot": Characteristic("weaker", "stronger", True, "Gassing power of the yeast lot"),
    "share of gas kept": Characteristic("less gas kept", "more gas kept", False, "Share of gas kept"),
    "proof time": Characteristic("shorter", "longer", False, "Proof time"),
    "proof height": Characteristic("lower", "higher", True, "Proof height"),
}


def characteristic(name: str) -> Characteristic:
    """The floor's words for a characteristic; plain low and high where it has none of its own."""
    return CHARACTERISTICS.get(name, Characteristic("low", "high", False, name[:1].upper() + name[1:]))


def missing(value: Any) -> bool:
    """Whether a cell holds nothing: None, NaN, NaT or an empty text."""
    return value is None or value == "" or value != value


def rule(code: Any) -> str:
    """A rule's code as words: "pastes.cook-temperature.action" is "cook temperature: action"."""
    parts = str(code).split(".")[1:] or [text(code)]
    return ": ".join(part.replace("-", " ").replace("_", " ") for part in parts)


def text(value: Any) -> str:
    """A text cell as it is shown."""
    return NOT_RECORDED if missing(value) else str(value)


def number(value: Any, unit: str = "", decimals: int | None = None, *, signed: bool = False) -> str:
    """A number with its unit: `number(-0.214, "mL/g")` is "−0.21 mL/g"; nothing is "not recorded"."""
    if missing(value) or not math.isfinite(value):
        return NOT_RECORDED
    places = _DECIMALS.get(unit, 0 if float(value).is_integer() else 2) if decimals is None else decimals
    shown = f"{value:{'+' if signed else ''},.{places}f}"
    if float(shown.replace(",", "")) == 0:
        shown = f"{0:.{places}f}"
    shown = shown.replace(",", "\u202f").replace("-", _MINUS)
    return f"{shown}{_SPACE}{unit}" if unit else shown


def decimals(unit: str) -> int:
    """Decimals that values in this unit are shown with."""
    return _DECIMALS.get(unit, 2)


def finer(unit: str) -> int:
    """Decimals for a spread or an error in this unit: one more than its values are shown with."""
    return decimals(unit) + 1


def interval(low: Any, high: Any, unit: str = "", decimals: int | None = None, *, signed: bool = False) -> str:
    """Two bounds: "−0.24 to −0.11 mL/g"."""
    if missing(low) or missing(high):
        return NOT_RECORDED
    places = _DECIMALS.get(unit, 2) if decimals is None else decimals
    return f"{number(low, '', places, signed=signed)} to {number(high, unit, places, signed=signed)}"


def limits(low: Any, high: Any, unit: str = "", decimals: int | None = None) -> str:
    """A window in words, one side open where that limit is not there."""
    if missing(low) and missing(high):
        return "no limit set"
    if missing(low):
        return f"at most {number(high, unit, decimals)}"
    if missing(high):
        return f"at least {number(low, unit, decimals)}"
    return interval(low, high, unit, decimals)


def count(many: float, one: str, more: str | None = None) -> str:
    """ "1 dough", "2 doughs", "no doughs"."""
    plural = more or f"{one}s"
    if not many:
        return f"no {plural}"
    return f"{number(float(many), '', 0)}{_SPACE}{one if many == 1 else plural}"


def join(parts: Iterable[str], last: str = "and") -> str:
    """ "a, b and c"."""
    parts = list(parts)
    if len(parts) < 2:
        return "".join(parts)
    return f"{', '.join(parts[:-1])} {last} {parts[-1]}"


def sentence(words: str) -> str:
    """The words with a capital first and a full stop last."""
    words = words.strip()
    return words if not words else words[0].upper() + words[1:] + ("" if words[-1] in ".?!:" else ".")


def instant(value: Any) -> datetime | None:
    """A time as an instant; one without an offset is UTC. None where there is none."""
    if missing(value):
        return None
    at = value.to_pydatetime() if hasattr(value, "to_pydatetime") else value
    return at.replace(tzinfo=UTC) if at.tzinfo is None else at


def utc(at: datetime) -> datetime:
    """A time as the program keeps it inside: UTC without an offset."""
    return at if at.tzinfo is None else at.astimezone(UTC).replace(tzinfo=None)


def local(value: Any, zone: ZoneInfo) -> datetime | None:
    """An instant on the plant's clock."""
    at = instant(value)
    return None if at is None else at.astimezone(zone)


def iso(value: Any, zone: ZoneInfo) -> str:
    """The plant's clock as drawings take it, "2026-05-05T14:20:00"; empty where there is no time."""
    at = local(value, zone)
    return "" if at is None else at.strftime("%Y-%m-%dT%H:%M:%S")


def clock(value: Any, zone: ZoneInfo) -> str:
    """ "14:20"; in the hour that a clock change repeats, with its offset."""
    at = local(value, zone)
    if at is None:
        return NOT_RECORDED
    twice = at.replace(fold=0).utcoffset() != at.replace(fold=1).utcoffset()
    return f"{at:%H:%M} (UTC{at:%z})" if twice else f"{at:%H:%M}"


def day_name(value: date, *, year: bool = False) -> str:
    """ "Tue 5 May", with the year on request. English whatever the machine speaks."""
    weekday = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")[value.weekday()]
    return f"{weekday} {value.day} {month_name(value.month)[:3]}" + (f" {value.year}" if year else "")


def long_day(value: date) -> str:
    """ "Tuesday 5 May 2026"."""
    names = ("Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday")
    return f"{names[value.weekday()]} {value.day} {month_name(value.month)} {value.year}"


def month_name(month: int) -> str:
    """ "May"."""
    return (
        "January",
        "February",
        "March",
        "April",
        "May",
        "June",
        "July",
        "August",
        "September",
        "October",
        "November",
        "December",
    )[month - 1]


def when(value: Any, zone: ZoneInfo, on: date | None = None) -> str:
    """ "Tue 5 May 14:20" on the plant's clock; "14:20" on that day's page."""
    at = local(value, zone)
    if at is None:
        return NOT_RECORDED
    return clock(value, zone) if at.date() == on else f"{day_name(at.date())} {clock(value, zone)}"


def span(first: date, last: date) -> str:
    """ "5 Apr to 4 May 2026"."""
    if first == last:
        return f"{first.day} {month_name(first.month)[:3]} {first.year}"
    year = "" if first.year == last.year else f" {first.year}"
    return f"{first.day} {month_name(first.month)[:3]}{year} to {last.day} {month_name(last.month)[:3]} {last.year}"


def slug(name: str) -> str:
    """A name that fits an id and an address: "Line 1/b" is "line-1-b"."""
    return "".join(c if c.isascii() and c.isalnum() else "-" for c in name.lower())


def batch(key: Any, on: date | None = None) -> str:
    """A batch key as the floor says it: "2026-05-05/L1/D07" is "L1 D07 of 5 May", and "L1 D07" on that day's page."""
    parts = str(key).split("/", 2)
    if len(parts) < 3:
        return text(key)
    try:
        day = date.fromisoformat(parts[0])
    except ValueError:
        return str(key)
    name = f"{parts[1]}{_SPACE}{parts[2]}"
    return name if day == on else f"{name} of {day.day}{_SPACE}{month_name(day.month)[:3]}"


def how_big(name: str, change: float, level: float | None, unit: str) -> str:
    """A change in the floor's words: "4.5 % small", "1.8 °C cold", "2.1 % of Wb more boiled off"."""
    words = characteristic(name)
    side = words.low if change < 0 else words.high
    if words.relative and level:
        return f"{number(abs(100 * change / level), '%')} {side}"
    return f"{number(abs(change), unit)} {side}"


def on_a_loaf(change: float, loaf_g: float) -> str:
    """A change of specific volume (mL/g) as millilitres on a loaf of `loaf_g`: "about 85 mL on a 400 g loaf"."""
    millilitres = abs(change) * loaf_g
    step = 5 if millilitres >= 20 else 1
    return f"about {number(step * round(millilitres / step), 'mL')} on a {number(round(loaf_g), 'g')} loaf"
