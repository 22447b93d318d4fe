"""The screen by the kettle: typed, questioned, answered, recorded, and matched with the sheet that comes later."""

from __future__ import annotations

import csv
import io
import tomllib
from dataclasses import replace
from datetime import datetime, timedelta
from itertools import product
from pathlib import Path

import pytest

from flows.job import read_job
from flows.work import work
from models.floor import kettleside, openpaste, typed
from models.floor.cooling import cooling, on_the_clock
from models.floor.heldloaves import Loaves
from models.floor.holds import Held, Hold
from models.floor.kettleside import Outcome
from models.floor.view import Paste, View
from models.logbook import TABLES
from models.plant import Plant, parse
from models.storage import store
from models.storage.journal import Journal
from reports import tablets
from reports.board import Frame
from tests.unit import test_batches as batch_tests
from tests.unit.test_makeup import COOLING, PLANT

NOW = datetime(2026, 5, 6, 5, 10, 30)  # UTC; 06:10 in Lisbon, early shift
TEXT = PLANT + COOLING


@pytest.fixture(scope="module")
def plant() -> Plant:
    return parse(tomllib.loads(TEXT))


@pytest.fixture
def view(plant: Plant) -> View:
    return View(plant, 1, NOW)


@pytest.fixture
def journal(tmp_path: Path) -> Journal:
    return Journal(tmp_path / "screens.jsonl")


CHARGE = {
    "step": "charge",
    "kettle": "K1",
    "recipe": "water-5",
    "paste_batch": "07",
    "shift_of": "2026-05-06/early",
    "weight_before_kg": "36,00",
}
KEY = "2026-05-06/K1/07"
WEIGH = {"step": "weigh", "key": KEY, "weight_after_kg": "34.20", "residue_kg": "0,36", "cook_temp_c": "66"}


def post(view: View, journal: Journal, form: dict[str, str], minutes: float = 0, who: str = "RB") -> Outcome:
    return kettleside.post(form, view, journal, NOW + timedelta(minutes=minutes), who)


def cooked(view: View, journal: Journal, charge: dict[str, str] | None = None, **weigh: str) -> Outcome:
    assert post(view, journal, CHARGE | (charge or {})).questions == ()
    return post(view, journal, WEIGH | weigh, 10)


def rows(text: str | None) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(text or "")))


# --- the cold weight ----------------------------------------------------------------------------

COLD = {"step": "cold", "key": KEY}


def test_what_cooling_took_is_owed_too(view: View, journal: Journal) -> None:
    """Worked by hand: Wb 36.00, Wa 34.20, residue 0.36: 1.44 kg gone; Wc 33.80: 0.40 kg more, so 0.40 kg and its share of the
    residue's paste (as 1.70 stands for 1.44) are owed beside the 1.70 kg."""
    cooked(view, journal)
    done = post(view, journal, COLD | {"weight_cold_kg": "33,80"}, 400)
    (answer,) = done.screen.answers
    assert (answer.cold_kg, answer.cooling_kg) == (33.8, pytest.approx(0.4))
    assert answer.owed_kg == pytest.approx(2.10, abs=0.03) and answer.put_kg is None
    (made,) = rows(done.csv_text)
    assert (made["weight_cold_kg"], made["weight_after_kg"], made["kettle_water_kg"]) == ("33.8", "34.2", "")


def test_water_put_back_hot_is_in_the_cold_weight(view: View, journal: Journal) -> None:
    """Wa 34.20 and 1.70 put back are 35.90; Wc 35.60: 0.30 kg lost in cooling, and just that is owed."""
    cooked(view, journal)
    post(view, journal, {"step": "water", "key": KEY, "kettle_water_kg": "1.70"}, 12)
    done = post(view, journal, COLD | {"weight_cold_kg": "35.6"}, 400)
    (answer,) = done.screen.answers
    assert answer.cooling_kg == pytest.approx(0.3) and answer.owed_kg == pytest.approx(0.3, abs=0.03)
    none_lost = post(view, journal, COLD | {"weight_cold_kg": "35.9"}, 401)
    assert none_lost.screen.answers[0].owed_kg == 0.0
    assert none_lost.screen.answers[0].cooling_kg == pytest.approx(0.0)


def test_water_that_nobody_wrote_is_seen_in_the_cold_weight(view: View, journal: Journal) -> None:
    """The paste rose from 34.20 to 34.70: 0.50 kg was put back, as the batch book reads it. A larger rise is asked about."""
    cooked(view, journal)
    (answer,) = post(view, journal, COLD | {"weight_cold_kg": "34.7"}, 400).screen.answers
    assert (answer.put_kg, answer.cooling_kg) == (pytest.approx(0.5), 0.0)
    assert answer.owed_kg == pytest.approx(1.20, abs=0.005)
    more = post(view, journal, COLD | {"weight_cold_kg": "35.2"}, 401)
    assert [one.code for one in more.questions] == ["paste.cold-above-hot"]


