"""Log sheets: rows in the contract's columns, written with fixed decimals, the same bytes each time."""

from __future__ import annotations

import csv
import io
from dataclasses import dataclass, field
from datetime import date, datetime

from models.logbook import TABLES, Column
from seed_data.plan import ZONE

Row = dict[str, object]
_DECIMALS_OF_UNIT = {"kg": 2, "°C": 1, "Wh/kg": 2, "min": 0, "g": 0, "mL": 0, "%": 0, "mm": 0, "pieces": 0}
_DECIMALS_OF = {"yeast_kg": 3, "mix_minutes": 1, "standard": 1, "as_found": 1}


@dataclass
class Sheet:
    """One table of one kind on its way to a file. `above` are lines over the header, `units` a row under it."""

    path: str
    kind: str
    rows: list[Row] = field(default_factory=list)
    above: tuple[str, ...] = ()
    units: bool = False
    totals: Row | None = None
    decimal_comma: bool = False
    offsets: bool = False


def _decimals(column: Column) -> int:
    return _DECIMALS_OF.get(column.name, _DECIMALS_OF_UNIT.get(column.unit, 1))


def cell(sheet: Sheet, column: Column, value: object) -> str:
    """One cell as it stands on the sheet. Text given for a number stays as typed."""
    if value is None:
        return ""
    if isinstance(value, datetime):
        here = value.astimezone(ZONE)
        return here.isoformat(sep=" ", timespec="minutes") if sheet.offsets else f"{here:%Y-%m-%d %H:%M}"
    if isinstance(value, date):
        return value.isoformat()
    if isinstance(value, (int, float)):
        typed = f"{value:.{_decimals(column)}f}"
        typed = typed.removeprefix("-") if float(typed) == 0 else typed
        return typed.replace(".", ",") if sheet.decimal_comma else typed
    return str(value)


def lines(sheet: Sheet) -> list[list[str]]:
    """The sheet cell by cell, from its first line."""
    columns = TABLES[sheet.kind].columns
    found = [[text] for text in sheet.above]
    found.append([column.name for column in columns])
    if sheet.units:
        found.append([column.unit for column in columns])
    rows = [*sheet.rows, *([sheet.totals] if sheet.totals else [])]
    return found + [[cell(sheet, column, row.get(column.name)) for column in columns] for row in rows]


def as_csv(sheet: Sheet) -> bytes:
    """The sheet as a CSV file: UTF-8, one LF a line."""
    text = io.StringIO()
    csv.writer(text, delimiter=";" if sheet.decimal_comma else ",", lineterminator="\n").writerows(lines(sheet))
    return text.getvalue().encode()
