"""Dough temperature: the heat balance, ice, and the mixing heat worked back.

Temperatures °C, weights kg, heat kJ. The trade's simple rule (so many times the wanted temperature less the others) ignores
weights and is not used: beside a large cold or hot paste only the heat balance holds.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Literal

WATER_KJ = 4.186  # kJ per kg and K; from memory
ICE_KJ = 334.6  # kJ to melt 1 kg; a trade article on ice in dough, looked up
HYDRATION_KJ = 15.1  # kJ per kg of raw flour wetted: 6.5 Btu/lb, trade press
TAP_HOTTEST_C = 45.0  # above it water hurts the yeast it touches; common practice, no source

# kJ per kg and K. Flour and milk: published measurements; the others from memory.
SPECIFIC_HEAT = {
    "flour": 1.78,
    "water": WATER_KJ,
    "milk": 3.9,
    "butter": 2.1,
    "sugar": 1.3,
    "egg": 3.3,
    "salt": 0.9,
    "yeast": 3.5,
}


@dataclass(frozen=True)
class Part:
    """One ingredient: kg, specific heat in kJ per kg and K, temperature."""

    kg: float
    specific_heat: float
    temp_c: float

    @property
    def capacity(self) -> float:
        """kJ per K."""
        return self.kg * self.specific_heat


@dataclass(frozen=True)
class Pour:
    """What to pour: tap water and ice (kg) that together make water of `water_c`.

    reach: "reached", "too cold" (all the ice that fits does not do it) or "too hot" (no water so hot may
    touch the yeast); then the dough's temperature is missed, and the pour is the nearest there is.
    """

    tap_kg: float
    ice_kg: float
    water_c: float
    reach: Literal["reached", "too cold", "too hot"]


def paste_specific_heat(liquid_ratio: float, liquid_specific_heat: float = WATER_KJ) -> float:
    """Specific heat of a paste (kJ per kg and K) from its flour and liquid; liquid_ratio: kg liquid to 1 kg flour."""
    return (SPECIFIC_HEAT["flour"] + liquid_ratio * liquid_specific_heat) / (1 + liquid_ratio)


# --- the heat balance ---------------------------------------------------------------------------


def heat_in(parts: Iterable[Part], mixing_kj_kg: float, raw_flour_kg: float) -> float:
    """Heat that mixing and wetting bring (kJ).

    mixing_kj_kg: of dough; 15 to 25 spiral, 30 to 45 horizontal or high speed (from memory). raw_flour_kg: not
    the paste's, which was wetted in the kettle.
    """
    return mixing_kj_kg * sum(p.kg for p in parts) + HYDRATION_KJ * raw_flour_kg


def dough_temp(parts: Iterable[Part], heat_kj: float, ice_kg: float = 0.0) -> float:
    """Dough temperature from its parts (water among them) and the heat put in; ice is counted as well."""
    parts = [*parts, Part(ice_kg, WATER_KJ, 0.0)]
    return (sum(p.capacity * p.temp_c for p in parts) + heat_kj - ICE_KJ * ice_kg) / sum(p.capacity for p in parts)


def water_temp(parts: Iterable[Part], water_kg: float, wanted_c: float, heat_kj: float) -> float:
    """Temperature the water must have for a dough of `wanted_c`; below 0 it takes ice, see `pour`.

    parts: everything but that water. Raises ValueError where there is no water to set.
    """
    if water_kg <= 0:
        raise ValueError("no water goes in beside the paste, so its temperature cannot set the dough's")
    parts = list(parts)
    lacking = sum(p.capacity * (wanted_c - p.temp_c) for p in parts) - heat_kj
    return wanted_c + lacking / (water_kg * WATER_KJ)


def mixing_heat(parts: Iterable[Part], dough_c: float, raw_flour_kg: float, ice_kg: float = 0.0) -> float:
    """The mixer's heat worked back from a finished dough (kJ per kg of dough). parts: water among them."""
    parts = list(parts)
    still = dough_temp(parts, HYDRATION_KJ * raw_flour_kg, ice_kg)
    capacity = sum(p.capacity for p in parts) + ice_kg * WATER_KJ
    return (dough_c - still) * capacity / (sum(p.kg for p in parts) + ice_kg)


def ice_for(water_kg: float, tap_c: float, wanted_c: float) -> float:
    """Ice (kg) that replaces part of `water_kg` of tap water so that the whole is at `wanted_c`.

    Mass balance: the ice melts and is part of the water. wanted_c may be below 0: the ice goes on melting in
    the dough. Never below 0.
    """
    return max(0.0, water_kg * WATER_KJ * (tap_c - wanted_c) / (ICE_KJ + WATER_KJ * tap_c))


def pour(water_kg: float, tap_c: float, wanted_c: float) -> Pour:
    """Tap water and ice for water of `wanted_c`; hot water is taken as there where it is warmer than the tap."""
    if wanted_c > TAP_HOTTEST_C:
        return Pour(water_kg, 0.0, TAP_HOTTEST_C, "too hot")
    if wanted_c >= tap_c:
        return Pour(water_kg, 0.0, wanted_c, "reached")
    ice_kg = ice_for(water_kg, tap_c, wanted_c)
    if ice_kg > water_kg:
        return Pour(0.0, water_kg, -ICE_KJ / WATER_KJ, "too cold")
    return Pour(water_kg - ice_kg, ice_kg, wanted_c, "reached")
