"""Numbers as the floor writes them: one decision a file, never a guess cell by cell."""

from __future__ import annotations

import numpy as np
import pytest

from models.logbook import TABLES
from models.reader import numbers
from models.reader.numbers import Misread, Undecidable
from tests.unit import books

WB = TABLES["paste"].by_name["weight_before_kg"]
COOK = TABLES["paste"].by_name["cook_temp_c"]
VOLUME = TABLES["loaf"].by_name["volume_ml"]
PIECES = TABLES["output"].by_name["pieces_made"]
FLOUR = TABLES["dough"].by_name["flour_kg"]


def _decide(*cells: str, column=WB, comma_separated: bool = False) -> str:
    return numbers.decide([(column, cells, np.ones(len(cells), dtype=int))], comma_separated)[0]


@pytest.mark.parametrize(
    ("text", "decimal", "value"),
    [
        ("36", ".", 36.0),
        ("36.0", ".", 36.0),
        ("36,0", ",", 36.0),
        ("+36.5", ".", 36.5),
        ("-2.5", ".", -2.5),
        ("\u22122,5", ",", -2.5),
        ("1,850", ".", 1850.0),
        ("1.850", ",", 1850.0),
        ("1.850,5", ",", 1850.5),
        ("1,234,567.5", ".", 1234567.5),
        ("1 850", ".", 1850.0),
        ("1\u202f850,5", ",", 1850.5),
        ("1'850.5", ".", 1850.5),
        ("1\u2019850.5", ".", 1850.5),
        ("1.0E+3", ".", 1000.0),
        ("1,0e3", ",", 1000.0),
        (".5", ".", 0.5),
        ("36.", ".", 36.0),
        ("３６．５", ".", 36.5),
        ("0", ".", 0.0),
        ("00123", ".", 123.0),
    ],
)
def test_numbers_in_every_dress(text: str, decimal: str, value: float):
    assert numbers.parse(text, WB, decimal) == value


@pytest.mark.parametrize("text", ["-", "–", "—", "n/a", "N/A", "n.a.", "", "null", "NaN"])
def test_what_says_nothing_was_recorded_is_missing_and_never_zero(text: str):
    assert numbers.parse(text, WB, ".") is None


@pytest.mark.parametrize(
    ("text", "column", "value"),
    [
        ("36,0 kg", WB, 36.0),
        ("65 °C", COOK, 65.0),
        ("65°", COOK, 65.0),
        ("65C", COOK, 65.0),
        ("65 ºC", COOK, 65.0),
        ("65º", COOK, 65.0),
        ("65℃", COOK, 65.0),
        ("1 850 mL", VOLUME, 1850.0),
    ],
)
def test_the_columns_own_unit_may_stand_in_the_cell(text: str, column, value: float):
    assert numbers.parse(text, column, ",") == value


@pytest.mark.parametrize(
    ("text", "column", "proposal", "why"),
    [
        ("65*", COOK, "65", "more than a number"),
        ("~65", COOK, "65", "more than a number"),
        ("65?", COOK, "65", "more than"),
        ("ok", COOK, None, "leave it empty"),
        ("?", COOK, None, "leave it empty"),
        ("none", WB, None, "0 if it was none"),
        ('"', COOK, None, "ditto"),
        ("dito", COOK, None, "ditto"),
        ("j.w.", COOK, None, "ditto"),
        ("do.", COOK, None, "ditto"),
        ("〃", COOK, None, "ditto"),
        ("151 F", COOK, "66.1", "written in °F"),
        ("151 ºF", COOK, "66.1", "written in °F"),
        ("151°F", COOK, "66.1", "written in °F"),
        ("36000 g", WB, "36", "written in g"),
        ("1.85 L", VOLUME, "1850", "written in L"),
        ("79.4 lb", WB, "36.0152", "written in lb"),
        ("36,0", WB, "36", "decimal point"),
        ("65-67", COOK, None, "two numbers"),
        ("9OO", PIECES, "900", "letters among the digits"),
        ("36O.5", WB, "360.5", "letters among the digits"),
        ("1.85l", VOLUME, "1850", "written in L"),
        ("65x", COOK, None, "letters among the digits"),
        ("36 warm", WB, "36", "remarks into the note"),
        ("65 / 66", COOK, None, "two numbers"),
        ("#DIV/0!", WB, None, "a formula that gave an error"),
        ("#FORMULA!", WB, None, "result was not saved"),
        ("3 %", WB, None, "written in %"),
        ("36 min", WB, None, "written in min"),
        ("#REF!", WB, None, "formula"),
        ("=E2+F2", WB, None, "a formula in place of its number"),
        ("########", WB, None, "too narrow"),
        ("1,2,3", WB, None, "do not work out"),
    ],
)
def test_what_is_no_number_is_asked_about_never_guessed(text: str, column, proposal: str | None, why: str):
    read = numbers.parse(text, column, ".")
    assert isinstance(read, Misread)
    assert read.proposal == proposal and why in read.why and column.name in read.why


