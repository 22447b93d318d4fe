"""The cells of a sheet as typed values; what cannot be read is a slip, never a guess."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import pandas as pd

from models.logbook import TABLES, Column
from models.plant import Plant
from models.reader import clock, instants, nights, numbers, parted, spelling
from models.reader.numbers import Misread
from models.reader.sheet import Sheet

# what a slip's rule may be where a cell holds a text that could not be read
UNREAD = ("number", "date", "time", "clock change", "choice", "text", "shape")


@dataclass(frozen=True, slots=True)
class Slip:
    """A cell that could not be read, or a required one that is empty. `row`: position in the frame."""

    row: int
    column: str
    value: str
    rule: str
    why: str
    proposal: str | None


@dataclass(frozen=True)
class Typed:
    """A sheet's rows, typed. frame: every column of the kind, in logbook order.

    text str; number float64; date datetime64[us]; time datetime64[us], naive UTC; missing where not recorded or a slip.
    """

    frame: pd.DataFrame
    slips: tuple[Slip, ...]
    notes: tuple[str, ...]


class _Desk:
    """One sheet while it is being typed."""

    def __init__(self, sheet: Sheet, plant: Plant) -> None:
        self.sheet, self.plant, self.table = sheet, plant, TABLES[sheet.kind]
        self.size = len(sheet.rows)
        self.slips: list[Slip] = []
        self.notes: list[str] = []
        self.dated: dict[str, np.ndarray] = {}  # by column, the times that have their date from the shift

    def misread(self, column: str, wrong: dict[int, Misread], rule: str) -> None:
        """Slips for distinct values, by their place among the column's distinct texts."""
        codes, texts = self.sheet.coded(column)
        for row in np.flatnonzero(np.isin(codes, list(wrong))):
            text, found = texts[codes[row]], wrong[int(codes[row])]
            proposal = self.above(column, int(row)) if text.casefold() in numbers.DITTO else found.proposal
            self.slips.append(Slip(int(row), column, text, rule, found.why, proposal))

    def above(self, column: str, row: int) -> str | None:
        """What a ditto mark stands for: the nearest cell above that is none."""
        codes, texts = self.sheet.coded(column)
        while row > 0:
            row -= 1
            if codes[row] < 0:
                return None
            if texts[codes[row]].casefold() not in numbers.DITTO:
                return str(texts[codes[row]])
        return None

    def spread(self, values: np.ndarray, codes: np.ndarray, missing: object) -> np.ndarray:
        """Values of the distinct texts over the rows; `missing` where the cell is empty."""
        padded = np.append(values, np.array([missing], dtype=values.dtype))
        return padded[codes]


def typed(sheet: Sheet, plant: Plant) -> Typed:
    """Type every cell of a sheet by the logbook. Pure; raises nothing: what cannot be read is a slip."""
    desk = _Desk(sheet, plant)
    columns = {name: _typed_column(desk, desk.table.by_name[name]) for name in _present(desk, "text", "number", "date")}
    columns |= _times(desk, columns)
    frame = pd.DataFrame({c.name: columns.get(c.name, _empty(c, desk.size)) for c in desk.table.columns})
    _required(desk, frame)
    _misshapen(desk)
    order = {name: place for place, name in enumerate(["", *desk.table.by_name])}
    slips = sorted(desk.slips, key=lambda s: (s.row, order[s.column]))
    sheet.forget()
    return Typed(frame, tuple(slips), (*sheet.notes, *desk.notes))


def _misshapen(desk: _Desk) -> None:
    """Rows with too many cells, in one cell, and a last row with too few because the file ends within it: nothing in them is sure."""
    for row, text in desk.sheet.surplus.items():
        why = "more cells than headings: a comma within a number or a text? put that cell in quotes"
        desk.slips.append(Slip(row, "", text, "shape", why, None))
    for row in sorted({s.row for s in desk.slips if s.rule == "required"}):
        cells = desk.sheet.rows.iloc[row].fillna("").tolist()
        if (mark := parted.mark_of(cells, desk.sheet.kind, desk.sheet.columns)) is not None:
            why = f"its cells are parted by {parted.MARKS[mark]}, not as the column names are: put each under its heading"
            desk.slips.append(Slip(row, "", ", ".join(cell for cell in cells if cell), "shape", why, None))
    if desk.sheet.breaks_off and desk.size:
        text = ", ".join(desk.sheet.rows.iloc[-1].dropna())
        why = (
            "the file ends in the middle of this row: copy the file again and reject this row, or end the line if it is all there"
        )
        desk.slips.append(Slip(desk.size - 1, "", text, "shape", why, None))


