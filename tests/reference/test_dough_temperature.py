"""Dough temperature and ice against published examples."""

from __future__ import annotations

import pytest

from models.trade import dough
from models.trade.dough import Part


def test_heat_balance():
    """Own arithmetic: 100 kg flour of 21 °C, 62 kg water, 2400 kJ of mixing, no hydration heat; 26 °C wanted."""
    water_c = dough.water_temp([Part(100, 1.8, 21)], 62, 26, 2400)
    assert water_c == pytest.approx(20.220365889370093, abs=1e-9)


@pytest.mark.parametrize(("paste_c", "water_c"), [(8.0, 21.6), (20.0, 10.8), (35.0, -2.7)])
def test_how_the_paste_moves_the_water(paste_c, water_c):
    """Derived: 36 kg of a 1:5 paste beside 36 kg of water: 0.9 °C of water for 1 °C of paste."""

    def wanted(temp_c: float) -> float:
        return dough.water_temp([Part(94, 1.78, 22), Part(36, 3.75, temp_c)], 36.0, 27.0, 4700.0)

    assert wanted(paste_c) - wanted(8.0) == pytest.approx(water_c - 21.6, abs=0.15)


def test_ice_instead_of_water_below_zero():
    """Derived: 36 kg at -2.7 °C from 12 °C tap: 5.7 kg of ice and 30.3 kg of water."""
    pour = dough.pour(36.0, 12.0, -2.7)
    assert pour.ice_kg == pytest.approx(5.7, abs=0.06)
    assert pour.tap_kg == pytest.approx(30.3, abs=0.06)


def test_ice_replaces_part_of_the_water():
    """40 kg, 20 °C tap, 10 °C wanted. A published 4.4 kg (L + c*wanted) overcools; the balance: 4.0027."""
    assert dough.ice_for(40.0, 20.0, 10.0) == pytest.approx(4.002677376171352, abs=1e-9)
    made = (40.0 - 4.4) * dough.WATER_KJ * 20.0 - 4.4 * dough.ICE_KJ
    assert made / (40.0 * dough.WATER_KJ) == pytest.approx(9.0, abs=0.05)


# lb of ice to 1 lb of water, °F: a public ice table for bakeries, looked up. The table is printed to three
# digits and lies up to 0.0056 beside (tap - wanted)/(tap + 112); 50 to 35 looks like a misprint.
ICE_TABLE = {
    (80, 75): 0.026,
    (80, 70): 0.052,
    (70, 65): 0.027,
    (80, 65): 0.077,
    (70, 60): 0.054,
    (80, 60): 0.103,
    (60, 55): 0.028,
    (70, 55): 0.081,
    (80, 55): 0.129,
    (60, 50): 0.057,
    (70, 50): 0.109,
    (80, 50): 0.155,
    (50, 45): 0.030,
    (60, 45): 0.086,
    (70, 45): 0.141,
    (80, 45): 0.181,
    (50, 40): 0.061,
    (60, 40): 0.115,
    (70, 40): 0.163,
    (80, 40): 0.206,
    (40, 35): 0.030,
    (50, 35): 0.087,
    (60, 35): 0.143,
    (70, 35): 0.190,
    (80, 35): 0.232,
    (32, 30): 0.014,
    (40, 30): 0.065,
    (50, 30): 0.122,
    (60, 30): 0.172,
    (70, 30): 0.217,
    (80, 30): 0.258,
    (32, 20): 0.083,
    (40, 20): 0.130,
    (50, 20): 0.183,
    (60, 20): 0.230,
    (70, 20): 0.272,
    (80, 20): 0.309,
    (32, 10): 0.153,
    (40, 10): 0.195,
    (50, 10): 0.244,
    (60, 10): 0.287,
    (70, 10): 0.326,
    (80, 10): 0.361,
    (32, 0): 0.222,
    (40, 0): 0.260,
    (50, 0): 0.305,
    (60, 0): 0.345,
    (70, 0): 0.380,
    (80, 0): 0.416,
}


@pytest.mark.parametrize(("tap_f", "wanted_f"), ICE_TABLE, ids=lambda f: f"{f}F")
def test_ice_table(tap_f, wanted_f):
    ice = dough.ice_for(1.0, (tap_f - 32) / 1.8, (wanted_f - 32) / 1.8)
    assert ice == pytest.approx((tap_f - wanted_f) / (tap_f + 112), abs=3e-4)
    assert ice == pytest.approx(ICE_TABLE[tap_f, wanted_f], abs=0.006)
