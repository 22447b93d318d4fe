"""Water bookkeeping against worked examples. All are elementary mass balance, worked by hand for this project."""

from __future__ import annotations

import pytest

from models.trade import paste as ledger
from models.trade.paste import Dough, Formula

# --- example 1: 1:5 water paste, one paste a dough ----------------------------------------------

ONE = Formula(hydration_pct=66.0, paste_flour_pct=6.0, liquid_ratio=5.0, liquid_water_pct=100.0, usual_loss_pct=0.0)
BESIDE = Dough(94.0, 36.0)


def _one(after_kg: float, residue_kg: float) -> Dough:
    return BESIDE.with_paste(ledger.cooked(6.0, 30.0, 100.0, 36.0, after_kg, residue_kg))


def test_example_1_kettle():
    assert ledger.loss_pct(36.0, ledger.evaporated(36.0, 34.2)) == pytest.approx(5.0)
    assert round(ledger.evaporated(36.0, 34.2, 0.36), 2) == 1.44
    assert ledger.loss_pct(36.0, ledger.evaporated(36.0, 34.2, 0.36)) == pytest.approx(4.0)
    made = ledger.cooked(6.0, 30.0, 100.0, 36.0, 34.2, 0.36)
    assert (round(made.flour_share, 4), round(made.water_share, 4)) == (0.1736, 0.8264)
    assert made.flour_kg == pytest.approx(5.938, abs=5.01e-4)
    assert made.water_kg == pytest.approx(28.262, abs=5.01e-4)  # 28.2625, printed rounded to even


def test_example_1_dough():
    dough = _one(34.2, 0.36)
    assert (round(dough.flour_kg, 2), round(dough.water_kg, 2)) == (99.94, 64.26)
    assert f"{dough.hydration_pct:.2f}" == "64.30"
    assert f"{dough.hydration_pct - 66.0:.2f}" == "-1.70"


def test_example_1_residue_taken_for_evaporation():
    assert f"{_one(34.2, 0.0).hydration_pct:.2f}" == "64.20"


def test_example_1_water_to_put_back():
    dough = _one(34.2, 0.36)
    assert f"{dough.water_to(66.0):.2f}" == "1.70"
    assert f"{dough.water_to(66.0) - 1.44:.2f}" == "0.26"
    assert dough.with_water(dough.water_to(66.0)).hydration_pct == pytest.approx(66.0)
    assert ONE.beside_paste(100.0) == (pytest.approx(BESIDE.flour_kg), pytest.approx(BESIDE.water_kg))


# --- example 2: milk paste, shared kettle, weighed out, rich dough ------------------------------

# 45 flour beside 30 paste; milk 5 (0.875), egg 5 (0.76), butter 5 (0.16), yeast 1.5 (0.70), water 3
RICH = Dough(45.0, 5 * 0.875 + 5 * 0.76 + 5 * 0.16 + 1.5 * 0.70 + 3.0)
TWO = Formula(hydration_pct=69.8, paste_flour_pct=10.0, liquid_ratio=5.0, liquid_water_pct=87.5, usual_loss_pct=0.0)
KETTLE = ledger.cooked(20.0, 100.0, 87.5, 120.0, 111.6)


def test_example_2_formula():
    whole = ledger.cooked(20.0, 100.0, 87.5, 120.0, 120.0).portion(30.0)
    assert (f"{whole.flour_kg:.3f}", f"{whole.water_kg:.3f}") == ("5.000", "21.875")
    assert f"{RICH.with_paste(whole).hydration_pct:.1f}" == "69.8"


def test_example_2_kettle():
    assert f"{ledger.evaporated(120.0, 111.6):.1f}" == "8.4"
    assert f"{ledger.loss_pct(120.0, 8.4):.1f}" == "7.0"
    assert f"{100 * 8.4 / 87.5:.1f}" == "9.6"
    assert (f"{KETTLE.flour_share:.4f}", f"{KETTLE.water_share:.4f}") == ("0.1792", "0.7088")


def test_example_2_first_three_doughs():
    dough = RICH.with_paste(KETTLE.portion(30.0))
    assert (f"{dough.flour_kg:.3f}", f"{dough.water_kg:.3f}") == ("50.376", "34.288")
    assert f"{dough.hydration_pct:.2f}" == "68.06"
    assert f"{dough.hydration_pct - 69.8:.1f}" == "-1.7"
    assert f"{dough.water_to(69.8):.2f}" == "0.87"


def test_example_2_last_dough():
    last_kg = ledger.last_dose(KETTLE.kg, 30.0, 4)
    assert f"{last_kg:.1f}" == "21.6"
    dough = RICH.with_paste(KETTLE.portion(last_kg))
    assert (f"{dough.flour_kg:.3f}", f"{dough.water_kg:.3f}") == ("48.871", "28.335")
    assert f"{dough.hydration_pct:.2f}" == "57.98"
    assert f"{dough.hydration_pct - 69.8:.1f}" == "-11.8"
    assert f"{50.0 - dough.flour_kg:.2f}" == "1.13"
    assert f"{34.9 - dough.water_kg:.2f}" == "6.57"
    assert f"{100 * (1 - dough.flour_kg / 50) * 10:.0f}" == "23"  # of 5 kg cooked flour


