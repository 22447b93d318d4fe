"""What each driver did in each batch: the terms of the response model, and each driver's own limits."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from models.causes import effects
from models.causes.effects import BY_NAME, EFFECTS, Effect
from models.causes.field import Field
from models.plant import Plant

POINTS_RANGE = (-9.0, 4.0)
DRY_AIR_PCT = 70.0
FRESH_H = 24.0
FULL_TOO_MUCH = 0.05


@dataclass(frozen=True)
class Terms:
    """Terms of the response model, n rows by len(EFFECTS), filled where not recorded (`known` says which).

    gas: the gas terms as they are, before lines that proof to a height answer less; NaN where not recorded.
    silent: rows whose water put back was not recorded. shown: each driver as its own limits judge it, in
    `Effect.unit`, NaN where not recorded.
    """

    x: np.ndarray
    gas: np.ndarray
    known: np.ndarray
    silent: np.ndarray
    shown: np.ndarray


def _gap(field: Field, name: str) -> np.ndarray:
    return field.num[name] - field.usual[name]


def _ratio(field: Field, name: str) -> np.ndarray:
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.log(field.num[name] / field.usual[name])


def _work(field: Field, gap: np.ndarray) -> np.ndarray:
    """Mixing against the usual, as a share, the stiffer dough of a dry batch allowed for."""
    energy = _ratio(field, "mix_energy_wh_kg") + effects.ENERGY_PER_POINT * np.where(np.isfinite(gap), gap, 0.0)
    return np.where(np.isfinite(energy), energy, _ratio(field, "mix_minutes"))


def _cook_limits(plant: Plant, field: Field) -> tuple[np.ndarray, np.ndarray]:
    usual = field.usual["paste_cook_temp_c"]
    low, high = np.full(len(field), np.nan), np.full(len(field), np.nan)
    for i, recipe in enumerate(field.text["recipe"]):
        if recipe in plant.pastes:
            low[i], high[i] = plant.pastes[recipe].cook_temp_c.warn
    low = np.fmin(low, usual - 2.0)
    return low, np.fmax(high, usual + 2.0)


def _shown(plant: Plant, field: Field) -> dict[str, np.ndarray]:
    gap = field.num["usual_gap_points"]
    own_gap = gap - field.usual["usual_gap_points"]
    work = _work(field, own_gap)
    cook = field.num["paste_cook_temp_c"]
    low, high = _cook_limits(plant, field)
    return {
        "water": own_gap, "water_curve": own_gap, "dose": _gap(field, "dose_pct"),
        "undercooked": np.maximum(low - cook, 0.0), "overcooked": np.maximum(cook - high, 0.0),
        "paste_temp": _gap(field, "paste_temp_c"), "paste_age": np.maximum(field.num["paste_age_h"] - FRESH_H, 0.0),
        "yeast_dose": 100 * np.expm1(_ratio(field, "yeast_pct")), "dough_temp": _gap(field, "dough_temp_c"),
        "proof_time": 100 * np.expm1(_ratio(field, "proof_minutes")), "proof_temp": _gap(field, "proof_temp_c"),
        "undermixed": 100 * np.maximum(-work, 0.0), "overmixed": 100 * np.maximum(work - FULL_TOO_MUCH, 0.0),
        "proof_dry": np.maximum(DRY_AIR_PCT - field.num["proof_rh_pct"], 0.0),
        "bake_loss": _gap(field, "bake_loss_pct"),
    }


def _term(effect: Effect, shown: dict[str, np.ndarray], field: Field) -> np.ndarray:
    value = shown[effect.name]
    if effect.name in ("water", "water_curve"):
        gap, usual = (np.clip(v, *POINTS_RANGE) for v in (field.num["usual_gap_points"], field.usual["usual_gap_points"]))
        return gap - usual if effect.name == "water" else gap**2 - usual**2
    if effect.name == "paste_temp":
        return np.where(np.isfinite(value), 0.0, np.nan)
    if effect.name in ("undermixed", "overmixed"):
        return value / 100
    return np.log1p(value / 100) if effect.relative else value


def _fill(x: np.ndarray, field: Field) -> np.ndarray:
    """Missing terms take their stream's mean of that day, else the usual (0)."""
    missing = ~np.isfinite(x)
    if not missing.any():
        return x
    out = np.where(missing, 0.0, x)
    for row in np.flatnonzero(missing):
        like = (field.stream == field.stream[row]) & (field.day == field.day[row]) & ~missing
        out[row] = out[like].mean() if like.any() else 0.0
    return out


def height_lines(plant: Plant, field: Field) -> np.ndarray:
    """Rows of lines that proof to a height: there the time answers, not the volume."""
    modes = {name: line.proof_mode for name, line in plant.lines.items()}
    return np.array([modes.get(line) == "height" for line in field.text["line"]], dtype=bool)


