"""Slips to take to the shift that wrote the rows, and workbooks to correct and drop in again."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from jinja2 import Environment, PackageLoader, StrictUndefined

from models.logbook import TABLES
from models.storage.replacing import BY, COLUMN
from reports.pages import put

if TYPE_CHECKING:
    from models.plant import Plant
    from models.storage.decisions import Waiting

BESIDE = ("in question", "proposed", "why")


def write(plant: Plant, rows: Sequence[Waiting], cells: Mapping[int, Mapping[str, str]], folder: Path) -> list[Path]:
    """One page a shift that wrote rows, one workbook a log with the rows to correct; returns their paths.

    cells: row number (seq) -> column -> text as the row stands, and what the row is called. Corrected in its own columns,
    with initials or a role in `corrected_by`, and dropped into the logs folder, a workbook is taken like any other log, each row
    in the place of the one it names.
    """
    folder.mkdir(parents=True, exist_ok=True)
    written = []
    shifts: dict[str, list[Waiting]] = {}
    for row in rows:
        shifts.setdefault(f"{row.shift_date or 'date unknown'} {row.shift or ''}".strip(), []).append(row)
    for shift, mine in sorted(shifts.items()):
        path = folder / f"slip-{re.sub(r'[^0-9A-Za-z-]+', '-', shift)}.html"
        put(path, _page(plant, shift, mine))
        written.append(path)
    for kind in dict.fromkeys(row.kind for row in rows):
        path = folder / f"correct-{kind}.xlsx"
        _workbook(kind, [row for row in rows if row.kind == kind], cells).save(path)
        written.append(path)
    return written


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
    for place, name in enumerate([*names, *BESIDE, BY, COLUMN], 1):
        _text(sheet.cell(1, place), name).font = Font(bold=True)
    for line, row in enumerate(rows, 2):
        values = dict(cells[row.seq]) | ({row.column: row.value} if row.value else {})
        beside = (row.column, row.proposal or "nothing is proposed", row.why, "")
        for place, text in enumerate([*(values.get(name, "") for name in names), *beside, values.get(COLUMN, "")], 1):
            _text(sheet.cell(line, place), text)
        to_fill = PatternFill("solid", start_color="FFE08A")
        sheet.cell(line, len(names) + len(BESIDE) + 1).fill = to_fill
        if row.column in names:
            questioned = sheet.cell(line, names.index(row.column) + 1)
            questioned.fill, questioned.font = to_fill, Font(bold=True, underline="single")
    sheet.freeze_panes = "A2"
    return book


def _text(cell: Any, text: str) -> Any:
    """A cell as text, whatever it begins with: nothing from a log is a formula."""
    if text:
        cell.value = text
        cell.data_type = "s"
        cell.number_format = "@"
    return cell
