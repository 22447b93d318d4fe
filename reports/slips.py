"""Slips to take to the shift that wrote the rows, and workbooks to correct and drop in again."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

from jinja2 import Environment, PackageLoader, StrictUndefined

from models.logbook import TABLES
from models.storage.replacing import BY, COLUMN
from reports.pages import put
from reports.sheets import as_bytes, keep

if TYPE_CHECKING:
    from models.plant import Plant
    from models.storage.decisions import Waiting

_NUMBER = re.compile(r"-?\d+(\.\d+)?")
BESIDE = ("in question", "proposed", "why")


def write(plant: Plant, rows: Sequence[Waiting], cells: Mapping[int, Mapping[str, str]], folder: Path) -> list[Path]:
    """One page a shift that wrote rows, one workbook a log with the rows to correct; returns their paths.

    cells: row number (seq) -> column -> text as the row stands, and what the row is called. Corrected in its own columns,
    with initials or a role in `corrected_by`, and dropped into the logs folder, a workbook is taken like any other log, each row
    in the place of the one it names. Raises FileExistsError, one line, before anything is written, rather than write over
    a workbook that somebody may have corrected.
    """
    books = {
        folder / f"correct-{kind}.xlsx": as_bytes(_workbook(kind, [row for row in rows if row.kind == kind], cells))
        for kind in dict.fromkeys(row.kind for row in rows)
    }
    keep(books)
    written = []
    shifts: dict[str, list[Waiting]] = {}
    for row in rows:
        shifts.setdefault(_shift(plant, row, cells[row.seq]), []).append(row)
    for shift, mine in sorted(shifts.items()):
        path = folder / f"slip-{re.sub(r'[^0-9A-Za-z-]+', '-', shift)}.html"
        put(path, _page(plant, shift, mine))
        written.append(path)
    return [*written, *books]


def _shift(plant: Plant, row: Waiting, cells: Mapping[str, str]) -> str:
    """The shift that wrote a row: its own, else the one that was on at its clock."""
    from models.calls import shift_at

    at = cells.get(TABLES[row.kind].at, "")
    timed = None if row.shift_date or TABLES[row.kind].by_name[TABLES[row.kind].at].type != "time" else _instant(at)
    if timed is None:
        return f"{row.shift_date or 'date unknown'} {row.shift or ''}".strip()
    shift, began = shift_at(plant, timed.astimezone(UTC).replace(tzinfo=None))
    return f"{began.replace(tzinfo=UTC).astimezone(plant.zone).date()} {shift}"


def _instant(text: str) -> datetime | None:
    """A time as a log writes it, with its offset; None for one that could not be read."""
    try:
        at = datetime.fromisoformat(text)
    except ValueError:
        return None
    return at if at.tzinfo else None


def _page(plant: Plant, shift: str, rows: Sequence[Waiting]) -> str:
    environment = Environment(
        loader=PackageLoader("reports"), autoescape=True, undefined=StrictUndefined, trim_blocks=True
    )
    return environment.get_template("slip.html").render(plant=plant.plant, shift=shift, rows=rows)


def _workbook(kind: str, rows: Sequence[Waiting], cells: Mapping[int, Mapping[str, str]]) -> Any:
    from openpyxl import Workbook
    from openpyxl.styles import Font, PatternFill

    book = Workbook()
    sheet = book.active
    sheet.title = kind
    names = [column.name for column in TABLES[kind].columns]
    numbers = {place for place, column in enumerate(TABLES[kind].columns, 1) if column.type == "number"}
    for place, name in enumerate([*names, *BESIDE, BY, COLUMN], 1):
        _text(sheet.cell(1, place), name).font = Font(bold=True)
    for line, row in enumerate(rows, 2):
        values = dict(cells[row.seq]) | ({row.column: row.value} if row.value else {})
        beside = (row.column, row.proposal or "nothing is proposed", row.why, "")
        for place, text in enumerate([*(values.get(name, "") for name in names), *beside, values.get(COLUMN, "")], 1):
            _fill(sheet.cell(line, place), text, place in numbers)
        to_fill = PatternFill("solid", start_color="FFE08A")
        sheet.cell(line, len(names) + len(BESIDE) + 1).fill = to_fill
        if row.column in names:
            questioned = sheet.cell(line, names.index(row.column) + 1)
            questioned.fill, questioned.font = to_fill, Font(bold=True, underline="single")
    sheet.freeze_panes = "A2"
    return book


def _fill(cell: Any, text: str, number: bool) -> None:
    """A number as a real one, so that what is typed over it is one too, whatever decimal mark the machine has; else a text."""
    if number and _NUMBER.fullmatch(text):
        cell.value = float(text)
        return
    _text(cell, text)
    if number:
        cell.number_format = "General"


def _text(cell: Any, text: str) -> Any:
    """A cell as text, whatever it begins with: nothing from a log is a formula."""
    if text:
        cell.value = text
        cell.data_type = "s"
        cell.number_format = "@"
    return cell
