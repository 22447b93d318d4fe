"""Dough temperature: the balance closes both ways, and ice is part of the water."""

from __future__ import annotations

import pytest

from models.trade import dough
from models.trade.dough import SPECIFIC_HEAT, WATER_KJ, Part


def parts(paste_c: float, water_kg: float = 0.0, water_c: float = 0.0) -> list[Part]:
    made = [
        Part(94.0, SPECIFIC_HEAT["flour"], 22.0),
        Part(36.0, 3.75, paste_c),
        Part(8.0, SPECIFIC_HEAT["sugar"], 22.0),
        Part(6.0, SPECIFIC_HEAT["butter"], 8.0),
        Part(1.8, SPECIFIC_HEAT["salt"], 22.0),
        Part(3.0, SPECIFIC_HEAT["yeast"], 4.0),
    ]
    return [*made, Part(water_kg, WATER_KJ, water_c)] if water_kg else made


def heat(batch: list[Part], water_kg: float = 36.0) -> float:
    return dough.heat_in([*batch, Part(water_kg, WATER_KJ, 0.0)], 18.0, 94.0)


@pytest.mark.parametrize("paste_c", [4.0, 8.0, 20.0, 35.0])
def test_water_of_that_temperature_makes_that_dough(paste_c):
    batch = parts(paste_c)
    water_c = dough.water_temp(batch, 36.0, 27.0, heat(batch))
    assert dough.dough_temp(parts(paste_c, 36.0, water_c), heat(batch)) == pytest.approx(27.0)


def test_ice_and_tap_water_make_the_same_dough_as_the_cold_water_they_stand_for():
    batch = parts(35.0)
    wanted = dough.water_temp(batch, 36.0, 27.0, heat(batch))
    pour = dough.pour(36.0, 12.0, wanted)
    assert wanted < 0 and pour.reach == "reached" and pour.ice_kg + pour.tap_kg == pytest.approx(36.0)
    made = dough.dough_temp(parts(35.0, pour.tap_kg, 12.0), heat(batch), pour.ice_kg)
    assert made == pytest.approx(27.0)


def test_a_missed_chill_makes_a_hot_dough():
    """Paste 27 °C warmer, water not changed: about 7.4 °C (derived)."""
    cold = dough.dough_temp(parts(8.0, 36.0, 21.6), 0.0)
    hot = dough.dough_temp(parts(35.0, 36.0, 21.6), 0.0)
    assert hot - cold == pytest.approx(7.4, abs=0.1)


def test_the_mixers_heat_worked_back():
    batch = parts(8.0, 30.0, 18.0)
    ice_kg = 2.0
    kj = 22.0 * (sum(p.kg for p in batch) + ice_kg) + dough.HYDRATION_KJ * 94.0
    made = dough.dough_temp(batch, kj, ice_kg)
    assert dough.mixing_heat(batch, made, 94.0, ice_kg) == pytest.approx(22.0)


def test_pour():
    assert dough.pour(40.0, 20.0, 20.0) == dough.Pour(40.0, 0.0, 20.0, "reached")
    assert dough.pour(40.0, 20.0, 30.0).ice_kg == 0
    assert dough.pour(40.0, 20.0, 45.0) == dough.Pour(40.0, 0.0, 45.0, "reached")
    assert dough.pour(40.0, 20.0, 45.1) == dough.Pour(40.0, 0.0, 45.0, "too hot")  # hotter hurts the yeast it touches
    coldest = dough.pour(40.0, 20.0, -90.0)
    assert coldest.reach == "too cold" and coldest.ice_kg == 40.0 and coldest.tap_kg == 0
    all_ice = dough.pour(40.0, 20.0, coldest.water_c)
    assert all_ice.reach == "reached" and all_ice.ice_kg == pytest.approx(40.0)


def test_warm_tap_water_wants_no_ice():
    assert dough.ice_for(40.0, 10.0, 15.0) == 0.0


def test_no_water_no_temperature_to_set():
    with pytest.raises(ValueError, match="no water goes in"):
        dough.water_temp(parts(8.0), 0.0, 27.0, 0.0)


@pytest.mark.parametrize(("ratio", "kj"), [(5.0, 3.75), (2.0, 3.3)])
def test_the_heat_a_paste_holds_lies_between_flour_and_water(ratio, kj):
    assert dough.paste_specific_heat(ratio) == pytest.approx(kj, abs=0.1)
