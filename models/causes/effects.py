"""How loaf volume answers to each driver: the starting values of the trade, declared once.

Slopes are on ln(specific volume) for one unit of the driver's term, with a standard deviation wide enough that a
site's own batches replace them. All are common practice or derived guesses of the trade, no published source.
"""

from __future__ import annotations

from dataclasses import dataclass

from models.shapes import Group

ELASTICITY, ELASTICITY_SD = 0.40, 0.12
"""Volume for 1 % of gas made, at a fixed proof time: shared by every driver of gas."""
ELASTICITY_AT_HEIGHT = 0.10
"""The same on a line that proofs to a height: there the proof's time answers instead."""
GAS_OF_DOSE = 0.9
GAS_OF_DEGREE = 0.0665
GAS_OF_TIME = 0.9
GAS_OF_BOX_DEGREE = 0.04
GAS_LIMIT, GAS_BEND = 0.10, 3.0
"""Beyond 10 % more gas than usual, volume no longer follows: gas - 3 (gas - 0.10)²."""
HEIGHT_OF_GAS, HEIGHT_OF_GAS_SD = 0.7, 0.25
TIME_OF_GAS, TIME_OF_GAS_SD = -1.1, 0.35
"""ln of proof height, and of the time to a height, for ln of gas made."""
DOUGH_PER_PASTE_KG = 0.28 / 0.36
"""°C of dough for 1 °C of paste and 1 kg of paste on 1 kg of flour, from the heat balance of a dough."""
ENERGY_PER_POINT = 0.03
"""Share of mixing energy that a dough one point drier takes more: stiffness, not work done on it."""
LOT_SD = 0.04
"""How much the gas of yeast lots differs, ln."""
LOT_LOSS_PER_DAY, LOT_LOSS_SD = 0.006, 0.004


@dataclass(frozen=True)
class Effect:
    """One driver of volume.

    slope, slope_sd: ln(specific volume) for one unit of the term. of_gas: the driver acts through the gas made, and
    shares the elasticity. relative: shown in percent of the usual. least: a smaller move is not worth naming, in
    `unit`. low, high: the floor's words for either side, with {size}. shared_by: the key of a line in the plant file
    that names what the driver's fault would be shared by.
    """

    name: str
    column: str
    group: Group
    slope: float
    slope_sd: float
    unit: str = ""
    least: float = 1e9
    low: str = ""
    high: str = ""
    quantity: str = ""
    check: str = ""
    unchecked: str = ""
    of_gas: bool = False
    relative: bool = False
    shared_by: str = ""


PASTE: tuple[Effect, ...] = (
    Effect(
        "water",
        "usual_gap_points",
        "paste",
        slope=0.012,
        slope_sd=0.006,
        unit="points",
        least=0.5,
        low="Dough {size} points too dry: the paste lost water",
        high="Dough {size} points too wet",
        quantity="hydration against the formula",
        unchecked="the paste's water",
        shared_by="kettle",
        check="Weigh the kettle again: tare, residue, water put back",
    ),
    Effect("water_curve", "usual_gap_points", "paste", slope=-0.0025, slope_sd=0.0012, unit="points²"),
    Effect(
        "dose",
        "dose_pct",
        "paste",
        slope=0.001,
        slope_sd=0.001,
        unit="%",
        least=3.0,
        low="Paste dosed {size} % short",
        high="Paste overdosed by {size} %",
        quantity="paste dose",
        check="Weigh one dose of paste on another scale; close the kettle's ledger",
        unchecked="paste dose",
        shared_by="line",
    ),
    Effect(
        "undercooked",
        "paste_cook_temp_c",
        "paste",
        slope=-0.005,
        slope_sd=0.003,
        unit="°C",
        least=1.0,
        high="Paste cooked {size} °C below its limit",
        quantity="cook temperature below its limit",
        check="Read the stirred paste's core with a second probe",
        unchecked="cook temperature",
        shared_by="kettle",
    ),
    Effect(
        "overcooked",
        "paste_cook_temp_c",
        "paste",
        slope=-0.001,
        slope_sd=0.002,
        unit="°C",
        least=2.0,
        high="Paste cooked {size} °C above its limit",
        quantity="cook temperature above its limit",
        check="Boil-over and scorch; read the core with a second probe",
        unchecked="cook temperature",
        shared_by="kettle",
    ),
    Effect(
        "paste_temp",
        "paste_temp_c",
        "paste",
        slope=ELASTICITY * GAS_OF_DEGREE,
        slope_sd=0.010,
        unit="°C",
        least=1.0,
        low="Paste {size} °C cold into the dough",
        high="Paste {size} °C warm into the dough",
        quantity="paste temperature at mixing",
        check="Paste temperature at the mixer; was it chilled?",
        unchecked="paste temperature at mixing",
        of_gas=True,
        shared_by="kettle",
    ),
    Effect(
        "paste_age",
        "paste_age_h",
        "paste",
        slope=0.0,
        slope_sd=0.0004,
        unit="h",
        least=12.0,
        high="Paste {size} h older than a day",
        quantity="paste age beyond a day",
        check="Use the fresh paste",
        unchecked="paste age",
        shared_by="kettle",
    ),
)

