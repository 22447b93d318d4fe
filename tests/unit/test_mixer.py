"""The screen by the mixer: water owed, water temperature or ice, and the dough as a row; both screens as they are drawn."""

from __future__ import annotations

import re
import tomllib
from dataclasses import replace
from datetime import timedelta
from pathlib import Path

import pytest

from models.floor import doughplan, kettleside, mixer
from models.floor.heldloaves import Loaves
from models.floor.holds import Held, Hold
from models.floor.view import Paste, View
from models.logbook import DOUGH_LOG
from models.plant import Plant, parse
from models.storage.journal import Journal
from reports import tablets
from reports.board import Frame
from tests.unit.test_kettleside import CHARGE, COOLING, KEY, NOW, PLANT, WEIGH, account, rows, taken

TEXT = PLANT + COOLING
LATER = NOW + timedelta(minutes=40)
MILK = Paste("2026-05-06/K2/07", "07", "K2", "milk-5", NOW, 111.6, 7.0, 8.4, None)
TUB = Paste("2026-05-06/K1/02", "02", "K1", "water-5", NOW, 36.0, 0.0, 0.0, None)
FORM = {
    "step": "plan", "line": "L1", "product": "rich", "dough_batch": "03", "shift_of": "2026-05-06/early", "flour_kg": "45",
    "paste_key": MILK.paste_key,
}  # fmt: skip


@pytest.fixture(scope="module")
def plant() -> Plant:
    return parse(tomllib.loads(TEXT))


@pytest.fixture
def view(plant: Plant) -> View:
    return View(plant, 1, NOW, pastes=(MILK, TUB))


@pytest.fixture
def journal(tmp_path: Path) -> Journal:
    return Journal(tmp_path / "screens.jsonl")


def post(view: View, journal: Journal, form: dict[str, str], minutes: float = 0) -> mixer.Outcome:
    return mixer.post(form, view, journal, LATER + timedelta(minutes=minutes), "RB")


@pytest.mark.parametrize(("paste_kg", "water_kg"), [(30.0, 0.87), (27.9, 2.10), (None, 2.10)])
def test_the_water_a_milk_paste_owes(plant: Plant, paste_kg: float | None, water_kg: float) -> None:
    """Worked by hand: Wb 120.0, Wa 111.6, 45 kg of flour: 0.87 kg for the full dose, 2.10 kg for an equal part of 27.9 kg."""
    owed = doughplan.owed_of(plant, plant.products["rich"], 45.0, MILK, paste_kg)
    assert owed.water_kg == pytest.approx(water_kg, abs=0.005)
    assert owed.dose_kg == pytest.approx(27.9) and owed.formula_kg == pytest.approx(30.0)


def test_the_water_a_paste_owes_that_left_residue(plant: Plant) -> None:
    """Worked by hand: Wb 36.00, Wa 34.20, residue 0.36, all of it in one dough of 94 kg of flour: 1.70 kg."""
    paste = replace(TUB, weight_kg=34.2, loss_pct=4.0, excess_kg=1.44)
    owed = doughplan.owed_of(plant, plant.products["soft"], 94.0, paste, 34.2)
    assert owed.water_kg == pytest.approx(1.70, abs=0.02)


def test_what_went_back_into_the_kettle_is_not_owed(plant: Plant) -> None:
    repaired = replace(MILK, excess_kg=0.0, water_added_kg=8.4)
    owed = doughplan.owed_of(plant, plant.products["rich"], 45.0, repaired, None)
    assert (owed.water_kg, owed.dose_kg) == (0.0, pytest.approx(30.0))


@pytest.mark.parametrize(("hours", "names"), [(72, ["02"]), (72.01, []), (-0.01, [])])
def test_a_dough_may_name_a_paste_of_the_last_72_hours(
    plant: Plant, journal: Journal, hours: float, names: list[str]
) -> None:
    """The contract: the latest such batch made before it, at most 72 h before for a paste."""
    old = replace(TUB, cooked_at=NOW - timedelta(hours=hours))
    shown = mixer.get({"line": "L1"}, View(plant, 1, NOW, pastes=(old,)), journal, NOW, "RB")
    assert [clock.name for clock in shown.pastes] == names