def _present(desk: _Desk, *types: str) -> Iterator[str]:
    return (c.name for c in desk.table.columns if c.type in types and c.name in desk.sheet.rows.columns)


def _empty(column: Column, size: int) -> pd.Series:
    if column.type == "text":
        return pd.Series([None] * size, dtype="str")
    if column.type == "number":
        return pd.Series(np.full(size, np.nan))
    return pd.Series(np.full(size, "NaT", "datetime64[us]"))


def _typed_column(desk: _Desk, column: Column) -> pd.Series:
    if column.type == "number":
        return _number_column(desk, column)
    if column.type == "date":
        return _date_column(desk, column)
    return _text_column(desk, column)


def _number_column(desk: _Desk, column: Column) -> pd.Series:
    codes, texts = desk.sheet.coded(column.name)
    values, wrong = np.full(len(texts), np.nan), {}
    for index, text in enumerate(texts):
        read = numbers.parse(text, column, desk.sheet.decisions.decimal)
        if isinstance(read, Misread):
            wrong[index] = read
        elif read is not None:
            values[index] = read
    if column.unit == "pieces":
        _thousands(desk, texts, values, wrong)
    powers = [text for text in texts if _POWER.search(text)]
    if powers:
        desk.notes.append(
            f"{column.name}: {', '.join(powers[:3])} as a spreadsheet shortens a number; digits may be lost"
        )
    spread = desk.spread(values, codes, np.nan)
    real = _real(desk, column.name)
    if real is None:
        desk.misread(column.name, wrong, "number")
        return pd.Series(spread)
    spread[real] = [float(texts[c]) for c in codes[real]]
    before = len(desk.slips)
    desk.misread(column.name, wrong, "number")
    desk.slips[before:] = [s for s in desk.slips[before:] if not real[s.row]]
    return pd.Series(spread)


def _thousands(desk: _Desk, texts: np.ndarray, values: np.ndarray, wrong: dict[int, Misread]) -> None:
    """Counts like 1.900 among them: those like 2.000 are no surer, in place. A file that holds no such part of a piece is left alone."""
    mark = desk.sheet.decisions.decimal
    likely = {i: whole for i, text in enumerate(texts) if (whole := numbers.thousands(text, mark))}
    if any(values[i] % 1 for i in likely):
        for i, whole in likely.items():
            wrong[i] = Misread("is its mark one of thousands? Write the pieces without marks", whole)
            values[i] = np.nan


def _real(desk: _Desk, column: str) -> np.ndarray | None:
    """Which cells of a column are a workbook's real numbers, where that makes a difference."""
    if desk.sheet.real is None or desk.sheet.decisions.decimal == ".":
        return None
    return desk.sheet.real[:, desk.sheet.columns.index(column)]


_POWER = re.compile(r"\d[eE][+-]?\d")
_NO_DATE = "no date that can be read: write it like 2026-03-14"
SERIAL = "{name}: spreadsheet serial numbers read as dates"


def _date_column(desk: _Desk, column: Column) -> pd.Series:
    codes, texts = desk.sheet.coded(column.name)
    values, wrong = np.full(len(texts), "NaT", "datetime64[us]"), {}
    for index, text in enumerate(texts):
        read = clock.stamp(text, desk.sheet.decisions.day_first)
        if isinstance(read, Misread):
            wrong[index] = Misread(_NO_DATE) if read.why == clock.UNREADABLE else read
        elif read is not None and (read.date is None or read.clock):
            proposal = read.date.isoformat() if read.date else None
            wrong[index] = Misread("a date alone is wanted here: write it like 2026-03-14", proposal)
        elif read is not None:
            values[index] = read.date
    if any(clock.is_serial(text) for text in texts):
        desk.notes.append(SERIAL.format(name=column.name))
    desk.misread(column.name, wrong, "date")
    return pd.Series(desk.spread(values, codes, "NaT"))


