"""A log is known by its header, whatever the file is called and however the header is written."""

from __future__ import annotations

import pytest

from models import plant
from models.logbook import TABLES
from models.reader import headers
from models.reader.sheet import Refused
from tests.unit import books, rows


def _find(*lines: list[str], **changes) -> headers.Header:
    return headers.find([list(line) for line in lines], rows.plant(**changes))


@pytest.mark.parametrize("kind", TABLES)
def test_every_kind_is_known_by_its_own_columns(kind: str):
    header = _find(list(TABLES[kind].by_name))
    assert (header.kind, header.contract) == (kind, tuple(TABLES[kind].by_name))


@pytest.mark.parametrize("kind", TABLES)
def test_every_kind_is_known_by_its_required_columns_alone(kind: str):
    assert _find(list(TABLES[kind].required)).kind == kind


@pytest.mark.parametrize("kind", TABLES)
def test_every_required_column_is_needed(kind: str):
    for name in TABLES[kind].required:
        with pytest.raises(Refused) as refused:
            _find([column for column in TABLES[kind].required if column != name])
        assert name in str(refused.value) and kind in str(refused.value)


@pytest.mark.parametrize(
    "written",
    [
        ["Line", "PRODUCT", "Shift Date", "shift", "Pieces-Made"],
        [" line ", "product", "shift_date (yyyy-mm-dd)", "Shift", "pieces made (pcs)"],
        ["LINE*", "Product*", "SHIFT  DATE*", "Shift*", "PIECES_MADE* (pieces)"],
        ["ｌｉｎｅ", "product", "shift_date", "shift", "pieces_made"],
    ],
)
def test_case_blanks_units_and_stars_make_no_difference(written: list[str]):
    assert _find(written).contract == ("line", "product", "shift_date", "shift", "pieces_made")


def test_a_unit_in_brackets_completes_a_name():
    names = [
        "paste_batch",
        "kettle",
        "shift_date",
        "shift",
        "Weight before (kg)",
        "weight after [kg]",
        "cook_start",
        "cook_end",
    ]
    assert _find([*names, "Cook temp (°C)"]).contract[4:] == (
        "weight_before_kg",
        "weight_after_kg",
        "cook_start",
        "cook_end",
        "cook_temp_c",
    )


def test_a_row_of_units_completes_names_too():
    names = ["gas_test", "tested_at", "gas produced"]
    assert _find(names, ["", "", "mL"]).contract[2] == "gas_produced_ml"
    with pytest.raises(Refused, match="gas_produced_ml"):
        _find(names, ["G1", "2026-05-06 09:00", "410"])


@pytest.mark.parametrize(("heading", "unit"), [("cook_temp_c (°F)", "°F"), ("Cook temp c [F]", "°F")])
def test_a_heading_that_names_another_unit_is_refused(heading: str, unit: str):
    names = [name for name in TABLES["paste"].required if name != "cook_temp_c"]
    with pytest.raises(Refused, match=f"says {unit}.*cook_temp_c is kept in °C"):
        _find([*names, heading])


def test_a_row_of_units_that_contradicts_is_refused():
    names = list(TABLES["gas"].required)
    with pytest.raises(Refused, match="says L"):
        _find(names, ["", "", "L"])


def test_the_first_row_that_fits_is_the_header():
    title, blank = ["OUTPUT OF WEEK 19", ""], ["", ""]
    header = _find(title, blank, list(TABLES["output"].required), list(TABLES["output"].required))
    assert header.index == 2


def test_a_sheet_that_fits_two_kinds_is_refused_and_says_which_columns_decide():
    both = dict.fromkeys((*TABLES["proof"].required, *TABLES["loaf"].required))
    with pytest.raises(Refused) as refused:
        _find(list(both))
    for word in ("proof", "loaf", "proof_in", "baked_g"):
        assert word in str(refused.value)


def test_a_sheet_of_none_says_so_and_shows_its_beginning():
    with pytest.raises(Refused, match="no row holds the column names of a log.*canteen"):
        _find(["canteen", "soup"], ["monday", "pea"])


def test_a_near_miss_is_proposed():
    with pytest.raises(Refused, match="'pieces mde' for pieces_made"):
        _find(["line", "product", "shift_date", "shift", "pieces mde"])


def test_one_column_twice_is_refused_with_both_letters():
    with pytest.raises(Refused, match=r"line stands in the header twice \(columns A, F\)"):
        _find([*TABLES["output"].required, "Line"])


def test_the_plants_own_names_are_understood_for_their_kind_only():
    own = {"output": {"Linie": "line", "Stück (gut)": "pieces_made"}}
    cells = ["LINIE", "product", "shift_date", "shift", "stück gut"]
    assert _find(cells, columns=own).contract == ("line", "product", "shift_date", "shift", "pieces_made")
    with pytest.raises(Refused):
        _find(cells)
    with pytest.raises(Refused):
        _find(cells, columns={"loaf": {"Linie": "line", "Stück (gut)": "volume_ml"}})


def test_extra_columns_keep_their_names_and_are_made_unique():
    head = "line,product,shift_date,shift,pieces_made,weather,Weather,,pieces_wasted,\n"
    sheet = books.sheet(head + "L1,milk-loaf,2026-05-06,early,900,dry,wet,x,6,\n")
    assert sheet.columns[5:] == ("weather", "Weather (2)", "column H", "pieces_wasted")
    assert sheet.rows.iloc[0, 5:].tolist() == ["dry", "wet", "x", "6"]


def test_more_columns_than_any_log_has_are_refused():
    with pytest.raises(Refused, match="2000 columns"):
        _find([f"c{i}" for i in range(2000)])


@pytest.mark.parametrize(
    ("index", "letters"), [(0, "A"), (25, "Z"), (26, "AA"), (701, "ZZ"), (702, "AAA"), (16383, "XFD")]
)
def test_columns_have_the_letters_a_spreadsheet_shows(index: int, letters: str):
    assert headers.letter(index) == letters


def test_the_plant_file_takes_a_mapping():
    assert (
        plant.parse({**rows.PLANT, "columns": {"loaf": {"Volumen": "volume_ml"}}}).columns["loaf"]["Volumen"]
        == "volume_ml"
    )
