"""Slips go to the shift that wrote the rows; a workbook's numbers are numbers, its names and whatever looks like a formula texts."""

from __future__ import annotations

from pathlib import Path

import openpyxl
import pytest

from models.storage.decisions import Waiting
from reports import slips
from tests.unit import books
from tests.unit.test_sheet_errors import NORTH

LOAF = {"loaf": "01", "dough_batch": "07", "line": "L1", "measured_at": "2026-05-06T06:14+01:00", "scaled_g": "450"}
WHY = "40.6 g is no loaf"


def waits(seq: int, kind: str = "loaf", shift_date: str | None = None, shift: str | None = None) -> Waiting:
    return Waiting(seq, kind, "loaf.csv", 2, "baked_g", "40,6", f"{kind}.number", WHY, None, {}, 4, shift_date, shift)


@pytest.mark.parametrize(
    ("at", "slip"),
    [
        ("2026-05-06T06:14+01:00", "slip-2026-05-06-early"),
        ("2026-05-06T05:59+01:00", "slip-2026-05-05-night"),
        ("2026-05-06T14:00+01:00", "slip-2026-05-06-late"),
        ("", "slip-date-unknown"),
        ("10h", "slip-date-unknown"),
        ("06:14", "slip-date-unknown"),
        ("2026-03-29 01:20", "slip-date-unknown"),  # never shown by the clock
    ],
)
def test_a_row_without_a_shift_goes_to_the_one_that_was_on(tmp_path: Path, at: str, slip: str) -> None:
    """Shifts of the small plant begin at 06:00, 14:00 and 22:00."""
    written = slips.write(NORTH, [waits(1)], {1: LOAF | {"measured_at": at}}, tmp_path)
    assert [path.stem for path in written] == [slip, "correct-loaf"]


def test_a_rows_own_shift_stands_whatever_its_clock(tmp_path: Path) -> None:
    written = slips.write(
        NORTH, [waits(1, "paste", "2026-05-06", "late")], {1: {"cook_end": "2026-05-06T06:14+01:00"}}, tmp_path
    )
    assert written[0].stem == "slip-2026-05-06-late"


def test_numbers_are_numbers_and_a_typed_over_one_is_read_whatever_the_decimal_mark(tmp_path: Path) -> None:
    (_, path) = slips.write(NORTH, [waits(1)], {1: LOAF | {"volume_ml": "=1+1"}}, tmp_path)
    book = openpyxl.load_workbook(path)
    sheet = book.active
    cells = {cell.value: sheet.cell(2, cell.column) for cell in sheet[1]}
    assert (cells["scaled_g"].value, cells["scaled_g"].data_type, cells["scaled_g"].number_format) == (
        450,
        "n",
        "General",
    )
    assert (cells["baked_g"].value, cells["baked_g"].number_format) == ("40,6", "General")
    assert (cells["loaf"].value, cells["loaf"].number_format) == ("01", "@")
    assert (cells["volume_ml"].value, cells["volume_ml"].data_type) == ("=1+1", "s")
    cells["baked_g"].value, cells["volume_ml"].value = 405.5, 1860.0  # what 405,5 becomes where the comma is the mark
    book.save(path)
    read = books.typed(path.read_bytes())
    assert not read.slips and read.frame[["baked_g", "volume_ml"]].iloc[0].tolist() == [405.5, 1860.0]


def test_a_workbook_that_somebody_corrected_is_not_written_over(tmp_path: Path) -> None:
    """Before, asking for the slips again put the errors back over the corrections."""
    cells = {1: LOAF, 2: LOAF}
    (*_, path) = slips.write(NORTH, [waits(1)], cells, tmp_path)
    asked_again = path.read_bytes()
    assert slips.write(NORTH, [waits(1)], cells, tmp_path)[-1].read_bytes() == asked_again
    book = openpyxl.load_workbook(path)
    book.active["C2"] = "corrected"
    book.save(path)
    corrected = path.read_bytes()
    (tmp_path / "slip-date-unknown.html").unlink(missing_ok=True)
    there = sorted(tmp_path.iterdir())
    with pytest.raises(FileExistsError, match=r"correct-loaf\.xlsx: is there already and differs"):
        slips.write(NORTH, [waits(1), waits(2)], cells, tmp_path)
    assert path.read_bytes() == corrected and sorted(tmp_path.iterdir()) == there