def test_the_tub_is_in_no_cold_weight(view: View, journal: Journal) -> None:
    """The logbook takes the tare off Wb and Wa alone."""
    charge, weigh = {"weight_before_kg": "38", "tare_kg": "2"}, {"weight_after_kg": "36.2"}
    cooked(view, journal, charge, **weigh)
    (answer,) = post(view, journal, COLD | {"weight_cold_kg": "34.2"}, 400).screen.answers
    assert answer.cooling_kg == pytest.approx(0.0) and answer.owed_kg == pytest.approx(1.70, abs=0.005)
    heavy = post(view, journal, COLD | {"weight_cold_kg": "39"}, 401)
    assert [one.code for one in heavy.questions] == ["paste.cold-above-hot"] and heavy.csv_text is None


def test_water_after_the_cold_weight_wants_both_anew(view: View, journal: Journal) -> None:
    cooked(view, journal)
    post(view, journal, COLD | {"weight_cold_kg": "33.8"}, 400)
    asked = post(view, journal, {"step": "water", "key": KEY, "kettle_water_kg": "2.1"}, 410)
    assert [(one.code, one.stands) for one in asked.questions] == [("cold-before-water", False)] and not asked.csv_text
    both = {"step": "water", "key": KEY, "kettle_water_kg": "2.1", "weight_cold_kg": "35.9"}
    (answer,) = post(view, journal, both, 411).screen.answers
    assert answer.cooling_kg == pytest.approx(0.4) and answer.owed_kg == 0.0


def test_a_cold_weight_is_asked_for_until_it_is_there_or_the_paste_is_used(view: View, journal: Journal) -> None:
    done = cooked(view, journal)
    assert [work.key for work in done.screen.uncold] == [KEY]
    used = replace(view, pastes=(Paste(KEY, "07", "K1", "water-5", NOW, 34.2, 4.0, 1.0, None, ("2026-05-06/L1/01",)),))
    assert kettleside.get({"kettle": "K1"}, used, journal, NOW, "RB").uncold == ()
    late = kettleside.get({"kettle": "K1"}, view, journal, NOW + timedelta(hours=20), "RB")
    assert [work.key for work in late.uncold] == [KEY] and not late.clocks  # long off the clock, still to be weighed
    assert [one.code for one in post(view, journal, COLD | {"weight_cold_kg": ""}, 400).questions] == [
        "missing.weight_cold_kg"
    ]
    assert post(view, journal, COLD | {"weight_cold_kg": "34"}, 400).screen.uncold == ()


def test_the_screen_and_the_batch_book_owe_the_same(view: View, journal: Journal, plant: Plant) -> None:
    """Excess as `trade.batches` works it out of the very row that the screen wrote."""
    import pandas as pd

    from models.floor.pasteanswer import advice_of
    from models.trade.paste import cooling_loss, evaporated, excess, put_back_unwritten

    cooked(view, journal)
    for n, (water, cold) in enumerate([("", "33.8"), ("", "34.7"), ("1.7", "35.6"), ("0", "34.0"), ("1.7", "35.9")]):
        form = {"step": "water", "key": KEY, "kettle_water_kg": water or "0", "weight_cold_kg": cold}
        made = post(view, journal, form if water else COLD | {"weight_cold_kg": cold}, 400 + n)
        (row,) = rows(made.csv_text)
        before, after = float(row["weight_before_kg"]), float(row["weight_after_kg"])
        lost = evaporated(before, after, float(row["residue_kg"] or 0))
        frame = pd.Series([after]), pd.Series([float(cold)]), pd.Series([lost])
        put = float(row["kettle_water_kg"]) if row["kettle_water_kg"] else float(put_back_unwritten(*frame)[0])
        gone = lost + float(cooling_loss(after, put, float(cold)))
        owed = excess(before, gone, plant.pastes["water-5"].usual_loss_pct, put)
        advice = advice_of(row, plant)
        (answer,) = made.screen.answers
        assert advice is not None and advice.excess_kg - (answer.put_kg or 0.0) == pytest.approx(owed)


# --- what to do ---------------------------------------------------------------------------------