def test_pounds_are_the_international_pound():
    # 1 lb = 0.45359237 kg: international yard and pound agreement of 1959
    read = numbers.parse("100 lb", WB, ".")
    assert isinstance(read, Misread) and float(read.proposal or 0) == pytest.approx(45.359237, rel=1e-5)


@pytest.mark.parametrize(
    ("cells", "decimal"),
    [
        (("36,0", "34,9"), ","),
        (("36.0", "34.9"), "."),
        (("36", "34"), "."),
        (("36,0", "1.036"), ","),
        (("36.0", "1,036"), "."),
        (("36,0", "34,9", "36.0"), ","),
        (("36.0", "34.9", "36,0"), "."),
        (("36,0", "36.0"), "."),
        (("35,2 kg", "36"), ","),
        (("35,2 kg", "36.0", "34.0"), "."),
        (("35,2 warm", "36"), "."),
        (("1.234.567", "12"), ","),
        (("1,234,567", "12"), "."),
        (("1.234,5",), ","),
        (("0,850", "12"), ","),
        ((), "."),
    ],
)
def test_one_decision_from_all_the_files_numbers(cells: tuple[str, ...], decimal: str):
    assert _decide(*cells) == decimal


def test_what_can_be_true_decides_where_every_number_looks_like_thousands():
    assert _decide("36.125", "34.980") == "."  # 36125 kg are no kettle
    assert _decide("36,125", "34,980") == ","
    assert _decide("1.850", "1.910", column=VOLUME) == ","  # 1.85 mL is no loaf
    assert _decide("1,850", "1,910", column=VOLUME) == "."
    assert _decide("1,250", column=PIECES) == "."  # pieces are whole


def test_what_stays_open_is_asked_about():
    with pytest.raises(Undecidable, match=r"is 1,250 in flour_kg 1\.250 or 1250\?"):
        _decide("1,250", "1,300", column=FLOUR)


def test_a_comma_separated_file_has_decimal_points():
    assert _decide("1.250", column=FLOUR, comma_separated=True) == "."
    assert _decide("1.250", "1,300", column=FLOUR, comma_separated=True) == "."


PASTE = "paste_batch;kettle;shift_date;shift;weight_before_kg;weight_after_kg;cook_start;cook_end;cook_temp_c\n"


def _paste(number: str, before: str, after: str, temp: str = "66") -> str:
    return f"{number};K1;2026-05-06;early;{before};{after};2026-05-06 06:10;2026-05-06 06:20;{temp}\n"


def test_error_7_both_marks_in_one_file_the_fewer_are_asked_about():
    """The sheet of the trade's catalogue: 36,0 and 36.0 under one another."""
    read = books.typed(PASTE + _paste("P1", "36,0", "34,9") + _paste("P2", "36.0", "34,8") + _paste("P3", "36", "33,1"))
    assert read.frame["weight_before_kg"].tolist()[::2] == [36.0, 36.0]
    (slip,) = read.slips
    assert (slip.row, slip.column, slip.value, slip.rule, slip.proposal) == (
        1,
        "weight_before_kg",
        "36.0",
        "number",
        "36",
    )
    assert any("decimal comma" in note for note in read.notes)


def test_error_7_a_sound_file_beside_it_has_no_slip():
    assert not books.typed(PASTE + _paste("P1", "36,0", "34,9") + _paste("P2", "36", "34,8")).slips


def test_error_8_litres_with_three_decimals_stay_litres_where_the_file_has_a_decimal_comma():
    head = "loaf;dough_batch;line;measured_at;baked_g;volume_ml\n"
    read = books.typed(head + "1;07;L1;2026-05-06 11:00;402,5;1,850\n")
    assert read.frame["volume_ml"].tolist() == [1.85] and not read.slips


def test_identities_stay_text():
    read = books.typed(PASTE + _paste("00123", "36", "35") + _paste("1E5", "36", "35"))
    assert read.frame["paste_batch"].tolist() == ["00123", "1E5"]


def test_a_number_that_a_spreadsheet_shortened_is_read_and_said():
    """1.2E+3 may have been 1234: what it stands for is taken, and a person can see that it was so written."""
    text = "gas_test,tested_at,gas_produced_ml\n1E5,2026-05-06 09:00,1.2E+3\nG2,2026-05-06 09:10,1410\n"
    read = books.typed(text.encode())
    assert read.frame["gas_produced_ml"].tolist() == [1200.0, 1410.0] and read.frame["gas_test"].tolist() == [
        "1E5",
        "G2",
    ]
    assert read.notes == ("gas_produced_ml: 1.2E+3 as a spreadsheet shortens a number; digits may be lost",)