@pytest.mark.parametrize(("paste_key", "known"), [("", "not chosen"), ("x", "not weighed")])
def test_what_is_not_known_is_not_nothing(plant: Plant, paste_key: str, known: str) -> None:
    paste = replace(MILK, excess_kg=None) if paste_key else None
    owed = doughplan.owed_of(plant, plant.products["rich"], 45.0, paste, None)
    assert (owed.known, owed.water_kg) == (known, None)


@pytest.mark.parametrize(("paste_c", "water_c", "ice_kg"), [("8", 21.6, None), ("20", 10.8, None), ("35", -2.7, 5.7)])
def test_the_heat_balance(plant: Plant, paste_c: str, water_c: float, ice_kg: float | None) -> None:
    """Worked by hand: 94 kg flour at 22 °C, 36 water, 36 paste, 8 sugar, 6 butter, 1.8 salt, 3 yeast, friction 18 kJ/kg, for 27 °C;
    with 12 °C from the tap and a paste of 35 °C: 5.7 kg of ice. The cold store's 6 °C is this project's."""
    cells = {"product": "soft", "flour_kg": "94", "paste_kg": "36", "flour_temp_c": "22", "room_temp_c": "22"}
    more = {"wanted_temp_c": "27", "tap_temp_c": "12", "sugar_kg": "8", "butter_kg": "6", "salt_kg": "1.8"}
    found = doughplan.plan(plant, cells | {"paste_temp_c": paste_c}, more, TUB, [])
    assert found.owed.water_kg == 0.0 and found.total_kg == pytest.approx(36.0)
    assert found.warmth.water_c == pytest.approx(water_c, abs=0.3)
    assert found.warmth.pour is not None
    if ice_kg is not None:
        assert found.warmth.pour.ice_kg == pytest.approx(ice_kg, abs=0.15)
        assert found.warmth.pour.ice_kg + found.warmth.pour.tap_kg == pytest.approx(36.0)


def test_a_mixers_own_heat_is_worked_back(plant: Plant) -> None:
    """The plan's water, poured as worked out, gives the wanted dough; worked back, the heat that was put in."""
    from models.floor.openpaste import Work

    cells = {"product": "soft", "flour_kg": "94", "paste_kg": "36", "flour_temp_c": "22", "room_temp_c": "22"}
    cells |= {"paste_temp_c": "20"}
    found = doughplan.plan(plant, cells, {"wanted_temp_c": "27"}, TUB, [21.0, 25.0, 23.0])
    assert (found.warmth.mixing_kj_kg, found.warmth.mixing_n) == (23.0, 3)
    done = cells | {"water_temp_c": f"{found.warmth.water_c}", "liquid_kg": "36", "dough_temp_c": "27"}
    own = doughplan.own_heat(plant, Work("dough", "k", done, {}, NOW, NOW))
    assert own == pytest.approx(23.0)


def test_without_temperatures_nothing_is_worked_out(view: View, journal: Journal) -> None:
    (answer,) = post(view, journal, FORM).screen.answers
    assert answer.plan.warmth.water_c is None
    assert answer.plan.warmth.missing == ("flour_temp_c", "paste_temp_c", "room_temp_c")


@pytest.mark.parametrize(
    ("cells", "code"),
    [
        ({"flour_kg": "45000"}, "dough.flour_kg.grams"),
        ({"flour_kg": ""}, "missing.flour_kg"),
        ({"paste_temp_c": "140"}, "dough.paste_temp_c.fahrenheit"),
        ({"wanted_temp_c": "80"}, "unreadable"),
        ({"product": "soft"}, "paste-of-another-product"),
        ({"line": "L9"}, "dough.unknown-line"),
    ],
)
def test_what_is_asked_at_once(view: View, journal: Journal, cells: dict[str, str], code: str) -> None:
    assert code in [question.code for question in post(view, journal, FORM | cells).questions]
    assert journal.read() == []


def test_a_paste_that_missed_its_cooling_is_asked_about(view: View, journal: Journal) -> None:
    warm = replace(view, pastes=(replace(MILK, temp_2h_c=30.0),))
    assert [question.code for question in post(warm, journal, FORM).questions] == ["cooling-missed"]


MIXED = {
    "step": "mixed", "key": "2026-05-06/L1/03", "makeup_water_kg": "1,5", "liquid_kg": "5", "yeast_kg": "1,5",
    "dough_temp_c": "26",
}  # fmt: skip