def test_the_paste_of_one_dough(view: View, journal: Journal) -> None:
    """Worked by hand: Wb 36.00, Wa 34.20, residue 0.36, 6 kg flour in 100 kg: 1.44 kg gone, 1.70 kg to put back."""
    done = cooked(view, journal)
    (answer,) = done.screen.answers
    assert answer.advice is not None
    assert answer.advice.do == "put water back"
    assert answer.advice.lost_kg == pytest.approx(1.44)
    assert answer.owed_kg == pytest.approx(1.70, abs=0.005)
    assert done.said == "weigh" and done.key == KEY
    assert answer.now is None  # a divided kettle runs short for nobody


def test_the_last_dough_of_a_shared_kettle_is_told_now(view: View, journal: Journal) -> None:
    """Worked by hand: milk paste, Wb 120.0, Wa 111.6, four doughs of 30 kg: the fourth finds 21.6 kg."""
    charge = {"kettle": "K2", "recipe": "", "weight_before_kg": "120", "doughs": "4"}
    done = cooked(
        view, journal, charge, key="2026-05-06/K2/07", weight_after_kg="111,6", residue_kg="", cook_temp_c="84"
    )
    (answer,) = done.screen.answers
    assert answer.recipe == "milk-5" and answer.now is not None and answer.advice is not None
    assert (answer.now.dose_kg, answer.now.last_kg) == (pytest.approx(30.0), pytest.approx(21.6))
    assert answer.now.each_kg == pytest.approx(27.9)
    assert answer.advice.do == "put water back" and answer.owed_kg == pytest.approx(8.4)
    assert answer.then is None  # with the water in, nobody is short


def test_residue_leaves_the_last_dough_short_even_with_the_water_in(view: View, journal: Journal) -> None:
    """Own arithmetic: 120 kg, 4 kg left on the tools, 6 kg gone: 110 kg and 6 kg of water for four doses of 30."""
    charge = {"kettle": "K2", "recipe": "", "weight_before_kg": "120", "doughs": "4"}
    done = cooked(view, journal, charge, key="2026-05-06/K2/07", weight_after_kg="110", residue_kg="4")
    (answer,) = done.screen.answers
    assert answer.then is not None and answer.then.last_kg == pytest.approx(116 - 90)
    unknown = kettleside_short(120.0, 110.0)
    assert unknown is not None and unknown.last_kg is None and unknown.planned_kg - unknown.made_kg == pytest.approx(10)


def kettleside_short(before_kg: float, made_kg: float):
    from models.floor.pasteanswer import short

    return short(before_kg, made_kg, 0.0, None)


def test_cook_on_is_no_row_yet(view: View, journal: Journal) -> None:
    done = cooked(view, journal, weight_after_kg="35.9", residue_kg="", cook_temp_c="58")
    (answer,) = done.screen.answers
    assert answer.advice is not None and answer.advice.do == "cook on"
    assert (done.csv_text, done.said) == (None, "again")
    again = post(view, journal, WEIGH | {"cook_temp_c": "66", "cook_end": ""}, 20)
    assert rows(again.csv_text)[0]["cook_end"] == "2026-05-06T06:30+01:00"
    assert rows(again.csv_text)[0]["weight_after_kg"] == "34.2"


def test_a_person_may_record_it_as_it_is(view: View, journal: Journal) -> None:
    done = cooked(view, journal, weight_after_kg="35.9", residue_kg="", cook_temp_c="58", as_it_is="1")
    assert rows(done.csv_text)[0]["cook_temp_c"] == "58"


# --- what is asked at once ----------------------------------------------------------------------


@pytest.mark.parametrize(
    ("cells", "code", "proposal"),
    [
        ({"weight_after_kg": "36,4", "residue_kg": ""}, "paste.after-above-before", "weight_after_kg = 34.6 kg"),
        ({"weight_after_kg": "43.2", "residue_kg": ""}, "paste.after-above-before", "weight_after_kg = 34.2 kg"),
        ({"cook_temp_c": "151"}, "paste.cook_temp_c.fahrenheit", "cook_temp_c = 66.111 °C"),
        ({"weight_after_kg": "34200"}, "paste.weight_after_kg.grams", "weight_after_kg = 34.2 kg"),
        ({"weight_after_kg": "28"}, "paste.loss-not-credible", None),
        ({"cook_temp_c": "42", "probe": "infrared"}, "paste.reading-not-the-paste", None),
        ({"cook_temp_c": "42"}, "not-believed", None),
        ({"cook_temp_c": ""}, "missing.cook_temp_c", None),
        ({"weight_after_kg": ""}, "missing.weight_after_kg", None),
        ({"weight_after_kg": "3O,1"}, "unreadable", "30.1"),
        ({"residue_kg": "12"}, "paste.residue-not-credible", None),
        ({"cook_end": "06:50"}, "ahead", None),
        ({"cook_end": "05:50"}, "paste.times-out-of-order", None),
    ],
)
def test_what_is_asked_after_the_cook(view: View, journal: Journal, cells, code, proposal) -> None:
    done = cooked(view, journal, **cells)
    assert [q.proposal for q in done.questions if q.code == code] == [proposal], done.questions
    assert done.csv_text is None and done.screen.step == "weigh"
    assert done.screen.filled["weight_after_kg"] == (WEIGH | cells)["weight_after_kg"]  # as typed, to be corrected
    assert openpaste.desk(journal).works[f"paste:{KEY}"].cells.get("weight_after_kg") is None


