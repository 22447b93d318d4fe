"""Dates and times as the floor writes them."""

from __future__ import annotations

import datetime as dt
import re
import unicodedata
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import Final, Literal

import numpy as np
import pandas as pd

from models.reader.numbers import DITTO, NOT_RECORDED, Misread, Undecidable, plain

_SHAPES = ("0000-00-00T00:00", "0000-00-00T00:00:00")
# what month names begin with in the languages of Europe that are written in Latin letters, without accents, and Roman numbers; no
# beginning stands for two months, so those are left out that do (listopad, srpna, lip)
_MONTHS = {
    begins: month
    for month, names in enumerate(
        (
            "jan ene gen sty led tam ian oca i", "feb fev lut uno hel sub ii", "mar mrz mrt maa bre iii",
            "apr abr avr kwi dub huh nis iv", "may mai mag mei maj kve tou v", "jun juin giu cze kes iun haz lipn vi",
            "jul juil lug hei iul tem lipc lipi vii", "aug ago aou sie elo viii", "sep set wrz zar syy sze eyl ix",
            "oct okt out ott paz rij lok eki x", "nov marr noi kas xi", "dec dez dic des gru pro jou ara xii",
        ),
        1,
    )
    for begins in names.split()
}  # fmt: skip
_DATE = re.compile(
    r"(?:[^\W\d_]{2,14}\.?,? )?"
    r"(?:(?P<y1>\d{4})(?P<s1>[-/.])(?P<m1>\d{1,2})(?P=s1)(?P<d1>\d{1,2})"
    r"|(?P<a>\d{1,2})(?P<s2>[-/.])(?P<b>\d{1,2})(?P=s2)(?P<y2>\d{4}|\d\d)"
    r"|(?P<d3>\d{1,2})(?:st|nd|rd|th|er)?[-/. ]{1,2}(?:de )?(?P<mon>[a-z]{3,12}|[ivx]{1,4})\.?[-/., ]{1,2}(?:de )?(?P<y3>\d{4}|\d\d)"
    r"|(?P<mon2>[a-z]{3,12})\.? (?P<d4>\d{1,2})(?:st|nd|rd|th)?,? (?P<y4>\d{4})"
    r"|(?P<y6>\d{4})\.? (?P<mon6>[a-z]{3,12})\.? (?P<d6>\d{1,2})"
    r"|(?P<y5>20\d\d)(?P<m5>\d\d)(?P<d5>\d\d))(?:\.| ?r\.)?(?=$|[t ,])"
)
_AFTER_A_DOT = re.compile(r"(?<=\d\.) (?=\d)")
_CLOCK = re.compile(
    r"(?:(?:kl|godz|ore|um|kello|at)\.? )?(?:(?P<h>\d{1,2}) ?[:.h] ?(?P<m>\d\d)(?:[:.](?P<s>\d\d)(?:[.,](?P<f>\d{1,9}))?)?|(?P<hm>[0-2]\d[0-5]\d))"
    r"(?: ?(?P<half>[ap])\.?m\.?)?(?: ?(?P<offset>z|utc|[+-]\d\d:?\d\d))?(?: ?(?:h|hrs|uhr|uur))?"
)
_SERIAL = re.compile(r"(?P<day>[345]\d{4})(?:[.,](?P<part>\d+))?|0[.,](?P<only>\d{3,})")
_SERIAL_ZERO = dt.date(1899, 12, 30)
UNREADABLE = "no date or time that can be read: write it like 2026-03-14T13:10"
YEAR: Final = "year"
First = bool | Literal["year"] | None
"""What stands first in a file's dates: the day, else the month; the year, of dates like 26-05-04."""
_FIRST = {True: "day", False: "month"}
_YEARS_OF_NOW = 20  # 04 is no year that a log of ours is from
_ANCHOR_DAYS = 3
_ANCHOR_ROWS = 2000


@dataclass(frozen=True)
class Stamp:
    """What one cell says: a date, a clock time (after midnight), an offset from UTC; None where it does not."""

    date: dt.date | None
    clock: dt.timedelta | None
    offset: dt.timedelta | None = None


