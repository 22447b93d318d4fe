"""Typing a sheet: what was written, in the logbook's types; what cannot be read, for a person to answer."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from models.logbook import TABLES
from models.reader import reading, spelling
from tests.unit import books, rows

TYPES = {"text": "str", "number": "float64", "time": "datetime64[us]", "date": "datetime64[us]"}
PASTE = (
    "paste_batch,kettle,shift_date,shift,weight_before_kg,weight_after_kg,cook_start,cook_end,cook_temp_c,probe,note\n"
)


def _csv(kind: str, *changes: dict[str, str]) -> str:
    """A log with the kind's sound row, once for every change."""
    sound = {name: str(value) for name, value in rows.SOUND[kind].items()}
    names = list(dict.fromkeys([*sound, *(name for change in changes for name in change)]))
    lines = [",".join(names)] + [
        ",".join({**sound, **change}.get(name, "") for name in names) for change in changes or ({},)
    ]
    return "\n".join(lines) + "\n"


def _paste(**cells: str) -> str:
    sound = {
        "paste_batch": "P1",
        "kettle": "K1",
        "shift_date": "2026-05-06",
        "shift": "early",
        "weight_before_kg": "36",
        "weight_after_kg": "35",
        "cook_start": "2026-05-06 06:10",
        "cook_end": "2026-05-06 06:20",
        "cook_temp_c": "66",
    }
    return ",".join({**sound, **cells}.get(name, "") for name in PASTE.strip().split(",")) + "\n"


@pytest.mark.parametrize("kind", TABLES)
def test_every_log_has_all_its_columns_in_the_declared_types(kind: str):
    typed = books.typed(_csv(kind))
    assert list(typed.frame.columns) == [column.name for column in TABLES[kind].columns]
    assert {c.name: str(typed.frame[c.name].dtype) for c in TABLES[kind].columns} == {
        c.name: TYPES[c.type] for c in TABLES[kind].columns
    }
    assert not typed.slips and isinstance(typed.frame.index, pd.RangeIndex)


@pytest.mark.parametrize("kind", TABLES)
def test_a_log_without_rows_has_the_same_types(kind: str):
    typed = books.typed(_csv(kind).split("\n")[0] + "\n")
    assert [str(dtype) for dtype in typed.frame.dtypes] == [TYPES[c.type] for c in TABLES[kind].columns] and not len(
        typed.frame
    )


@pytest.mark.parametrize("kind", TABLES)
def test_every_required_cell_is_asked_for_and_no_other(kind: str):
    for column in TABLES[kind].columns:
        typed = books.typed(_csv(kind, {}, {column.name: ""}, {}))
        asked = [(slip.row, slip.column, slip.rule, slip.value) for slip in typed.slips]
        assert asked == ([(1, column.name, "required", "")] if column.required else [])


def test_local_times_become_instants_of_the_plants_zone():
    read = books.typed(PASTE + _paste(), timezone="America/New_York")
    assert str(read.frame["cook_end"].iloc[0]) == "2026-05-06 10:20:00"
    assert str(read.frame["shift_date"].iloc[0]) == "2026-05-06 00:00:00"


@pytest.mark.parametrize("kind", TABLES)
def test_choices_are_taken_in_any_case_and_nothing_else(kind: str):
    for column in TABLES[kind].columns:
        for choice in column.choices:
            assert books.typed(_csv(kind, {column.name: choice.upper()})).frame[column.name].tolist() == [choice]
        if column.choices:
            (slip,) = books.typed(_csv(kind, {column.name: "moonlight"})).slips
            assert (slip.column, slip.rule) == (column.name, "choice") and all(c in slip.why for c in column.choices)


@pytest.mark.parametrize(
    ("written", "shifts", "meant"),
    [
        ("manana", ("mañana", "tarde"), "mañana"),
        ("MAÑANA", ("manana", "tarde"), "manana"),
        ("Fruhschicht", ("Frühschicht", "Spätschicht"), "Frühschicht"),
        ("pena", ("peña", "pena"), "pena"),  # as it stands there
        ("Péna", ("peña", "pena"), "Péna"),  # either
        ("noche", ("mañana", "tarde"), "noche"),
    ],
)
def test_a_code_is_known_without_its_accents(written: str, shifts: tuple[str, str], meant: str):
    starts = dict(zip(shifts, ("06:00", "14:00"), strict=True))
    read = books.typed(f"{books.OUTPUT}L1,milk-loaf,2026-05-06,{written},900,6\n", shifts=starts)
    assert read.frame["shift"].tolist() == [meant]


