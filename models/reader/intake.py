"""How logs get in: which files below a folder are logs, and what stands in them."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import replace
from itertools import islice

import numpy as np
import pandas as pd

from models.logbook import TABLES, Column
from models.plant import Plant
from models.reader import clock, headers, nolog, numbers, parted, textfile, workbook
from models.reader.headers import Header
from models.reader.inbox import fetch, find
from models.reader.sheet import Decisions, PassedOver, Refused, Sheet

__all__ = ["Decisions", "PassedOver", "Refused", "Sheet", "fetch", "find", "read"]


def read(name: str, content: bytes, plant: Plant) -> Sheet:
    """Read one log. Pure: the same bytes and plant give the same sheet. `name` is never looked at for the kind.

    Raises Refused, one line, for what is no table, fits no kind of log or two, or cannot be read one way only.
    """
    if not content or content.isspace():
        raise Refused("the file is empty")
    try:
        if content.startswith(b"PK\x03\x04"):
            return _from_workbook(content, plant)
        if content.startswith(b"\xd0\xcf\x11\xe0"):
            raise Refused("an old or password-protected workbook: save it as XLSX without a password")
        return _from_text(content, plant)
    except numbers.Undecidable as question:
        raise Refused(str(question)) from None


def _from_text(content: bytes, plant: Plant) -> Sheet:
    text = textfile.decode(content, plant)
    delimiter = textfile.delimiter_of(text, plant)
    rows = textfile.head(text, delimiter)
    header = _header(rows, plant, text.encoding)
    body = textfile.body(text, delimiter, header.index, len(header.cells))
    notes = [] if delimiter == "," else [f"delimiter: {textfile.name_of(delimiter)}"]
    if text.encoding != "UTF-8":
        notes.append(f"encoding: {text.encoding}")
    _one_mark(text, delimiter, header, body.frame)
    _one_table(header, body.frame, plant)
    sheet = _sheet(rows, header, body.frame, None, [*notes, *body.notes])
    sheet = _decided(sheet, plant, delimiter == ",", text.plain)
    last_is_row = max((over.row for over in sheet.passed_over), default=0) < max(sheet.row_numbers, default=0)
    return replace(sheet, breaks_off=last_is_row and textfile.breaks_off(text, delimiter, len(header.cells)))


def _header(rows: list[list[str]], plant: Plant, encoding: str) -> Header:
    """The header of a text file. Raises Refused; where letters may have been read wrong, that is said."""
    try:
        return headers.find(rows, plant)
    except Refused as no:
        if encoding.startswith("UTF") or all(cell.isascii() for cells in rows for cell in cells):
            raise
        raise Refused(f"{no}; it was read as {encoding}: where its letters look wrong, save it as CSV UTF-8") from None


def _from_workbook(content: bytes, plant: Plant) -> Sheet:
    grid = workbook.grid(content)
    first = [list(row) for row in grid.rows[: headers.SEARCHED]]
    for (row, column), text in grid.joined.items():
        if row < len(first):
            first[row][column] = first[row][column] or text
    try:
        header = headers.find(first, plant)
    except Refused as no:
        if not grid.behind:
            raise
        names = ", ".join(map(repr, grid.behind[:3]))
        raise Refused(f"{no}; only the first sheet, {grid.name!r}, is read: is the log on {names}? Put that sheet first") from None
    columns, start = len(header.cells), header.index + 1
    cells = [[row[i] if i < len(row) else "" for row in grid.rows[start:]] for i in range(columns)]
    notes = [*grid.notes, *_fill_down(cells, header, grid.joined)]
    frame = pd.DataFrame({i: pd.Series([c or None for c in column], dtype="str") for i, column in enumerate(cells)})
    frame[columns] = pd.Series([None] * len(frame), dtype="str")
    real = np.array([row[:columns] for row in grid.real[start:]], dtype=bool).reshape(len(frame), columns)
    _one_table(header, frame, plant)
    return _decided(_sheet(first, header, frame, real, notes), plant)


def _fill_down(cells: list[list[str]], header: Header, joined: dict[tuple[int, int], str]) -> list[str]:
    """Texts and dates of cells merged downwards stand in every row; a weight or a time is never multiplied."""
    table = TABLES[header.kind]
    found: set[str] = set()
    for (row, column), text in joined.items():
        name, place = header.contract[column] if column < len(header.contract) else None, row - header.index - 1
        if name in table.of_type("text", "date") and 0 <= place < len(cells[column]):
            cells[column][place], found = text, found | {str(name)}
    return [f"merged cells of {', '.join(sorted(found))} filled downwards"] if found else []


def _one_mark(text: textfile.Text, own: str, header: Header, frame: pd.DataFrame) -> None:
    """Raises Refused where the rows are parted by another mark than the header; rows in which only few are go on."""
    required = TABLES[header.kind].required
    others = [mark for mark in parted.MARKS if mark != own and text.content.count(mark.encode()) >= len(required) - 1]
    if not others or not len(frame):
        return
    ends = [frame[header.contract.index(name)] for name in (required[0], required[-1])]
    likely = ends[0].isna() | ends[1].isna() | ends[0].str.contains("|".join(map(re.escape, others)), na=False)
    places = set(np.flatnonzero((likely & frame.notna().any(axis=1)).to_numpy()).tolist())
    if places:
        rows = textfile.as_parted(text, own, header.index, len(header.cells), places)
        parted.refuse(header, own, int(frame.notna().any(axis=1).sum()), rows)


def _one_table(header: Header, frame: pd.DataFrame, plant: Plant) -> None:
    """Raises Refused where another table begins below: its rows would be read under the wrong headings."""
    names = headers.spellings(tuple(sorted({theirs for own in plant.columns.values() for theirs in own})))
    required = header.contract.index(TABLES[header.kind].required[0])
    first, other = (frame[place].to_numpy(dtype=object) for place in (0, required))
    if names.isdisjoint(first) and names.isdisjoint(other):
        return
    likely = frame[0].isin(names) | frame[required].isin(names)
    rows = ((place, frame.iloc[place].fillna("").tolist()) for place in np.flatnonzero(likely.to_numpy()).tolist())
    found = headers.written_again(islice(rows, _MOST_HEADERS), header, plant)
    if found is not None:
        row = header.index + 2 + found[0]
        raise Refused(
            f"a second table begins in row {row}, with the column names of a log of kind {found[1]}: put each into a file of its own"
        )


_MOST_HEADERS = 1000


def _sheet(
    rows: list[list[str]], header: Header, frame: pd.DataFrame, real: np.ndarray | None, notes: list[str]
) -> Sheet:
    """The sheet of a header and every line under it, as a frame of one text column a heading and one for the rest."""
    kept, columns = columns_of(header, frame)
    over = [PassedOver(i + 1, "above the header" if any(r) else "blank") for i, r in enumerate(rows[: header.index])]
    numbering = np.arange(header.index + 2, header.index + 2 + len(frame), dtype=np.int64)
    dropped = nolog.below(header, frame)
    over += [PassedOver(int(numbering[place]), why) for place, why in dropped.items()]
    keep = np.ones(len(frame), dtype=bool)
    keep[list(dropped)] = False
    stay = np.flatnonzero(keep)
    body = frame[kept].set_axis(list(columns), axis=1)
    if dropped:
        body = body.iloc[stay].reset_index(drop=True)
    beyond = frame.iloc[stay, -1].reset_index(drop=True).dropna()
    cells = None if real is None else real[stay][:, kept]
    return Sheet(
        header.kind, header.index + 1, columns, body, numbering[stay], tuple(over), tuple(notes), Decisions(), cells,
        dict(zip(beyond.index.tolist(), beyond.tolist(), strict=True)),
    )  # fmt: skip


def columns_of(header: Header, frame: pd.DataFrame) -> tuple[list[int], tuple[str, ...]]:
    """Which columns are kept, and their names: contract names, else the file's own, made unique."""
    kept, names = [], []
    taken = {name.casefold() for name in TABLES[header.kind].by_name}
    for index, (cell, contract) in enumerate(zip(header.cells, header.contract, strict=True)):
        if contract is None and not cell and frame[index].isna().all():
            continue
        name = contract or cell or f"column {headers.letter(index)}"
        number = 2
        while contract is None and name.casefold() in taken:
            name, number = f"{cell or name} ({number})", number + 1
        taken.add(name.casefold())
        kept.append(index)
        names.append(name)
    return kept, tuple(names)