@pytest.mark.slow
def test_the_dough_is_a_row_and_its_sheet_is_matched(view: View, journal: Journal, tmp_path: Path) -> None:
    post(view, journal, FORM)
    done = mixer.post(MIXED, view, Journal(journal.path), LATER + timedelta(minutes=12), "RB")  # after a kill
    (row,) = rows(done.csv_text)
    assert list(row)[: len(DOUGH_LOG.columns)] == [column.name for column in DOUGH_LOG.columns]
    assert (row["makeup_water_kg"], row["paste_batch"], row["mixed_at"]) == ("1.5", "07", "2026-05-06T07:02+01:00")
    assert done.screen.answers[0].still_kg == pytest.approx(0.6)
    names = [name for name, text in row.items() if text]
    sheet = ",".join(names[:-1]) + "\n" + ",".join(row[name] for name in names[:-1]) + "\n"
    taken(tmp_path, (done.log_name or "", done.csv_text or ""), ("sheet.csv", sheet))
    from models.storage import account as accounts
    from models.storage import store

    con = store.open_for_reading(tmp_path / "s.duckdb")
    counts = accounts.count(con)["dough"]
    con.close()
    assert counts == account(received=2, waiting=1, duplicate=1)


# --- as they are drawn --------------------------------------------------------------------------

FRAME = Frame("north", "/kettle", "n", "<token>", "RB")


def test_the_kettle_screen_says_it_large(view: View, journal: Journal) -> None:
    kettleside.post(CHARGE, view, journal, NOW, "RB")
    done = kettleside.post(WEIGH, view, journal, NOW + timedelta(minutes=10), "RB")
    page = tablets.kettle_screen(FRAME, done.screen)
    assert '<p class="do">Put back 1.70 kg of water now</p>' in page
    assert "not shown to be met" in page and "Hot paste" in page and "baking does not repair" in page
    assert page.count('name="form_token" value="&lt;token&gt;"') == page.count("<form")
    assert 'inputmode="decimal"' in page and 'name="kettle_water_kg"' in page


def test_a_question_is_drawn_with_what_was_typed_and_nothing_is_markup(view: View, journal: Journal) -> None:
    kettleside.post(CHARGE, view, journal, NOW, "RB")
    form = WEIGH | {"weight_after_kg": "43.2", "residue_kg": "", "note": "<b>x</b>"}
    done = kettleside.post(form, view, journal, NOW + timedelta(minutes=10), "RB")
    page = tablets.kettle_screen(FRAME, done.screen)
    assert "Meant: Wa, after 34.2?" in page and 'value="43.2"' in page and done.screen.asked in page
    assert "&lt;b&gt;x" in page and "<b>x" not in page
    assert f'name="key" value="{KEY}"' in page


def test_the_mixer_screen_says_it_large(view: View, journal: Journal) -> None:
    temps = {"paste_temp_c": "8", "flour_temp_c": "20", "room_temp_c": "20", "tap_temp_c": "12"}
    done = post(view, journal, FORM | temps)
    page = tablets.mixer_screen(FRAME, done.screen)
    assert '<p class="do">Add 2.10 kg of water for the paste</p>' in page
    assert re.search(r'<p class="do">16\.99 kg of liquid at \d+ °C</p>', page)
    assert page.count("<form") == page.count('name="form_token"')
    bare = tablets.mixer_screen(FRAME, mixer.get({}, view, Journal(journal.path.with_name("none")), LATER, ""))
    assert "Next dough" in bare and "not shown to be met" in bare


def test_every_id_on_a_screen_is_there_once(view: View, journal: Journal) -> None:
    kettleside.post(CHARGE, view, journal, NOW, "RB")
    kettleside.post(WEIGH, view, journal, NOW + timedelta(minutes=10), "RB")
    kettleside.post(CHARGE | {"paste_batch": "08"}, view, journal, NOW + timedelta(minutes=20), "RB")
    post(view, journal, FORM)
    shown = kettleside.get({"kettle": "K1"}, view, journal, LATER, "RB")
    for page in (
        tablets.kettle_screen(FRAME, shown),
        tablets.mixer_screen(FRAME, mixer.get({}, view, journal, LATER, "")),
    ):
        ids = re.findall(r' id="([^"]+)"', page)
        assert len(ids) == len(set(ids))
        assert set(re.findall(r'<label for="([^"]+)"', page)) <= set(ids)


