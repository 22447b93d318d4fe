"""Dates and times: every form a sheet has them in, and the instant that is meant.

Clock changes: since 2002 the whole Union changes at 01:00 UTC on the last Sundays of March and October (directive
2000/84/EC, articles 2 and 3); in 2026 these are 29 March and 25 October. In Lisbon the clock then skips from 01:00 to
02:00, and goes back from 02:00 to 01:00.
"""

from __future__ import annotations

import datetime as dt
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from models.reader import clock, instants
from models.reader.clock import Stamp
from models.reader.numbers import Misread, Undecidable
from tests.unit import books

DAY = dt.date(2026, 3, 14)
AT = dt.timedelta(hours=13, minutes=10)


@pytest.mark.parametrize(
    "text",
    [
        "14. März 2026",
        "Samstag, 14. März 2026",
        "14-mrz-26",
        "14 mars 2026",
        "14 de março de 2026",
        "14 mrt. 2026",
        "2026-03-14",
        "2026/3/14",
        "2026.03.14",
        "20260314",
        "14/3/2026",
        "14.03.26",
        "14-03-2026",
        "14 Mar 2026",
        "14-Mar-26",
        "Mar 14, 2026",
        "March 14 2026",
        "Sat 14/3/2026",
        "14th March 2026",
        "March 14th, 2026",
        "14. 3. 2026",
        "2026. 03. 14.",
        "2026. március 14.",
        "14.III.2026",
        "14/III/26",
        "14 marca 2026 r.",
        "14.03.2026 r.",
        "14. března 2026",
        "14 maaliskuuta 2026",
        "poniedziałek 14.03.2026",
        "14 mart 2026",
        "46095",
        "１４/３/2026",
    ],
)
def test_dates_in_every_dress(text: str):
    assert clock.stamp(text, True) == Stamp(DAY, None)


@pytest.mark.parametrize(
    "text",
    [
        "2026-03-14T13:10",
        "2026-03-14 13:10",
        "2026-03-14T13:10:00",
        "14/3/2026 13:10",
        "14.3.2026, 13.10",
        "14/3/26 1:10 PM",
        "14/03/2026 1:10:00 p.m.",
        "14 Mar 2026 13h10",
        "46095.5486111111",
        "46095,548611",
        "20260314T1310",
    ],
)
def test_times_in_every_dress(text: str):
    assert clock.stamp(text, True) == Stamp(DAY, AT)


@pytest.mark.parametrize("text", ["13:10", "13.10", "13h10", "1310", "1:10pm", "13:10:00", "0.5486111", "13:10 h",
                                  "13 h 10", "kl. 13.10", "13 : 10", "13.10 uur", "godz. 13:10"])  # fmt: skip
def test_clock_times_without_a_date(text: str):
    assert clock.stamp(text, None) == Stamp(None, AT)


@pytest.mark.parametrize(
    ("text", "hours"), [("Z", 0), ("+01:00", 1), ("-03:30", -3.5), ("+0200", 2), (" +02:00", 2), (" UTC", 0)]
)
def test_offsets_are_honoured(text: str, hours: float):
    assert clock.stamp(f"2026-03-14T13:10{text}", None) == Stamp(DAY, AT, dt.timedelta(hours=hours))


def test_midnight_at_the_end_of_a_day():
    assert clock.stamp("2026-03-14T24:00", None) == Stamp(DAY, dt.timedelta(days=1))
    assert clock.stamp("12:05 am", None) == Stamp(None, dt.timedelta(minutes=5))


@pytest.mark.parametrize(
    "text",
    [
        "31/2/2026",
        "2026-02-30",
        "2026-13-01T10:00",
        "25:10",
        "13:60",
        "24:01",
        "13:10 pm",
        "2026-03-14T13:10+19:00",
        "soon",
        "1/1/1026",
        "14/3",
        "13:10-13:20",
        "2026-05-06 10:10-11:00",
        '"',
        "do.",
        "2026-03-14T13:10 ok",
        "1e9",
        "13:10*",
    ],
)
def test_what_is_no_time_is_asked_about(text: str):
    assert isinstance(clock.stamp(text, True), Misread)