@pytest.mark.parametrize(
    ("cells", "code"),
    [
        ({"weight_before_kg": "155"}, "above-capacity"),
        ({"weight_before_kg": "36000"}, "paste.weight_before_kg.grams"),
        ({"weight_before_kg": "79.4", "flour_kg": "6", "liquid_kg": "30"}, "paste.pounds-or-tare"),
        ({"weight_before_kg": "84.2", "flour_kg": "6", "liquid_kg": "30"}, "paste.tare-left-in"),
        ({"flour_kg": "30", "liquid_kg": "6"}, "paste.flour-and-liquid-swapped"),
        ({"recipe": "milk-5"}, "recipe-of-another-kettle"),
        ({"recipe": ""}, "missing.recipe"),
        ({"weight_before_kg": ""}, "missing.weight_before_kg"),
        ({"paste_batch": " "}, "missing.paste_batch"),
        ({"cook_start": "06:40"}, "ahead"),
        ({"shift_of": "2026-05-07/early"}, "paste.not-in-its-shift"),
        ({"doughs": "2.5"}, "doughs"),
    ],
)
def test_what_is_asked_before_the_cook(view: View, journal: Journal, cells, code) -> None:
    done = post(view, journal, CHARGE | cells)
    assert code in [q.code for q in done.questions], done.questions
    assert journal.read() == []


def test_an_impossible_weight_is_corrected(view: View, journal: Journal) -> None:
    wrong = cooked(view, journal, weight_after_kg="43.2", residue_kg="")
    assert wrong.questions[0].cells == {"weight_after_kg": "34.2"}
    right = post(view, journal, WEIGH | {"asked": wrong.screen.asked}, 11)
    (row,) = rows(right.csv_text)
    assert (row["weight_after_kg"], row["confirmed_by"]) == ("34.2", "")


def test_a_questioned_entry_stands_with_initials_typed_again(view: View, journal: Journal) -> None:
    form = {"weight_after_kg": "37.5", "residue_kg": ""}
    asked = cooked(view, journal, **form).screen.asked
    for wrong in ({"confirm": "XY", "asked": asked}, {"confirm": "RB", "asked": "0"}, {"confirm": "", "asked": asked}):
        assert post(view, journal, WEIGH | form | wrong, 11).csv_text is None
    other = post(
        view, journal, WEIGH | {"weight_after_kg": "38", "residue_kg": "", "confirm": "RB", "asked": asked}, 11
    )
    assert other.csv_text is None  # what was confirmed was another weight
    done = post(view, journal, WEIGH | form | {"confirm": "rb", "asked": asked}, 12)
    (row,) = rows(done.csv_text)
    assert row["weight_after_kg"] == "37.5" and row["confirmed_by"] == "rb"
    assert row["confirmed"] == "paste.after-above-before" and row["confirmed_at"] == "2026-05-06T06:22+01:00"


def test_what_cannot_be_read_cannot_be_confirmed(view: View, journal: Journal) -> None:
    asked = cooked(view, journal, weight_after_kg="much").screen.asked
    assert post(view, journal, WEIGH | {"weight_after_kg": "much", "confirm": "RB", "asked": asked}).questions


def test_the_tub_of_earlier_weighings(view: View, journal: Journal) -> None:
    cooked(view, journal, {"weight_before_kg": "84.2", "tare_kg": "48,2"}, weight_after_kg="83.4", residue_kg="")
    next_one = CHARGE | {"paste_batch": "08", "weight_before_kg": "84.1"}
    (question,) = post(view, journal, next_one, 20).questions
    assert (question.code, question.cells) == ("tub-left-in", {"tare_kg": "48.2"})
    assert post(view, journal, next_one | {"tare_kg": "48.2"}, 20).questions == ()