@dataclass(frozen=True)
class Stamps:
    """Distinct cells read: local and utc datetime64[us], clock timedelta64[us]; NaT where not said.

    wrong: place to why it cannot be read; serial: whether any was a spreadsheet's serial number.
    """

    local: np.ndarray
    utc: np.ndarray
    clock: np.ndarray
    wrong: dict[int, Misread]
    serial: bool


def is_serial(text: str) -> bool:
    """Whether a cell holds a spreadsheet's serial number of a date or time."""
    return _SERIAL.fullmatch(text) is not None


def stamp(text: str, day_first: First) -> Stamp | Misread | None:
    """Read one cell of a date or time column; None where nothing was recorded. day_first: as `decide` settles it."""
    bare = _bare(text)
    if bare in NOT_RECORDED:
        return None
    if bare in DITTO:
        return Misread("a ditto mark is no date or time: write it again")
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
    if clock is None or (_from_to(clock) and not (dated and bare.startswith("t", dated.end()))):
        return Misread(UNREADABLE)
    return _clocked(date, clock)


def _bare(text: str) -> str:
    """A cell in small letters, single blanks, none between a number's dot and the next number, without accents."""
    text = plain(text).casefold()
    if not text.isascii():
        text = "".join(c for c in unicodedata.normalize("NFKD", text) if not unicodedata.combining(c))
    return _AFTER_A_DOT.sub("", " ".join(text.split()))


def _from_to(clock: re.Match[str]) -> bool:
    """Whether what looks like an offset west of UTC may be an end: 10:10-11:00. ISO's own T or seconds rule it out."""
    return (clock["offset"] or "").startswith("-") and not clock["s"]


def _from_serial(found: re.Match[str]) -> Stamp:
    part = float(f"0.{found['part'] or found['only'] or 0}")
    clock = dt.timedelta(seconds=round(part * 86_400))
    if found["only"]:
        return Stamp(None, clock)
    return Stamp(_SERIAL_ZERO + dt.timedelta(days=int(found["day"])), clock if found["part"] else None)


def _date(found: re.Match[str], day_first: First) -> dt.date | Misread:
    year = int(found["y1"] or found["y2"] or found["y3"] or found["y4"] or found["y5"] or found["y6"])
    if name := found["mon"] or found["mon2"] or found["mon6"]:
        month = _MONTHS.get(name[:4]) or _MONTHS.get(name[:3], 0)
        day = int(found["d3"] or found["d4"] or found["d6"])
        if not month:
            return Misread(UNREADABLE)
    elif found["a"] and day_first == YEAR and _short(found):
        year, month, day = int(found["a"]), int(found["b"]), year
    elif found["a"]:
        day, month = int(found["a"]), int(found["b"])
        if day_first is False:
            day, month = month, day
    else:
        month, day = int(found["m1"] or found["m5"]), int(found["d1"] or found["d5"])
    if year < _YEARS_OF_NOW:
        return Misread(f"the year 20{year:02} cannot be meant: write it like 2026-03-14", _with_the_year_first(found))
    year += 2000 if year < 100 else 0
    try:
        date = dt.date(year, month, day)
    except ValueError:
        return Misread("there is no such date: write it like 2026-03-14")
    return date if 1990 <= year <= 2200 else Misread(f"the year {year} cannot be meant: write it like 2026-03-14")


def _with_the_year_first(found: re.Match[str]) -> str | None:
    """26.05.04 as the fourth of May; None where that is no date."""
    try:
        return dt.date(2000 + int(found["a"]), int(found["b"]), int(found["y2"])).isoformat() if found["a"] else None
    except ValueError:
        return None


