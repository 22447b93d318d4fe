"""What a person types on a screen of the floor, cell by cell, and the row of a log that it becomes. Pure.

A number may have a comma or a point, a time may be a bare clock time. What cannot be read stays as typed and is
asked about; nothing is guessed.
"""

from __future__ import annotations

import csv
import hashlib
import io
import unicodedata
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta

from models.logbook import TABLES, Column
from models.plant import Plant
from models.reader import clock, numbers
from models.reader.numbers import Misread
from models.texts import texts

Cells = dict[str, str]

LONGEST = 200  # letters kept of a typed text
EXTRA = (
    "entered_at",
    "confirmed_by",
    "confirmed_at",
    "confirmed",
)  # beside the contract's columns, ignored by the checks
AHEAD = timedelta(minutes=2)  # clocks of tablets differ by this much; common practice, no source
_HALF_DAY = timedelta(hours=12)
_DAY = timedelta(days=1)


@dataclass(frozen=True)
class ShiftOf:
    """One shift of one date: the code in the plant file, the date it began on, its start (naive UTC)."""

    date: date
    code: str
    starts: datetime

    @property
    def name(self) -> str:
        """As a form carries it: 2026-05-06/early."""
        return f"{self.date.isoformat()}/{self.code}"


def number(text: str, column: Column) -> float | Misread | None:
    """One number in the column's unit, decimal comma or point; None where nothing was typed."""
    return numbers.parse(text, column, "," if text.rfind(",") > text.rfind(".") else ".")


def number_of(cells: Mapping[str, str], name: str) -> float | None:
    """A number out of cells already in the standard form; None where the cell is empty."""
    text = cells.get(name, "")
    return float(text) if text else None


def minute(at: datetime) -> datetime:
    """To the minute, as sheets are written: a stamped time and the same time on paper are then the same."""
    return at.replace(second=0, microsecond=0)


def moment(text: str, now: datetime, plant: Plant) -> datetime | Misread | None:
    """A typed time as naive UTC; None where nothing was typed. A bare clock time is today's, or yesterday's where today's is
    more than half a day ahead. now: naive UTC. In the hour that the clocks repeat: the later one that has come."""
    read = clock.stamp(text, True)
    if read is None or isinstance(read, Misread):
        return read
    if read.clock is None:
        return Misread(texts("typed")["no_time"])
    here = now.replace(tzinfo=UTC).astimezone(plant.zone)
    local = datetime.combine(read.date or here.date(), datetime.min.time()) + read.clock
    if read.offset is not None:
        return local - read.offset
    if read.date is None and local - here.replace(tzinfo=None) > _HALF_DAY:
        local -= _DAY
    later, earlier = (_utc(local.replace(tzinfo=plant.zone, fold=fold)) for fold in (1, 0))
    return later if earlier <= later <= now + AHEAD else earlier


def _utc(at: datetime) -> datetime:
    return at.astimezone(UTC).replace(tzinfo=None)


def time_text(at: datetime, plant: Plant) -> str:
    """A naive UTC instant as a log writes it: the plant's clock with its offset, to the minute."""
    return minute(at).replace(tzinfo=UTC).astimezone(plant.zone).isoformat(timespec="minutes")


def time_of(cells: Mapping[str, str], name: str) -> datetime | None:
    """An instant out of a cell that `time_text` wrote, as naive UTC; None where the cell is empty."""
    text = cells.get(name, "")
    return _utc(datetime.fromisoformat(text)) if text else None


def clock_text(at: datetime, plant: Plant) -> str:
    """A naive UTC instant as the plant's clock shows it: 13:10."""
    return f"{at.replace(tzinfo=UTC).astimezone(plant.zone):%H:%M}"


def plain(text: str) -> str:
    """A typed text on one line, without signs that cannot be seen, and not endless."""
    return one_line(text[: 4 * LONGEST])[:LONGEST]


def one_line(text: str) -> str:
    """A typed text on one line, without signs that cannot be seen or that turn what follows them round."""
    return " ".join("".join(" " if unicodedata.category(c).startswith("C") else c for c in text).split())


def shifts_near(plant: Plant, now: datetime) -> tuple[ShiftOf, ...]:
    """The shift that runs at `now` (naive UTC) between the one before and the one after it."""
    here = now.replace(tzinfo=UTC).astimezone(plant.zone).date()
    starts = sorted(
        (_utc(datetime.combine(day, at, plant.zone)), day, code)
        for day in (here - _DAY, here, here + _DAY)
        for code, at in plant.shift_starts.items()
    )
    running = max(place for place, (start, _, _) in enumerate(starts) if start <= now)
    return tuple(ShiftOf(day, code, start) for start, day, code in starts[max(0, running - 1) : running + 2])


def running(plant: Plant, now: datetime) -> ShiftOf:
    """The shift that runs at `now` (naive UTC)."""
    return max((one for one in shifts_near(plant, now) if one.starts <= now), key=lambda one: one.starts)


def next_name(last: str) -> str:
    """The batch name after `last`, written the same way: 07 to 08, P9 to P10; empty where it does not end in a number."""
    digits = len(last) - len(last.rstrip("0123456789"))
    return f"{last[: len(last) - digits]}{int(last[-digits:]) + 1:0{digits}d}" if digits else ""


def log_text(kind: str, rows: Iterable[Mapping[str, str]]) -> str:
    """Rows as one log in the contract's own form: every column of the kind, then who confirmed what."""
    names = [column.name for column in TABLES[kind].columns]
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow([*names, *EXTRA])
    for row in rows:
        writer.writerow([row.get(name, "") for name in (*names, *EXTRA)])
    return text.getvalue()


def log_name(kind: str, text: str) -> str:
    """The file name of such a log: the same rows, the same name."""
    return f"{kind}-screen-{hashlib.sha256(text.encode()).hexdigest()[:12]}.csv"


def typed(kind: str, form: Mapping[str, str], now: datetime, plant: Plant) -> tuple[Cells, dict[str, Misread]]:
    """The contract's columns of a form in the standard form; what cannot be read, by column, is left out of the cells."""
    cells: Cells = {}
    wrong: dict[str, Misread] = {}
    for column in TABLES[kind].columns:
        text = plain(form.get(column.name, ""))
        if not text:
            continue
        read = _cell(column, text, now, plant)
        if isinstance(read, Misread):
            wrong[column.name] = read
        elif read:
            cells[column.name] = read
    return cells, wrong


def _cell(column: Column, text: str, now: datetime, plant: Plant) -> str | Misread:
    if column.type == "number":
        value = number(text, column)
        return value if isinstance(value, Misread) else "" if value is None else numbers.number_text(value)
    if column.type == "time":
        at = moment(text, now, plant)
        return at if isinstance(at, Misread) else "" if at is None else time_text(at, plant)
    return text