def test_a_name_that_is_taken(view: View, journal: Journal) -> None:
    cooked(view, journal)
    assert [q.code for q in post(view, journal, CHARGE | {"weight_before_kg": "37"}, 20).questions] == [
        "name-taken.recorded"
    ]
    assert [q.code for q in post(view, journal, CHARGE | {"paste_batch": "7"}, 20).questions] == ["name-nearly"]
    paste = Paste(KEY, "09", "K1", "water-5", NOW, 36.0, 3.0, 0.4, None)
    for key, code in ((KEY.replace("07", "09"), "name-taken.on-another-log"), ("2026-05-05/K1/09", "name-sooner")):
        seen = replace(view, pastes=(replace(paste, paste_key=key),))
        assert [q.code for q in post(seen, journal, CHARGE | {"paste_batch": "09"}, 20).questions] == [code]


def test_the_same_button_twice_is_one_entry(view: View, journal: Journal) -> None:
    post(view, journal, CHARGE)
    assert post(view, journal, CHARGE, 1).said == "already"
    assert post(view, journal, WEIGH, 10).csv_text
    assert post(view, journal, WEIGH, 11).csv_text is None
    assert [line["what"] for line in journal.read()] == ["open", "recorded"]


# --- the row, and the sheet that comes later ----------------------------------------------------


def test_the_row_is_the_contracts(view: View, journal: Journal) -> None:
    done = cooked(view, journal, note="=1+1\nskin\x00 on top")
    (row,) = rows(done.csv_text)
    assert list(row)[: len(TABLES["paste"].columns)] == [c.name for c in TABLES["paste"].columns]
    assert {name: row[name] for name in ("paste_batch", "kettle", "recipe", "shift_date", "shift", "operator")} == {
        "paste_batch": "07", "kettle": "K1", "recipe": "water-5", "shift_date": "2026-05-06", "shift": "early", "operator": "RB",
    }  # fmt: skip
    assert (row["weight_before_kg"], row["weight_after_kg"], row["residue_kg"]) == ("36", "34.2", "0.36")
    assert (row["cook_start"], row["cook_end"]) == ("2026-05-06T06:10+01:00", "2026-05-06T06:20+01:00")
    assert row["kettle_water_kg"] == "" and row["note"] == "=1+1 skin on top"
    assert done.log_name == typed.log_name("paste", done.csv_text or "") and done.log_name.endswith(".csv")


HEAD = "paste_batch,kettle,recipe,shift_date,shift,weight_before_kg,weight_after_kg,residue_kg,cook_start,cook_end,cook_temp_c,operator"
SHEET = "07,K1,water-5,2026-05-06,early,36.00,34.20,0.36,2026-05-06 06:10,2026-05-06 06:20,66.0,RB"


def taken(folder: Path, *logs: tuple[str, str]) -> dict[str, int]:
    """Drop logs one by one, each in a run of its own; returns the account of the paste log."""
    (folder / "logs").mkdir(exist_ok=True)
    (folder / "plant.toml").write_text(TEXT, encoding="utf-8")
    result = {}
    for name, text in logs:
        (folder / "logs" / name).write_text(text, encoding="utf-8")
        result = work(read_job(folder / "plant.toml", folder / "logs", folder / "s.duckdb", folder / "out"))
    return result["rows"]["paste"]


def account(**counts: int) -> dict[str, int]:
    names = ("received", "accepted", "waiting", "quarantined", "duplicate", "superseded")
    return dict.fromkeys(names, 0) | counts


@pytest.mark.slow
def test_the_shifts_sheet_is_matched_not_doubled(view: View, journal: Journal, tmp_path: Path) -> None:
    done = cooked(view, journal)
    screen = (done.log_name or "", done.csv_text or "")
    same, other = f"{HEAD}\n{SHEET}\n", f"{HEAD}\n{SHEET.replace('34.20', '34.40')}\n"
    assert taken(tmp_path, screen, ("sheet.csv", same)) == account(received=2, accepted=1, duplicate=1)
    assert taken(tmp_path, ("corrected.csv", other)) == account(received=3, accepted=1, duplicate=1, superseded=1)
    con = store.open_for_reading(tmp_path / "s.duckdb")
    found = con.execute("SELECT paste_key, after_kg, loss_pct FROM pastes").fetchall()
    con.close()
    assert found == [(KEY, 34.4, pytest.approx(100 * (36 - 34.4 - 0.36) / 36))]


@pytest.mark.slow
def test_water_put_back_and_readings_go_on_the_same_row(view: View, journal: Journal, tmp_path: Path) -> None:
    first = cooked(view, journal)
    water = post(view, journal, {"step": "water", "key": KEY, "kettle_water_kg": "1,7"}, 14)
    (answer,) = water.screen.answers
    assert (answer.put_kg, answer.owed_kg) == (1.7, 0.0)
    cold = post(view, journal, {"step": "cooled", "key": KEY, "temp_2h_c": "19,5"}, 130)
    assert rows(cold.csv_text)[0] | {"temp_2h_c": "", "entered_at": ""} == rows(water.csv_text)[0] | {"entered_at": ""}
    logs = [(done.log_name or "", done.csv_text or "") for done in (first, water, cold)]
    assert taken(tmp_path, *logs) == account(received=3, accepted=1, superseded=2)
    con = store.open_for_reading(tmp_path / "s.duckdb")
    found = con.execute("SELECT kettle_water_kg, temp_2h_c, excess_kg, cooling FROM pastes").fetchall()
    con.close()
    assert found == [(1.7, 19.5, pytest.approx(1.44 - 1.7), "not checked")]


