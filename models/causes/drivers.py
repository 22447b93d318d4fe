"""What each driver did in each batch: the terms of the response model, and each driver's own limits."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import product

import numpy as np

from models.causes import effects
from models.causes.effects import BY_NAME, EFFECTS, PLACE, Effect
from models.causes.field import Field
from models.causes.stiffness import UNTOLD, LeftDry, left_dry
from models.plant import Plant

POINTS_RANGE = (-9.0, 4.0)
DRY_AIR_PCT = 70.0
FRESH_H = 24.0
FULL_TOO_MUCH = 0.05
COOK_MARGIN_C = 2.0
PASTE_OF_DOUGH_MOST = 0.6
OUTSIDE = 2.5
"""Standard errors beyond which a driver is outside its own limits. Common practice, no source."""
BESIDE = 2.0
"""The same for a paste beside a dough that is outside: both by chance is rarer. Common practice, no source."""
ALIKE = 0.15
"""Correlation of batches near in time that the limits allow for."""


@dataclass(frozen=True)
class Terms:
    """Terms of the response model, n rows by len(EFFECTS), filled where not recorded.

    gas: the gas terms as they are, before lines that proof to a height answer less; NaN where not recorded.
    silent: rows whose water put back was not recorded. dry: share of each row's gap in water held to have stayed; told: the
    same of the episode's silent rows, by the mixer. shown: each driver as its own limits judge it, in
    `Effect.unit`, NaN where not recorded. to_height: rows of lines that proof to a height.
    """

    x: np.ndarray
    gas: np.ndarray
    silent: np.ndarray
    dry: np.ndarray
    told: LeftDry
    shown: np.ndarray
    to_height: np.ndarray

    @property
    def missing(self) -> np.ndarray:
        """Points of water of each row held to have stayed out of the dough, below zero."""
        return self.x[:, PLACE["water"]] * self.dry


@dataclass(frozen=True)
class Shift:
    """What one driver did from baseline to episode, in its own unit, against its own limits; NaN: not recorded."""

    effect: Effect
    before: float
    after: float
    sd: float
    n_before: int
    n_after: int
    z: float
    outside: bool

    @property
    def size(self) -> float:
        """The move, in the driver's unit."""
        return self.after - self.before


def _gap(field: Field, name: str) -> np.ndarray:
    return field.num[name] - field.usual[name]


def ratio(field: Field, name: str) -> np.ndarray:
    """ln of a column over its usual value; NaN where either is missing or not above zero."""
    with np.errstate(divide="ignore", invalid="ignore"):
        found = np.log(field.num[name] / field.usual[name])
    return np.where(np.isfinite(found), found, np.nan)


def _work(field: Field, gap: np.ndarray) -> np.ndarray:
    """Mixing against the usual, as a share, the stiffness of a dry dough allowed for; by energy, else by time.

    gap: points that stayed, as far as is known.
    """
    energy = ratio(field, "mix_energy_wh_kg") + effects.ENERGY_PER_POINT * gap
    return np.where(np.isfinite(energy), energy, ratio(field, "mix_minutes"))


def _cook_limits(plant: Plant, field: Field) -> tuple[np.ndarray, np.ndarray]:
    usual = field.usual["paste_cook_temp_c"]
    low, high = np.full(len(field), np.nan), np.full(len(field), np.nan)
    for i, recipe in enumerate(field.text["recipe"]):
        if recipe in plant.pastes:
            low[i], high[i] = plant.pastes[recipe].cook_temp_c.warn
    return np.fmin(low, usual - COOK_MARGIN_C), np.fmax(high, usual + COOK_MARGIN_C)


def _dry(field: Field, silent: np.ndarray) -> tuple[np.ndarray, LeftDry]:
    """Share of each row's gap in water that stayed: all of it where the sheet says so, else what the mixer tells."""
    gap, energy, minutes = _gap(field, "usual_gap_points"), ratio(field, "mix_energy_wh_kg"), ratio(field, "mix_minutes")
    told = left_dry(gap, energy, minutes, field.episode & silent, field.base)
    return np.where(silent, np.where(field.episode, told.share, UNTOLD.share), 1.0), told


def _shown(plant: Plant, field: Field, dry: np.ndarray) -> dict[str, np.ndarray]:
    gap = _gap(field, "usual_gap_points")
    left = _fill(gap, field, shift_of(BY_NAME["water"], field, gap).outside) * dry
    work = _work(field, left)
    cook = field.num["paste_cook_temp_c"]
    low, high = _cook_limits(plant, field)
    return {
        "water": gap,
        "water_curve": gap,
        "dose": _gap(field, "dose_pct"),
        "undercooked": np.maximum(low - cook, 0.0),
        "overcooked": np.maximum(cook - high, 0.0),
        "paste_temp": _gap(field, "paste_temp_c"),
        "paste_age": np.maximum(field.num["paste_age_h"] - FRESH_H, 0.0),
        "yeast_dose": 100 * np.expm1(ratio(field, "yeast_pct")),
        "dough_temp": _gap(field, "dough_temp_c"),
        "proof_time": 100 * np.expm1(ratio(field, "proof_minutes")),
        "proof_temp": _gap(field, "proof_temp_c"),
        "undermixed": 100 * np.maximum(-work, 0.0),
        "overmixed": 100 * np.maximum(work - FULL_TOO_MUCH, 0.0),
        "proof_dry": np.maximum(DRY_AIR_PCT - field.num["proof_rh_pct"], 0.0),
        "bake_loss": _gap(field, "bake_loss_pct") - effects.BAKE_LOSS_PER_POINT * left,
    }


