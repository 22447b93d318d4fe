"""A dough before it is mixed: the water its paste still owes it, and the water temperature or ice for its own. Pure.

Weights kg, temperatures °C. The dough's water is taken as its formula has it; what a paste owes is worked out from the
paste's own loss, so that it holds for any weight of it.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from statistics import median
from typing import Literal

from models.floor.openpaste import Work
from models.floor.typed import number_of
from models.floor.view import Paste
from models.plant import Plant, Product
from models.trade import dough as heat
from models.trade import paste as ledger
from models.trade.dough import SPECIFIC_HEAT, Part, Pour
from models.trade.formula import formula_of

MIXING_KJ_KG = 18.0  # a spiral mixer gives 15 to 25 kJ to a kg of dough; from memory, until the mixer's own is known
COLD_STORE_C = 6.0  # butter, eggs and yeast come from there; common practice, no source
ENOUGH_DOUGHS = 3  # so many finished doughs show a mixer's own heat
SHELF = ("sugar", "salt")
COLD = ("butter", "egg")
BESIDE = (*SHELF, *COLD)

Known = Literal["known", "not chosen", "not weighed"]


@dataclass(frozen=True)
class Owed:
    """What the paste takes from this dough. dose_kg: of this paste, for the formula's flour and its share of the water; points:
    of hydration that `paste_kg` of it takes; water_kg: to pour besides, 0 within half the warning limit. kettle_kg: what
    all its doughs together are owed."""

    known: Known
    dose_kg: float | None = None
    formula_kg: float | None = None
    paste_kg: float | None = None
    points: float | None = None
    water_kg: float | None = None
    kettle_kg: float | None = None


@dataclass(frozen=True)
class Warmth:
    """What to pour. water_c: of all liquid that is poured; pour: tap and ice, None where the liquid is not water or the tap is
    not known. missing: what was not typed; then nothing is worked out."""

    missing: tuple[str, ...]
    water_c: float | None = None
    pour: Pour | None = None
    mixing_kj_kg: float = MIXING_KJ_KG
    mixing_n: int = 0


@dataclass(frozen=True)
class Plan:
    """One dough worked out. liquid_kg: as typed, or all the formula's water beside the paste; total_kg: with the water owed."""

    product: str
    wanted_c: float
    liquid_kg: float
    liquid_typed: bool
    total_kg: float
    owed: Owed
    warmth: Warmth
    is_water: bool


def plan(
    plant: Plant, cells: Mapping[str, str], more: Mapping[str, str], paste: Paste | None, own: list[float]
) -> Plan:
    """Work out one dough. cells: contract columns of the dough log; more: what else the screen asked; own: mixing heats of
    this mixer's finished doughs (kJ/kg). Raises KeyError for a product that is not in the plant file."""
    product = plant.products[cells["product"]]
    flour_kg = number_of(cells, "flour_kg") or 0.0
    typed_kg = number_of(cells, "liquid_kg")
    formula = formula_of(plant, product)
    water_kg = float(formula.beside_paste(formula.all_flour_of(flour_kg)).water_kg)
    liquid_kg = max(0.0, 100 * water_kg / product.liquid_water_pct) if typed_kg is None else typed_kg
    owed = owed_of(plant, product, flour_kg, paste, number_of(cells, "paste_kg"))
    wanted_c = number_of(more, "wanted_temp_c") or sum(product.dough_temp_c.warn) / 2
    total_kg = liquid_kg + (owed.water_kg or 0.0)
    warmth = _warmth(plant, product, cells, more, (liquid_kg, owed), wanted_c, own)
    is_water = product.liquid_water_pct >= 100
    return Plan(cells["product"], wanted_c, liquid_kg, typed_kg is not None, total_kg, owed, warmth, is_water)


# --- water --------------------------------------------------------------------------------------


def strength(plant: Plant, paste: Paste) -> float | None:
    """What is left of 1 kg of Wb once the cook's loss is off and the water put back is in; None where it was not weighed.

    Residue does not concentrate a paste and is left out; what is lost of its weight thereby is of second order.
    """
    recipe = plant.pastes.get(paste.recipe)
    if recipe is None or paste.excess_kg is None or paste.weight_kg is None:
        return None
    usual = 1 - recipe.usual_loss_pct / 100
    before_kg = (paste.weight_kg + (paste.water_added_kg or 0.0) + paste.excess_kg) / usual
    return usual - paste.excess_kg / before_kg if before_kg > 0 else None


def owed_of(plant: Plant, product: Product, flour_kg: float, paste: Paste | None, paste_kg: float | None) -> Owed:
    """The water that a dough with `flour_kg` beside the paste is owed for `paste_kg` of this paste (None: the dose that
    holds as much flour as the formula's)."""
    formula = formula_of(plant, product)
    all_flour_kg = formula.all_flour_of(flour_kg)
    if product.paste is None or formula.paste_flour_pct == 0:
        return Owed("known", 0.0, 0.0, 0.0, 0.0, 0.0, 0.0)
    formula_kg = float(formula.paste(all_flour_kg).kg)
    if paste is None:
        return Owed("not chosen", formula_kg=formula_kg, paste_kg=paste_kg)
    left = strength(plant, paste)
    if left is None:
        return Owed("not weighed", formula_kg=formula_kg, paste_kg=paste_kg)
    recipe = plant.pastes[paste.recipe]
    dose_kg, _ = ledger.stronger_dose(formula_kg, 1 - recipe.usual_loss_pct / 100, left)
    made = ledger.cooked(*ledger.charge(1.0, recipe.liquid_ratio), recipe.liquid_water_pct, 1.0, left)
    kg = float(dose_kg) if paste_kg is None else paste_kg
    mixed = formula.beside_paste(all_flour_kg).with_paste(made.portion(kg))
    points = float(formula.hydration_pct - mixed.hydration_pct)
    water_kg = float(mixed.water_to(formula.hydration_pct)) if points > recipe.hydration_points.warn / 2 else 0.0
    kettle_kg = max(0.0, paste.excess_kg or 0.0)
    return Owed("known", float(dose_kg), formula_kg, kg, points, water_kg, kettle_kg)


