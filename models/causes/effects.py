"""How loaf volume answers to each driver: the starting values of the trade, declared once.

Slopes are on ln(specific volume) per unit of the driver's term, with a standard deviation wide enough
that a site's own batches replace them. Sources: hydration, gas, mixing and retention slopes are common
practice, no source; the gas elasticity (0.4 % volume for 1 % gas at fixed proof time, 0.1 at fixed
height) and the mixing slopes are derived guesses of the trade; every one is to be learned at the site.
"""

from __future__ import annotations

from dataclasses import dataclass

from models.shapes import Group

ELASTICITY = 0.40
ELASTICITY_SD = 0.12
ELASTICITY_AT_HEIGHT = 0.10
GAS_OF_DOSE = 0.9
GAS_OF_DEGREE = 0.0665
GAS_OF_TIME = 0.9
GAS_OF_BOX_DEGREE = 0.04
GAS_LIMIT = 0.10
DOUGH_PER_PASTE_KG = 0.28 / 0.36
HEIGHT_OF_GAS, HEIGHT_OF_GAS_SD = 0.7, 0.25
TIME_OF_GAS, TIME_OF_GAS_SD = -1.1, 0.35
ENERGY_PER_POINT = 0.03
LOT_SD = 0.04
LOT_LOSS_PER_DAY, LOT_LOSS_SD = 0.006, 0.004


@dataclass(frozen=True)
class Effect:
    """One driver of volume.

    `slope`, `slope_sd`: ln(specific volume) per unit of the term. `of_gas`: the term is a part of the gas
    made, so that its slope also carries the shared elasticity. `least`: a shift smaller than this is not
    worth naming, in `unit`. `per_unit`: what one `unit` is in the shown column (percent where relative).
    """

    name: str
    column: str
    group: Group
    slope: float
    slope_sd: float
    unit: str
    least: float
    low: str
    high: str
    quantity: str
    check: str
    unchecked: str
    of_gas: bool = False
    relative: bool = False
    shared_by: str = ""


_A = ELASTICITY

EFFECTS: tuple[Effect, ...] = (
    Effect("water", "usual_gap_points", "paste", 0.012, 0.006, "points", 0.5,
           "Dough {size} points too dry: the paste lost water", "Dough {size} points too wet",
           "hydration against the formula", "weigh the kettle again: tare, residue, water put back",
           "paste or dough water", shared_by="kettle"),
    Effect("water_curve", "usual_gap_points", "paste", -0.0025, 0.0012, "points²", 1e9, "", "", "", "", ""),
    Effect("dose", "dose_pct", "paste", 0.001, 0.001, "%", 3.0,
           "Paste dosed {size} % short", "Paste overdosed by {size} %", "paste dose",
           "weigh the paste into one dough on another scale; close the kettle's ledger", "paste dose", shared_by="line"),
    Effect("undercooked", "paste_cook_temp_c", "paste", -0.005, 0.003, "°C", 1.0,
           "", "Paste cooked {size} °C under its limit", "cook temperature below the limit",
           "read the stirred paste's core with a second probe", "cook temperature", shared_by="kettle"),
    Effect("overcooked", "paste_cook_temp_c", "paste", -0.001, 0.002, "°C", 2.0,
           "", "Paste cooked {size} °C over its limit", "cook temperature above the limit",
           "read the stirred paste's core with a second probe; boil-over and scorch", "cook temperature",
           shared_by="kettle"),
    Effect("paste_temp", "paste_temp_c", "paste", _A * GAS_OF_DEGREE, 0.010, "°C", 2.0,
           "Paste {size} °C cold into the dough", "Paste {size} °C warm into the dough", "paste temperature at mixing",
           "paste temperature at the mixer and its store", "paste temperature at mixing", of_gas=True,
           shared_by="kettle"),
    Effect("paste_age", "paste_age_h", "paste", 0.0, 0.0004, "h", 12.0,
           "", "Paste {size} h older than usual", "paste age beyond a day", "use the fresh paste", "paste age",
           shared_by="kettle"),
    Effect("yeast_dose", "yeast_pct", "yeast", _A * GAS_OF_DOSE, 0.12, "%", 2.5,
           "Yeast dosed {size} % short", "Yeast overdosed by {size} %", "yeast dose", "yeast scale and stock ledger",
           "yeast dose", of_gas=True, relative=True, shared_by="line"),
    Effect("dough_temp", "dough_temp_c", "yeast", _A * GAS_OF_DEGREE, 0.010, "°C", 0.5,
           "Dough {size} °C cold", "Dough {size} °C warm", "dough temperature",
           "dough with a second probe; water meter, flour and paste temperature", "dough temperature", of_gas=True,
           shared_by="mixer"),
    Effect("proof_time", "proof_minutes", "yeast", _A * GAS_OF_TIME, 0.12, "%", 4.0,
           "Proof {size} % short", "Proof {size} % long", "proof time", "proofer's clock and the line's stops",
           "proof", of_gas=True, relative=True, shared_by="proofer"),
    Effect("proof_temp", "proof_temp_c", "yeast", _A * GAS_OF_BOX_DEGREE, 0.008, "°C", 1.0,
           "Proofer {size} °C cold", "Proofer {size} °C warm", "proofer temperature",
           "proofer with a second thermometer", "proofer temperature", of_gas=True, shared_by="proofer"),
    Effect("undermixed", "mix_energy_wh_kg", "handling", -0.30, 0.12, "%", 4.0,
           "", "Dough mixed {size} % too little", "mixing below the usual, hydration allowed for",
           "mixer's real time and energy, its load", "mixing energy and time", relative=True, shared_by="mixer"),
    Effect("overmixed", "mix_energy_wh_kg", "handling", -0.15, 0.10, "%", 4.0,
           "", "Dough mixed {size} % too much", "mixing above the usual, hydration allowed for",
           "mixer's real time and energy, its load", "mixing energy and time", relative=True, shared_by="mixer"),
    Effect("proof_dry", "proof_rh_pct", "handling", -0.003, 0.0015, "% RH", 4.0,
           "", "Proofer {size} % RH too dry", "proof humidity below 70 %", "proofer's humidity; skin on the pieces",
           "proof humidity", shared_by="proofer"),
    Effect("bake_loss", "bake_loss_pct", "unexplained", 0.006, 0.012, "points", 0.5,
           "Bake loss {size} points low", "Bake loss {size} points high", "bake loss",
           "oven zones and core temperature; loaf scale with a check weight", "bake loss", shared_by="oven"),
)

BY_NAME: dict[str, Effect] = {e.name: e for e in EFFECTS}


def size_text(size: float) -> str:
    """A size as the floor says it: one decimal below 10, none above, no trailing .0."""
    shown = f"{abs(size):.1f}" if abs(size) < 10 else f"{abs(size):.0f}"
    return shown.removesuffix(".0")