@pytest.mark.parametrize("text", ["-", "n/a", "", "–"])
def test_what_was_not_recorded_is_missing(text: str):
    assert clock.stamp(text, None) is None


def test_the_standard_form_is_read_all_at_once_as_one_by_one():
    texts = np.array(
        [
            "2026-03-14T13:10",
            "2026-03-14 13:10:59",
            "2026-02-30T10:00",
            "2026-03-14T24:00",
            "2026-03-14",
            "14/3/2026 13:10",
            "2026-03-14T13:1O",
            "1026-03-14T13:10",
            "２026-03-14T13:10",
            "2026-03-14x13:10",
            "2026-03-14T13:60",
        ],
        dtype=object,
    )
    read = clock.standard(texts)
    assert read[:2].tolist() == [dt.datetime(2026, 3, 14, 13, 10), dt.datetime(2026, 3, 14, 13, 10, 59)]
    assert np.isnat(read[2:]).all()


# month names as the Unicode locale data has them for these languages; from memory
MONTHS = {
    "en": "January February March April May June July August September October November December",
    "de": "Januar Februar März April Mai Juni Juli August September Oktober November Dezember",
    "de, short": "Jan Feb Mrz Apr Mai Jun Jul Aug Sep Okt Nov Dez",
    "fr": "janvier février mars avril mai juin juillet août septembre octobre novembre décembre",
    "fr, short": "janv. févr. mars avr. mai juin juil. août sept. oct. nov. déc.",
    "es": "enero febrero marzo abril mayo junio julio agosto septiembre octubre noviembre diciembre",
    "pt": "janeiro fevereiro março abril maio junho julho agosto setembro outubro novembro dezembro",
    "it": "gennaio febbraio marzo aprile maggio giugno luglio agosto settembre ottobre novembre dicembre",
    "nl": "januari februari maart april mei juni juli augustus september oktober november december",
    "da": "januar februar marts april maj juni juli august september oktober november december",
}


@pytest.mark.parametrize("language", MONTHS)
def test_a_month_is_known_by_its_name(language: str):
    read = [clock.stamp(f"3 {name} 2026", None) for name in MONTHS[language].split()]
    assert read == [Stamp(dt.date(2026, month, 3), None) for month in range(1, 13)]


def test_what_is_no_month_s_name_is_no_date():
    assert isinstance(clock.stamp("3 jui 2026", None), Misread) and isinstance(clock.stamp("3 kg 2026", None), Misread)


@pytest.mark.parametrize(
    ("texts", "day_first"),
    [
        (["14/3/2026", "3/4/2026"], True),
        (["3/14/2026", "3/4/2026"], False),
        (["3.4.2026"], True),
        (["2026-03-04"], None),
        (["3/3/2026"], None),
        (["3 Apr 2026"], None),
        ([], None),
    ],
)
def test_day_or_month_first_is_decided_once_a_file(texts: list[str], day_first: bool | None):
    assert clock.decide(texts, [])[0] is day_first


def test_dates_that_can_be_read_both_ways_are_asked_about():
    with pytest.raises(Undecidable, match="has 3/4/2026 the day first or the month"):
        clock.decide(["3/4/2026"], [["3/4/2026"]])
    with pytest.raises(Undecidable, match="some dates have the day first, others the month"):
        clock.decide(["14/3/2026", "3/14/2026"], [])


@pytest.mark.parametrize(
    ("certain", "day_first"), [("2026-04-03", True), ("2026-03-04T06:10", False), ("4 Apr 2026", True)]
)
def test_a_certain_date_of_the_same_row_decides(certain: str, day_first: bool):
    assert clock.decide(["3/4/2026"], [[certain, "3/4/2026"]])[0] is day_first