def _term(effect: Effect, shown: dict[str, np.ndarray], field: Field) -> np.ndarray:
    value = shown[effect.name]
    if effect.name in ("water", "water_curve"):
        gap = np.clip(field.num["usual_gap_points"], *POINTS_RANGE)
        usual = np.clip(field.usual["usual_gap_points"], *POINTS_RANGE)
        return gap - usual if effect.name == "water" else gap**2 - usual**2
    if effect.name == "paste_temp":
        return np.where(np.isfinite(value), 0.0, np.nan)
    if effect.name in ("undermixed", "overmixed"):
        return value / 100
    return np.log1p(value / 100) if effect.relative else value


def _fill(x: np.ndarray, field: Field, stays: bool) -> np.ndarray:
    """Missing terms take their stream's mean of that day, else the usual (0).

    stays: the driver moved and is outside its own limits. The episode's readings and the others then stand in for their own
    kind alone, and on a day of the episode that has none, as when its sheet comes late, the driver is held to be where the
    episode's readings on that stream have it: volumes that stay low with it are its work.
    """
    missing = ~np.isfinite(x)
    out = np.where(missing, 0.0, x)
    if missing.all():
        return out
    lasting = field.lasting() if stays else np.zeros(len(x), dtype=bool)
    for s, inside in product(np.unique(field.stream[missing]), (False, True)):
        mine = (field.stream == s) & (lasting == inside)
        known, asked = mine & ~missing, mine & missing
        for day in np.unique(field.day[asked]):
            rows, today = asked & (field.day == day), known & (field.day == day)
            if today.any():
                out[rows] = x[today].mean()
            elif inside and known.any():
                out[rows] = x[known].mean()
    return out


def _stays(field: Field, shown: dict[str, np.ndarray]) -> dict[str, bool]:
    """Of each driver, by its effect's name: is it outside its own limits in the episode?"""
    found = {e.name: shift_of(e, field, shown[e.name]).outside for e in EFFECTS}
    return found | {"water_curve": found["water"]}


def height_rows(plant: Plant, field: Field) -> np.ndarray:
    """Rows of lines that proof to a height: there the time answers, not the volume."""
    modes = {name: line.proof_mode for name, line in plant.lines.items()}
    return np.array([modes.get(line) == "height" for line in field.text["line"]], dtype=bool)


def gas_index(gas: np.ndarray, to_time: bool) -> np.ndarray:
    """Gas made by what was recorded (dose, temperature, proof), ln, by the trade's slopes; unknown counts as usual."""
    out = np.zeros(len(gas))
    for k, effect in enumerate(EFFECTS):
        if effect.of_gas and effect.name != "paste_temp" and (to_time or effect.name != "proof_time"):
            out += np.nan_to_num(gas[:, k]) * effect.slope / effects.ELASTICITY
    return out


def _damped(x: np.ndarray) -> np.ndarray:
    """Gas terms, flattened where much more gas than usual no longer gives as much more volume."""
    gas = [i for i, e in enumerate(EFFECTS) if e.of_gas]
    index = sum(x[:, i] * EFFECTS[i].slope / effects.ELASTICITY for i in gas)
    over = np.maximum(index - effects.GAS_LIMIT, 0.0)
    lost = effects.GAS_BEND * over**2 / np.maximum(index, effects.GAS_LIMIT)
    out = x.copy()
    out[:, gas] *= (1 - np.minimum(lost, 0.9))[:, None]
    return out


def paste_share(plant: Plant, product: str) -> float:
    """°C of dough for 1 °C of paste, from the paste's part of the dough's heat; 0 where nothing is known."""
    made = plant.products.get(product)
    recipe = plant.pastes.get(made.paste or "") if made else None
    if made is None or recipe is None:
        return 0.0
    kg = made.paste_flour_pct / 100 * (1 + recipe.liquid_ratio)
    return min(kg * effects.DOUGH_PER_PASTE_KG, PASTE_OF_DOUGH_MOST)


def _everyday_share(field: Field, shown: dict[str, np.ndarray], most: float) -> float:
    """°C of dough for 1 °C of paste where the mixer's water follows the paste, as the baseline's batches show: 0 to `most`.

    Without batches: half of `most`, which is also the sd of that belief.
    """
    paste, dough = shown["paste_temp"][field.base], shown["dough_temp"][field.base]
    both = np.isfinite(paste) & np.isfinite(dough)
    if most <= 0 or both.sum() < 3:
        return most / 2
    paste, dough = paste[both] - paste[both].mean(), dough[both] - dough[both].mean()
    told = float(paste @ paste / max(dough @ dough / both.sum(), 1e-9))
    seen = float(paste @ dough / max(paste @ paste, 1e-9))
    belief = 4 / most**2
    return float(np.clip((told * seen + belief * most / 2) / (told + belief), 0.0, most))


