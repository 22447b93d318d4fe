"""The first visible sheet of an XLSX or ODS workbook, as text. Macros are never run, formulas never worked out."""

from __future__ import annotations

import datetime as dt
import sys
from dataclasses import dataclass
from typing import Any

from models.reader import unpack
from models.reader.numbers import number_text
from models.reader.sheet import Refused
from models.reader.textfile import tidy


@dataclass(frozen=True)
class Grid:
    """The sheet's cells as text, row 1 first.

    real[i][j]: the cell holds a real number. joined: what an empty cell shows because it is merged with the one
    above, by (row, column), 0-based. behind: names of the visible sheets behind it that hold something.
    """

    name: str
    rows: list[list[str]]
    real: list[list[bool]]
    joined: dict[tuple[int, int], str]
    notes: tuple[str, ...]
    behind: tuple[str, ...] = ()


def grid(content: bytes) -> Grid:
    """Read a workbook. Raises Refused where it is broken, locked, empty or far too large."""
    parts = unpack.measured(content)
    import python_calamine

    try:
        book = python_calamine.CalamineWorkbook.from_filelike(parts.packed)
        index = _first_visible(book)
        sheet = book.get_sheet_by_index(index)
        cells = sheet.to_python(skip_empty_area=False)
        merged = sheet.merged_cell_ranges or []
    except python_calamine.CalamineError as error:
        said = " ".join(str(error).split())[:120]
        raise Refused(f"the workbook cannot be read ({said}): open it and save it again") from None
    except BaseException as error:
        if type(error).__name__ != "PanicException":
            raise
        raise Refused("the workbook cannot be read: open it in a spreadsheet program and save it again") from None
    _midnights(cells)
    rows = [[_text(cell) for cell in row] for row in cells]
    real = [[isinstance(cell, (int, float)) and not isinstance(cell, bool) for cell in row] for row in cells]
    odd = parts.odd.get(parts.sheets[index], {}) if index < len(parts.sheets) else {}
    notes = [f"hidden sheet {name!r} passed over" for name in book.sheet_names[:index]]
    notes += _restore(rows, odd) if odd else []
    behind = _behind(book, index, parts)
    notes += [
        f"sheet {name!r} not read: a log is the first sheet, so save it as a file of its own if it is one"
        for name in behind
    ]
    return Grid(sheet.name, rows, real, _joined(rows, merged), tuple(notes), tuple(behind))


def _midnights(cells: list[list[Any]]) -> None:
    """A whole day in a column that has times of day is a midnight, in place; the reader takes it for a bare date."""
    timed = {place for row in cells for place, cell in enumerate(row) if isinstance(cell, dt.datetime)}
    for row in cells if timed else []:
        for place in timed.intersection(range(len(row))):
            cell = row[place]
            if isinstance(cell, dt.date) and not isinstance(cell, dt.datetime):
                row[place] = dt.datetime.combine(cell, dt.time())


def _joined(rows: list[list[str]], merged: Any) -> dict[tuple[int, int], str]:
    joined: dict[tuple[int, int], str] = {}
    left = unpack.MOST_CELLS
    for (top, column), (bottom, _) in merged:
        if top >= len(rows) or column >= len(rows[top]) or not rows[top][column]:
            continue
        for row in range(top + 1, min(bottom + 1, len(rows), top + 1 + left)):
            left -= 1
            joined[row, column] = rows[top][column]
    return joined


def _first_visible(book: Any) -> int:
    import python_calamine as reader

    for index, sheet in enumerate(book.sheets_metadata):
        if sheet.visible == reader.SheetVisibleEnum.Visible and sheet.typ == reader.SheetTypeEnum.WorkSheet:
            return index
    raise Refused("the workbook has no visible sheet")


EXAMPLE = "example"
"""The sheet of a blank log that shows how it is filled in."""


def _behind(book: Any, index: int, parts: unpack.Parts) -> list[str]:
    """Visible sheets behind the log that hold lines of their own: nothing of them is received, and that is said."""
    import python_calamine as reader

    bare = [part in parts.bare for part in parts.sheets] + [False] * len(book.sheet_names)
    return [
        str(sheet.name)
        for place, sheet in enumerate(book.sheets_metadata)
        if place > index and not bare[place] and sheet.name != EXAMPLE
        and sheet.visible == reader.SheetVisibleEnum.Visible and sheet.typ == reader.SheetTypeEnum.WorkSheet
    ]  # fmt: skip


def _restore(rows: list[list[str]], odd: dict[tuple[int, int], str]) -> list[str]:
    """Put back what stands in cells whose formula has no value, so that they do not pass for empty."""
    found = 0
    for (row, column), text in odd.items():
        if row < len(rows) and column < len(rows[row]) and not rows[row][column]:
            rows[row][column], found = text, found + 1
    says = "1 cell holds a formula" if found == 1 else f"{found} cells hold a formula"
    return [f"{says} without a value"] if found else []


def _text(cell: Any) -> str:
    if isinstance(cell, str):
        return sys.intern(tidy(cell))
    if isinstance(cell, bool):
        return "TRUE" if cell else "FALSE"
    if isinstance(cell, (int, float)):
        return number_text(float(cell)) if abs(cell) < float("inf") else ""
    if isinstance(cell, dt.datetime):
        return _rounded(cell).isoformat()
    if isinstance(cell, dt.time):
        cell = dt.timedelta(hours=cell.hour, minutes=cell.minute, seconds=cell.second, microseconds=cell.microsecond)
    if isinstance(cell, dt.timedelta):
        seconds = round(cell.total_seconds())
        return f"{seconds // 3600:02}:{seconds // 60 % 60:02}:{seconds % 60:02}"
    return cell.isoformat() if isinstance(cell, dt.date) else ""


def _rounded(at: dt.datetime) -> dt.datetime:
    """To the second: a spreadsheet's day fraction is no finer than a few microseconds."""
    return (
        (at + dt.timedelta(microseconds=500_000)).replace(microsecond=0)
        if at.year < 9999
        else at.replace(microsecond=0)
    )