YEAST: tuple[Effect, ...] = (
    Effect(
        "yeast_dose",
        "yeast_pct",
        "yeast",
        slope=ELASTICITY * GAS_OF_DOSE,
        slope_sd=0.12,
        unit="%",
        least=2.5,
        low="Yeast dosed {size} % short",
        high="Yeast overdosed by {size} %",
        quantity="yeast dose",
        check="Yeast scale with a check weight, and the yeast's stock ledger",
        unchecked="yeast dose",
        of_gas=True,
        relative=True,
        shared_by="line",
    ),
    Effect(
        "dough_temp",
        "dough_temp_c",
        "yeast",
        slope=ELASTICITY * GAS_OF_DEGREE,
        slope_sd=0.010,
        unit="°C",
        least=0.5,
        low="Dough {size} °C cold",
        high="Dough {size} °C warm",
        quantity="dough temperature",
        check="Dough with a second probe; water meter, flour and paste temperature",
        unchecked="dough temperature",
        of_gas=True,
        shared_by="mixer",
    ),
    Effect(
        "proof_time",
        "proof_minutes",
        "yeast",
        slope=ELASTICITY * GAS_OF_TIME,
        slope_sd=0.12,
        unit="%",
        least=4.0,
        low="Proof {size} % short",
        high="Proof {size} % long",
        quantity="proof time",
        check="Proofer's clock, and the line's stops",
        unchecked="proof time",
        of_gas=True,
        relative=True,
        shared_by="proofer",
    ),
    Effect(
        "proof_temp",
        "proof_temp_c",
        "yeast",
        slope=ELASTICITY * GAS_OF_BOX_DEGREE,
        slope_sd=0.008,
        unit="°C",
        least=1.0,
        low="Proofer {size} °C cold",
        high="Proofer {size} °C warm",
        quantity="proofer temperature",
        check="Proofer with a second thermometer",
        unchecked="proofer temperature",
        of_gas=True,
        shared_by="proofer",
    ),
)

HANDLING: tuple[Effect, ...] = (
    Effect(
        "undermixed",
        "mix_energy_wh_kg",
        "handling",
        slope=-0.30,
        slope_sd=0.12,
        unit="%",
        least=4.0,
        high="Dough mixed {size} % too little",
        quantity="mixing below the usual, stiffness allowed for",
        check="Mixer's real time and energy, and its load",
        unchecked="mixing energy or time",
        relative=True,
        shared_by="mixer",
    ),
    Effect(
        "overmixed",
        "mix_energy_wh_kg",
        "handling",
        slope=-0.15,
        slope_sd=0.10,
        unit="%",
        least=4.0,
        high="Dough mixed {size} % too much",
        quantity="mixing above the usual, stiffness allowed for",
        check="Mixer's real time and energy, and its load",
        unchecked="mixing energy or time",
        relative=True,
        shared_by="mixer",
    ),
    Effect(
        "proof_dry",
        "proof_rh_pct",
        "handling",
        slope=-0.003,
        slope_sd=0.0015,
        unit="% RH",
        least=4.0,
        high="Proofer {size} % RH too dry",
        quantity="proof humidity below 70 %",
        check="Proofer's humidity; skin on the pieces",
        unchecked="proof humidity",
        shared_by="proofer",
    ),
)

UNEXPLAINED: tuple[Effect, ...] = (
    Effect(
        "bake_loss",
        "bake_loss_pct",
        "unexplained",
        slope=0.006,
        slope_sd=0.012,
        unit="points",
        least=0.5,
        low="Bake loss {size} points low",
        high="Bake loss {size} points high",
        quantity="bake loss",
        check="Oven zones and core temperature; loaf scale with a check weight",
        unchecked="bake loss",
        shared_by="oven",
    ),
)

EFFECTS: tuple[Effect, ...] = PASTE + YEAST + HANDLING + UNEXPLAINED
BY_NAME: dict[str, Effect] = {e.name: e for e in EFFECTS}
PLACE: dict[str, int] = {e.name: i for i, e in enumerate(EFFECTS)}


def size_text(size: float) -> str:
    """A size as the floor says it: one decimal below 10, none above, no trailing .0."""
    shown = f"{abs(size):.1f}" if abs(size) < 9.95 else f"{abs(size):.0f}"
    return shown.removesuffix(".0")