def test_the_decision_is_shown_and_the_question_refuses_the_file():
    line = "L1,milk-loaf,{},early,900,6\n"
    sheet = books.sheet(books.OUTPUT + line.format("5/13/2026") + line.format("6/5/2026"))
    assert "dates with the month first" in sheet.notes
    with pytest.raises(books.intake.Refused, match="day first or the month"):
        books.sheet(books.OUTPUT + line.format("6/5/2026"))


def test_error_28_serial_numbers_are_dates_and_it_is_said():
    read = books.typed("gas_test,tested_at,gas_produced_ml\nG1,46148.375,410\n")
    assert read.frame["tested_at"].tolist() == [dt.datetime(2026, 5, 6, 8, 0)]  # 09:00 in Lisbon's summer
    assert any("serial" in note for note in read.notes)


# --- the shift's date ---

PASTE = "paste_batch,kettle,shift_date,shift,weight_before_kg,weight_after_kg,cook_start,cook_end,cook_temp_c\n"


def _paste(start: str, end: str, shift: str = "night", day: str = "2026-05-06") -> str:
    return PASTE + f"P1,K1,{day},{shift},36,35,{start},{end},66\n"


def _utc(text: str) -> dt.datetime:
    return dt.datetime.fromisoformat(text)


@pytest.mark.parametrize(
    ("shift", "start", "end", "utc"),
    [
        ("night", "22:10", "22:20", "2026-05-06 21:10"),
        ("night", "00:10", "00:20", "2026-05-06 23:10"),
        ("night", "23:55", "0:05", "2026-05-06 22:55"),
        ("night", "21:50", "22:05", "2026-05-06 20:50"),
        ("night", "06:30", "06:40", "2026-05-07 05:30"),
        ("early", "05:40", "05:50", "2026-05-06 04:40"),
        ("late", "23:10", "23:20", "2026-05-06 22:10"),
        ("late", "0:10", "0:20", "2026-05-06 23:10"),
    ],
)
def test_a_clock_time_gets_the_date_its_shift_has_then(shift: str, start: str, end: str, utc: str):
    read = books.typed(_paste(start, end, shift))
    assert not read.slips
    assert read.frame["cook_start"].tolist() == [_utc(utc)]
    assert (read.frame["cook_end"] > read.frame["cook_start"]).all()


def test_a_clock_time_far_from_its_shift_is_asked_about():
    slips = books.typed(_paste("13:10", "13:20", "night")).slips
    assert [(s.column, s.value, s.rule) for s in slips] == [
        ("cook_start", "13:10", "time"),
        ("cook_end", "13:20", "time"),
    ]


def test_a_clock_time_in_a_log_without_shift_date_is_asked_about():
    (slip,) = books.typed("gas_test,tested_at,gas_produced_ml\nG1,09:00,410\n").slips
    assert slip.rule == "time" and "no date" in slip.why


def test_a_shift_that_is_the_whole_day():
    read = books.typed(_paste("03:10", "03:20", "day"), shifts={"day": "06:00"})
    assert read.frame["cook_start"].tolist() == [_utc("2026-05-07 02:10")]


# --- after midnight under the evening's date (error 17 of the trade's catalogue) ---

LOAF = "loaf,dough_batch,line,measured_at,baked_g,volume_ml\n"


def _loaves(*times: str, lines: str = "") -> str:
    lines = lines or "1" * len(times)
    return LOAF + "".join(f"{i},07,L{n},{t},402,1860\n" for i, (n, t) in enumerate(zip(lines, times, strict=True)))


def test_error_17_rows_after_midnight_under_the_evenings_date():
    read = books.typed(_loaves("2026-05-06 22:40", "2026-05-06 23:40", "2026-05-06 01:30", "2026-05-06 02:10"))
    assert read.frame["measured_at"].dt.strftime("%d %H:%M").tolist() == [
        "06 21:40",
        "06 22:40",
        "07 00:30",
        "07 01:10",
    ]
    assert any("taken as the next day (row 4, 5)" in note for note in read.notes)


