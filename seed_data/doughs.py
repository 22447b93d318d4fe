"""The doughs as they really were: what went into the bowl, how they proofed, how they baked."""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import datetime, timedelta

from models.plant import Product
from seed_data import response
from seed_data.chance import Chance
from seed_data.faults import COLD_MORNING, COLD_OVEN, MOULDER, OVERDRAWN, OVERDRAWN_BY, SHORT_WEIGHT, SWAPPED_TUBS
from seed_data.kettles import PasteMade, dose_kg
from seed_data.lots import Flour, Yeast, day_effect, flour_of, yeast_of
from seed_data.plan import MAKES, Slot, plant

BASE_KEPT_PCT = 86.0
PROOF_BOX_C = 36.0
MIXER_TO_MOULDER = timedelta(minutes=30)
LID_LETS = 0.12
DRY_DOUGH_BAKES = 0.12
GROUPS = ("paste", "yeast", "handling", "unexplained")


@dataclass(frozen=True)
class Store:
    """What stands ready for the day's doughs. `pastes` by shift_date, kettle and number."""

    seed: int
    pastes: dict[tuple, PasteMade]
    yeasts: list[Yeast]
    flours: list[Flour]


@dataclass(frozen=True)
class Charge:
    """What is tipped into the bowl, kg; `gap`: the hydration that makes, points from the formula's."""

    paste: PasteMade
    paste_written: str
    paste_kg: float
    flour_kg: float
    liquid_kg: float
    yeast_kg: float
    gap: float


@dataclass(frozen=True)
class Mixing:
    """How it was mixed. °C, min, Wh/kg; `work`: energy above what this hydration wants, as a share."""

    at: datetime
    yeast: Yeast
    flour_lot: Flour
    room_c: float
    flour_c: float
    water_c: float
    dough_c: float
    minutes: float
    energy: float
    work: float


@dataclass(frozen=True)
class Proof:
    """How it proofed. `gas`: ln of the gas made by the end, over the usual; `kept_pct`: the share kept."""

    begun: datetime
    ended: datetime
    box_c: float
    box_rh: float
    height_mm: float
    gas: float
    kept_pct: float


@dataclass(frozen=True)
class DoughMade:
    """One dough, true values. `piece`: its pieces' weight over the formula's; `spread`: of its loaves, over the usual.

    effects: what each group does to ln(volume) of its loaves, as they come out of the tin.
    """

    slot: Slot
    charge: Charge
    mixing: Mixing
    proof: Proof
    piece: float
    bake_loss_pct: float
    spread: float
    effects: dict[str, float]

    @property
    def key(self) -> str:
        """The batch's name: shift_date/line/dough_batch."""
        return f"{self.slot.day}/{self.slot.line}/{self.slot.number}"

    @property
    def moulded_at(self) -> datetime:
        """When its pieces went through the moulder."""
        return self.mixing.at + MIXER_TO_MOULDER

    @property
    def weight_kg(self) -> float:
        """The whole dough."""
        charge = self.charge
        other = charge.flour_kg * MAKES[self.slot.product].other_pct / 100.0
        return charge.flour_kg + charge.liquid_kg + charge.paste_kg + charge.yeast_kg + other

    @property
    def volume(self) -> float:
        """ln of the loaves' volume over the usual."""
        return sum(self.effects.values())

    def on_specific_volume(self) -> dict[str, float]:
        """What each group does to ln(specific volume): volume, and weight through the bake loss."""
        usual = MAKES[self.slot.product].bake_loss_pct
        dry = usual + DRY_DOUGH_BAKES * self.charge.gap
        by_water = math.log(1.0 - usual / 100.0) - math.log(1.0 - dry / 100.0)
        by_oven = math.log(1.0 - dry / 100.0) - math.log(1.0 - self.bake_loss_pct / 100.0)
        weight = {"paste": by_water, "unexplained": by_oven}
        return {group: effect + weight.get(group, 0.0) for group, effect in self.effects.items()}


def make(store: Store, slot: Slot) -> DoughMade:
    """One dough of the plan, from the bowl to the oven."""
    chance = Chance(store.seed, "dough", slot.day, slot.line, slot.number)
    at = slot.planned + timedelta(minutes=round(chance.uniform(-5, 5)))
    charge = _charge(store, slot, chance)
    mixing = _mix(store, slot, at, charge, chance)
    moulded = MOULDER.acts(at + MIXER_TO_MOULDER, slot.line)
    proof = _proof(slot, charge, mixing, moulded, chance)
    cold_oven = COLD_OVEN.acts(proof.ended, slot.line)
    short = SHORT_WEIGHT.size / 100.0 if SHORT_WEIGHT.acts(at, slot.line) else 0.0
    baked = MAKES[slot.product].bake_loss_pct + DRY_DOUGH_BAKES * charge.gap + chance.normal(0.0, 0.25)
    effects = _effects(store.seed, slot, charge, mixing, proof, chance)
    effects["handling"] += -0.062 if moulded else 0.0
    effects["unexplained"] += -0.022 if cold_oven else 0.0
    lid = LID_LETS if plant().lines[slot.line].lidded else 1.0
    return DoughMade(
        slot, charge, mixing, proof, (1.0 + short) * (1.0 + chance.normal(0.0, 0.004)),
        baked - (1.2 if cold_oven else 0.0), 1.5 if moulded else 1.0, {group: lid * effects[group] for group in GROUPS},
    )  # fmt: skip