# --- warmth -------------------------------------------------------------------------------------


def _warmth(
    plant: Plant,
    product: Product,
    cells: Mapping[str, str],
    more: Mapping[str, str],
    poured: tuple[float, Owed],
    wanted_c: float,
    own: list[float],
) -> Warmth:
    mixing = number_of(more, "mixing_kj_kg")
    learned = len(own) >= ENOUGH_DOUGHS
    mixing_kj_kg = mixing if mixing is not None else median(own) if learned else MIXING_KJ_KG
    mixing_n = len(own) if learned and mixing is None else 0
    liquid_kg, owed = poured
    paste_kg = owed.paste_kg if owed.paste_kg is not None else owed.formula_kg
    wants = ("flour_temp_c", "paste_temp_c", "room_temp_c") if paste_kg else ("flour_temp_c", "room_temp_c")
    missing = tuple(name for name in wants if not cells.get(name))
    as_water_kg = _as_water(product, liquid_kg) + (owed.water_kg or 0.0)
    if missing or as_water_kg <= 0:
        return Warmth(missing, mixing_kj_kg=mixing_kj_kg, mixing_n=mixing_n)
    parts = parts_of(plant, product, cells, more, paste_kg or 0.0)
    poured_part = Part(liquid_kg + (owed.water_kg or 0.0), heat.WATER_KJ, 0.0)
    brought = heat.heat_in([*parts, poured_part], mixing_kj_kg, number_of(cells, "flour_kg") or 0.0)
    water_c = heat.water_temp(parts, as_water_kg, wanted_c, brought)
    tap_c = number_of(more, "tap_temp_c")
    can = tap_c is not None and product.liquid_water_pct >= 100
    pour = heat.pour(poured_part.kg, tap_c, water_c) if tap_c is not None and can else None
    return Warmth((), water_c, pour, mixing_kj_kg, mixing_n)


def _as_water(product: Product, liquid_kg: float) -> float:
    """Water that holds as much heat as the dough's liquid (kg)."""
    return liquid_kg if product.liquid_water_pct >= 100 else liquid_kg * SPECIFIC_HEAT["milk"] / heat.WATER_KJ


def parts_of(
    plant: Plant, product: Product, cells: Mapping[str, str], more: Mapping[str, str], paste_kg: float
) -> list[Part]:
    """Everything in the dough but what is poured. Sugar and salt are as warm as the room, butter, eggs and yeast as the cold
    store; yeast as weighed, else by the formula."""
    flour_kg, room_c = number_of(cells, "flour_kg") or 0.0, number_of(cells, "room_temp_c") or 0.0
    cold_c = number_of(more, "store_temp_c")
    cold_c = COLD_STORE_C if cold_c is None else cold_c
    all_flour_kg = formula_of(plant, product).all_flour_of(flour_kg)
    yeast_kg = number_of(cells, "yeast_kg")
    yeast_kg = all_flour_kg * product.yeast_pct / 100 if yeast_kg is None else yeast_kg
    parts = [
        Part(flour_kg, SPECIFIC_HEAT["flour"], number_of(cells, "flour_temp_c") or 0.0),
        Part(yeast_kg, SPECIFIC_HEAT["yeast"], cold_c),
    ]
    parts += [Part(number_of(more, f"{n}_kg") or 0.0, SPECIFIC_HEAT[n], room_c) for n in SHELF]
    parts += [Part(number_of(more, f"{n}_kg") or 0.0, SPECIFIC_HEAT[n], cold_c) for n in COLD]
    if product.paste and paste_kg:
        recipe = plant.pastes[product.paste]
        liquid = heat.WATER_KJ if recipe.liquid_water_pct >= 100 else SPECIFIC_HEAT["milk"]
        specific = heat.paste_specific_heat(recipe.liquid_ratio, liquid)
        parts.append(Part(paste_kg, specific, number_of(cells, "paste_temp_c") or 0.0))
    return parts


def own_heat(plant: Plant, work: Work) -> float | None:
    """The mixer's heat worked back from a dough that is mixed (kJ per kg); None where a temperature or weight is missing."""
    cells, more = work.cells, work.more
    product = plant.products.get(cells.get("product", ""))
    wants: tuple[str, ...] = ("flour_temp_c", "room_temp_c", "water_temp_c", "dough_temp_c", "liquid_kg", "flour_kg")
    pasted = product is not None and product.paste is not None
    wants = (*wants, "paste_temp_c", "paste_kg") if pasted else wants
    if product is None or any(not cells.get(name) for name in wants):
        return None
    numbers = {name: number_of(cells, name) or 0.0 for name in (*wants, "makeup_water_kg", "paste_kg")}
    ice_kg = number_of(more, "ice_kg") or 0.0
    poured_kg = _as_water(product, numbers["liquid_kg"]) + numbers["makeup_water_kg"] - ice_kg
    parts = parts_of(plant, product, cells, more, numbers["paste_kg"])
    parts.append(Part(max(0.0, poured_kg), heat.WATER_KJ, numbers["water_temp_c"]))
    return heat.mixing_heat(parts, numbers["dough_temp_c"], numbers["flour_kg"], ice_kg)