@pytest.mark.parametrize(
    "times",
    [
        ("2026-05-06 23:40", "2026-05-07 01:30"),  # as it should be
        ("2026-05-06 01:30", "2026-05-06 23:40"),  # in order already
        ("2026-05-06 23:40", "2026-05-06 22:40", "2026-05-06 01:30"),  # newest first
        ("2026-05-06 23:40", "2026-05-06 01:30", "2026-05-06 20:00"),  # in no order
        ("2026-05-06 14:00", "2026-05-06 06:10"),  # too small a step
    ],
)
def test_error_17_sheets_beside_it_are_left_alone(times: tuple[str, ...]):
    read = books.typed(_loaves(*times))
    written = [dt.datetime.fromisoformat(t) - dt.timedelta(hours=1) for t in times]
    assert read.frame["measured_at"].tolist() == written
    assert not any("next day" in note for note in read.notes)


def test_error_17_each_line_has_its_own_order():
    read = books.typed(_loaves("2026-05-06 23:40", "2026-05-06 01:30", "2026-05-06 01:40", lines="121"))
    assert read.frame["measured_at"].dt.day.tolist() == [6, 6, 7]


def test_error_17_an_end_after_midnight_under_the_starts_date():
    read = books.typed(_paste("2026-05-06 23:52", "2026-05-06 00:04"))
    assert read.frame["cook_end"].tolist() == [_utc("2026-05-06 23:04")]
    swapped = books.typed(_paste("2026-05-06 23:52", "2026-05-06 23:40"))
    assert swapped.frame["cook_end"].tolist() == [_utc("2026-05-06 22:40")]


# --- clock changes (error 18) ---


def test_error_18_the_hour_that_is_missing_is_asked_about():
    (slip,) = books.typed(_loaves("2026-03-29 00:50", "2026-03-29 01:30", "2026-03-29 02:10")).slips
    assert (slip.row, slip.rule, slip.proposal) == (1, "clock change", "2026-03-29T02:30")


def test_error_18_the_hour_that_comes_twice_is_told_by_the_order_of_the_sheet():
    times = ["00:40", "01:10", "01:50", "01:05", "01:40", "02:10"]
    read = books.typed(_loaves(*(f"2026-10-25 {t}" for t in times)))
    shown = read.frame["measured_at"].dt.strftime("%d %H:%M").tolist()
    assert shown == ["24 23:40", "25 00:10", "25 00:50", "25 01:05", "25 01:40", "25 02:10"]
    assert any("twice" in note for note in read.notes) and not read.slips


def test_error_18_each_line_has_its_own_order():
    read = books.typed(_loaves("2026-10-25 01:50", "2026-10-25 01:10", "2026-10-25 01:10", lines="121"))
    assert read.frame["measured_at"].dt.strftime("%H:%M").tolist() == ["00:50", "00:10", "01:10"]


@pytest.mark.parametrize(
    ("start", "end", "utc_start", "utc_end"),
    [
        ("01:50", "01:05", "00:50", "01:05"),  # only so the end follows the start
        ("01:50", "02:05", "01:50", "02:05"),  # a cook of 15 minutes, not of 75
        ("00:50", "01:05", "23:50", "00:05"),
        ("01:10", "01:20", "00:10", "00:20"),  # nothing tells: the first
    ],
)
def test_error_18_start_and_end_tell_each_other(start: str, end: str, utc_start: str, utc_end: str):
    read = books.typed(_paste(f"2026-10-25 {start}", f"2026-10-25 {end}", day="2026-10-24"))
    assert read.frame["cook_start"].dt.strftime("%H:%M").tolist() == [utc_start]
    assert read.frame["cook_end"].dt.strftime("%H:%M").tolist() == [utc_end]


