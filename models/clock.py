"""Dates and times as the floor writes them, and what instant they were."""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd

from models.numbers import DITTO, NOT_RECORDED, Misread, Undecidable, plain

_ISO = re.compile(r"\d{4}-\d\d-\d\d[T ]\d\d:\d\d(?::\d\d(?:\.\d{1,6})?)?")
_ISO_DATE = re.compile(r"\d{4}-\d\d-\d\d")
_MONTHS = {m: i + 1 for i, m in enumerate("jan feb mar apr may jun jul aug sep oct nov dec".split())}
_DATE = re.compile(
    r"(?:(?P<y1>\d{4})(?P<s1>[-/.])(?P<m1>\d{1,2})(?P=s1)(?P<d1>\d{1,2})"
    r"|(?P<a>\d{1,2})(?P<s2>[-/. ])(?P<b>\d{1,2})(?P=s2)(?P<y2>\d{4}|\d\d)"
    r"|(?P<d3>\d{1,2})[-/. ]{1,2}(?P<mon>[a-z]{3,9})\.?[-/., ]{1,2}(?P<y3>\d{4}|\d\d)"
    r"|(?P<mon2>[a-z]{3,9})\.? (?P<d4>\d{1,2}),? (?P<y4>\d{4})"
    r"|(?P<y5>20\d\d)(?P<m5>\d\d)(?P<d5>\d\d))\.?(?=$|[t ,])"
)
_CLOCK = re.compile(
    r"(?:(?P<h>\d{1,2})[:.h](?P<m>\d\d)(?:[:.](?P<s>\d\d)(?:[.,](?P<f>\d{1,9}))?)?|(?P<hm>[0-2]\d[0-5]\d))"
    r"(?: ?(?P<half>[ap])\.?m\.?)?(?: ?(?P<offset>z|utc|[+-]\d\d:?\d\d))?(?: ?(?:h|hrs|uhr))?"
)
_SERIAL = re.compile(r"(?P<day>[345]\d{4})(?:[.,](?P<part>\d+))?|0[.,](?P<only>\d{3,})")
_EPOCH = dt.date(1899, 12, 30)
OVERTIME = np.timedelta64(4 * 3600, "s")
DAY = np.timedelta64(86_400, "s")


@dataclass(frozen=True)
class Stamp:
    """What one cell says: a date, a clock time (after midnight), an offset from UTC; None where it does not."""

    date: dt.date | None
    clock: dt.timedelta | None
    offset: dt.timedelta | None = None


@dataclass(frozen=True)
class Stamps:
    """Distinct cells read: local and utc as datetime64[us], clock as timedelta64[s], all NaT where not said."""

    local: np.ndarray
    utc: np.ndarray
    clock: np.ndarray
    wrong: dict[int, Misread]


def stamp(text: str, day_first: bool | None) -> Stamp | Misread | None:
    """Read one cell of a date or time column; None where nothing was recorded."""
    bare = " ".join(plain(text).casefold().split())
    if bare in NOT_RECORDED:
        return None
    if bare in DITTO:
        return Misread("a ditto mark is no time: write it again")
    if serial := _SERIAL.fullmatch(bare):
        return _from_serial(serial)
    dated = _DATE.match(bare)
    date = _date(dated, day_first) if dated else None
    if isinstance(date, Misread):
        return date
    rest = bare[dated.end() :].strip("t ,") if dated else bare
    if dated and not rest:
        return Stamp(date, None)
    clock = _CLOCK.fullmatch(rest)
    return _clocked(date, clock, text) if clock else Misread(_UNREADABLE, None)


_UNREADABLE = "no date or time that can be read: write it like 2026-03-14T13:10"


def _from_serial(found: re.Match[str]) -> Stamp:
    day = dt.timedelta(days=float(f"0.{found['part'] or found['only'] or 0}"))
    clock = dt.timedelta(seconds=round(day.total_seconds()))
    if found["only"]:
        return Stamp(None, clock)
    return Stamp(_EPOCH + dt.timedelta(days=int(found["day"])), clock if found["part"] else None)


def _date(found: re.Match[str], day_first: bool | None) -> dt.date | Misread | None:
    year = int(found["y1"] or found["y2"] or found["y3"] or found["y4"] or found["y5"])
    year += 2000 if year < 100 else 0
    if found["mon"] or found["mon2"]:
        month = _MONTHS.get((found["mon"] or found["mon2"])[:3], 0)
        day = int(found["d3"] or found["d4"])
    elif found["a"]:
        day, month = int(found["a"]), int(found["b"])
        if day_first is False:
            day, month = month, day
    else:
        month, day = int(found["m1"] or found["m5"]), int(found["d1"] or found["d5"])
    try:
        return dt.date(year, month, day)
    except ValueError:
        return Misread("there is no such date: write it like 2026-03-14")