def _warm_paste(plant: Plant, field: Field, shown: dict[str, np.ndarray]) -> np.ndarray:
    """Share out an odd dough temperature between an odd paste and the rest, in place; the paste's part.

    What warmer or colder water made up for counts nothing: the paste is given at most the dough's own move, and for a
    paste within its limits, and no odd dough beside it, what the dough everyday takes of it.
    """
    paste = shift_of(BY_NAME["paste_temp"], field, shown["paste_temp"])
    dough = shift_of(BY_NAME["dough_temp"], field, shown["dough_temp"])
    if not (np.isfinite(paste.z) and abs(dough.size) > 0.1):
        return np.zeros(len(field))
    share = paste_share(plant, field.product)
    beside = dough.outside and abs(paste.z) > BESIDE and abs(paste.size) >= paste.effect.least
    if not (paste.outside or beside):
        share = _everyday_share(field, shown, share)
    part = float(np.clip(share * paste.size / dough.size, 0.0, 1.0))
    brought = np.where(field.episode, part * (shown["dough_temp"] - dough.before), 0.0)
    shown["dough_temp"] = shown["dough_temp"] - brought
    return np.nan_to_num(brought)


def terms(plant: Plant, field: Field) -> Terms:
    """The terms of every measured batch."""
    silent = field.text["water_made_good"] == "not recorded"
    dry, told = _dry(field, silent)
    shown = _shown(plant, field, dry)
    brought = _warm_paste(plant, field, shown)
    gas = np.column_stack([_term(e, shown, field) for e in EFFECTS])
    stays = _stays(field, shown)
    x = np.column_stack([_fill(gas[:, k], field, stays[e.name]) for k, e in enumerate(EFFECTS)])
    x[:, PLACE["paste_temp"]] = brought
    gas[:, PLACE["dough_temp"]] += brought
    to_height = height_rows(plant, field)
    for k, e in enumerate(EFFECTS):
        if e.of_gas:
            answering = e.name in ("proof_time", "proof_temp")
            x[to_height, k] *= 0.0 if answering else effects.ELASTICITY_AT_HEIGHT / effects.ELASTICITY
    return Terms(_damped(x), gas, silent, dry, told, np.column_stack([shown[e.name] for e in EFFECTS]), to_height)


def _mean(values: np.ndarray) -> tuple[float, float, int]:
    known = values[np.isfinite(values)]
    if not len(known):
        return float("nan"), float("nan"), 0
    return float(known.mean()), float(known.std(ddof=1)) if len(known) > 1 else float("nan"), len(known)


def _one_in(effect: Effect, field: Field, rows: np.ndarray, shown: np.ndarray) -> float:
    """One part in how many: the paste batches behind these doughs, for what a paste batch brings; 0 where none says."""
    if effect.shared_by != "kettle":
        return 0.0
    keys = set(field.text["paste_key"][rows & np.isfinite(shown)]) - {""}
    return 1 / len(keys) if keys else 0.0


def shift_of(effect: Effect, field: Field, shown: np.ndarray) -> Shift:
    """The driver's move and whether it is outside its own limits; `shown` is the driver in its own unit.

    Own limits: the baseline's batch-to-batch spread, batches near in time taken as alike, and doughs of one paste batch
    as one where the paste brings it (it travels by paste batch); outside is beyond
    `OUTSIDE` standard errors and not smaller than `Effect.least`.
    """
    before, sd, n0 = _mean(shown[field.base])
    after, _, n1 = _mean(shown[field.episode])
    if not (n0 > 2 and n1):
        return Shift(effect, before, after, sd, n0, n1, float("nan"), False)
    kettles = [_one_in(effect, field, rows, shown) for rows in (field.base, field.episode)]
    alike = max((1 + ALIKE * (n1 - 1)) / n1, kettles[1]) + max((1 + 4 * ALIKE) / n0, kettles[0])
    z = (after - before) / (max(sd, effect.least / 6, 1e-9) * np.sqrt(alike))
    outside = abs(z) > OUTSIDE and abs(after - before) >= effect.least
    return Shift(effect, before, after, sd, n0, n1, float(z), bool(outside))


def shifts(field: Field, found: Terms) -> dict[str, Shift]:
    """Every driver's move, by the effect's name."""
    return {e.name: shift_of(e, field, found.shown[:, k]) for k, e in enumerate(EFFECTS) if e.name != "water_curve"}


def told_by_level(field: Field, found: Terms, moves: dict[str, Shift]) -> float:
    """What the drivers outside their own limits take or give together by the trade's slopes, ln specific volume."""
    total = 0.0
    for k, effect in enumerate(EFFECTS):
        move = moves.get("water" if effect.name == "water_curve" else effect.name)
        if move is not None and move.outside:
            x = found.x[:, k] * (found.dry if effect.column == "usual_gap_points" else 1.0)
            total += effect.slope * float(x[field.episode].mean() - x[field.base].mean())
    return total
