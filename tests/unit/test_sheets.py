"""Blank sheets read back: filled with their own worked example, every log is understood without a slip."""

from __future__ import annotations

from pathlib import Path

import pytest

from models import intake, reading
from models.logbook import KINDS, TABLES
from reports import sheets
from tests.unit.rows import plant

NORTH = plant()


@pytest.fixture(scope="module")
def blank(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("sheets")
    sheets.write(NORTH, folder)
    return folder


@pytest.mark.parametrize("kind", KINDS)
def test_the_worked_example_reads_back(blank: Path, kind: str, tmp_path: Path) -> None:
    from openpyxl import load_workbook

    book = load_workbook(blank / f"blank-{kind}.xlsx")
    log, example = book.worksheets[0], book["example"]
    for place, cell in enumerate(example[2], 1):
        log.cell(2, place).value = cell.value
    book.save(tmp_path / "filled.xlsx")
    sheet = intake.read("filled.xlsx", (tmp_path / "filled.xlsx").read_bytes(), NORTH)
    found = reading.typed(sheet, NORTH)
    assert sheet.kind == kind
    assert len(found.frame) == 1 and not found.slips
    filled = found.frame.iloc[0].dropna()
    assert set(TABLES[kind].required) <= set(filled.index)


def test_a_blank_sheet_holds_no_row(blank: Path) -> None:
    sheet = intake.read("blank-loaf.xlsx", (blank / "blank-loaf.xlsx").read_bytes(), NORTH)
    assert sheet.kind == "loaf" and len(sheet.rows) == 0


def test_headings_carry_units_and_lists_the_plants_codes(blank: Path) -> None:
    from openpyxl import load_workbook

    book = load_workbook(blank / "blank-paste.xlsx")
    heads = [cell.value for cell in book.worksheets[0][1]]
    assert "weight_before_kg* (kg)" in heads and "cook_temp_c* (°C)" in heads
    assert book.worksheets[0].data_validations.dataValidation


def test_the_same_plant_gives_the_same_bytes(blank: Path, tmp_path: Path) -> None:
    for path in sheets.write(NORTH, tmp_path):
        assert path.read_bytes() == (blank / path.name).read_bytes()


def test_a_filled_sheet_is_never_written_over(blank: Path, tmp_path: Path) -> None:
    (tmp_path / "blank-loaf.xlsx").write_bytes(b"filled in")
    with pytest.raises(FileExistsError):
        sheets.write(NORTH, tmp_path)
    assert (tmp_path / "blank-loaf.xlsx").read_bytes() == b"filled in"


def test_plant_codes_are_never_formulas(tmp_path: Path) -> None:
    from openpyxl import load_workbook

    odd = plant(lines={"=1+1": {"products": ["milk-loaf"]}})
    sheets.write(odd, tmp_path)
    book = load_workbook(tmp_path / "blank-loaf.xlsx")
    assert not [cell for sheet in book for row in sheet.iter_rows() for cell in row if cell.data_type == "f"]