def test_a_form_without_most_of_its_fields_is_asked_about_and_drawn(view: View, journal: Journal) -> None:
    for step in ("charge", "", "nonsense"):
        done = kettleside.post({"step": step, "note": "x"}, view, journal, NOW, "")
        assert "Which batch?" in tablets.kettle_screen(FRAME, done.screen) and done.csv_text is None
        asked = mixer.post({"step": step, "note": "x"}, view, journal, NOW, "")
        assert "Which dough?" in tablets.mixer_screen(FRAME, asked.screen) and asked.csv_text is None


# --- what is on hold ----------------------------------------------------------------------------


def held(
    view: View, key: str = MILK.paste_key, ground: str = "foreign body", stands: bool = True, alert: str = ""
) -> View:
    batch = Held("paste", key, key, NOW, "held" if stands else "released")
    hold = Hold(
        "H1", alert, ground, "a <b>glove</b> was in it", "K2", NOW, "RS", (batch,), Loaves(0, 0, None, False, 0)
    )
    return replace(view, holds=(hold,), flour_lots={key: "F19"})


def drawn(view: View, journal: Journal) -> str:
    screen = mixer.get({"line": "L1"}, view, journal, LATER, "RB")
    return tablets.mixer_screen(Frame("north", "/mixer", "n", "t", "RB"), screen)


def test_a_paste_on_hold_is_said_before_anybody_types(view: View, journal: Journal) -> None:
    text = drawn(held(view), journal)
    assert "On hold: do not pour" in text and "a &lt;b&gt;glove&lt;/b&gt; was in it" in text and "<b>glove" not in text
    assert re.search(rf'value="{MILK.paste_key}"[^>]*>[^<]*ON HOLD</option>', text)
    assert "On hold: do not pour" not in drawn(view, journal)
    assert "On hold: do not pour" not in drawn(held(view, stands=False), journal)  # QA has released it


def test_a_paste_on_hold_is_asked_about_at_every_step_and_releases_nothing(view: View, journal: Journal) -> None:
    seen = held(view)
    asked = post(seen, journal, FORM)
    assert [one.code for one in asked.questions] == ["paste-on-hold"] and not asked.screen.open
    stood = post(seen, journal, FORM | {"confirm": "RB", "asked": asked.screen.asked})
    assert [work.key for work in stood.screen.open] == ["2026-05-06/L1/03"]
    assert seen.holds[0].stands and "Its paste is on hold: do not pour it" in drawn(seen, journal)


def test_a_hold_that_comes_after_the_plan_is_asked_about_before_it_is_recorded(view: View, journal: Journal) -> None:
    assert post(view, journal, FORM).questions == ()
    mixed = {
        "step": "mixed", "key": "2026-05-06/L1/03", "liquid_kg": "20", "yeast_kg": "1.5", "dough_temp_c": "26",
        "makeup_water_kg": "0.87", "paste_kg": "30",
    }  # fmt: skip
    assert "Its paste is on hold: do not pour it" in drawn(held(view), journal)
    asked = post(held(view), journal, mixed, 10)
    assert "paste-on-hold" in [one.code for one in asked.questions] and asked.csv_text is None


def test_a_flour_lot_that_is_in_what_is_held_is_asked_about(view: View, journal: Journal) -> None:
    seen = held(view)
    form = FORM | {"paste_key": TUB.paste_key, "product": "soft", "flour_lot": "F19"}
    asked = post(seen, journal, form)
    assert [one.code for one in asked.questions] == ["flour-on-hold"]
    assert asked.questions[0].values["why"] == "K2 07, a <b>glove</b> was in it"
    assert post(seen, journal, form | {"flour_lot": "F20"}).questions == ()


def test_a_cooling_hold_says_nothing_of_the_flour(view: View, journal: Journal) -> None:
    seen = held(view, ground="cooling")
    form = FORM | {"paste_key": TUB.paste_key, "product": "soft", "flour_lot": "F19"}
    assert post(seen, journal, form).questions == ()


def test_a_swapped_tub_that_an_alert_holds_says_nothing_of_the_flour(view: View, journal: Journal) -> None:
    form = FORM | {"paste_key": TUB.paste_key, "product": "soft", "flour_lot": "F19"}
    assert [one.code for one in post(held(view, ground="allergen"), journal, form).questions] == ["flour-on-hold"]
    assert post(held(view, ground="allergen", alert="A1"), journal, form).questions == ()
