"""A night's sheet that writes the calendar's date after midnight (error 17 of a sheet, the other way round), and clean ones near it.

What the floor does: common practice, no source. The shift keeps the date it began on: the logbook, 1 and 2.
"""

from __future__ import annotations

import pytest

from models.reader import reading
from tests.unit import books

HEAD = "paste_batch,kettle,shift_date,shift,weight_before_kg,weight_after_kg,cook_start,cook_end,cook_temp_c\n"
DOUGH = "dough_batch,line,product,shift_date,shift,mixed_at,flour_kg,liquid_kg,yeast_kg,dough_temp_c\n"


def cook(number: int, day: int, start: str, end: str, shift: str = "night", kettle: str = "K1") -> str:
    return f"{number:02},{kettle},2026-05-{day:02},{shift},36,35,{start},{end},66\n"


def asked(text: str) -> dict[int, str | None]:
    """Rows whose shift_date is asked about, with the date that is proposed."""
    return {slip.row: slip.proposal for slip in books.typed(text).slips if slip.column == "shift_date"}


EVENING = cook(1, 6, "22:10", "22:25") + cook(2, 6, "23:50", "00:05")
CALENDAR = cook(3, 7, "00:40", "00:55") + cook(4, 7, "04:10", "04:25")


def test_rows_after_midnight_under_the_next_date_are_asked_about():
    read = books.typed(HEAD + EVENING + CALENDAR)
    assert asked(HEAD + EVENING + CALENDAR) == {2: "2026-05-06", 3: "2026-05-06"}
    meant = {(slip.row, slip.column): slip.proposal for slip in read.slips}
    assert meant[2, "cook_start"] == "2026-05-07T00:40" and meant[3, "cook_end"] == "2026-05-07T04:25"
    assert read.frame["shift_date"].isna().tolist() == read.frame["cook_end"].isna().tolist() == [False, False, True, True]
    assert all("began on" in slip.why for slip in read.slips if slip.column == "shift_date")


def test_several_nights_of_one_sheet_are_told_apart():
    second = cook(1, 7, "22:10", "22:25") + cook(2, 7, "23:50", "00:05") + cook(3, 8, "00:40", "00:55")
    assert asked(HEAD + EVENING + CALENDAR + second) == {2: "2026-05-06", 3: "2026-05-06", 6: "2026-05-07"}


def test_a_dough_sheet_is_asked_as_well():
    rows = [(1, 6, "22:10"), (2, 6, "23:30"), (3, 7, "00:20"), (4, 7, "01:10")]
    text = DOUGH + "".join(f"{n:02},L1,milk-loaf,2026-05-{day:02},night,{at},48,14,1.8,26\n" for n, day, at in rows)
    assert asked(text) == {2: "2026-05-06", 3: "2026-05-06"}


@pytest.mark.parametrize(
    "rows",
    [
        EVENING + cook(3, 6, "00:40", "00:55") + cook(4, 6, "04:10", "04:25"),  # as it should be
        EVENING + cook(3, 6, "04:40", "04:55") + cook(1, 7, "00:40", "00:55") + cook(2, 7, "02:00", "02:15"),  # two nights
        EVENING + cook(1, 7, "22:10", "22:25") + cook(2, 7, "00:40", "00:55"),
        cook(1, 6, "23:50", "00:05") + cook(1, 7, "00:40", "00:55"),  # of two, each may be a night's only one
        EVENING + cook(3, 8, "00:40", "00:55") + cook(4, 8, "04:10", "04:25"),  # a day between
        EVENING + cook(3, 7, "05:55", "06:10", kettle="K2") + cook(4, 7, "00:30", "00:45", kettle="K2"),  # another kettle's
        EVENING + cook(3, 7, "06:10", "06:25", "early") + cook(4, 7, "07:10", "07:25", "early"),
        "".join(cook(n, 6 + n, "23:50", "00:05") for n in range(5)),
        "".join(cook(n, 6 + n, "00:40", "00:55") for n in range(5)),
        EVENING.replace(",22:", ",2026-05-06 22:").replace(",23:", ",2026-05-06 23:")
        + "03,K1,2026-05-06,night,36,35,2026-05-07 00:40,2026-05-07 00:55,66\n",
    ],
)
def test_clean_sheets_near_it_are_not(rows: str):
    assert asked(HEAD + rows) == {}


def test_full_times_are_left_to_the_rule_of_the_shift():
    """A date that stands beside the clock is believed: the rule on the shift asks then (test_sheet_errors)."""
    rows = "03,K1,2026-05-07,night,36,35,2026-05-07 00:40,2026-05-07 00:55,66\n"
    assert asked(HEAD + EVENING + rows) == {}


def test_without_a_shift_s_date_the_time_says_what_dates_it():
    text = HEAD + "01,K1,,early,36,35,06:10,06:25,66\n02,K1,2026-05-06,early,36,35,19:10,19:25,66\n"
    why = {(slip.row, slip.column): slip.why for slip in books.typed(text).slips if slip.rule == "time"}
    assert "write shift_date, which dates it" in why[0, "cook_start"] and "not lie in the shift" in why[1, "cook_start"]


def test_what_is_not_read_is_named_once():
    """The rules by which rows waiting are fingerprinted again: none is missing that a slip of a cell may have."""
    odd = HEAD + EVENING + CALENDAR + cook(5, 7, "25:70", "?") + "06,K1,?,night,x,35,22:50,23:05,66,9\n"
    assert {slip.rule for slip in books.typed(odd).slips} <= {*reading.UNREAD, "required"}