def test_example_2_divided_instead():
    part = KETTLE.portion(ledger.equal_part(KETTLE.kg, 4))
    dough = RICH.with_paste(part)
    assert f"{part.kg:.1f}" == "27.9"
    assert f"{dough.hydration_pct:.2f}" == "65.60"
    assert f"{dough.water_to(69.8):.2f}" == "2.10"
    assert dough.flour_kg == pytest.approx(50.0)


def test_example_2_other_water_left_to_the_formula():
    """The milk alone is written; eggs, butter, yeast and the water beside are as the formula has them."""
    other = ledger.unwritten_other_water(TWO, 45.0, 5 * 0.875)
    assert f"{other:.2f}" == "8.65"
    dough = Dough(45.0, 5 * 0.875 + other).with_paste(KETTLE.portion(30.0))
    assert f"{dough.hydration_pct:.2f}" == "68.06"


# --- how sensitive a dough is (derived; F = 100 kg, hydration 66, water pastes) -----------------


def _points_lost(formula: Formula, loss_pct: float, dosing: str) -> float:
    """Points that a dough of 100 kg flour loses where so much of Wb leaves the kettle."""
    flour_kg, before_kg = formula.paste_flour_pct, formula.charge_kg(100.0)
    after_kg = before_kg * (1 - loss_pct / 100)
    made = ledger.cooked(flour_kg, flour_kg * formula.liquid_ratio, 100.0, before_kg, after_kg)
    return ledger.points_lost(formula, made, flour_kg, dosing)


@pytest.mark.parametrize(
    ("share", "ratio", "paste", "beside", "all_in_1", "fixed_1", "all_in_5", "fixed_5"),
    [
        (5, 5, 30, 41, "-0.30", "-0.08", "-1.5", "-0.44"),
        (6, 5, 36, 36, "-0.36", "-0.10", "-1.8", "-0.52"),
        (10, 5, 60, 16, "-0.60", "-0.17", "-3.0", "-0.87"),
        (10, 2, 30, 46, "-0.30", "-0.17", "-1.5", "-0.87"),
        (12, 2, 36, 42, "-0.36", "-0.20", "-1.8", "-1.04"),
        (20, 1, 40, 46, "-0.40", "-0.33", "-2.0", "-1.73"),
    ],
)
def test_sensitivity(share, ratio, paste, beside, all_in_1, fixed_1, all_in_5, fixed_5):
    formula = Formula(66.0, share, ratio, 100.0, 0.0)

    def points(loss_pct: float, dosing: str) -> float:
        return -_points_lost(formula, loss_pct, dosing)

    assert formula.charge_kg(100.0) == pytest.approx(paste)
    assert formula.beside_paste(100.0).water_kg == pytest.approx(beside)
    assert f"{points(1, 'divided'):.2f}" == all_in_1
    assert f"{points(1, 'weighed'):.2f}" == fixed_1
    assert f"{points(5, 'divided'):.1f}" == all_in_5
    assert f"{points(5, 'weighed'):.2f}" == fixed_5


@pytest.mark.parametrize(
    ("dosing", "loss_pct", "half_a_digit", "lost"),
    [("divided", 2.8, 0.05, 1.0), ("divided", 5.6, 0.05, 2.0), ("weighed", 9, 0.5, 1.0), ("weighed", 17, 0.5, 2.0)],
)
def test_limits_of_loss_from_limits_of_points(dosing, loss_pct, half_a_digit, lost):
    """Within half a digit of the loss that is published, the points are passed."""
    low, high = (_points_lost(ONE, loss_pct + by, dosing) for by in (-half_a_digit, half_a_digit))
    assert low <= lost <= high


def test_residue_alone_costs_a_divided_dough():
    """1 kg of a 1:5 paste left behind, per 100 kg flour: about -0.71 point."""
    dough = BESIDE.with_paste(ledger.cooked(6.0, 30.0, 100.0, 36.0, 35.0, 1.0))
    assert dough.hydration_pct - 66.0 == pytest.approx(-0.71, abs=0.015)


# --- scald and ferments (own arithmetic, recomputed) --------------------------------------------


def test_scald():
    before = 5.0 + 25.0
    lost = ledger.evaporated(before, 27.6)
    assert lost == pytest.approx(2.4)
    assert ledger.loss_pct(before, lost) == pytest.approx(8.0)
    assert 100 * lost / 25.0 == pytest.approx(9.6)
    scald = ledger.cooked(5.0, 25.0, 100.0, before, 27.6)
    assert 68.0 - scald.water_kg == pytest.approx(45.4)  # mixer water that makes up for it
    dough = Dough(95.0, 43.0).with_paste(scald)
    assert dough.hydration_pct == pytest.approx(65.6)
    assert dough.water_to(68.0) == pytest.approx(2.4)
    dry = 0.86 * 5.0  # flour of 14 % moisture
    assert dry / before == pytest.approx(0.143333, abs=5e-7)
    assert dry / scald.kg == pytest.approx(0.15579710144927536)


def test_scald_portion():
    part = ledger.cooked(5.0, 25.0, 100.0, 30.0, 27.6).portion(13.8)
    assert (part.flour_kg, part.water_kg) == (pytest.approx(2.5), pytest.approx(11.3))


def test_scald_beside_a_poolish():
    scald = ledger.cooked(5.0, 25.0, 100.0, 30.0, 27.6)
    dough = Dough(20.0, 20.0).with_paste(scald)
    assert 100.0 - dough.flour_kg == pytest.approx(75.0)
    assert dough.with_water(25.4).water_kg == pytest.approx(68.0)