@pytest.mark.parametrize(
    ("written", "meant"),
    [("Milk Loaf", "milk-loaf"), ("MILK_LOAF", "milk-loaf"), ("milk–loaf", "milk-loaf"), ("milkloaf", "milk-loaf")],
)
def test_a_code_is_known_whatever_parts_its_words(written: str, meant: str):
    read = books.typed(f"{books.OUTPUT}L1,{written},2026-05-06,early,900,6\n")
    assert read.frame["product"].tolist() == [meant] and f"product: {written} read as {meant}" in read.notes
    assert books.typed(f"{books.OUTPUT}L1,milk loaves,2026-05-06,early,900,6\n").frame["product"].tolist() == ["milk loaves"]


def test_two_codes_that_differ_by_a_hyphen_alone_are_never_taken_for_each_other():
    both = {"kettles": {name: {"pastes": ["water-2"]} for name in ("K1", "K-1", "K2")}}
    lines = _csv("paste", {"kettle": "K 1"}), _csv("paste", {"kettle": "K-1"})
    assert [books.typed(text, **both).frame["kettle"][0] for text in lines] == ["K 1", "K-1"]


def test_counts_with_thousands_marks_are_asked_about_together():
    """1.900 is no count of pieces, so 2.000 beside it is not surely two; a file of 900.000 and 6.000 has whole counts, as it may."""
    row = "L1,milk-loaf,2026-05-06,{},{},{}\n".format
    german = books.typed(books.OUTPUT + row("early", "1.900", 12) + row("late", "2.000", 0) + row("night", "950", 0))
    assert [(s.row, s.value, s.proposal) for s in german.slips] == [(0, "1.900", "1900"), (1, "2.000", "2000")]
    assert german.frame["pieces_made"].isna().tolist() == [True, True, False]
    exported = books.typed(books.OUTPUT + row("early", "900.000", "6.000") + row("late", "901.000", "6.000"))
    assert not exported.slips and exported.frame["pieces_made"].tolist() == [900.0, 901.0]


def test_a_date_that_cannot_be_read_is_asked_for_as_a_date():
    (slip,) = books.typed(books.OUTPUT + "L1,milk-loaf,9/5-2026,early,900,6\n").slips
    assert slip.why == "no date that can be read: write it like 2026-03-14"


def test_a_number_that_an_export_kept_as_text_is_what_it_says():
    read = books.typed('loaf,dough_batch,line,measured_at,baked_g,volume_ml\n="007",="01",L1,2026-05-06 10:00,402,1890\n')
    assert read.frame[["loaf", "dough_batch"]].iloc[0].tolist() == ["007", "01"] and not read.slips
    assert 'loaf: ="007" read as 007' in read.notes


@pytest.mark.parametrize(
    ("kind", "column", "written", "meant"),
    [
        ("paste", "probe", "IR", "infrared"),
        ("paste", "probe", "infra-red", "infrared"),
        ("loaf", "method", "rapeseed", "seed"),
        ("gas", "sampled_after", "Molder", "moulder"),
        ("check", "quantity", "temp.", "temperature"),
        ("loaf", "reason", "Suspect", "suspicion"),
    ],
)
def test_plain_synonyms_are_understood_and_said(kind: str, column: str, written: str, meant: str):
    read = books.typed(_csv(kind, {column: written}))
    assert read.frame[column].tolist() == [meant] and any(f"{written} read as {meant}" in note for note in read.notes)


def test_no_synonym_means_two_things_in_one_column():
    for table in TABLES.values():
        for column in table.columns:
            words = [w for choice in column.choices for w in (choice, *spelling._SYNONYMS.get(choice, "").split())]
            assert len(words) == len(set(words))


@pytest.mark.parametrize(("written", "read"), [("k1", "K1"), ("K 1", "K1"), ("K9", "K9"), ("K1", "K1")])
def test_codes_take_the_plants_spelling_where_only_case_or_blanks_differ(written: str, read: str):
    assert books.typed(PASTE + _paste(kettle=written)).frame["kettle"].tolist() == [read]


def test_codes_that_differ_in_case_alone_are_kept_apart():
    kettles = {"K1": {"pastes": ["water-2"]}, "k1": {"pastes": ["water-2"]}}
    lines = {"L1": {"kettle": "K1", "products": ["milk-loaf"]}, "L2": {"kettle": "k1", "products": ["plain-loaf"]}}
    read = books.typed(PASTE + _paste(kettle="K1") + _paste(kettle="k1"), kettles=kettles, lines=lines)
    assert read.frame["kettle"].tolist() == ["K1", "k1"]


