"""Which row stands on which sheet: one folder a day, dough, loaf and paste sheets by shift, the others by day.

The laboratory keeps its gas tests in workbooks; everything else is CSV.
In the night in which the clocks go back the proof sheet carries offsets; the mixer's does not.
"""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date, datetime

from seed_data import floor, laboratory
from seed_data.plan import days, end, shift_of
from seed_data.records import dough_row, loaf_row, paste_row, proof_row
from seed_data.sheets import Row, Sheet
from seed_data.simulate import Truth

Sheets = dict[str, Sheet]
WORKBOOKS = ("gas",)
CLOCKS_BACK = date(2026, 10, 24)


def sheets_of(truth: Truth) -> Sheets:
    """Every sheet as a careful floor would have written it, by path."""
    sheets: Sheets = {}
    seed, by = truth.seed, end(truth.days)
    for paste in truth.pastes:
        _put(sheets, "paste", paste.cook_end, True, paste_row(seed, paste))
    for dough in truth.doughs:
        _put(sheets, "dough", dough.mixing.at, True, dough_row(seed, dough))
        if dough.proof.ended <= by:
            _put(sheets, "proof", dough.proof.begun, False, proof_row(dough))
    for loaf in truth.loaves:
        _put(sheets, "loaf", loaf.measured_at, True, loaf_row(loaf))
    for row in floor.outputs(seed, list(truth.doughs)):
        path = f"logs/{row['shift_date']}/output.csv"
        sheets.setdefault(path, Sheet(path, "output")).rows.append(row)
    _put_all(sheets, "change", "changed_at", floor.changes(list(truth.yeasts), list(truth.flours)), by)
    tests = laboratory.lot_tests(seed, list(truth.yeasts)) + laboratory.dough_tests(seed, list(truth.doughs))
    _put_all(sheets, "gas", "tested_at", sorted(tests, key=lambda row: (row["tested_at"], row["gas_test"])), by)
    checks = [row for day in days(truth.days) for row in laboratory.checks(seed, day)]
    _put_all(sheets, "check", "checked_at", checks, by)
    for path in sheets.keys() & {f"logs/{CLOCKS_BACK}/proof.csv"}:
        sheets[path].offsets = True
    return sheets


def _put_all(sheets: Sheets, kind: str, at: str, rows: Iterable[Row], by: datetime) -> None:
    for row in rows:
        when = row[at]
        assert isinstance(when, datetime)
        if when <= by:
            _put(sheets, kind, when, False, row)


def _put(sheets: Sheets, kind: str, at: datetime, by_shift: bool, row: Row) -> None:
    day, shift = shift_of(at)
    name = f"{shift}-{kind}" if by_shift else kind
    path = f"logs/{day}/{name}.{'xlsx' if kind in WORKBOOKS else 'csv'}"
    sheets.setdefault(path, Sheet(path, kind)).rows.append(row)