def _clocked(date: dt.date | None, found: re.Match[str]) -> Stamp | Misread:
    hour, minute = (int(found["hm"][:2]), int(found["hm"][2:])) if found["hm"] else (int(found["h"]), int(found["m"]))
    second = int(found["s"] or 0)
    beyond = not 1 <= hour <= 12 if found["half"] else hour > 24 or (hour == 24 and (minute or second))
    if beyond or minute > 59 or second > 59:
        return Misread("there is no such time: write it like 13:10")
    if found["half"]:
        hour = hour % 12 + (12 if found["half"] == "p" else 0)
    fraction = int((found["f"] or "0").ljust(6, "0")[:6])
    offset = _offset(found["offset"])
    if offset is not None and (abs(offset) > dt.timedelta(hours=14) or offset % dt.timedelta(minutes=15)):
        return Misread("there is no such offset from UTC: write it like +01:00")
    return Stamp(date, dt.timedelta(hours=hour, minutes=minute, seconds=second, microseconds=fraction), offset)


def _offset(text: str | None) -> dt.timedelta | None:
    if not text:
        return None
    if text in ("z", "utc"):
        return dt.timedelta()
    size = dt.timedelta(hours=int(text[1:3]), minutes=int(text[-2:]))
    return -size if text[0] == "-" else size


def _day_month(text: str) -> re.Match[str] | None:
    """A date whose day and month stand in an order that has to be settled."""
    if text[4:5] == "-" and text[:4].isdigit():
        return None
    found = _DATE.match(_bare(text))
    return found if found and found["a"] else None


def decide(
    texts: Iterable[str], rows: Iterable[Sequence[str]], meant: bool | None = None
) -> tuple[First, str]:
    """Whether the file's dates have the day first, or the year, and the note that says so; None where none needs it.

    texts: the distinct cells of all date and time columns, those of the standard form may be left out. rows: the same
    cells row by row, looked at only where the texts leave it open: a date of the same row that can be read one way
    only tells. meant: the plant's answer where nothing does. Raises Undecidable with the question.
    """
    seen: set[bool] = set()
    open_ = ""
    dates = [(text, found) for text in texts if (found := _day_month(text))]
    if _year_first([text for text, found in dates if _short(found)], [found for _, found in dates if _short(found)]):
        if not all(_short(found) for _, found in dates):
            raise Undecidable("some dates have the year first, others the day or the month: write them all like 2026-03-14")
        return YEAR, "dates with the year first"
    for text, found in dates:
        first, second = int(found["a"]), int(found["b"])
        if found["s2"] == "." or 12 < first <= 31 and second <= 12:
            seen.add(True)
        elif first <= 12 < second <= 31:
            seen.add(False)
        elif first != second and max(first, second) <= 12:
            open_ = open_ or text
    if open_ and not seen:
        seen = set(_anchored(rows))
        if len(seen) != 1 and meant is not None:
            return meant, f"dates with the {_FIRST[meant]} first, as the plant file says"
        if len(seen) != 1:
            raise Undecidable(
                f"has {open_} the day first or the month? write dates like 2026-03-14, or answer for all such sheets "
                'in the plant file, [sheets] dates = "day first" or "month first": the next run takes this one'
            )
    if seen == {True, False}:
        raise Undecidable("some dates have the day first, others the month: write them all like 2026-03-14")
    if not seen:
        return None, ""
    return seen == {True}, f"dates with the {_FIRST[seen == {True}]} first"


def _short(found: re.Match[str]) -> bool:
    """Whether a date is of the form 26-05-04, in which the year may stand first or last."""
    return found["s2"] == "-" and len(found["a"]) == len(found["y2"]) == 2


def _year_first(texts: Sequence[str], dates: Sequence[re.Match[str]]) -> bool:
    """Whether the year stands first in dates like 26-05-04: it is what stays the same in them. Raises Undecidable where that
    does not tell and one of the two years is none of now."""
    first, month, last = ({int(found[name]) for found in dates} for name in ("a", "b", "y2"))
    if not dates or max(month) > 12 or max(last) > 31 or min(last) < 1:
        return False
    if max(first) > 31 or min(first) < 1 or len(first) < len(last):
        return True
    if len(first) == len(last) and max(last) < _YEARS_OF_NOW <= min(first):
        raise Undecidable(f"is {texts[0]} of 20{min(first)} or of 20{min(last):02}? Write dates like 2026-03-14")
    return False