@pytest.mark.parametrize("text", ["-", "–", "n/a", "N/A", "?"])
def test_what_was_not_recorded_is_missing_in_an_optional_text(text: str):
    read = books.typed(_csv("dough", {"yeast_lot": text, "paste_batch": text}))
    assert read.frame[["yeast_lot", "paste_batch"]].isna().all(axis=None) and not read.slips


def test_a_question_mark_in_a_needed_text_is_asked_about():
    (slip,) = books.typed(_csv("dough", {"dough_batch": "?"})).slips
    assert slip.column == "dough_batch" and "ask who wrote" in slip.why


def test_remarks_are_kept_word_for_word():
    for text in ("-", "?", "ditto", "=1+1", "<script>", "n/a"):
        assert books.typed(PASTE + _paste(note=text)).frame["note"].tolist() == [text]


def test_ditto_marks_propose_what_stands_above_and_are_never_taken_for_it():
    ditto = '""""'
    lines = [
        _paste(),
        _paste(cook_temp_c="do.", kettle=ditto, cook_end=ditto),
        _paste(cook_temp_c=ditto),
        _paste(cook_temp_c=""),
    ]
    read = books.typed(PASTE + "".join(lines))
    assert [(s.row, s.column, s.proposal) for s in read.slips] == [
        (1, "kettle", "K1"),
        (1, "cook_end", "2026-05-06 06:20"),
        (1, "cook_temp_c", "66"),
        (2, "cook_temp_c", "66"),
        (3, "cook_temp_c", None),
    ]
    assert read.frame["cook_temp_c"].isna().tolist() == [False, True, True, True]


def test_a_ditto_mark_with_nothing_above_proposes_nothing():
    (slip,) = books.typed(PASTE + _paste(cook_temp_c="ditto")).slips
    assert slip.proposal is None


def test_initials_that_read_like_a_ditto_word_are_initials():
    typed = books.typed(_csv("change", {"operator": "DO"}, {"operator": "NA"}))
    assert typed.frame["operator"].tolist() == ["DO", "NA"] and not typed.slips


def test_a_cell_has_one_slip_and_slips_come_in_the_sheets_order():
    read = books.typed(PASTE + _paste(cook_temp_c="ok", weight_before_kg="") + _paste(probe="hand", cook_start="soon"))
    assert [(s.row, s.column, s.rule) for s in read.slips] == [
        (0, "weight_before_kg", "required"),
        (0, "cook_temp_c", "number"),
        (1, "cook_start", "time"),
        (1, "probe", "choice"),
    ]


def test_every_slip_says_what_to_do():
    cells = {
        "cook_temp_c": "65*",
        "cook_end": "99:99",
        "shift_date": "14/3",
        "probe": "hand",
        "weight_after_kg": '""""',
        "kettle": "",
    }
    slips = books.typed(PASTE + _paste() + _paste(**cells)).slips
    assert {slip.column for slip in slips} >= set(cells)
    for slip in slips:
        assert len(slip.why) > 20 and "\n" not in slip.why


def test_a_date_with_a_time_of_day_is_asked_about_and_midnight_is_not():
    typed = books.typed(PASTE + _paste(shift_date="2026-05-06 00:00:00") + _paste(shift_date="2026-05-06 07:00"))
    assert typed.frame["shift_date"].notna().tolist() == [True, False]
    assert [slip.proposal for slip in typed.slips if slip.column == "shift_date"] == ["2026-05-06"]


def test_typing_does_not_touch_the_sheet():
    sheet = books.sheet(PASTE + _paste(kettle="k1", cook_temp_c="66*"))
    before = sheet.rows.copy()
    one, two = reading.typed(sheet, books.PLANT), reading.typed(sheet, books.PLANT)
    assert sheet.rows.equals(before) and one.frame.equals(two.frame) and one.slips == two.slips


def test_a_hundred_thousand_rows_are_typed_alike_and_in_seconds():
    n = 100_000
    at = (np.datetime64("2026-05-06T06:00:00") + np.arange(n).astype("timedelta64[s]")).astype(str)
    lines = [f"{i % 50},{i // 50},L1,{at[i]},450,{400 + i % 9}.5,18{i % 90 + 10},75" for i in range(n)]
    read = books.typed(
        "loaf,dough_batch,line,measured_at,scaled_g,baked_g,volume_ml,cooled_minutes\n" + "\n".join(lines) + "\n"
    )
    assert not read.slips and len(read.frame) == n
    assert read.frame["measured_at"].iloc[-1] == pd.Timestamp("2026-05-06T06:00:00") + pd.Timedelta(n - 1 - 3600, "s")
    assert read.frame["baked_g"].sum() == pytest.approx(sum(400 + i % 9 + 0.5 for i in range(n)))
