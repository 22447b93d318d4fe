"""Blank log sheets: made from the declarations, and read back by the reader without a slip."""

from __future__ import annotations

import io
from pathlib import Path

import openpyxl
import pytest

from models import plant
from models.logbook import TABLES
from models.plant import Plant
from models.reader import intake, reading
from reports import sheets
from tests.unit import books, rows

HOSTILE = {
    **rows.PLANT,
    "shifts": {"=1+1": "06:00", "@late": "18:00"},
    "kettles": {'=HYPERLINK("x")': {"pastes": ["water-2"]}},
    "lines": {"+L1": {"kettle": '=HYPERLINK("x")', "products": ['-milk, "soft"']}},
    "products": {'-milk, "soft"': {"paste": "water-2", "hydration_pct": 63.0, "yeast_pct": 3.0, "scaled_g": 450.0}},
}
PLANTS = {
    "ordinary": books.PLANT,
    "hostile names": plant.parse(HOSTILE),
    "no paste at all": plant.parse(
        {
            "plant": "p",
            "timezone": "UTC",
            "shifts": {"night": "22:00"},
            "lines": {"A": {"products": ["bun"]}},
            "products": {"bun": {"hydration_pct": 55.0, "yeast_pct": 4.0, "scaled_g": 60.0}},
        }
    ),
}


def _filled(path: Path) -> bytes:
    """The blank workbook with its worked example copied into its first sheet, as a person would."""
    book = openpyxl.load_workbook(path)
    for cell in book["example"][2]:
        book.worksheets[0].cell(2, cell.column, cell.value).data_type = cell.data_type
    file = io.BytesIO()
    book.save(file)
    return file.getvalue()


@pytest.mark.parametrize("owner", PLANTS.values(), ids=PLANTS)
@pytest.mark.parametrize("kind", TABLES)
def test_a_filled_sheet_reads_back_without_a_slip(kind: str, owner: Plant, tmp_path: Path):
    paths = {path.name: path for path in sheets.write(owner, tmp_path)}
    read = intake.read("x", _filled(paths[f"blank-{kind}.xlsx"]), owner)
    typed = reading.typed(read, owner)
    assert (read.kind, len(read.rows), typed.slips) == (kind, 1, ())
    assert read.columns == tuple(TABLES[kind].by_name)
    example = sheets.example(TABLES[kind], owner)
    assert set(typed.frame.columns[typed.frame.notna().iloc[0]]) == set(example)
    for name in TABLES[kind].of_type("number"):
        assert name not in example or typed.frame[name].tolist() == [example[name]]
        low, high = TABLES[kind].by_name[name].can_be or (0, 0)
        assert name not in example or low <= example[name] <= high


def test_a_blank_sheet_is_a_log_without_rows(tmp_path: Path):
    for path in sheets.write(books.PLANT, tmp_path):
        assert len(intake.read("x", path.read_bytes(), books.PLANT).rows) == 0


def test_there_is_one_workbook_a_kind_and_the_same_plant_gives_the_same_bytes(tmp_path: Path):
    one, two = (sheets.write(books.PLANT, tmp_path / name) for name in ("a", "b"))
    assert [path.name for path in one] == [f"blank-{kind}.xlsx" for kind in TABLES]
    assert [path.read_bytes() for path in one] == [path.read_bytes() for path in two]


def test_headings_carry_units_and_say_what_must_be_filled():
    paste = TABLES["paste"].by_name
    assert sheets.heading(paste["weight_before_kg"]) == "weight_before_kg* (kg)"
    assert sheets.heading(paste["note"]) == "note"


def test_drop_downs_offer_the_plants_own_codes_and_the_choices(tmp_path: Path):
    sheets.write(books.PLANT, tmp_path)
    book = openpyxl.load_workbook(tmp_path / "blank-paste.xlsx")
    log, codes = book.worksheets[0], book["codes"]
    assert codes.sheet_state == "hidden" and log.freeze_panes == "A2"
    offered = {}
    for rule in log.data_validations.dataValidation:
        if rule.type == "list":
            area = codes[rule.formula1.removeprefix("codes!").replace("$", "")]
            cells = [area] if not isinstance(area, tuple) else [cell for (cell,) in area]
            name = sheets.heading(list(TABLES["paste"].columns)[cells[0].column - 1])
            offered[name] = [cell.value for cell in cells]
    assert offered == {
        "kettle*": ["K1", "K2"],
        "recipe": ["water-2", "milk-5"],
        "shift*": ["early", "late", "night"],
        "probe": ["contact", "infrared"],
    }


def test_numbers_that_cannot_be_are_warned_of_not_forbidden(tmp_path: Path):
    sheets.write(books.PLANT, tmp_path)
    log = openpyxl.load_workbook(tmp_path / "blank-loaf.xlsx").worksheets[0]
    rules = [rule for rule in log.data_validations.dataValidation if rule.type == "decimal"]
    assert len(rules) == len(TABLES["loaf"].of_type("number"))
    assert {rule.errorStyle for rule in rules} == {"warning"}


def test_a_plants_names_are_never_formulas(tmp_path: Path):
    for path in sheets.write(PLANTS["hostile names"], tmp_path):
        for sheet in openpyxl.load_workbook(path):
            assert not [cell.coordinate for line in sheet.iter_rows() for cell in line if cell.data_type == "f"]
            odd = [c for line in sheet.iter_rows() for c in line if isinstance(c.value, str) and c.value[:1] in "=+-@"]
            assert all(cell.quotePrefix for cell in odd)


def test_every_column_is_explained(tmp_path: Path):
    sheets.write(books.PLANT, tmp_path)
    for kind, table in TABLES.items():
        shown = openpyxl.load_workbook(tmp_path / f"blank-{kind}.xlsx")["example"]
        told = {line[0]: line[4] for line in shown.iter_rows(min_row=5, max_col=5, values_only=True) if line[4]}
        assert told == {column.name: column.says for column in table.columns}


def test_a_sheet_somebody_filled_in_is_not_written_over(tmp_path: Path):
    path = sheets.write(books.PLANT, tmp_path)[0]
    path.write_bytes(_filled(path))
    kept = path.read_bytes()
    with pytest.raises(FileExistsError, match="move it away") as refused:
        sheets.write(books.PLANT, tmp_path)
    assert path.read_bytes() == kept and "\n" not in str(refused.value)