def _clocked(date: dt.date | None, found: re.Match[str], text: str) -> Stamp | Misread:
    hour, minute = (int(found["hm"][:2]), int(found["hm"][2:])) if found["hm"] else (int(found["h"]), int(found["m"]))
    second = int(found["s"] or 0)
    if found["half"]:
        if not 1 <= hour <= 12:
            return Misread(f"there is no such time: {text}")
        hour = hour % 12 + (12 if found["half"] == "p" else 0)
    if hour > 24 or minute > 59 or second > 59 or (hour == 24 and (minute or second)):
        return Misread("there is no such time: write it like 13:10")
    fraction = int((found["f"] or "0").ljust(6, "0")[:6])
    clock = dt.timedelta(hours=hour, minutes=minute, seconds=second, microseconds=fraction)
    return Stamp(date, clock, _offset(found["offset"]))


def _offset(text: str | None) -> dt.timedelta | None:
    if not text:
        return None
    if text in ("z", "utc"):
        return dt.timedelta()
    size = dt.timedelta(hours=int(text[1:3]), minutes=int(text[-2:]))
    return -size if text[0] == "-" else size


def decide(texts: Iterable[str]) -> tuple[bool | None, str]:
    """Whether the file's dates have the day first, and the note that says so; None where none needs it.

    Raises Undecidable with the question where every date can be read both ways.
    """
    seen: set[bool] = set()
    open_ = ""
    for text in texts:
        if _ISO.fullmatch(text) or _ISO_DATE.fullmatch(text):
            continue
        found = _DATE.match(" ".join(plain(text).casefold().split()))
        if not found or not found["a"]:
            continue
        first, second = int(found["a"]), int(found["b"])
        if found["s2"] == "." or 12 < first <= 31 and second <= 12:
            seen.add(True)
        elif first <= 12 < second <= 31:
            seen.add(False)
        elif first != second and max(first, second) <= 12:
            open_ = open_ or text
    if seen == {True, False}:
        raise Undecidable("some dates have the day first, others the month: write them all like 2026-03-14")
    if not seen and open_:
        raise Undecidable(f"has {open_} the day first or the month? write dates like 2026-03-14")
    if not seen:
        return None, ""
    return seen == {True}, "dates with the day first" if seen == {True} else "dates with the month first"


def stamps(texts: Sequence[str], day_first: bool | None) -> Stamps:
    """Read the distinct cells of a time column."""
    local = np.full(len(texts), "NaT", "datetime64[us]")
    utc, clock = local.copy(), np.full(len(texts), "NaT", "timedelta64[us]")
    wrong: dict[int, Misread] = {}
    iso = np.fromiter((_ISO.fullmatch(t) is not None for t in texts), bool, len(texts))
    if iso.any():
        local[iso] = _iso(np.asarray(texts, dtype=object)[iso])
    for index in np.flatnonzero(np.isnat(local)):
        read = stamp(texts[index], day_first)
        if isinstance(read, Misread):
            wrong[int(index)] = read
        elif read is not None and read.clock is None:
            wrong[int(index)] = Misread("the date has no time: write it like 2026-03-14T13:10")
        elif read is not None and read.date is None and read.offset is not None:
            wrong[int(index)] = Misread("a time with an offset needs its date: write it like 2026-03-14T13:10+01:00")
        elif read is not None:
            assert read.clock is not None
            if read.date is None:
                clock[index] = read.clock
            else:
                at = dt.datetime.combine(read.date, dt.time()) + read.clock
                if read.offset is None:
                    local[index] = at
                else:
                    utc[index] = at - read.offset
    return Stamps(local, utc, clock, wrong)


def _iso(texts: np.ndarray) -> np.ndarray:
    return pd.to_datetime(pd.Series(texts), format="ISO8601", errors="coerce").to_numpy().astype("datetime64[us]")


def complete(clock: np.ndarray, date: np.ndarray, start: np.ndarray, length: np.ndarray) -> np.ndarray:
    """Clock times with their date: the day that lies in the shift, or nearest to it.

    All per row: clock timedelta64[us], date datetime64[us] of the shift, start and length timedelta64[s].
    NaT where the clock is further than `OVERTIME` from the shift.
    """
    begins, ends = date + start, date + start + length
    best = np.full(len(clock), "NaT", "datetime64[us]")
    off = np.full(len(clock), OVERTIME + np.timedelta64(1, "s"))
    for day in (0, 1, -1):
        at = date + clock + day * DAY
        away = np.maximum(np.maximum(begins - at, at - ends), np.timedelta64(0, "s"))
        nearer = away < off
        best[nearer], off[nearer] = at[nearer], away[nearer]
    return best


def to_utc(local: np.ndarray, zone: ZoneInfo) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Local times to naive UTC: (utc, repeated, missing).

    repeated: the clock showed this time twice that night; utc then holds the first. missing: it never did (NaT).
    """
    index = pd.DatetimeIndex(local)
    first = index.tz_localize(zone, ambiguous=np.ones(len(local), bool), nonexistent="NaT")
    second = index.tz_localize(zone, ambiguous=np.zeros(len(local), bool), nonexistent="NaT")
    utc = first.tz_convert("UTC").tz_localize(None).to_numpy().astype("datetime64[us]")
    later = second.tz_convert("UTC").tz_localize(None).to_numpy().astype("datetime64[us]")
    return utc, (utc != later) & ~np.isnat(utc), np.isnat(utc) & ~np.isnat(local)