def _text_column(desk: _Desk, column: Column) -> pd.Series:
    codes, texts = desk.sheet.coded(column.name)
    values, wrong = np.empty(len(texts), dtype=object), {}
    for index, text in enumerate(texts):
        read = spelling.read(text, column, desk.plant)
        if isinstance(read, Misread):
            wrong[index], values[index] = read, None
        else:
            values[index] = read
    changed = [(text, value) for text, value in zip(texts, values, strict=True) if text != value]
    if not changed:
        return desk.sheet.rows[column.name]
    said = [f"{text} read as {value}" for text, value in changed if value is not None]
    if said:
        desk.notes.append(f"{column.name}: {', '.join(said[:5])}{' and more' if len(said) > 5 else ''}")
    desk.misread(column.name, wrong, "choice" if column.choices else "text")
    return pd.Series(desk.spread(values, codes, None), dtype="str")


def _required(desk: _Desk, frame: pd.DataFrame) -> None:
    slipped = {(s.row, s.column) for s in desk.slips}
    for name in desk.table.required:
        why = f"{name} ({desk.table.by_name[name].says}) is needed and was not filled in"
        for row in np.flatnonzero(frame[name].isna().to_numpy()).tolist():
            if (row, name) not in slipped:
                desk.slips.append(Slip(row, name, _text_at(desk.sheet, name, row), "required", why, None))


def _text_at(sheet: Sheet, column: str, row: int) -> str:
    codes, texts = sheet.coded(column)
    return str(texts[codes[row]]) if codes[row] >= 0 else ""


def _times(desk: _Desk, columns: dict[str, pd.Series]) -> dict[str, pd.Series]:
    local, fixed = {}, {}
    for name in _present(desk, "time"):
        codes, texts = desk.sheet.coded(name)
        read = clock.stamps(texts, desk.sheet.decisions.day_first)
        desk.misread(name, read.wrong, "time")
        if read.serial:
            desk.notes.append(SERIAL.format(name=name))
        local[name] = desk.spread(read.local, codes, "NaT")
        fixed[name] = desk.spread(read.utc, codes, "NaT")
        _complete(desk, name, local[name], desk.spread(read.clock, codes, "NaT"), columns)
    if not local:
        return {}
    group = _group(desk)
    _ask_the_night(desk, local, group, columns)
    _roll(desk, local, group, columns)
    utc = _instants(desk, local, group)
    return {name: pd.Series(np.where(np.isnat(utc[name]), fixed[name], utc[name])) for name in local}


def _ask_the_night(
    desk: _Desk, local: dict[str, np.ndarray], group: np.ndarray, columns: dict[str, pd.Series]
) -> None:
    """Put rows to a person whose times are dated by a shift_date that seems to have moved on at midnight, in place: the cells
    are not known until then, so that the row takes no other night's place."""
    first = next(iter(local))
    if first not in desk.dated:
        return
    shift, _ = pd.factorize(columns["shift"])
    dated = np.where(desk.dated[first], local[first], instants.NAT)
    date = columns["shift_date"].to_numpy()
    asked = nights.calendar_dated(dated, date, group * (shift.max() + 2) + shift)
    columns["shift_date"] = columns["shift_date"].mask(asked)
    for row in np.flatnonzero(asked).tolist():
        began = str(date[row] - instants.DAY)[:10]
        why = (
            f"by the clock this row follows the one above, of the shift of {began}, but shift_date has gone on at midnight: "
            "a shift keeps the date it began on. Is it still that shift's?"
        )
        desk.slips.append(Slip(row, "shift_date", _text_at(desk.sheet, "shift_date", row), "date", why, began))
        for name, dated_so in desk.dated.items():
            if dated_so[row] and not np.isnat(local[name][row]):
                meant = str(local[name][row] - instants.DAY)[:16]
                desk.slips.append(Slip(row, name, _text_at(desk.sheet, name, row), "time", _OF_THE_NIGHT, meant))
                local[name][row] = instants.NAT


_OF_THE_NIGHT = "dated by shift_date, a day late if that is wrong"


def _group(desk: _Desk) -> np.ndarray:
    """What keeps its own order of time in a sheet: a line or a kettle, else the sheet."""
    for name in ("line", "kettle"):
        if name in desk.sheet.rows.columns:
            return desk.sheet.coded(name)[0] + 1
    return np.zeros(desk.size, dtype=np.int64)