def _charge(store: Store, slot: Slot, chance: Chance) -> Charge:
    """The bowl's charge by the formula, as well as the floor weighs."""
    all_flour, product = MAKES[slot.product].flour_kg, plant().products[slot.product]
    recipe = plant().pastes[product.paste or ""]
    cooked = all_flour * product.paste_flour_pct / 100.0
    flour = (all_flour - cooked) * (1.0 + chance.normal(0.0, 0.0015))
    liquid = _liquid_kg(product, all_flour) * (1.0 + chance.normal(0.0, 0.003))
    yeast = all_flour * product.yeast_pct / 100.0 * (1.0 + chance.normal(0.0, 0.007))
    paste, written = _paste(store, slot)
    dose = dose_kg(slot.product, all_flour) * (1.0 + chance.normal(0.0, 0.004))
    kg = dose if recipe.dosing == "weighed" else paste.part_kg
    water = liquid * product.liquid_water_pct / 100.0 + kg * paste.water_share
    gap = 100.0 * water / (flour + kg * paste.flour_share) - product.hydration_pct
    return Charge(paste, written, kg, flour, liquid, yeast, gap)


def _liquid_kg(product: Product, all_flour: float) -> float:
    """Liquid poured straight into the dough: what the paste, its usual loss allowed for, leaves to be added."""
    recipe = plant().pastes[product.paste or ""]
    cooked = all_flour * product.paste_flour_pct / 100.0
    lost = cooked * (1.0 + recipe.liquid_ratio) * recipe.usual_loss_pct / 100.0
    brought = cooked * recipe.liquid_ratio * recipe.liquid_water_pct / 100.0 - lost
    return (all_flour * product.hydration_pct / 100.0 - brought) * 100.0 / product.liquid_water_pct


def _paste(store: Store, slot: Slot) -> tuple[PasteMade, str]:
    """The paste that went in, and the number that was written for it."""
    day, kettle, number = slot.paste
    here = (slot.day, slot.line, slot.number)
    number = SWAPPED_TUBS.get(here, number)
    return store.pastes[day, kettle, number], OVERDRAWN[2] if here == OVERDRAWN_BY else number


def _target_c(product: Product) -> float:
    return sum(product.dough_temp_c.warn) / 2.0


def _mix(store: Store, slot: Slot, at: datetime, charge: Charge, chance: Chance) -> Mixing:
    cold = COLD_MORNING.acts(at, slot.line)
    stiff = -0.15 * min(0.0, charge.gap)
    dough_c = _target_c(plant().products[slot.product]) + stiff + chance.normal(0.0, 0.25)
    work = chance.normal(0.0, 0.02)
    energy = MAKES[slot.product].mix_energy * (1.0 + work) * (1.0 - 0.025 * charge.gap)
    return Mixing(
        at, yeast_of(store.yeasts, store.seed, slot.line, at), flour_of(store.flours, at),
        chance.normal(23.5, 1.0), chance.normal(21.0, 0.6), chance.normal(13.0, 1.0) - (6.4 if cold else 0.0),
        dough_c + (COLD_MORNING.size if cold else 0.0), chance.normal(12.0, 0.3), energy, work,
    )  # fmt: skip


def _proof(slot: Slot, charge: Charge, mixing: Mixing, moulded: bool, chance: Chance) -> Proof:
    usual, product = MAKES[slot.product], plant().products[slot.product]
    dose = charge.yeast_kg / (usual.flour_kg * product.yeast_pct / 100.0)
    box_c = chance.normal(PROOF_BOX_C, 0.4)
    strength = mixing.yeast.strength_at(mixing.at)
    before = response.gas_before_proof(
        strength, dose, mixing.dough_c - _target_c(product), box_c - PROOF_BOX_C, charge.gap
    )
    minutes = usual.proof_minutes * math.exp(chance.normal(0.0, 0.015))
    if plant().lines[slot.line].proof_mode == "height":
        minutes = usual.proof_minutes * min(1.4, max(0.75, math.exp(-before / 0.9 + chance.normal(0.0, 0.012))))
    minutes = round(minutes)
    gas = before + 0.9 * math.log(minutes / usual.proof_minutes)
    begun = mixing.at + timedelta(minutes=round(chance.normal(36, 2)))
    height = usual.proof_height_mm * math.exp(0.7 * gas + chance.normal(0.0, 0.012) - (0.02 if moulded else 0.0))
    kept = chance.normal(BASE_KEPT_PCT, 0.5)
    return Proof(begun, begun + timedelta(minutes=minutes), box_c, chance.normal(83.0, 1.2), height, gas, kept)


def _effects(seed: int, slot: Slot, charge: Charge, mixing: Mixing, proof: Proof, chance: Chance) -> dict[str, float]:
    """What each group does to ln(volume) before any fault of moulder or oven, and before a lid."""
    unknown = mixing.flour_lot.volume + day_effect(seed, slot.day) + chance.normal(0.0, 0.006)
    return {
        "paste": response.water(charge.gap),
        "yeast": response.gassing(proof.gas),
        "handling": response.keeping(proof.kept_pct - BASE_KEPT_PCT) + response.mixing(mixing.work),
        "unexplained": unknown,
    }