@pytest.mark.slow
def test_what_a_person_stood_by_waits_in_quarantine_with_it(view: View, journal: Journal, tmp_path: Path) -> None:
    form = {"weight_after_kg": "37.5", "residue_kg": ""}
    asked = cooked(view, journal, **form).screen.asked
    done = post(view, journal, WEIGH | form | {"confirm": "RB", "asked": asked}, 12)
    assert taken(tmp_path, (done.log_name or "", done.csv_text or "")) == account(received=1, quarantined=1)


def test_a_sheet_with_other_weights_is_not_put_aside_by_the_screen(view: View, journal: Journal) -> None:
    cooked(view, journal)
    paste = Paste(KEY, "07", "K1", "water-5", NOW, 35.0, 2.9, 0.9, None)
    form = {"step": "water", "key": KEY, "kettle_water_kg": "1.7"}
    (question,) = post(replace(view, pastes=(paste,)), journal, form, 14).questions
    assert (question.code, question.stands) == ("overtaken", False)
    same = replace(paste, loss_pct=100 * 1.44 / 36)
    assert post(replace(view, pastes=(same,)), journal, form, 14).csv_text


def test_a_reading_far_from_its_hour_is_asked_about(view: View, journal: Journal) -> None:
    cooked(view, journal)
    form = {"step": "cooled", "key": KEY, "temp_2h_c": "30"}
    assert [q.code for q in post(view, journal, form, 70).questions] == ["not-at-its-hour"]
    assert post(view, journal, form, 130).csv_text


# --- after a kill -------------------------------------------------------------------------------


def test_a_kettle_waits_through_a_kill(view: View, journal: Journal, tmp_path: Path) -> None:
    post(view, journal, CHARGE | {"doughs": "4"})
    with journal.path.open("ab") as file:
        file.write(b'{"what":"open","key":"2026-05-06/K1/08"')  # the line that the kill cut off
    again = Journal(journal.path)
    screen = kettleside.get({}, view, again, NOW + timedelta(minutes=5), "")
    (waits,) = screen.open
    assert (waits.key, waits.cells["weight_before_kg"], waits.more, waits.since) == (KEY, "36", {"doughs": "4"}, NOW)
    assert post(view, again, WEIGH, 10).csv_text


def test_a_row_that_a_kill_kept_from_the_folder_is_dropped_later(view: View, journal: Journal) -> None:
    done = cooked(view, journal)
    again = Journal(journal.path)
    assert openpaste.desk(again).to_drop == ((done.log_name, done.csv_text),)
    openpaste.dropped(again, done.log_name or "", NOW)
    assert openpaste.desk(again).to_drop == ()


def test_old_lines_are_cleared_away_but_nothing_that_waits(view: View, journal: Journal) -> None:
    done = cooked(view, journal)
    post(view, journal, CHARGE | {"paste_batch": "08"}, 12)
    openpaste.tidy(journal, NOW + timedelta(days=4))
    assert [work.key for work in openpaste.desk(journal).works.values()] == [KEY, KEY.replace("07", "08")]
    openpaste.dropped(journal, done.log_name or "", NOW)
    openpaste.tidy(journal, NOW + timedelta(days=4))
    assert [work.key for work in openpaste.desk(journal).works.values()] == [KEY.replace("07", "08")]


def test_a_charge_begun_by_mistake_is_taken_back(view: View, journal: Journal) -> None:
    post(view, journal, CHARGE)
    assert post(view, journal, {"step": "withdraw", "key": KEY}, 1).said == "withdrawn"
    assert openpaste.desk(journal).works == {}
    assert post(view, journal, {"step": "weigh", "key": KEY}, 1).said == "gone"
    assert journal.read()[-1]["who"] == "RB"


def test_heat_off_is_stamped_once(view: View, journal: Journal) -> None:
    post(view, journal, CHARGE)
    assert post(view, journal, {"step": "off", "key": KEY}, 8).said == "off"
    assert rows(post(view, journal, WEIGH, 12).csv_text)[0]["cook_end"] == "2026-05-06T06:18+01:00"


