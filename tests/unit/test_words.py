"""Plain words for numbers, times and names."""

from __future__ import annotations

from datetime import UTC, date, datetime
from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd
import pytest

from models.pages import words
from models.texts import texts

LISBON = ZoneInfo("Europe/Lisbon")


@pytest.mark.parametrize(
    ("value", "unit", "said"),
    [
        (-0.214, "mL/g", "−0.21 mL/g"),
        (-0.001, "mL/g", "0.00 mL/g"),
        (1234567.0, "pieces", "1 234 567 pieces"),
        (float("nan"), "kg", "not recorded"),
        (None, "kg", "not recorded"),
        (float("inf"), "kg", "not recorded"),
        (0.0, "kg", "0.00 kg"),
        (np.float64(26.04), "°C", "26.0 °C"),
    ],
)
def test_numbers_carry_their_unit_and_nothing_is_not_zero(value, unit: str, said: str):
    assert words.number(value, unit).replace("\u00a0", " ").replace("\u202f", " ") == said


def test_signs_and_windows():
    assert words.number(0.2, "g", 1, signed=True) == "+0.2\u00a0g"
    assert words.number(-0.04, "g", 1, signed=True) == "0.0\u00a0g"
    assert words.limits(None, 6.0, "% of Wb") == "at most 6.0\u00a0% of Wb"
    assert words.limits(4.2, float("nan"), "mL/g") == "at least 4.20\u00a0mL/g"
    assert words.limits(None, None) == "no limit set"


def test_how_big_in_the_floors_words():
    assert words.how_big("specific volume", -0.21, 4.67, "mL/g") == "4.5\u00a0% small"
    assert words.how_big("dough temperature", -1.8, 26.0, "°C") == "1.8\u00a0°C cold"
    assert words.how_big("paste loss", 2.1, 2.0, "% of Wb") == "2.1\u00a0% of Wb more boiled off"
    assert words.how_big("something new", 1.0, None, "°C") == "1.0\u00a0°C high"
    assert words.on_a_loaf(-0.21, 400) == "about 85\u00a0mL on a 400\u00a0g loaf"
    assert words.on_a_loaf(0.02, 400) == "about 8\u00a0mL on a 400\u00a0g loaf"


def test_every_charted_characteristic_has_words():
    from models.charts.characteristics import DECLARED

    assert {shown.name for shown in DECLARED} <= set(words.CHARACTERISTICS)


def test_local_time_and_the_hour_that_comes_twice():
    assert words.clock(datetime(2026, 7, 1, 12, 0), LISBON) == "13:00"
    first, second = datetime(2026, 10, 25, 0, 30), datetime(2026, 10, 25, 1, 30)
    assert words.clock(first, LISBON) == "01:30 (UTC+0100)"
    assert words.clock(second, LISBON) == "01:30 (UTC+0000)"
    assert words.when(pd.Timestamp("2026-05-05 13:20"), LISBON) == "Tue 5 May 14:20"
    assert words.when(pd.NaT, LISBON) == "not recorded"
    assert words.utc(datetime(2026, 5, 5, 14, 20, tzinfo=LISBON)) == datetime(2026, 5, 5, 13, 20)
    assert words.instant(datetime(2026, 5, 5)) == datetime(2026, 5, 5, tzinfo=UTC)


def test_a_batch_as_the_floor_says_it():
    assert words.batch("2026-05-05/L1/D07") == "L1\u00a0D07 of 5\u00a0May"
    assert words.batch("2026-05-05/L1/D07", date(2026, 5, 5)) == "L1\u00a0D07"
    assert words.batch("2026-05-05/L1/07/a", date(2026, 5, 5)) == "L1\u00a007/a"
    assert words.batch("D07") == "D07" and words.batch("a/b/c") == "a/b/c" and words.batch(None) == "not recorded"


def test_lists_counts_and_spans():
    assert words.join([]) == "" and words.join(["a"]) == "a" and words.join(["a", "b", "c"]) == "a, b and c"
    assert words.counted(0, "dough") == "no doughs" and words.counted(1, "batch") == "1\u00a0batch"
    assert words.count(2, "loaf", "loaves") == "2\u00a0loaves"


def test_a_number_below_zero_filled_into_a_text_has_the_minus_sign():
    """As in every number of a page; a text that is filled in, such as a batch's name or a date, stays as it is."""
    said = texts("evidence")["amount"]["driver"]
    assert said.format(part=-0.18, low=-0.24, high=0.02, change=np.float64(-0.21), unit="mL/g") == (
        "Amount: it accounts for about −0.18 mL/g (90 %: −0.24 to +0.02) of −0.21 mL/g."
    )
    assert texts("evidence")["time"]["with_volume"].format(batch="2026-05-05/L1/D07").count("-") == 2
    assert words.span(date(2025, 12, 30), date(2026, 1, 2)) == "30 Dec 2025 to 2 Jan 2026"
    assert words.rule("pastes.cook-temperature.action") == "cook temperature: action"
    # before: "dough temp c: fahrenheit" and "paste kg 2: range", which no sheet says
    assert words.rule("dough.dough_temp_c.fahrenheit") == "dough_temp_c: °F in a °C column"
    assert words.rule("dough.paste_kg_2.range") == "paste_kg_2: out of range"
    assert words.rule("output.pieces_made.not-whole") == "pieces_made: not whole"
    assert words.sentence("so it is") == "So it is." and words.sentence("why?") == "Why?"
    assert words.slug("Linie Ä/1 b") == "linie---1-b"


def test_a_sentence_has_a_capital_and_a_stop_but_a_column_keeps_its_name():
    assert words.sentence("the loaf is hot") == "The loaf is hot." and words.sentence("is it?") == "Is it?"
    assert words.sentence("as_found is empty") == "as_found is empty." and words.sentence(" ") == ""