def _anchored(rows: Iterable[Sequence[str]]) -> Iterator[bool]:
    """The order under which an open date lies near a certain one of its row, row by row."""
    for row, _ in zip(rows, range(_ANCHOR_ROWS), strict=False):
        read = [(_day_month(t) is not None, stamp(t, True), stamp(t, False)) for t in row]
        certain = [d.date for is_open, d, _ in read if not is_open and isinstance(d, Stamp) and d.date]
        for is_open, day, month in read:
            if is_open and certain and isinstance(day, Stamp) and isinstance(month, Stamp):
                near = [_near(s.date, certain) for s in (day, month)]
                if near[0] != near[1]:
                    yield near[0]


def _near(date: dt.date | None, certain: Sequence[dt.date]) -> bool:
    return date is not None and any(abs((date - other).days) <= _ANCHOR_DAYS for other in certain)


def stamps(texts: np.ndarray, day_first: First) -> Stamps:
    """Read the distinct cells of a time column (object array)."""
    local = standard(texts)
    utc, clock = np.full(len(texts), "NaT", "datetime64[us]"), np.full(len(texts), "NaT", "timedelta64[us]")
    wrong: dict[int, Misread] = {}
    serial = False
    for index in np.flatnonzero(np.isnat(local)).tolist():
        read = stamp(texts[index], day_first)
        trouble = read if isinstance(read, Misread) else _incomplete(read)
        if trouble is not None:
            wrong[index] = trouble
        elif isinstance(read, Stamp) and read.clock is not None:
            serial = serial or is_serial(texts[index])
            if read.date is None:
                clock[index] = read.clock
                continue
            at = dt.datetime.combine(read.date, dt.time()) + read.clock
            if read.offset is None:
                local[index] = at
            else:
                utc[index] = at - read.offset
    return Stamps(local, utc, clock, wrong, serial)


def _incomplete(read: Stamp | None) -> Misread | None:
    if read is not None and read.clock is None:
        return Misread("the date has no time: write it like 2026-03-14T13:10")
    if read is not None and read.date is None and read.offset is not None:
        return Misread("a time with an offset needs its date: write it like 2026-03-14T13:10+01:00")
    return None


def standard(texts: np.ndarray) -> np.ndarray:
    """Cells of the contract's own form (2026-03-14T13:10, with or without seconds, T or blank) as datetime64[us].

    All at once, for a log may hold a million; NaT where a cell has another form or names no time.
    """
    read = np.full(len(texts), "NaT", "datetime64[us]")
    lengths = np.fromiter(map(len, texts), np.int64, len(texts))
    for shape in _SHAPES:
        places = np.flatnonzero(lengths == len(shape))
        if not all(map(str.isascii, texts[places])):
            places = places[[text.isascii() for text in texts[places]]]
        cells = texts[places].astype(f"S{len(shape)}")
        shaped = _shaped(cells.view(np.uint8).reshape(-1, len(shape)), shape)
        read[places[shaped]] = _parsed(cells[shaped])
    sane = (read >= np.datetime64("1990-01-01")) & (read < np.datetime64("2201-01-01"))
    return np.where(sane, read, np.datetime64("NaT", "us"))


def _shaped(letters: np.ndarray, shape: str) -> np.ndarray:
    """Which rows of letters (cells x places, uint8) have this shape: a 0 stands for any digit, T also for a blank."""
    digits = [place for place, sign in enumerate(shape) if sign == "0"]
    fits = (letters[:, digits] - np.uint8(48) < 10).all(axis=1)
    for place, sign in enumerate(shape):
        if sign != "0":
            fits &= (letters[:, place] == ord(sign)) | ((sign == "T") & (letters[:, place] == 32))
    return np.asarray(fits)


def _parsed(cells: np.ndarray) -> np.ndarray:
    try:
        return cells.astype("datetime64[us]")
    except ValueError:  # one of them is no time, like 2026-02-30: the rest still are
        return pd.to_datetime(pd.Series(cells.astype(str)), format="ISO8601", errors="coerce").to_numpy()
