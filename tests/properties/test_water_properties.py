"""Flour and water are conserved, whatever the kettle did; and what is owed brings the dough back."""

from __future__ import annotations

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from models.trade import paste as ledger
from models.trade.paste import Dough, Formula

number = st.floats(allow_nan=False, allow_infinity=False)


def between(low: float, high: float) -> st.SearchStrategy[float]:
    return st.floats(low, high, allow_nan=False)


formulas = st.builds(Formula, between(50, 90), between(2, 40), between(1, 6), between(70, 100), between(0, 5))


@st.composite
def kettles(draw):
    """flour, liquid, its water %, Wb, Wa, residue: a kettle that lost no more water than was in it."""
    flour, ratio, water_pct = draw(between(1, 100)), draw(between(1, 6)), draw(between(70, 100))
    before = flour * (1 + ratio)
    lost = draw(between(0, 0.25)) * flour * ratio * water_pct / 100
    residue = draw(between(0, 0.1)) * (before - lost)
    return flour, flour * ratio, water_pct, before, before - lost - residue, residue


@given(kettles())
def test_flour_and_water_of_a_kettle_are_all_accounted_for(kettle):
    flour, liquid, water_pct, before, after, residue = kettle
    made = ledger.cooked(*kettle)
    stuck = made.portion(residue)
    lost = ledger.evaporated(before, after, residue)
    assert made.flour_kg + stuck.flour_kg == pytest.approx(flour)
    assert made.water_kg + stuck.water_kg + lost == pytest.approx(liquid * water_pct / 100)
    assert made.kg + residue + lost == pytest.approx(before)


@given(kettles(), st.lists(between(0.1, 5), min_size=1, max_size=8), between(0, 20))
def test_shared_out_nothing_is_lost_or_made(kettle, weights, put_back):
    made = ledger.cooked(*kettle).with_water(put_back)
    parts = [made.portion(made.kg * w / sum(weights)) for w in weights]
    assert sum(p.flour_kg for p in parts) == pytest.approx(made.flour_kg)
    assert sum(p.water_kg for p in parts) == pytest.approx(made.water_kg)


@given(formulas, between(10, 500))
def test_a_dough_by_the_formula_is_the_formula(formula, flour):
    beside = formula.beside_paste(flour)
    dough = beside.with_paste(formula.paste(flour))
    assert dough.flour_kg == pytest.approx(flour)
    assert dough.hydration_pct == pytest.approx(formula.hydration_pct)
    assert formula.all_flour_of(beside.flour_kg) == pytest.approx(flour)
    assert ledger.gaps(formula, dough.hydration_pct)[1] == pytest.approx(0, abs=1e-9)


@given(formulas, between(0, 0.2), st.sampled_from(["divided", "weighed"]))
def test_water_owed_brings_the_dough_back(formula, loss, dosing):
    flour = formula.paste_flour_pct
    before = formula.charge_kg(100.0)
    made = ledger.cooked(flour, flour * formula.liquid_ratio, formula.liquid_water_pct, before, before * (1 - loss))
    doughs = ledger.kettle_doughs(formula, made, flour, dosing)
    back = doughs.with_water(doughs.water_to(formula.hydration_pct))
    assert back.hydration_pct == pytest.approx(formula.hydration_pct)


@given(formulas, between(0, 0.2))
def test_the_excess_put_back_in_the_kettle_repairs_both_ways_of_dosing(formula, loss):
    flour, before = formula.paste_flour_pct, formula.charge_kg(100.0)
    made = ledger.cooked(flour, flour * formula.liquid_ratio, formula.liquid_water_pct, before, before * (1 - loss))
    made = made.with_water(ledger.excess(before, before * loss, formula.usual_loss_pct))
    for dosing in ("divided", "weighed"):
        assert ledger.points_lost(formula, made, flour, dosing) == pytest.approx(0, abs=1e-8)


@given(formulas, between(0, 0.2), between(0.001, 0.02))
def test_more_lost_is_more_owed(formula, loss, more):
    flour, before = formula.paste_flour_pct, formula.charge_kg(100.0)

    def points(share: float, dosing: str) -> float:
        liquid, after = flour * formula.liquid_ratio, before * (1 - share)
        made = ledger.cooked(flour, liquid, formula.liquid_water_pct, before, after)
        return ledger.points_lost(formula, made, flour, dosing)

    assume(formula.beside_paste(100.0).water_kg > 0)
    for dosing in ("divided", "weighed"):
        assert points(loss + more, dosing) > points(loss, dosing)


@given(between(0.5, 2000), between(0.001, 1000))
def test_units_do_not_matter(kg, factor):
    grams = ledger.cooked(kg * factor, 5 * kg * factor, 100.0, 6 * kg * factor, 5.7 * kg * factor)
    kilos = ledger.cooked(kg, 5 * kg, 100.0, 6 * kg, 5.7 * kg)
    assert grams.flour_share == pytest.approx(kilos.flour_share)
    assert Dough(94 * kg * factor, 36 * kg * factor).with_paste(grams).hydration_pct == pytest.approx(
        Dough(94 * kg, 36 * kg).with_paste(kilos).hydration_pct
    )


@given(number.filter(lambda x: abs(x) < 1e12))
def test_positive(value):
    assert ledger.positive(value) == max(value, 0.0)
