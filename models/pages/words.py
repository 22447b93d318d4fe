"""Plain words for numbers, times and states, so that every page says the same thing the same way."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import UTC, date, datetime
from typing import Any
from zoneinfo import ZoneInfo

from models.judging.rules.cells import SLIPS
from models.logbook import TABLES
from models.texts import MINUS, texts

NOT_RECORDED = "not recorded"
_SPACE = "\u00a0"

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


_RELATIVE = {
    "specific volume",
    "volume",
    "weight",
    "within-batch spread",
    "gassing power",
    "gassing power of the lot",
    "proof height",
}
CHARACTERISTICS: dict[str, Characteristic] = {
    name: Characteristic(said["low"], said["high"], name in _RELATIVE, said["title"])
    for name, said in texts("words")["characteristic"].items()
}


def characteristic(name: str) -> Characteristic:
    """The floor's words for a characteristic; plain low and high where it has none of its own."""
    plain = texts("words")["other_characteristic"]
    return CHARACTERISTICS.get(name) or Characteristic(plain["low"], plain["high"], False, name[:1].upper() + name[1:])


def missing(value: Any) -> bool:
    """Whether a cell holds nothing: None, NaN, NaT or an empty text."""
    return value is None or value == "" or value != value


_COLUMNS = frozenset(column.name for table in TABLES.values() for column in table.columns)
_OF_A_CELL = {code: says for code, _, _, says in SLIPS.values()} | {"range": texts("words")["out_of_range"]}


def rule(code: Any) -> str:
    """A rule's code as words: "pastes.cook-temperature.action" is "cook temperature: action".

    A column keeps the name it has on the sheet: "dough.dough_temp_c.fahrenheit" is "dough_temp_c: °F in a °C column".
    """
    _, *parts = str(code).split(".")
    if len(parts) == 2 and parts[0] in _COLUMNS:
        return f"{parts[0]}: {_OF_A_CELL.get(parts[1], parts[1].replace('-', ' '))}"
    return ": ".join(part.replace("-", " ") for part in parts or [text(code)])


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
    shown = shown.replace(",", "\u202f").replace("-", MINUS)
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
    first, last = number(low, "", places, signed=signed), number(high, unit, places, signed=signed)
    return texts("words")["interval"].format(low=first, high=last)


def limits(low: Any, high: Any, unit: str = "", decimals: int | None = None) -> str:
    """A window in words, one side open where that limit is not there."""
    if missing(low) and missing(high):
        return texts("words")["no_limit"]
    if missing(low):
        return texts("words")["at_most"].format(high=number(high, unit, decimals))
    if missing(high):
        return texts("words")["at_least"].format(low=number(low, unit, decimals))
    return interval(low, high, unit, decimals)


def counted(many: float, what: str) -> str:
    """So many of what pages count, by its name in the texts: "1 dough", "2 doughs", "no doughs"."""
    return count(many, *texts("words")["counted"][what])


def count(many: float, one: str, more: str) -> str:
    """ "1 batch", "2 batches", "no batches"."""
    what = one if many == 1 else more
    if not many:
        return texts("words")["none_of"].format(what=what)
    return texts("words")["many_of"].format(many=number(float(many), "", 0), what=what)


def join(parts: Iterable[str]) -> str:
    """ "a, b and c"."""
    parts = list(parts)
    if len(parts) < 2:
        return "".join(parts)
    return texts("words")["listed"].format(first=", ".join(parts[:-1]), last=parts[-1])


def sentence(words: str) -> str:
    """The words with a capital first and a full stop last; a column keeps the name it has on the sheet."""
    words = words.strip()
    if not words:
        return words
    column = "_" in words.split(maxsplit=1)[0]
    return (words[0] if column else words[0].upper()) + words[1:] + ("" if words[-1] in ".?!:" else ".")


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


def day_name(value: date) -> str:
    """ "Tue 5 May". The texts' words whatever the machine speaks."""
    t = texts("words")
    return t["day"].format(weekday=t["weekdays_short"][value.weekday()], day=value.day, month=_month(value))


def short_date(value: date) -> str:
    """ "5 May"."""
    return texts("words")["short_date"].format(day=value.day, month=_month(value))


def long_day(value: date) -> str:
    """ "Tuesday 5 May 2026"."""
    t = texts("words")
    weekday, month = t["weekdays"][value.weekday()], month_name(value.month)
    return t["long_day"].format(weekday=weekday, day=value.day, month=month, year=value.year)


def month_name(month: int) -> str:
    """ "May"."""
    return texts("words")["months"][month - 1]


def _month(value: date) -> str:
    return texts("words")["months_short"][value.month - 1]


def when(value: Any, zone: ZoneInfo, on: date | None = None) -> str:
    """ "Tue 5 May 14:20" on the plant's clock; "14:20" on that day's page."""
    at = local(value, zone)
    if at is None:
        return NOT_RECORDED
    if at.date() == on:
        return clock(value, zone)
    return texts("words")["when"].format(day=day_name(at.date()), clock=clock(value, zone))


def from_to(first: Any, last: Any, zone: ZoneInfo) -> str:
    """ "Tue 5 May 14:20 to Wed 6 May 02:10" on the plant's clock."""
    return texts("words")["span"].format(first=when(first, zone), last=when(last, zone))


def span(first: date, last: date) -> str:
    """ "5 Apr to 4 May 2026"."""
    if first == last:
        return _date(first)
    began = short_date(first) if first.year == last.year else _date(first)
    return texts("words")["span"].format(first=began, last=_date(last))


def _date(value: date) -> str:
    return texts("words")["date"].format(day=value.day, month=_month(value), year=value.year)


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
    return name if day == on else texts("words")["batch_of"].format(batch=name, day=day.day, month=_month(day))


def how_big(name: str, change: float, level: float | None, unit: str) -> str:
    """A change in the floor's words: "4.5 % small", "1.8 °C cold", "2.1 % of Wb more boiled off"."""
    words = characteristic(name)
    side = words.low if change < 0 else words.high
    size = number(abs(100 * change / level), "%") if words.relative and level else number(abs(change), unit)
    return texts("words")["how_big"].format(size=size, side=side)


def on_a_loaf(change: float, loaf_g: float) -> str:
    """A change of specific volume (mL/g) as millilitres on a loaf of `loaf_g`: "about 85 mL on a 400 g loaf"."""
    millilitres = abs(change) * loaf_g
    step = 5 if millilitres >= 20 else 1
    volume = number(step * round(millilitres / step), "mL")
    return texts("words")["on_a_loaf"].format(volume=volume, loaf=number(round(loaf_g), "g"))
