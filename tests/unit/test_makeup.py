"""The kettle command: one instruction from two weighings, and the card for the day without a screen."""

from __future__ import annotations

import argparse
import json
import re
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest

from flows import makeup
from models.plant import Plant, load, parse
from models.trade import cautions, kettle
from models.trade.kettle import Advice, Weighing
from reports import makeup_card

PLANT = """
plant = "north"
timezone = "Europe/Lisbon"
[shifts]
early = "06:00"
[pastes.water-5]
liquid_ratio = 5.0
[pastes.water-2]
liquid_ratio = 2.0
usual_loss_pct = 2.0
[pastes.milk-5]
liquid_ratio = 5.0
liquid_water_pct = 87.5
dosing = "weighed"
[kettles.K1]
pastes = ["water-5", "water-2"]
capacity_kg = 150
[kettles.K2]
pastes = ["milk-5"]
[lines.L1]
kettle = "K1"
products = ["soft", "tin", "rich", "plain"]
[products.soft]
paste = "water-5"
hydration_pct = 66.0
paste_flour_pct = 6.0
yeast_pct = 3.0
scaled_g = 450
[products.tin]
paste = "water-2"
hydration_pct = 63.0
paste_flour_pct = 20.0
yeast_pct = 3.0
scaled_g = 450
[products.rich]
paste = "milk-5"
hydration_pct = 69.8
liquid_water_pct = 87.5
paste_flour_pct = 10.0
yeast_pct = 3.0
scaled_g = 450
[products.plain]
hydration_pct = 60.0
yeast_pct = 2.0
scaled_g = 450
"""
COOLING = '[cooling]\nto_21_c_within_h = 2\nto_5_c_within_h = 6\napproved_by = "QA"\n'


@pytest.fixture
def file(tmp_path: Path) -> Path:
    path = tmp_path / "plant.toml"
    path.write_text(PLANT + COOLING, encoding="utf-8")
    return path


@pytest.fixture
def plant(file: Path) -> Plant:
    return load(file)


def ask(file: Path, *options: str) -> int:
    parser = argparse.ArgumentParser(prog="loaftrace")
    made = makeup.add_parser(parser.add_subparsers())
    assert made.prog == "loaftrace makeup"
    args = parser.parse_args(["makeup", "--plant", str(file), *options])
    return args.run(args)


def answer(capsys: pytest.CaptureFixture, file: Path, *options: str) -> dict[str, Any]:
    assert ask(file, *options, "--json") == 0
    out = capsys.readouterr().out
    assert out.count("\n") == 1
    return json.loads(out)


def advise(
    plant: Plant, product: str, before: float, after: float, place: kettle.Place = "kettle", **cells: Any
) -> Advice:
    doughs = cells.pop("doughs", None)
    return kettle.advise(plant, plant.products[product], Weighing(before, after, **cells), place, doughs)


# --- how much water -----------------------------------------------------------------------------


def test_the_example_worked_by_hand(capsys, file):
    """Wb 36.00, Wa 34.20, residue 0.36: 1.44 kg gone, 1.7 points, 1.70 kg to put back."""
    weights = ("--before", "36,00", "--after", "34.20", "--residue", "0.36", "--temp", "66")
    got = answer(capsys, file, "--product", "soft", *weights)
    assert got["do"] == "put water back"
    assert f"{got['lost_kg']:.2f} {got['loss_pct']:.1f}" == "1.44 4.0"
    assert f"{got['water_kg']:.2f} {got['points']:.2f}" == "1.70 1.70"
    assert f"{got['reads_kg']:.2f}" == "35.90"
    assert got["headline"] == "PUT BACK 1.70 kg OF WATER NOW"
    assert "66 °C or more" in got["water_temp"]
    assert got["not_checked"] == []


def test_the_milk_paste_at_the_mixer_shared_out(capsys, file):
    """Wb 120, Wa 111.6, four doughs: 27.9 kg of paste and 2.10 kg of water each."""
    options = ("--product", "rich", "--before", "120", "--after", "111.6", "--at", "mixer")
    got = answer(capsys, file, *options, "--doughs", "4")
    assert f"{got['dose_each_kg']:.1f} {got['each_kg']:.2f} {got['water_kg']:.1f}" == "27.9 2.10 8.4"
    assert "the last of 4 would get 21.60 kg of paste instead of 30.00 kg" in got["why"][0]
    unknown = answer(capsys, file, *options)
    assert unknown["less_paste_pct"] == pytest.approx(7.0)
    assert unknown["each_kg"] is None