def _damped(x: np.ndarray) -> np.ndarray:
    """Gas terms, flattened where much more gas than usual no longer gives as much more volume."""
    gas = [i for i, e in enumerate(EFFECTS) if e.of_gas]
    index = sum(x[:, i] * EFFECTS[i].slope / effects.ELASTICITY for i in gas)
    over = np.maximum(index - effects.GAS_LIMIT, 0.0)
    factor = np.where(over > 0, 1 - np.minimum(3 * over**2 / np.maximum(index, 1e-9), 0.9), 1.0)
    out = x.copy()
    out[:, gas] *= factor[:, None]
    return out


def paste_share(plant: Plant, product: str) -> float:
    """°C of dough for 1 °C of paste, from the paste's part of the dough's heat; 0 where nothing is known."""
    made = plant.products.get(product)
    recipe = plant.pastes.get(made.paste or "") if made else None
    if made is None or recipe is None:
        return 0.0
    return min(made.paste_flour_pct / 100 * (1 + recipe.liquid_ratio) * effects.DOUGH_PER_PASTE_KG, 0.6)


def _warm_paste(plant: Plant, field: Field, shown: dict[str, np.ndarray]) -> None:
    """Share out an odd dough temperature between an odd paste and the rest, in place.

    What warmer or colder water made up for counts nothing: the paste is given at most the dough's own move.
    """
    paste = shift_of(BY_NAME["paste_temp"], field, shown["paste_temp"])
    dough = shift_of(BY_NAME["dough_temp"], field, shown["dough_temp"])
    move = dough.after - dough.before
    if not (np.isfinite(paste.z) and abs(move) > 0.1):
        return
    brought = paste_share(plant, field.streams[field.own][1]) * (paste.after - paste.before)
    part = float(np.clip(brought / move, 0.0, 1.0))
    shown["paste_brought"] = np.where(field.episode, part * shown["dough_temp"], 0.0)
    shown["dough_temp"] = shown["dough_temp"] - shown["paste_brought"]


def terms(plant: Plant, field: Field) -> Terms:
    """The terms of every measured batch."""
    shown = _shown(plant, field)
    _warm_paste(plant, field, shown)
    raw = np.column_stack([_term(e, shown, field) for e in EFFECTS])
    known = np.isfinite(raw)
    x = np.column_stack([_fill(raw[:, k], field) for k in range(len(EFFECTS))])
    gas = raw.copy()
    if "paste_brought" in shown:
        x[:, _PASTE_TEMP] = np.nan_to_num(shown["paste_brought"])
        gas[:, _DOUGH_TEMP] += x[:, _PASTE_TEMP]
    to_height = height_lines(plant, field)
    for k, e in enumerate(EFFECTS):
        if e.of_gas:
            answering = e.name in ("proof_time", "proof_temp")
            x[to_height, k] *= 0.0 if answering else effects.ELASTICITY_AT_HEIGHT / effects.ELASTICITY
    silent = field.text["water_made_good"] == "not recorded"
    return Terms(_damped(x), gas, known, silent, np.column_stack([shown[e.name] for e in EFFECTS]))


_PASTE_TEMP = [e.name for e in EFFECTS].index("paste_temp")
_DOUGH_TEMP = [e.name for e in EFFECTS].index("dough_temp")


@dataclass(frozen=True)
class Shift:
    """What one driver did from baseline to episode, in its own unit, against its own limits."""

    effect: Effect
    before: float
    after: float
    sd: float
    n_before: int
    n_after: int
    z: float
    outside: bool


def _recorded_mean(values: np.ndarray) -> tuple[float, float, int]:
    known = values[np.isfinite(values)]
    if not len(known):
        return float("nan"), float("nan"), 0
    return float(known.mean()), float(known.std(ddof=1)) if len(known) > 1 else float("nan"), len(known)


def shift_of(effect: Effect, field: Field, shown: np.ndarray) -> Shift:
    """The driver's move and whether it is outside its own limits; `shown` is the driver in its own unit.

    Own limits: the baseline's batch-to-batch spread, batches near in time taken as alike (correlation 0.15);
    outside is beyond 2.5 standard errors and not smaller than `Effect.least`. Common practice, no source.
    """
    before, sd, n0 = _recorded_mean(shown[field.base])
    after, _, n1 = _recorded_mean(shown[field.episode])
    if not (n0 > 2 and n1):
        return Shift(effect, before, after, sd, n0, n1, float("nan"), False)
    error = max(sd, effect.least / 6, 1e-9) * np.sqrt((1 + 0.15 * (n1 - 1)) / n1 + (1 + 0.15 * 4) / n0)
    z = (after - before) / error
    return Shift(effect, before, after, sd, n0, n1, float(z), bool(abs(z) > 2.5 and abs(after - before) >= effect.least))


def shifts(field: Field, found: Terms) -> dict[str, Shift]:
    """Every driver's move, by the effect's name."""
    return {e.name: shift_of(e, field, found.shown[:, k]) for k, e in enumerate(EFFECTS) if e.name != "water_curve"}


def named(name: str) -> Effect:
    """The declared effect of that name."""
    return BY_NAME[name]
