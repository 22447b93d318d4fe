"""Water put back and never written down, told by the mixer; a warm dough's paste, told by the lines of its kettle."""

from __future__ import annotations

import numpy as np
import pytest

from models.causes.drivers import shifts, terms
from models.causes.effects import PLACE
from models.causes.stiffness import UNTOLD, left_dry
from models.causes.warmth import of_the_paste
from models.plant import Plant
from tests.unit.causes_plant import Bakery, cause, leading, plant
from tests.unit.test_causes_parts import _field

PER_POINT = 0.03
"""ln of mixing energy for one point drier: the trade's table has 4 % for 1.4 points."""


def _mixer(stayed: float, work: float = 0.0, timed: bool = False, points: float = -2.0):
    """Fifty doughs before, twenty after a gap of which a share stayed; work: mixed that much more, ln."""
    rng = np.random.default_rng(5)
    after = np.arange(70) >= 50
    mixed = rng.normal(0, 0.03, 70) + work * after
    gap = np.where(after, points, 0.0)
    energy = mixed - PER_POINT * stayed * gap + rng.normal(0, 0.01, 70)
    minutes = mixed + rng.normal(0, 0.01, 70) if timed else np.full(70, np.nan)
    return left_dry(gap, energy, minutes, after, ~after)


@pytest.mark.parametrize(("stayed", "low", "high"), [(1.0, 0.7, 1.0), (0.0, 0.0, 0.3), (0.5, 0.35, 0.65)])
def test_mixer_tells_how_much_of_a_silent_gap_stayed(stayed, low, high):
    timed, by_energy = _mixer(stayed, timed=True), _mixer(stayed)
    assert low <= timed.share <= high
    assert timed.sd < by_energy.sd < UNTOLD.sd


def test_mixing_that_changed_for_itself_or_a_small_gap_tells_nothing_of_water():
    # a fifth less work is a fault of mixing, whatever the water
    assert _mixer(1.0, work=-0.2) is UNTOLD
    assert _mixer(1.0, points=-0.3) is UNTOLD
    silent = left_dry(np.full(9, -2.0), np.full(9, np.nan), np.full(9, np.nan), np.arange(9) > 4, np.arange(9) < 5)
    assert silent is UNTOLD
    # minutes tell work from water: a fifth less of both leaves the dough as stiff as the gap makes it
    assert _mixer(1.0, work=-0.2, timed=True).share > 0.7


def _silent(stiff: bool):
    """L1's paste lost two points that nobody wrote as put back, volume fell; the mixer took more work for it, or did not."""
    bakery = Bakery()
    rows = bakery.rows("L1")
    bakery.frame.loc[rows, "water_made_good"] = "not recorded"
    bakery.frame.loc[rows, "mix_energy_wh_kg"] *= np.exp(2 * PER_POINT) if stiff else 1.0
    bakery.shift(rows, "usual_gap_points", -2.0, -0.03)
    return bakery


def test_energy_as_usual_speaks_for_water_that_was_put_back():
    # energy as usual beside a paste that lost much: the dough was not dry, and was mixed no less than usual either
    dry, good = (_silent(stiff) for stiff in (True, False))
    parts = [cause(b.call(), "paste").contribution for b in (dry, good)]
    assert leading(dry.call()) == "paste" and leading(good.call()) == "unexplained"
    assert parts[0] < 2 * parts[1] < 0
    assert any("of the water that nobody wrote as put back" in said for said in cause(good.call(), "paste").evidence)
    field, _, _ = _field(good)
    found = terms(plant(), field)
    assert found.told.share < 0.3 and not shifts(field, found)["undermixed"].outside
    assert abs(found.x[field.episode, PLACE["undermixed"]].mean()) < 0.03


def _warm(*lines: str, by: float = 3.0):
    """Doughs of these lines warm or cold; L1 and L2 share a mixer, all three a kettle; nobody measured the paste."""
    bakery = Bakery()
    bakery.frame["paste_temp_c"] = np.nan
    for line in lines:
        bakery.shift(bakery.rows(line), "dough_temp_c", by, 0.08 * np.sign(by))
    return bakery


def _chance(*lines: str, by: float = 3.0, of: Plant | None = None) -> float:
    field, _, _ = _field(_warm(*lines, by=by))
    found = terms(plant(), field)
    move = shifts(field, found)["dough_temp"]
    return of_the_paste(of or plant(), field, move, found.shown[:, PLACE["dough_temp"]])


def test_warm_doughs_of_all_lines_of_a_kettle_are_its_pastes():
    # the trade's scope: a missed chill warms all doughs of the kettle, a water meter those of its mixer
    assert _chance("L1", "L2", "L3") > 0.5 > 0.1 > _chance("L1", "L2")
    assert _chance("L1", "L2", "L3", by=-3.0) < 0.3
    call = _warm("L1", "L2", "L3").call()
    assert leading(call) == "paste"
    assert call.headline.startswith("Doughs of kettle K1 3") and call.headline.endswith("likely its paste, not measured")
    assert leading(_warm("L1", "L2").call()) == "yeast"


def test_mixers_that_the_plant_file_does_not_name_are_not_one_mixer():
    """One line warm, each with a kettle of its own: other lines that stayed as they were speak against room and flour alone."""
    own = {name: line.model_copy(update={"kettle": f"K{name}"}) for name, line in plant().lines.items()}
    named, unnamed = (
        plant().model_copy(update={"lines": {n: line.model_copy(update={"mixer": of(n)}) for n, line in own.items()}})
        for of in (lambda name: f"M{name}", lambda _: None)
    )
    assert _chance("L1", of=unnamed) == _chance("L1", of=named) < 0.4


def test_dough_temperatures_that_are_all_the_same_are_traced_like_any_others():
    """Copied down, or written as wanted: 26 on every sheet. It ended the whole run."""
    bakery = Bakery()
    bakery.frame["dough_temp_c"], bakery.frame["paste_temp_c"] = 26.0, np.nan
    bakery.ln[bakery.rows("L1")] -= 0.05
    assert leading(bakery.call()) == "unexplained"