def test_the_last_dough_is_short_of_what_was_lost_beyond_the_usual():
    """2 % of 120 kg is usual: four doughs of 29.40 kg; of 111.6 kg the last would get 111.6 - 3 x 29.40 = 23.40."""
    import tomllib

    content = tomllib.loads(PLANT)
    content["pastes"]["milk-5"]["usual_loss_pct"] = 2.0
    got = advise(parse(content), "rich", 120.0, 111.6, doughs=4)
    assert "the last of 4 would get 23.40 kg of paste instead of 29.40 kg" in got.why[0]
    assert (got.usual_kg, got.excess_kg, got.water_kg) == (pytest.approx(2.4), pytest.approx(6.0), pytest.approx(6.0))


def test_the_milk_paste_in_the_kettle_wants_only_water(plant):
    got = advise(plant, "rich", 120.0, 111.6)
    assert got.water_kg == pytest.approx(8.4) and got.reads_kg == pytest.approx(120.0)


def test_the_usual_loss_is_not_put_back(plant):
    got = advise(plant, "tin", 120.0, 114.0, temp_c=67.0)
    assert (got.usual_kg, got.excess_kg, got.water_kg) == (pytest.approx(2.4), pytest.approx(3.6), pytest.approx(3.6))
    assert advise(plant, "tin", 120.0, 117.6, temp_c=67.0).do == "nothing to put back"


def test_half_the_warning_limit_is_left_alone(plant):
    assert advise(plant, "tin", 60.0, 60.0 - 1.2 - 0.49, temp_c=67.0).do == "nothing to put back"
    assert advise(plant, "tin", 60.0, 60.0 - 1.2 - 0.51, temp_c=67.0).do == "put water back"


def test_weighed_out_the_kettle_that_runs_short_decides(plant):
    """1.25 % lost takes little from each dough, but the last of them lacks 1.5 kg of paste."""
    got = advise(plant, "rich", 120.0, 118.5)
    assert got.points < 0.5 < got.pressing and got.do == "put water back"
    assert "runs 1.50 kg short" in got.why[0]


def test_at_the_mixer_divided_the_water_goes_as_the_paste_goes(plant):
    got = advise(plant, "tin", 120.0, 114.0, "mixer", doughs=2)
    assert (got.each_kg, got.dose_each_kg) == (pytest.approx(1.8), pytest.approx(57.0))
    assert advise(plant, "tin", 120.0, 114.0, "mixer").water_kg == pytest.approx(3.6)


def test_the_tare_comes_off_and_goes_back_on(capsys, file):
    options = ("--product", "tin", "--before", "168", "--after", "162", "--tare", "48", "--temp", "67")
    assert answer(capsys, file, *options)["loss_pct"] == pytest.approx(5.0)
    assert ask(file, *options) == 0
    assert "the scale shows 165.60 kg with the tub (48 kg)" in capsys.readouterr().out


# --- which instruction --------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("after", "cells", "do", "says"),
    [
        (120.7, {}, "stir and measure again", "weighs more after cooking"),
        (120.5, {"temp_c": 66.0}, "nothing to put back", "lost less than usual"),
        (118.0, {"residue_kg": 3.0}, "stir and measure again", "The residue weighs more"),
        (60.0, {}, "stir and measure again", "no cook does that"),
        (117.0, {"temp_c": 151.0}, "stir and measure again", "in °F it would be 66 °C"),
        (117.0, {"temp_c": 36.0}, "stir and measure again", "the steel was read"),
        (119.9, {"temp_c": 36.0}, "cook on", "below 61 °C"),
        (118.0, {"temp_c": 58.0}, "cook on", "Cook on to 64 °C"),
        (112.0, {"temp_c": 58.0}, "stir and measure again", "do not go together"),
        (112.0, {"temp_c": 84.0}, "put water back", "points from the dough"),
        (112.0, {"temp_c": 88.0}, "scrap and ask QA", "overcooked"),
        (105.0, {"temp_c": 70.0}, "scrap and ask QA", "twice the action limit of 6 %"),
        (105.7, {"temp_c": 70.0}, "put water back", "points from the dough"),
        (117.0, {"temp_c": 66.0, "capacity_kg": 100.0}, "stir and measure again", "more than the kettle holds"),
    ],
)
def test_the_instruction(plant, after, cells, do, says):
    got = advise(plant, "tin", 120.0, after, **cells)
    assert got.do == do
    assert says in " ".join(got.why)
    assert (got.water_kg > 0) == (do == "put water back")