# --- the cooling clock --------------------------------------------------------------------------


def paste_at(temp_2h_c: float | None = None, temp_6h_c: float | None = None) -> Paste:
    return Paste(KEY, "07", "K1", "water-5", NOW, 36.0, 2.0, 0.0, None, temp_2h_c=temp_2h_c, temp_6h_c=temp_6h_c)


@pytest.mark.parametrize(
    ("two", "six", "states", "whole"),
    [
        (None, None, ["not shown to be met"] * 2, "not shown to be met"),
        (20.0, None, ["met", "not shown to be met"], "not shown to be met"),
        (20.0, 4.5, ["met", "met"], "met"),
        (None, 4.5, ["not shown to be met", "met"], "not shown to be met"),
        (24.0, None, ["missed", "not shown to be met"], "missed"),
        (20.0, 6.0, ["met", "missed"], "missed"),
        (4.0, None, ["met", "met"], "not shown to be met"),
    ],
)
def test_no_record_is_not_shown_to_be_met(plant: Plant, two, six, states, whole) -> None:
    for hours in (0.5, 7.0):  # before the limits and after them
        clock = cooling(plant, paste_at(two, six), NOW + timedelta(hours=hours))
        assert clock is not None and [limit.state for limit in clock.limits] == states and clock.state == whole


def test_the_clock_has_the_plants_own_limits_or_none(plant: Plant) -> None:
    clock = cooling(plant, paste_at(), NOW + timedelta(minutes=75))
    assert clock is not None and clock.minutes == 75
    assert [(one.to_c, one.left_min) for one in clock.limits] == [(21.0, 45), (5.0, 285)]
    without = cooling(parse(tomllib.loads(PLANT)), paste_at(1.0, 1.0), NOW)
    assert without is not None and without.limits == () and without.state == "not shown to be met"
    assert cooling(plant, replace(paste_at(), cooked_at=None), NOW) is None


@pytest.mark.parametrize(("hours", "watched"), [(-0.01, False), (0, True), (8, True), (8.01, False)])
def test_a_paste_stays_on_the_clock_until_two_hours_after_its_last_limit(
    plant: Plant, hours: float, watched: bool
) -> None:
    """The plant's last limit is 5 °C within 6 h; without limits the last reading, at 6 h, counts."""
    now = NOW + timedelta(hours=hours)
    assert len(on_the_clock(plant, (paste_at(),), now)) == watched
    assert len(on_the_clock(parse(tomllib.loads(PLANT)), (paste_at(),), now)) == watched


@pytest.mark.parametrize(("hours", "watched"), [(12, True), (12.01, False)])
def test_a_later_limit_keeps_it_longer_on_the_clock(hours: float, watched: bool) -> None:
    slow = COOLING.replace("to_5_c_within_h = 6", "to_5_c_within_h = 10")
    assert len(on_the_clock(parse(tomllib.loads(PLANT + slow)), (paste_at(),), NOW + timedelta(hours=hours))) == watched


@pytest.mark.parametrize("limits", [(2, 6), (1.5, 6), (3, 6), (2, 5), (2, 8), (2, 4), (6, 6)], ids=str)
def test_the_clock_says_what_the_record_will_say(limits: tuple[float, float]) -> None:
    """One law for the screen and for the paste's row in the store, whatever was read after 2 h and after 6 h."""
    readings = list(product((None, 4.0, 5.0, 5.1, 20.0, 21.0, 21.1), repeat=2))
    own = {"to_21_c_within_h": limits[0], "to_5_c_within_h": limits[1], "approved_by": "QA"}
    strict = batch_tests.plant(cooling=own)
    pastes = [batch_tests.paste(f"P{n:02}", temp_2h_c=two, temp_6h_c=six) for n, (two, six) in enumerate(readings)]
    recorded = batch_tests.made(strict, paste=pastes).pastes.set_index("paste_key")["cooling"].sort_index()
    clocks = [cooling(strict, paste_at(two, six), NOW) for two, six in readings]
    said = [clock.state.replace("not shown to be met", "not checked") for clock in clocks if clock]
    assert said == recorded.tolist()


@pytest.mark.parametrize(("minutes", "asked"), [(114, True), (115, False), (144, False), (146, True)])
def test_a_quarter_of_an_hour_is_near_enough(view: View, journal: Journal, minutes: int, asked: bool) -> None:
    """The heat went off at minute 10; a quarter of an hour about two hours later is near enough, common practice."""
    cooked(view, journal)
    found = post(view, journal, {"step": "cooled", "key": KEY, "temp_2h_c": "19,5"}, minutes).questions
    assert [one.code for one in found] == ["not-at-its-hour"] * asked


