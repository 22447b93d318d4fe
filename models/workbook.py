"""The first visible sheet of an XLSX or ODS workbook, as text. Macros are never run, formulas never worked out."""

from __future__ import annotations

import datetime as dt
import io
from dataclasses import dataclass
from typing import Any

from models.sheet import Refused
from models.numbers import number_text
from models.textfile import tidy


@dataclass(frozen=True)
class Grid:
    """The sheet's cells as text, row 1 first; `real[i][j]`: the cell holds a real number."""

    name: str
    rows: list[list[str]]
    real: list[list[bool]]
    notes: tuple[str, ...]


def grid(content: bytes) -> Grid:
    """Read a workbook. Raises Refused where it is broken, locked, empty or far too large."""
    import python_calamine

    try:
        book = python_calamine.CalamineWorkbook.from_filelike(io.BytesIO(content))
        shown = [
            i for i, sheet in enumerate(book.sheets_metadata)
            if sheet.visible == python_calamine.SheetVisibleEnum.Visible and sheet.typ == python_calamine.SheetTypeEnum.WorkSheet
        ]  # fmt: skip
        if not shown:
            raise Refused("the workbook has no visible sheet")
        sheet = book.get_sheet_by_index(shown[0])
        rows = sheet.to_python(skip_empty_area=False)
    except python_calamine.CalamineError as error:
        raise Refused(f"the workbook cannot be read ({' '.join(str(error).split())[:120]}): open it and save it again") from None
    hidden = tuple(f"hidden sheet {book.sheet_names[i]} passed over" for i in range(shown[0]))
    return Grid(sheet.name, [[_text(c) for c in r] for r in rows], [[_is_real(c) for c in r] for r in rows], hidden)


def _is_real(cell: Any) -> bool:
    return isinstance(cell, (int, float)) and not isinstance(cell, bool)


def _text(cell: Any) -> str:
    if isinstance(cell, str):
        return tidy(cell)
    if isinstance(cell, bool):
        return "TRUE" if cell else "FALSE"
    if isinstance(cell, (int, float)):
        return number_text(float(cell))
    if isinstance(cell, dt.datetime):
        return _rounded(cell).isoformat()
    if isinstance(cell, dt.timedelta):
        return str(cell) if cell >= dt.timedelta(days=1) else str((dt.datetime.min + cell).time().replace(microsecond=0))
    return cell.isoformat() if cell is not None else ""


def _rounded(at: dt.datetime) -> dt.datetime:
    """To the second: a spreadsheet's day fraction is no finer than a few microseconds."""
    return (at + dt.timedelta(microseconds=500_000)).replace(microsecond=0)