# Limits of the trade's defaults, on each side: loss -0.5 and 6 % of Wb, cook 61, 64, 73 and 80 °C, 1 and 2 points.
@pytest.mark.parametrize(
    ("after", "cells", "do"),
    [
        (120.6, {}, "nothing to put back"),  # 0.5 % more than before
        (120.61, {}, "stir and measure again"),
        (118.0, {"residue_kg": 2.6}, "nothing to put back"),  # 0.5 % of Wb more residue than is missing
        (118.0, {"residue_kg": 2.61}, "stir and measure again"),
        (96.0, {}, "scrap and ask QA"),  # 20 %: no cook loses more
        (95.9, {}, "stir and measure again"),
        (117.0, {"capacity_kg": 120.0}, "nothing to put back"),
        (117.0, {"capacity_kg": 119.9}, "stir and measure again"),
        (117.0, {"temp_c": 106.0}, "nothing to put back"),
        (117.0, {"temp_c": 106.1}, "stir and measure again"),
        (117.0, {"temp_c": 55.0}, "cook on"),  # steel reads below 55 °C under a paste that lost at least 0.5 %
        (117.0, {"temp_c": 54.9}, "stir and measure again"),
        (119.4, {"temp_c": 54.9}, "stir and measure again"),
        (119.41, {"temp_c": 54.9}, "cook on"),
        (117.0, {"temp_c": 60.9}, "cook on"),
        (117.0, {"temp_c": 61.0}, "nothing to put back"),
        (115.6, {"temp_c": 60.9}, "cook on"),  # one point gone: 1.0 kg per 100 kg of flour beyond the usual
        (115.59, {"temp_c": 60.9}, "stir and measure again"),
        (116.6, {}, "nothing to put back"),  # half a point
        (116.59, {}, "put water back"),
        (112.0, {"temp_c": 87.0}, "put water back"),  # as far past 80 °C as that lies past 73 °C
        (112.0, {"temp_c": 87.1}, "scrap and ask QA"),
        (112.8, {"temp_c": 88.0}, "put water back"),  # 6 %
        (112.79, {"temp_c": 88.0}, "scrap and ask QA"),
        (105.6, {}, "put water back"),  # 12 %
        (105.59, {}, "scrap and ask QA"),
    ],
)
def test_on_a_limit_is_not_beyond_it(plant, after, cells, do):
    assert advise(plant, "tin", 120.0, after, **cells).do == do


def test_the_loss_is_known_as_well_as_the_scale(plant):
    """A scale good to 0.1 %: 36 g and 34 g, together 0.05 kg; with 95 % twice that. Worked by hand."""
    assert advise(plant, "soft", 36.0, 34.2).plus_minus_kg == pytest.approx(0.10, abs=0.005)


def test_scrapping_asks_for_one_more_weighing_first(plant):
    assert "Weigh it once more first" in " ".join(advise(plant, "tin", 120.0, 104.0).why)


def test_limits_of_the_plant_file_move_the_instruction(file):
    import tomllib

    content = tomllib.loads(PLANT)
    content["pastes"]["water-2"] |= {
        "loss_pct": {"warn": [0.5, 2.5], "act": [0, 3.0]},
        "hydration_points": {"warn": 5.0, "act": 9.0},
        "cook_temp_c": {"warn": [80, 90], "act": [75, 95]},
    }
    strict = parse(content)
    assert advise(strict, "tin", 120.0, 112.0, temp_c=85.0).do == "scrap and ask QA"
    assert advise(strict, "tin", 120.0, 115.5, temp_c=85.0).do == "nothing to put back"
    assert advise(strict, "tin", 120.0, 118.0, temp_c=70.0).do == "cook on"


def test_what_was_not_measured_is_said(plant):
    got = advise(plant, "tin", 120.0, 117.0)
    assert [line.split(":")[0] for line in got.not_checked] == ["temperature", "residue"]
    assert advise(plant, "tin", 120.0, 117.0, temp_c=66.0, residue_kg=0.5).not_checked == ()


@pytest.mark.parametrize(
    ("after", "cells", "says"),
    [
        (114.0, {"temp_c": 84.0}, "past the action limit"),
        (114.0, {"temp_c": 75.0}, "past the warning limit"),
        (117.0, {"temp_c": 62.0}, "a little low"),
        (113.0, {"temp_c": 70.0}, "More than the plant's action limit"),
        (114.0, {"temp_c": 73.1}, "73.1 °C is past the warning limit"),
        (114.0, {"temp_c": 80.1}, "80.1 °C is past the action limit"),
        (114.0, {"temp_c": 80.0}, "80 °C is past the warning limit"),
        (117.0, {"temp_c": 61.0}, "a little low"),
        (117.0, {"temp_c": 63.9}, "63.9 °C is a little low"),
        (113.59, {}, "More than the plant's action limit"),
        (119.61, {}, "Wetter than the formula"),
        (120.0, {"temp_c": 66.0}, "Wetter than the formula by 1.2 points"),
    ],
)
def test_what_else_to_look_at(plant, after, cells, says):
    assert says in " ".join(advise(plant, "tin", 120.0, after, **cells).notes)