# --- times and names ----------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "now", "utc"),
    [
        ("06:05", "2026-05-06 05:10", "2026-05-06 05:05"),
        ("23.50", "2026-05-05 23:10", "2026-05-05 22:50"),  # ten past midnight in Lisbon: yesterday's 23:50
        ("0005", "2026-05-05 23:10", "2026-05-05 23:05"),
        ("2026-05-05 22:00", "2026-05-06 05:10", "2026-05-05 21:00"),
        ("01:30", "2026-10-25 00:40", "2026-10-25 00:30"),  # the hour that comes twice: the first has come,
        ("01:30", "2026-10-25 01:40", "2026-10-25 01:30"),  # now the second has, too
        ("2026-05-06T06:00+02:00", "2026-05-06 05:10", "2026-05-06 04:00"),
    ],
)
def test_a_clock_time_is_the_one_that_has_come(plant: Plant, text: str, now: str, utc: str) -> None:
    assert typed.moment(text, datetime.fromisoformat(now), plant) == datetime.fromisoformat(utc)


def test_a_shift_keeps_the_date_it_began_on(view: View) -> None:
    from tests.unit import rows as small

    night = typed.running(small.plant(), datetime(2026, 5, 6, 1, 0))
    assert night.name == "2026-05-05/night"
    assert [one.name for one in typed.shifts_near(small.plant(), datetime(2026, 5, 6, 1, 0))] == [
        "2026-05-05/late", "2026-05-05/night", "2026-05-06/early",
    ]  # fmt: skip


def test_the_next_name_is_written_like_the_last() -> None:
    assert [typed.next_name(name) for name in ("07", "P9", "A-099", "P", "")] == ["08", "P10", "A-100", "", ""]


@pytest.mark.parametrize("text", ["36.5", "36,5", " 36,5 kg", "36.50"])
def test_comma_or_point(text: str) -> None:
    assert typed.number(text, TABLES["paste"].by_name["weight_before_kg"]) == 36.5


@pytest.mark.slow
def test_the_board_knows_the_readings_of_the_row(view: View, journal: Journal, tmp_path: Path) -> None:
    from models.storage import viewing

    first, cold = cooked(view, journal), post(view, journal, {"step": "cooled", "key": KEY, "temp_2h_c": "19"}, 130)
    taken(tmp_path, *((done.log_name or "", done.csv_text or "") for done in (first, cold)))
    con = store.open_for_reading(tmp_path / "s.duckdb")
    (paste,) = viewing._pastes(con, NOW + timedelta(hours=3))
    con.close()
    assert (paste.paste_key, paste.temp_2h_c, paste.temp_6h_c) == (KEY, 19.0, None)


# --- what is on hold ----------------------------------------------------------------------------


def held(view: View, journal: Journal, **changes) -> View:
    """The view after K1 07 was cooked, with that paste on hold by hand."""
    batch = Held("paste", KEY, KEY, NOW, "held")
    hold = Hold(
        "H1", "", "foreign body", "a <b>glove</b> was in it", "K1", NOW, "RS", (batch,), Loaves(0, 0, None, False, 0)
    )
    paste = kettleside.cooled(view, openpaste.desk(journal))[0]
    return replace(view, pastes=(paste,), holds=(replace(hold, **changes),), flour_lots={KEY: "F19"})


def test_a_paste_of_this_kettle_on_hold_is_said_there(view: View, journal: Journal) -> None:
    cooked(view, journal)
    seen = held(view, journal)

    def drawn(kettle: str, days: float = 0) -> str:
        screen = kettleside.get({"kettle": kettle}, seen, journal, NOW + timedelta(days=days, minutes=20), "RB")
        return tablets.kettle_screen(Frame("north", "/kettle", "n", "t", "RB"), screen)

    assert "On hold: do not pour" in drawn("K1") and "a &lt;b&gt;glove&lt;/b&gt; was in it" in drawn("K1")
    assert "On hold: do not pour" not in drawn("K2"), "another kettle's"
    assert "On hold: do not pour" not in drawn("K1", days=4), "no dough may name it any more"


def test_a_charge_of_flour_that_is_in_what_is_held_is_asked_about(view: View, journal: Journal) -> None:
    cooked(view, journal)
    seen, charge = held(view, journal), CHARGE | {"paste_batch": "08"}
    assert [one.code for one in post(seen, journal, charge | {"flour_lot": "F19"}, 30).questions] == ["flour-on-hold"]
    assert post(held(view, journal, ground="cooling"), journal, charge | {"flour_lot": "F19"}, 30).questions == ()
    assert post(seen, journal, charge | {"flour_lot": "F20", "paste_batch": "09"}, 30).questions == ()
