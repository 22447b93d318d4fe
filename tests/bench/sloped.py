"""The plain reference of `tests.bench.causes`: the plant's true slopes on what was recorded, the tests of all lines for a lot.

It is given what no bakery knows, every true slope and how much lots differ, and reckons with that as anybody would: slope times
move, each lot's gas the mean of its tests on all lines, shrunken to none by how far lots differ and tests err. The rest of the
change is unexplained, or handling's where loaves of a batch differ more than chance makes them or the change log says so. What it
reaches is how hard the plants are for somebody who knows the trade exactly.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from scipy.stats import chi2

from models.causes.drivers import Terms, ratio, terms
from models.causes.effects import EFFECTS
from models.causes.field import Field, read
from models.plant import Plant
from models.shapes import GROUPS, Episode, Points
from tests.bench.told import slopes
from tests.bench.works import Simulated

SURE = 0.975
"""One-sided, of the variances within batches."""
NEAR_H = 24


def known(sim: Simulated, arguments: Sequence, change: float) -> np.ndarray:
    """Contributions of the four groups, ln. arguments: those of `attribute`; change: ln specific volume."""
    plant, frame, _, stream, baseline, episode, points = arguments
    field = read(plant, frame, stream, baseline, episode, points)
    by_group = _by_slopes(sim, field, terms(plant, field))
    by_group[GROUPS.index("yeast")] += _lots(sim, plant, field)
    rest = change - by_group.sum()
    by_group[GROUPS.index("handling" if _handled(sim, field, episode, points) else "unexplained")] += rest
    return by_group


def _moved(values: np.ndarray, field: Field) -> float:
    return float(values[field.episode].mean() - values[field.base].mean())


def _by_slopes(sim: Simulated, field: Field, found: Terms) -> np.ndarray:
    """True slopes times what was recorded; where no water was written down as put back, all of it stayed out."""
    slope, out = slopes(sim.setup.truth), np.zeros(len(GROUPS))
    for k, effect in enumerate(EFFECTS):
        out[GROUPS.index(effect.group)] += slope[effect.name] * _moved(found.x[:, k], field)
    return out


def _lots(sim: Simulated, plant: Plant, field: Field) -> float:
    """What the tested lots do, ln: the gas of a dough's test is put right for its dose."""
    if plant.lines[field.line].proof_mode == "height":
        return 0.0
    dose = np.nan_to_num(ratio(field, "yeast_pct"))
    tests = (ratio(field, "lot_gas_ml"), ratio(field, "gas_produced_ml") - sim.setup.truth.of_dose * dose)
    made, lots = np.zeros(len(field)), field.text["yeast_lot"]
    for lot in set(lots) - {""}:
        rows = lots == lot
        seen = [t[rows & np.isfinite(t)] for t in tests]
        each = np.concatenate([seen[0][:1], seen[1]])  # a lot's own test stands beside every dough of it
        if len(each):
            sure = sim.setup.truth.lot**2 / (sim.setup.truth.lot**2 + sim.setup.gas_error**2 / len(each))
            made[rows] = sure * each.mean()
    return sim.setup.truth.gas * _moved(made, field)


def _handled(sim: Simulated, field: Field, episode: Episode, points: Points) -> bool:
    """Positive evidence: loaves of one batch differ more, or the change log names the line's handling then."""
    share = (field.num["specific_volume_sd"] / field.num["specific_volume"]) ** 2
    freedom = np.maximum(field.num["loaves"] - 1, 0.0)
    usual = np.average(share[field.base], weights=freedom[field.base])
    total = float((share * freedom)[field.episode].sum() / usual)
    near = np.abs(sim.changes["changed_at"].to_numpy(dtype="datetime64[us]") - points.at[episode.began]) < np.timedelta64(NEAR_H, "h")
    of_line = (sim.changes["name"] == field.line).to_numpy(dtype=bool)
    written = near & of_line & np.array(["moulder" in what for what in sim.changes["what"]], dtype=bool)
    return bool(total > chi2.ppf(SURE, freedom[field.episode].sum())) or bool(written.any())