@pytest.mark.parametrize(
    ("after", "temp_c"), [(114.0, 73.0), (117.0, 64.0), (113.6, 70.0), (119.6, 66.0)], ids=["warm", "low", "dry", "wet"]
)
def test_within_its_limits_nothing_else_is_said(plant, after, temp_c):
    assert advise(plant, "tin", 120.0, after, temp_c=temp_c).notes == ()


def test_weighed_out_residue_is_what_the_last_dough_is_short_of(plant):
    assert advise(plant, "rich", 120.0, 118.0, residue_kg=0.5).notes == (
        "0.5 kg stayed on kettle and tools: the last dough is short of it.",
    )
    assert advise(plant, "tin", 120.0, 117.0, residue_kg=0.5).notes == ()


def test_weighed_out_what_the_last_dough_lacks_goes_to_the_supervisor(plant):
    """1 kg of 120 is half a point of all the dough: 4.1 kg too little is past 2 points, though each dough lacks 0.8."""
    got = advise(plant, "rich", 120.0, 115.9)
    assert got.points < 1.0 and "More than the plant's action limit" in " ".join(got.notes)
    assert advise(plant, "rich", 120.0, 116.0).notes == ()


@pytest.mark.parametrize(
    ("after", "says"), [(117.69, "It takes 0.0 points"), (117.71, "The paste lost less than usual")]
)
def test_a_twentieth_of_a_point_is_nothing(plant, after, says):
    assert says in advise(plant, "tin", 120.0, after).why[0]


def test_a_product_without_paste_has_no_answer(plant):
    dry = plant.products["tin"].model_copy(update={"paste_flour_pct": 0.0})
    for product in (plant.products["plain"], dry):
        with pytest.raises(ValueError, match="has no paste"):
            kettle.advise(plant, product, Weighing(120.0, 117.0))


def test_cautions_name_the_plants_own_cooling_limits(plant):
    assert "21 °C within 2 h, 5 °C within 6 h (approved by QA)" in " ".join(cautions.at_the_kettle(plant))
    import tomllib

    assert "ask QA for them" in " ".join(cautions.at_the_kettle(parse(tomllib.loads(PLANT))))


# --- the page -----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("options", "headline"),
    [
        (("--after", "114"), "PUT BACK 3.60 kg OF WATER NOW"),
        (("--after", "114", "--at", "mixer"), "ADD 3.60 kg OF WATER AT THE MIXER"),
        (("--after", "114", "--at", "mixer", "--doughs", "3"), "ADD 1.20 kg OF WATER TO EACH OF 3 DOUGHS"),
        (("--after", "118"), "NOTHING TO PUT BACK"),
        (("--after", "119", "--temp", "58"), "COOK ON"),
        (("--after", "122"), "STIR AND MEASURE AGAIN"),
        (("--after", "104"), "SCRAP AND ASK QA"),
    ],
)
def test_the_instruction_comes_first_and_the_cautions_last(capsys, file, options, headline):
    assert ask(file, "--product", "tin", "--before", "120", *options) == 0
    page = capsys.readouterr().out
    assert page.splitlines()[1].strip() == headline
    assert page.rstrip().endswith("In doubt QA decides.")
    assert "burns" in page and "-0.0" not in page


@pytest.mark.parametrize(
    ("options", "says"),
    [
        ("", "--product is missing: it may be rich, soft, tin"),
        ("--product tim", "--product tim: is not in the plant file; it may be rich, soft, tin"),
        ("--product plain", "--product plain: has no paste in the plant file; it may be rich, soft, tin"),
        ("--product tin", "--before is missing: a weight in kg"),
        ("--product tin --before 120", "--after is missing: a weight in kg"),
        ("--product tin --before much --after 1", "--before much: not a number; it may be like 36.0 or 36,0"),
        ("--product tin --before nan --after 1", "--before nan: it may be 0 or more"),
        ("--product tin --before -3 --after 1", "--before -3: it may be 0 or more"),
        ("--product tin --before 40 --after 39 --tare 48", "nothing is left once the tare of 48 kg is off"),
        ("--product tin --before 0 --after 1", "nothing is left"),
        ("--product tin --kettle K2", "--kettle K2: does not make water-2; it may be K1"),
        ("--product tin --at home", "--at home: it may be kettle or mixer"),
        ("--product tin --kettle K9", "--kettle K9: is not in the plant file; it may be K1"),
        ("--product tin --before 9 --after 9 --doughs 0", "--doughs 0: it may be a whole number"),
        ("--product tin --before 9 --after 9 --doughs 2.5", "--doughs 2.5: it may be a whole number"),
        ("--product tin --before 120 --card /no/such/place/card.html", "cannot be written"),
    ],
)
def test_what_is_wrong_is_one_line(capsys, file, options, says):
    assert ask(file, *options.split()) == 2
    out, err = capsys.readouterr()
    assert out == "" and err.count("\n") == 1 and says in err and err.startswith("loaftrace makeup: ")