def test_an_offset_settles_the_hour_that_comes_twice():
    read = books.typed(_loaves("2026-10-25T01:30+01:00", "2026-10-25T01:30+00:00"))
    assert read.frame["measured_at"].dt.strftime("%H:%M").tolist() == ["00:30", "01:30"]


def test_zones_with_half_hours_and_without_changes():
    local = np.array(["2026-10-25T01:30", "2026-03-29T01:30"], dtype="datetime64[us]")
    for zone, minutes in (("Asia/Kolkata", 330), ("Asia/Tokyo", 540), ("UTC", 0)):
        first, second = instants.to_utc(local, ZoneInfo(zone))
        assert (first == second).all() and (first == local - np.timedelta64(minutes, "m")).all()


def test_many_lines_that_step_back_stay_fast():
    """A dirty line column makes a group of every two rows: the work must not grow with their square."""
    n = 100_000
    group = np.repeat(np.arange(n // 2), 2)
    local = np.where(np.arange(n) % 2, np.datetime64("2026-05-06T01:30"), np.datetime64("2026-05-06T23:40")).astype(
        "datetime64[us]"
    )
    assert instants.after_midnight(local, group).sum() == n // 2


# --- the year first, or last ---------------------------------------------------------------------


@pytest.mark.parametrize(
    ("texts", "first"),
    [
        (["26-05-04", "26-05-05"], "year"),
        (["26-05-31", "26-05-30", "26-06-01"], "year"),
        (["32-05-04"], "year"),
        (["04-05-26", "05-05-26"], None),  # day or month: asked for, below
        (["14-05-26", "15-05-26"], True),
        (["25-05-26"], True),  # one day's sheet, as it is mostly meant
        (["26-05-26"], True),
        (["26-05-32"], True),
        (["2026-05-04", "26-05-04", "26-05-05"], "year"),
    ],
)
def test_the_year_stands_first_where_it_is_what_stays_the_same(texts: list[str], first: object):
    """A short form of ISO 8601's own order; that it is in use: common practice, no source."""
    if first is None:
        with pytest.raises(clock.Undecidable, match="day first or the month"):
            clock.decide(texts, [])
    else:
        assert clock.decide(texts, [])[0] == first


def test_the_year_first_is_read_so_and_said():
    assert clock.decide(["26-05-04", "26-05-05"], [])[1] == "dates with the year first"
    assert clock.stamp("26-05-04", clock.YEAR) == Stamp(dt.date(2026, 5, 4), None)
    assert clock.stamp("26-05-04 13:10", clock.YEAR) == Stamp(dt.date(2026, 5, 4), AT)
    assert clock.stamp("04.05.2026", clock.YEAR) == Stamp(dt.date(2026, 5, 4), None)


@pytest.mark.parametrize(
    ("texts", "question"),
    [(["26-05-04"], "is 26-05-04 of 2026 or of 2004"), (["26-05-04", "26-05-05", "4/5/2026"], "some dates have the year first")],
)
def test_what_may_be_of_two_years_is_asked(texts: list[str], question: str):
    with pytest.raises(clock.Undecidable, match=question):
        clock.decide(texts, [])


@pytest.mark.parametrize(("text", "meant"), [("26.05.04", "2026-05-04"), ("14/03/19", "2014-03-19"), ("4 May 04", None), ("31.13.04", None)])
def test_a_short_year_that_no_log_of_ours_is_from_is_asked_about(text: str, meant: str | None):
    read = clock.stamp(text, True)
    assert isinstance(read, clock.Misread) and "cannot be meant" in read.why and read.proposal == meant


def test_a_word_that_is_no_month_is_no_date():
    read = clock.stamp("4 listopadu 2026", True)  # October in one language, November in the next
    assert isinstance(read, clock.Misread) and read.why == clock.UNREADABLE
