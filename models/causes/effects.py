"""How loaf volume answers to each driver: the starting values of the trade, declared once.

Slopes are on ln(specific volume) for one unit of the driver's term, with a standard deviation wide enough that a
site's own batches replace them. All are common practice or derived guesses of the trade, no published source.
"""

from __future__ import annotations

from dataclasses import dataclass

from models.shapes import Group
from models.texts import Text, in_number, texts

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
BAKE_LOSS_PER_POINT = 0.15
"""Points of bake loss that a dough one point drier loses less: less water to lose, no colder oven."""
LOT_SD = 0.04
"""How much the gas of yeast lots differs, ln."""
LOT_LOSS_PER_DAY, LOT_LOSS_SD = 0.006, 0.004


@dataclass(frozen=True)
class Effect:
    """One driver of volume.

    slope, slope_sd: ln(specific volume) for one unit of the term. of_gas: the driver acts through the gas made, and
    shares the elasticity. of_usual: judged against what is usual for the line, else beyond a limit; relative: in percent
    of it. least: a smaller move is not worth naming, in
    `unit`. shared_by: the key of a line in the plant file that names what the driver's fault would be shared by. Its
    words stand in texts/drivers.toml under its name.
    """

    name: str
    column: str
    group: Group
    slope: float
    slope_sd: float
    unit: str = ""
    least: float = 1e9
    of_gas: bool = False
    of_usual: bool = False
    relative: bool = False
    shared_by: str = ""

    def _words(self, what: str) -> Text:
        return texts("drivers").get(self.name, {}).get(what, Text())

    def moved(self, size: float) -> str:
        """The move in the floor's words; an effect that works on one side only has one word for it."""
        words, shown = self._words("low") if size < 0 else Text(), size_text(size)
        return in_number(words or self._words("high"), shown).format(size=shown)

    @property
    def quantity(self) -> str:
        """What moves, as a sentence of evidence names it."""
        return self._words("quantity")

    @property
    def quantity_less(self) -> str:
        """The same where what another driver brought is left out of it."""
        return self._words("less") or self.quantity

    @property
    def check(self) -> str:
        """What a supervisor checks first."""
        return self._words("check")

    @property
    def unchecked(self) -> str:
        """What is not known where it was not recorded; empty: nothing is said of it."""
        return self._words("unchecked")


PASTE: tuple[Effect, ...] = (
    Effect(
        "water",
        "usual_gap_points",
        "paste",
        slope=0.012,
        slope_sd=0.006,
        unit="points",
        least=0.5,
        of_usual=True,
        shared_by="kettle",
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
        of_usual=True,
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
        shared_by="kettle",
    ),
    Effect(
        "paste_temp",
        "paste_temp_c",
        "paste",
        slope=ELASTICITY * GAS_OF_DEGREE,
        slope_sd=0.010,
        unit="°C",
        least=2.0,
        of_gas=True,
        of_usual=True,
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
        of_gas=True,
        relative=True,
        of_usual=True,
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
        of_gas=True,
        of_usual=True,
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
        of_gas=True,
        relative=True,
        of_usual=True,
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
        of_gas=True,
        of_usual=True,
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
        of_usual=True,
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
