"""The water ledger, function by function."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from models.trade import paste as ledger
from models.trade.paste import Dough, Formula, Paste

# hydration, paste flour share, kg liquid to 1 kg flour, water in the liquid, usual loss
WATER_2 = Formula(63.0, 20.0, 2.0, 100.0, 2.0)
WATER_5 = Formula(66.0, 6.0, 5.0, 100.0, 0.0)


def test_residue_is_not_evaporation():
    assert ledger.evaporated(36.0, 34.2) == pytest.approx(1.8)
    assert ledger.evaporated(36.0, 34.2, 0.36) == pytest.approx(1.44)


def test_residue_does_not_concentrate_the_paste():
    clean = ledger.cooked(6, 30, 100, 36.0, 34.56)
    sticky = ledger.cooked(6, 30, 100, 36.0, 34.2, 0.36)
    assert sticky.flour_share == pytest.approx(clean.flour_share)
    assert sticky.kg == 34.2


def test_only_water_leaves_a_milk_paste():
    made = ledger.cooked(20, 100, 87.5, 120.0, 111.6)
    assert made.flour_kg == pytest.approx(20)
    assert made.water_kg == pytest.approx(87.5 - 8.4)
    assert made.kg - made.flour_kg - made.water_kg == pytest.approx(12.5)  # the milk's solids


def test_wb_is_shared_out_by_the_recipe():
    assert ledger.charge(36.0, 5.0) == (pytest.approx(6.0), pytest.approx(30.0))


def test_cooling_takes_but_never_gives():
    assert ledger.cooling_loss(34.2, 0.0, 33.9) == pytest.approx(0.3)
    assert ledger.cooling_loss(34.2, 1.4, 35.6) == pytest.approx(0.0)
    assert ledger.cooling_loss(34.2, 0.0, 40.0) == 0.0


@pytest.mark.parametrize(
    ("cold_kg", "water"),
    [(35.4, 1.2), (34.2, 0.0), (33.9, 0.0), (36.0, 1.8), (36.1, 0.0), (82.4, 0.0)],
    ids=["put back", "none", "dried", "all of it", "more than was lost", "tub on the scale"],
)
def test_a_rise_to_wc_shows_water_put_back_up_to_what_was_lost(cold_kg, water):
    assert ledger.put_back_unwritten(34.2, cold_kg, 1.8) == pytest.approx(water)


def test_a_rise_by_all_that_was_lost_is_water_put_back_to_the_last_gram():
    assert ledger.put_back_unwritten(34.25, 36.0, 1.75) == 1.75


def test_excess_allows_for_the_usual_and_for_what_was_put_back():
    assert ledger.excess(100.0, 5.0, 2.0) == pytest.approx(3.0)
    assert ledger.excess(100.0, 5.0, 2.0, 3.0) == pytest.approx(0.0)
    assert ledger.excess(100.0, 1.0, 2.0) == pytest.approx(-1.0)


def test_a_dough_by_the_formula_has_its_hydration():
    made = WATER_2.beside_paste(100.0).with_paste(WATER_2.paste(100.0))
    assert made.hydration_pct == pytest.approx(63.0)
    assert WATER_2.beside_paste(100.0) == (pytest.approx(80.0), pytest.approx(24.2))


def test_both_gaps_and_water_owed_for_the_second_alone():
    assert ledger.gaps(WATER_2, 63.0) == (pytest.approx(-1.2), 0.0)
    assert ledger.gaps(WATER_2, 62.0) == (pytest.approx(-2.2), pytest.approx(-1.0))


def test_a_divided_kettle_loses_one_point_for_a_kilogram_in_a_hundred_of_flour():
    lost = Paste(60.0 - 2.2, 20.0, 40.0 - 2.2)
    assert ledger.points_lost(WATER_2, lost, 20.0, "divided") == pytest.approx(1.0)
    assert ledger.points_of_excess(WATER_2, 1.0, 20.0) == pytest.approx(1.0)


def test_weighed_out_each_dough_lacks_little_and_the_last_lacks_the_rest():
    made = ledger.cooked(6, 30, 100, 36.0, 33.0)
    assert ledger.points_lost(WATER_5, made, 6.0, "divided") == pytest.approx(3.0)
    assert 0.5 < ledger.points_lost(WATER_5, made, 6.0, "weighed") < 1.0
    assert ledger.last_dose(33.0, 9.0, 4) == pytest.approx(6.0)
    assert ledger.last_dose(36.0, 9.0, 4) == pytest.approx(9.0)
    assert ledger.last_dose(20.0, 9.0, 4) == 0.0


def test_fewer_kilograms_of_a_stronger_paste_and_the_rest_in_water():
    assert ledger.stronger_dose(30.0, 120.0, 111.6) == (pytest.approx(27.9), pytest.approx(2.1))


@pytest.mark.parametrize(("flour", "parts"), [(20.0, 4), (18.75, 4), (18.74, 3), (24.9, 5), (2.0, 1), (48.9, 10)])
def test_a_kettle_is_meant_for_whole_doughs(flour, parts):
    assert ledger.parts_meant(flour, 5.0) == parts


def test_overdrawn_is_never_below_zero():
    assert ledger.overdrawn(33.0, 30.0) == pytest.approx(3.0)
    assert ledger.overdrawn(29.0, 30.0) == 0.0


def test_other_water_is_what_the_formula_still_lacks():
    assert ledger.unwritten_other_water(WATER_2, 80.0, 24.2) == pytest.approx(0.0)
    assert ledger.unwritten_other_water(WATER_2, 80.0, 20.0) == pytest.approx(4.2)
    assert ledger.unwritten_other_water(WATER_2, 80.0, 26.0) == 0.0


def test_the_same_formulas_over_numbers_and_columns():
    before, after = np.array([36.0, 120.0]), np.array([34.2, 111.6])
    flour, liquid = np.array([6.0, 20.0]), np.array([30.0, 100.0])
    for column in (np.asarray, pd.Series):
        made = ledger.cooked(column(flour), column(liquid), column([100.0, 87.5]), column(before), column(after))
        dough = Dough(column([94.0, 180.0]), column([36.0, 52.1])).with_paste(made)
        for i in range(2):
            one = ledger.cooked(flour[i], liquid[i], [100.0, 87.5][i], before[i], after[i])
            alone = Dough([94.0, 180.0][i], [36.0, 52.1][i]).with_paste(one)
            assert dough.hydration_pct[i] == alone.hydration_pct
            assert dough.water_to(66.0)[i] == alone.water_to(66.0)
    rise = ledger.put_back_unwritten(pd.Series([34.2, np.nan]), pd.Series([35.0, 35.0]), pd.Series([1.8, 1.8]))
    assert rise[0] == pytest.approx(0.8) and np.isnan(rise[1])


def test_a_missing_number_stays_missing():
    assert np.isnan(ledger.evaporated(36.0, float("nan")))
    assert np.isnan(ledger.positive(float("nan")))


# The facts of the trade below are common practice; they have no source.


@pytest.mark.parametrize(("share", "fall"), [(0, 0), (2.5, 1), (5, 2), (7.5, 3), (10, 4), (25, 7), (40, 10), (60, 15)])
def test_the_fall_that_cooking_flour_brings(share, fall):
    """5 to 10 % of the flour takes 2 to 4 %, 40 % about 10 %; between them in proportion, and beyond by the last one."""
    assert ledger.fall_by_share_pct(share) == pytest.approx(fall)


def test_from_63_to_75_is_nineteen_percent_more_water():
    dough = Dough(100.0, 63.0)
    assert dough.water_to(75.0) / dough.water_kg == pytest.approx(0.19, abs=0.005)


@pytest.mark.parametrize(("points", "fall"), [(-1.0, -0.75), (1.0, 1.25), (2.0, 3.0), (3.0, 5.0)])
def test_the_fall_that_lost_water_brings(points, fall):
    assert ledger.fall_by_water_pct(points) == pytest.approx(fall, abs=0.12)  # starting values, a guess


def test_a_small_paste_cannot_explain_a_large_fall():
    explained = ledger.explainable_fall(points=0.3, paste_flour_pct=5.0)
    assert explained.likely_pct < 0.5
    assert explained.most_pct < 4.0
    assert ledger.explainable_fall(2.0, 20.0).most_pct > explained.most_pct


def test_at_the_very_most_twice_the_water_and_the_whole_share():
    """One point: 100 (1 - exp(-0.0125)) = 1.24 %; a tenth of the flour cooked: 4 %. Worked by hand."""
    explained = ledger.explainable_fall(1.0, 10.0)
    assert explained == (pytest.approx(1.242, abs=1e-3), pytest.approx(2 * 1.242 + 4.0, abs=2e-3))


def test_a_paste_that_gave_water_explains_no_fall_by_water():
    assert ledger.explainable_fall(-1.0, 10.0).likely_pct == 0.0