def test_a_wrong_plant_file_is_one_line(capsys, tmp_path):
    assert ask(tmp_path / "none.toml", "--product", "tin") == 2
    assert capsys.readouterr().err.count("\n") == 1


def test_nothing_heavy_is_imported(file):
    options = ["makeup", "--plant", str(file), "--product", "tin", "--before", "120", "--after", "114"]
    code = f"""
import argparse, sys
from flows import makeup
parser = argparse.ArgumentParser()
makeup.add_parser(parser.add_subparsers())
args = parser.parse_args({options!r})
assert args.run(args) == 0
heavy = {{"pandas", "numpy", "duckdb", "prefect", "plotly", "scipy", "great_expectations", "jinja2"}}
print(sorted({{name.split(".")[0] for name in sys.modules}} & heavy))
"""
    root = Path(makeup.__file__).resolve().parents[1]
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, cwd=root, timeout=60)
    assert done.returncode == 0, done.stderr
    assert done.stdout.splitlines()[-1] == "[]"


# --- the card -----------------------------------------------------------------------------------


@pytest.fixture
def card(capsys, file, tmp_path):
    def made(*options: str) -> str:
        path = tmp_path / "card.html"
        assert ask(file, "--product", "tin", "--before", "120", "--card", str(path), *options) == 0
        assert str(path) in capsys.readouterr().out
        return path.read_text(encoding="utf-8")

    return made


def test_every_line_of_the_card_is_what_the_screen_says(plant):
    for product, place in (("tin", "kettle"), ("soft", "mixer"), ("rich", "kettle")):
        made = makeup_card.lines(plant, plant.products[product], 120.0, place)
        assert 5 <= len(made.rows) <= makeup_card.MOST_ROWS
        for row in made.rows:
            got = advise(plant, product, 120.0, row.reads_kg, place)
            assert got.do == "put water back" and row.water_kg == pytest.approx(got.water_kg)
            assert row.mark == ("beyond" if got.pressing > 2.0 else "water")
        assert advise(plant, product, 120.0, made.nothing_from_kg, place).do == "nothing to put back"
        assert advise(plant, product, 120.0, made.again_above_kg + 0.01, place).do == "stir and measure again"
        assert advise(plant, product, 120.0, made.scrap_below_kg - 0.01, place).do == "scrap and ask QA"


def test_more_is_put_back_line_by_line(plant):
    waters = [row.water_kg for row in makeup_card.lines(plant, plant.products["tin"], 120.0, "kettle").rows]
    assert waters == sorted(waters) and len(set(waters)) == len(waters)


def test_the_card_stands_alone(card):
    page = card("--kettle", "K1")
    assert "<script" not in page and "@page" in page and "@media print" in page
    assert not re.search(r"(?:src|href|url)\s*[=(]", page)
    assert "Only for Wb = 120.00 kg" in page and "kettle K1" in page
    assert "scrap and ask QA" in page and "stir and measure again" in page
    assert "pastes.water-2.loss_pct" in page  # a default in force is said
    assert "nobody named in the plant file" in page


def test_the_card_with_the_tub_on_the_scale(card, plant):
    page = card("--tare", "48", "--before", "168")
    assert "Only for Wb = 168.00 kg on the scale, the tub of 48 kg on it both times" in page
    assert "the tub of" not in card()


def test_the_card_escapes_what_the_plant_file_says(tmp_path, capsys):
    path = tmp_path / "plant.toml"
    path.write_text(PLANT.replace('plant = "north"', 'plant = "<b>north"'), encoding="utf-8")
    assert ask(path, "--product", "tin", "--before", "120", "--card", str(tmp_path / "c.html"), "--json") == 0
    assert json.loads(capsys.readouterr().out) == {"card": str(tmp_path / "c.html")}
    page = (tmp_path / "c.html").read_text(encoding="utf-8")
    assert "&lt;b&gt;north" in page and "<b>north" not in page


def test_the_same_card_twice_is_the_same_bytes(card):
    assert card() == card()