def _roll(desk: _Desk, local: dict[str, np.ndarray], group: np.ndarray, columns: dict[str, pd.Series]) -> None:
    """Times after midnight that carry the date of the evening before go to the next day, in place."""
    first, *second = local
    moved = instants.after_midnight(local[first], group)
    if "shift_date" in columns and moved.any():
        start, length = _shifts(desk.plant, columns["shift"])
        ends = columns["shift_date"].to_numpy() + start + length + instants.OVERTIME
        moved &= local[first] + instants.DAY <= ends
    local[first][moved] += instants.DAY
    _inferred(desk, first, moved)
    for name in second:
        moved = instants.end_after_midnight(local[first], local[name])
        local[name][moved] += instants.DAY
        _inferred(desk, name, moved)


def _inferred(desk: _Desk, name: str, moved: np.ndarray) -> None:
    if moved.any():
        rows = ", ".join(map(str, desk.sheet.row_numbers[moved][:5])) + (" and more" if moved.sum() > 5 else "")
        desk.notes.append(f"{name}: after midnight under the evening's date, taken as the next day (row {rows})")


_NO_SHIFT_DATE = "the time has no date, nor has its shift: write shift_date, which dates it, or write it like 2026-03-14T13:10"


def _complete(desk: _Desk, name: str, local: np.ndarray, bare: np.ndarray, columns: dict[str, pd.Series]) -> None:
    """Give clock times their date from the shift's, in place."""
    rows = np.flatnonzero(~np.isnat(bare))
    if not len(rows):
        return
    why = "the time has no date: write it like 2026-03-14T13:10"
    if "shift_date" in columns:
        start, length = _shifts(desk.plant, columns["shift"].iloc[rows])
        local[rows] = instants.complete(bare[rows], columns["shift_date"].to_numpy()[rows], start, length)
        why = "the time has no date and does not lie in the shift: write it like 2026-03-14T13:10"
        desk.notes.append(f"{name}: times without a date, dated by their shift")
        desk.dated[name] = np.isin(np.arange(desk.size), rows)
    undated = np.isnat(columns["shift_date"].to_numpy()) if "shift_date" in columns else np.zeros(desk.size, dtype=bool)
    for row in rows[np.isnat(local[rows])].tolist():
        text = _text_at(desk.sheet, name, row)
        desk.slips.append(Slip(row, name, text, "time", _NO_SHIFT_DATE if undated[row] else why, None))


def _shifts(plant: Plant, shift: pd.Series) -> tuple[np.ndarray, np.ndarray]:
    """Start and length of each row's shift; an unknown one is taken as the whole day from the earliest start."""
    starts = {code: at.hour * 3600 + at.minute * 60 for code, at in plant.shift_starts.items()}
    lengths = {code: round(hours * 3600) for code, hours in plant.shift_hours.items()}
    start = shift.map(starts).fillna(min(starts.values())).to_numpy(dtype=float)
    length = shift.map(lengths).fillna(86_400).to_numpy(dtype=float)
    return start.astype("timedelta64[s]"), length.astype("timedelta64[s]")


def _instants(desk: _Desk, local: dict[str, np.ndarray], group: np.ndarray) -> dict[str, np.ndarray]:
    """Local times as naive UTC; a time the clock never showed is a slip."""
    both = {name: instants.to_utc(times, desk.plant.zone) for name, times in local.items()}
    names = list(local)
    chunks = [names] if len(names) == 2 else [[name] for name in names]
    utc: dict[str, np.ndarray] = {}
    for chunk in chunks:
        first, second = (np.column_stack([both[name][i] for name in chunk]) for i in (0, 1))
        settled = instants.told_apart(first, second, group)
        for place, name in enumerate(chunk):
            utc[name] = settled[:, place]
            _note_change(desk, name, local[name], *both[name])
    return utc


def _note_change(desk: _Desk, name: str, local: np.ndarray, first: np.ndarray, second: np.ndarray) -> None:
    twice = int(((first != second) & ~np.isnat(first)).sum())
    if twice:
        desk.notes.append(f"{name}: {twice} in the hour the clock showed twice, told apart by the order of the sheet")
    for row in np.flatnonzero(np.isnat(first) & ~np.isnat(local)).tolist():
        why = "the clock went forward that night and never showed this time: write it as the changed clock showed it"
        proposal = str(local[row] + instants.HOUR)[:16]
        desk.slips.append(Slip(row, name, _text_at(desk.sheet, name, row), "clock change", why, proposal))
