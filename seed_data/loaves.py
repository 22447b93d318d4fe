"""The loaves that the laboratory measures: weight, volume, time."""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import datetime, timedelta

from seed_data.chance import Chance
from seed_data.doughs import DoughMade
from seed_data.faults import COLD_OVEN, WEAK_YEAST
from seed_data.plan import MAKES, plant

LOAF_SD = 0.012
READ_SD = {"seed": 0.009, "laser": 0.005}
METHOD = {"L1": ("seed", "V1"), "L2": ("seed", "V1"), "L3": ("laser", "V2"), "L4": ("laser", "V2")}
_PLACES = (("left", -0.003), ("middle", 0.004), ("right", -0.001), ("back", 0.0))
LID_SD = 0.004


@dataclass(frozen=True)
class LoafMade:
    """One measured loaf as the sheet has it. g, mL, min, °C."""

    dough: DoughMade
    number: str
    measured_at: datetime
    scaled_g: float
    baked_g: float
    volume_ml: float
    cooled_minutes: float
    core_c: float | None
    position: str
    reason: str


def measure(seed: int, dough: DoughMade) -> list[LoafMade]:
    """The loaves of one dough; one dough in fifty is missed, and doughs of the weak lot are looked at twice."""
    chance = Chance(seed, "loaves", dough.key)
    if chance.happens(0.02):
        return []
    out = dough.proof.ended + timedelta(minutes=MAKES[dough.slot.product].bake_minutes)
    cooled = round(chance.uniform(95, 135))
    count = plant().sampling.loaves_per_batch
    found = [_loaf(dough, chance, n, out, cooled + 2 * n) for n in range(count)]
    suspected = WEAK_YEAST.acts(dough.mixing.at) and dough.slot.line == "L2" and dough.slot.number in ("03", "06")
    if suspected:
        found += [_loaf(dough, chance, n, out, cooled + 2 * n, "suspicion") for n in range(count, count + 2)]
    return found


def _loaf(dough: DoughMade, chance: Chance, n: int, out: datetime, cooled: int, reason: str = "") -> LoafMade:
    made, product = MAKES[dough.slot.product], plant().products[dough.slot.product]
    place, effect = _PLACES[n % len(_PLACES)]
    lidded = plant().lines[dough.slot.line].lidded
    scaled = product.scaled_g * dough.piece * (1.0 + chance.normal(0.0, 0.009))
    baked = scaled * (1.0 - (dough.bake_loss_pct + chance.normal(0.0, 0.3)) / 100.0)
    level = made.specific_volume * product.scaled_g * (1.0 - made.bake_loss_pct / 100.0)
    loaf_sd = (LID_SD if lidded else LOAF_SD) * dough.spread
    read = READ_SD[METHOD[dough.slot.line][0]]
    own = (0.0 if lidded else effect * (2.0 if dough.spread > 1 else 1.0)) + chance.normal(0.0, loaf_sd)
    weight = 0.0 if lidded else math.log(scaled / product.scaled_g)
    volume = level * math.exp(dough.volume + own + weight + chance.normal(0.0, read))
    cold = COLD_OVEN.acts(dough.proof.ended, dough.slot.line)
    core = chance.normal(96.6, 0.4) - (1.1 if cold else 0.0)
    at = out + timedelta(minutes=cooled)
    return LoafMade(
        dough, str(n + 1), at, scaled, baked, volume, cooled, core if n == 0 else None, place, reason
    )  # fmt: skip