_MARK, _DAY_FIRST = {"point": ".", "comma": ","}, {"day first": True, "month first": False}


def _decided(sheet: Sheet, plant: Plant, comma_separated: bool = False, plain: bool = False) -> Sheet:
    """The sheet with what is settled once a file: decimal mark, and day or month first; the plant's answer where asked.

    A comma-separated file without quotes holds no comma in a number: it is the contract's own form.
    """
    table = TABLES[sheet.kind]
    notes = [*sheet.notes, *([] if len(sheet.rows) else ["no row stands under the header"])]
    decimal = "."
    if not (comma_separated and plain):
        numeric = [c for c in table.columns if c.type == "number" and c.name in sheet.columns]
        mark = _MARK.get(plant.sheets.decimal or "")
        decimal, note = numbers.decide((_number_cells(sheet, c) for c in numeric), comma_separated, mark)
        notes += [note] if note and note != "decimal point" else []
    dated = [name for name in table.of_type("date", "time") if name in sheet.columns]
    texts = (text for name in dated for text in _unusual(sheet.coded(name)[1]))
    day_first, note = clock.decide(texts, _row_by_row(sheet, dated), _DAY_FIRST.get(plant.sheets.dates or ""))
    notes += [note] if note else []
    return replace(sheet, notes=tuple(notes), decisions=Decisions(decimal, day_first))


def _unusual(texts: np.ndarray) -> np.ndarray:
    return texts[np.isnat(clock.standard(texts))]


def _row_by_row(sheet: Sheet, columns: list[str]) -> Iterator[list[str]]:
    for row in sheet.rows[columns].fillna("").itertuples(index=False):
        yield [text for text in row if text]


def _number_cells(sheet: Sheet, column: Column) -> tuple[Column, list[str], np.ndarray]:
    codes, texts = sheet.coded(column.name)
    shown = codes >= 0
    if sheet.real is not None:
        shown = shown & ~sheet.real[:, sheet.columns.index(column.name)]
    counts = np.bincount(codes[shown], minlength=len(texts))
    used = np.flatnonzero(counts)
    return column, [texts[i] for i in used], counts[used]
