"""Evidence beside the volumes: spread within batches, gas kept, weight and bake loss, recorded changes, checks."""

from __future__ import annotations

import math
from collections import Counter
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from models.causes.drivers import Shift, ratio
from models.causes.effects import BAKE_LOSS_PER_POINT
from models.causes.field import Field
from models.causes.hypotheses import Candidate
from models.plant import Plant
from models.shapes import Episode, Points
from models.texts import texts

SPREAD_OF_HANDLING, SPREAD_OF_HANDLING_SD = 0.30, 0.16
SPREAD_OTHERWISE_SD = 0.05
"""ln of the within-batch spread under a handling fault, against the usual: 1.15 to 1.6 times; 1.1 otherwise. A gain by
handling is such a fault made good: as much less. Common practice, no source."""
NO_SPREAD = -1.0
KEPT_OF_HANDLING, KEPT_OF_HANDLING_SD, KEPT_OTHERWISE_SD = 3.5, 2.0, 1.2
"""Points of gas kept that a handling fault takes, and how much its mean differs otherwise."""
KEPT_OFF, KEPT_LEAST = 2.5, 2.0
"""Standard errors and points beyond which the gas kept is off. Common practice, no source."""
UNRECORDED_STEPS = ("line", "handling", "plant", "volumeter", "oven", "mixer", "proofer", "kettle")
EXPLAINED, HALF = -1.5, 0.5
"""For an unrecorded step besides drivers outside their limits that account for half of the change. Common practice, no
source; set on plants drawn apart from the benchmark's."""
SAME_GAS = 0.08
MOST, CHANGE_SEEN, OTHER_SEEN, CHECK_SEEN, CHECK_GOOD = 6.0, 3.0, 0.5, 5.0, -2.5
CHANGE_WRITTEN, CHANGE_LEAST = 0.5, 0.2
"""Chance that a change that began something stands in the log, and entries besides those counted that a log may be held to
have of the same kind. Common practice, no source."""
LOSS_OF_OVEN_SD, LOSS_OTHERWISE_SD = 1.1, 0.2
"""Points of bake loss that an oven's or a scale's fault moves, either way, and how much its mean differs otherwise. Common
practice, no source."""
LOSS_OF_WEIGHT = -89.0
"""Points of bake loss for the ln of the loaf's weight, where a loaf loses 11 % in the oven."""
CHECK_OFF, CHECK_WITHIN = 0.012, 0.006
CHANGE_BEFORE_H, CHANGE_AFTER_H = 24, 2


@dataclass(frozen=True)
class Change:
    """A recorded change near the beginning of an episode.

    says: log likelihood ratio for a change of its kind: the more such were written before then, the less one says.
    """

    at: np.datetime64
    scope: str
    name: str
    what: str
    about: str
    says: float = CHANGE_SEEN


@dataclass(frozen=True)
class Check:
    """What the checks of one instrument say: ln error before and after the episode began; NaN: no check.

    good_at: the last check that found it as before, ahead of the one `at`; NaT: none.
    """

    instrument: str
    before: float
    after: float
    at: np.datetime64
    good_at: np.datetime64 = np.datetime64("NaT")

    @property
    def moved(self) -> float:
        """By how much its readings went off, ln."""
        return self.after - (self.before if np.isfinite(self.before) else 0.0)


@dataclass(frozen=True)
class Signs:
    """All positive evidence about one episode. spread: ln ratio and its error; kept: points and error; NaN: none.

    volume, weight: change of ln volume and of ln weight with their errors; loss: points of bake loss and error.
    """

    spread: tuple[float, float]
    kept: tuple[float, float, str]
    volume: tuple[float, float]
    weight: tuple[float, float]
    loss: tuple[float, float]
    changes: tuple[Change, ...]
    volumeters: tuple[Check, ...]


def _pooled(field: Field, rows: np.ndarray) -> tuple[float, float]:
    """Pooled within-batch sd (share of the mean) and its degrees of freedom."""
    sd = field.num["specific_volume_sd"][rows] / field.num["specific_volume"][rows]
    df = field.num["loaves"][rows] - 1
    use = (df >= 1) & (sd > 0)
    total = float(df[use].sum())
    return (float(np.sqrt((sd[use] ** 2 * df[use]).sum() / total)), total) if total else (float("nan"), 0.0)


def _ln(field: Field, name: str) -> np.ndarray:
    with np.errstate(invalid="ignore", divide="ignore"):
        return np.asarray(np.log(field.num[name]))


def spread_ratio(field: Field) -> tuple[float, float]:
    """ln of the episode's over the baseline's within-batch spread, and its standard error."""
    before, df0 = _pooled(field, field.base)
    after, df1 = _pooled(field, field.episode)
    if not (df0 > 3 and df1 >= 1):
        return float("nan"), float("nan")
    return float(np.log(after / before)), float(np.sqrt(0.5 / df0 + 0.5 / df1))


def _moved(values: np.ndarray, field: Field) -> tuple[float, float]:
    """Change of the mean from baseline to episode, and its standard error."""
    before, after = values[field.base], values[field.episode]
    before, after = before[np.isfinite(before)], after[np.isfinite(after)]
    if len(before) < 3 or not len(after):
        return float("nan"), float("nan")
    sd = float(before.std(ddof=1))
    return float(after.mean() - before.mean()), float(
        sd * np.sqrt(1.5 / len(before) + (1 + 0.1 * len(after)) / len(after))
    )


def loss_move(field: Field, missing: np.ndarray) -> tuple[float, float]:
    """Points of bake loss against the baseline and the standard error: as recorded, else as the loaf's weight tells.

    missing: points of water that stayed out of each dough, below zero: what a dry dough loses less is no oven's. Where the
    bake loss was recorded, a weight that is off beside it is the divider's.
    """
    of_water = BAKE_LOSS_PER_POINT * missing
    size, error = _moved(field.num["bake_loss_pct"] - of_water, field)
    return (size, error) if np.isfinite(size) else _moved(LOSS_OF_WEIGHT * _ln(field, "baked_g") - of_water, field)


def kept_move(field: Field) -> tuple[float, float, str]:
    """Points of gas kept against the baseline, the standard error, and where the pieces were taken.

    Tests at another gas made are left out: weak yeast leaks later and looks better than it is.
    """
    fair = ~(np.abs(ratio(field, "gas_produced_ml")) > SAME_GAS)
    kept = np.where(fair, field.num["gas_kept_pct"], np.nan)
    places = sorted({str(v) for v in field.text["gas_sampled_after"][field.episode & np.isfinite(kept)] if v})
    return *_moved(kept, field), texts("evidence")["and"].join(places)


def height_apart(moves: dict[str, Shift], kept: tuple[float, float, str]) -> bool:
    """Is something seen to be off that takes from the height of a proof, the gas made as usual: a dough that keeps less of
    it, is dry, mixed otherwise or has a skin?"""
    points, error, _ = kept
    lost = np.isfinite(points) and abs(points) > max(KEPT_OFF * error, KEPT_LEAST)
    return bool(lost) or any(moves[name].outside for name in ("water", "dose", "undermixed", "overmixed", "proof_dry"))


def _about(what: str) -> str:
    """What a change is about, by the first words of the trade that fit. Common practice, no source."""
    said = what.lower()
    return next(
        (about for about, words in texts("changelog")["about"].items() if any(w in said for w in words)), "other"
    )


def changes_near(plant: Plant, field: Field, episode: Episode, points: Points, changes: Any) -> tuple[Change, ...]:
    """Recorded changes that may have begun the episode, by time and scope: this line, what it shares, its lots."""
    if changes is None or not len(changes):
        return ()
    line = plant.lines.get(field.line)
    shared = (line.kettle, line.mixer, line.proofer, line.oven) if line else ()
    names = {field.line, plant.plant} | {n for n in shared if n}
    for column in ("yeast_lot", "flour_lot", "volumeter", "scale"):
        names |= set(field.text[column][field.episode]) - {""}
    first = points.at[episode.began_low].astype("datetime64[us]") - np.timedelta64(CHANGE_BEFORE_H, "h")
    last = points.at[episode.began_high].astype("datetime64[us]") + np.timedelta64(CHANGE_AFTER_H, "h")
    found, before = [], Counter[str]()
    for row in changes.itertuples(index=False):
        at = np.datetime64(row.changed_at, "us")
        if row.scope == "plant" or row.name in names:
            about = "instrument" if row.scope == "instrument" else _about(str(row.what))
            if first <= at <= last:
                found.append(Change(at, str(row.scope), str(row.name), str(row.what), about))
            elif field.at[0] <= at < first:
                before[about] += 1
    watched = (first - field.at[0]) / (last - first)
    told = (replace(c, says=_says(before[c.about], watched)) for c in found)
    return tuple(sorted(told, key=lambda c: c.at))


def _says(before: int, watched: float) -> float:
    """What a recorded change near the beginning says for its kind. before: such entries before then; watched: how many times
    as long as what counts as near the time before then is."""
    chance = -math.expm1(-(before + CHANGE_LEAST) / max(watched, 1.0))
    return min(math.log(CHANGE_WRITTEN / chance + 1.0 - CHANGE_WRITTEN), CHANGE_SEEN)


def _of_changes(signs: Signs, about: str) -> float:
    """What the change log says for something of this kind: of several entries the one that says most, 0 without any."""
    return max((c.says for c in signs.changes if c.about == about), default=0.0)


def instrument_checks(field: Field, checks: Any, column: str, quantity: str) -> tuple[Check, ...]:
    """Checks of the instruments the episode was measured on: in the baseline, and the last in the episode or next after.

    The change is against the baseline: an instrument that went off before the episode is held to have begun is off. Without
    a check in the baseline's time, the last one before the episode.
    """
    if checks is None or not len(checks):
        return ()
    inside, usual, found = field.at[field.episode], field.at[field.base], []
    for name in sorted(set(field.text[column][field.episode]) - {""}):
        rows = checks[(checks["instrument"] == name) & (checks["quantity"] == quantity) & (checks["standard"] > 0)]
        rows = rows[rows["as_found"] > 0].sort_values("checked_at", kind="stable")
        error = np.log(rows["as_found"].to_numpy(dtype=float) / rows["standard"].to_numpy(dtype=float))
        at = rows["checked_at"].to_numpy(dtype="datetime64[us]")
        before, after = np.flatnonzero(at < inside[0]), np.flatnonzero(at >= inside[0])
        if len(error):
            within = after[at[after] <= inside[-1]]
            last = within[-1] if len(within) else after[0] if len(after) else -1
            then = before[(at[before] >= usual[0]) & (at[before] <= usual[-1])]
            sound = float(np.median(error[then])) if len(then) else float(error[before[-1]]) if len(before) else np.nan
            good = np.flatnonzero((np.abs(error - sound) <= CHECK_OFF) & (at < at[last]))
            found.append(
                Check(
                    name,
                    sound,
                    float(error[last]) if len(after) else float("nan"),
                    at[last],
                    at[good[-1]] if len(good) else np.datetime64("NaT"),
                )
            )
    return tuple(found)


def read_signs(
    plant: Plant, field: Field, missing: np.ndarray, episode: Episode, points: Points, changes: Any, checks: Any
) -> Signs:
    """All positive evidence about one episode. missing: points of water that stayed out of each dough."""
    return Signs(
        spread_ratio(field),
        kept_move(field),
        _moved(_ln(field, "volume_ml"), field),
        _moved(_ln(field, "baked_g"), field),
        loss_move(field, missing),
        changes_near(plant, field, episode, points, changes),
        instrument_checks(field, checks, "volumeter", "volume"),
    )


def _log_ratio(x: float, error: float, here: tuple[float, float], other_sd: float) -> float:
    """Log likelihood ratio of x under N(here) against N(0, other_sd), x known with `error`; held within MOST."""
    with_it, without = np.hypot(here[1], error), np.hypot(other_sd, error)
    value = -0.5 * ((x - here[0]) / with_it) ** 2 - np.log(with_it) + 0.5 * (x / without) ** 2 + np.log(without)
    return float(np.clip(value, -MOST, MOST))


def _of_spread(signs: Signs, direction: float) -> float:
    """What the spread within batches says for handling, which costs volume and evenness together: a gain evens out.

    A spread that went the other way says as much against handling as one that stayed.
    """
    ratio, error = signs.spread
    if not np.isfinite(ratio):
        return NO_SPREAD
    more = max(-direction * ratio, 0.0)
    return _log_ratio(more, error, (SPREAD_OF_HANDLING, SPREAD_OF_HANDLING_SD), SPREAD_OTHERWISE_SD)


def _of_kept(signs: Signs, direction: float) -> float:
    """What the gas kept says for a dough that keeps less (more) of it."""
    points, error, _ = signs.kept
    if not np.isfinite(points):
        return 0.0
    return _log_ratio(direction * points, error, (KEPT_OF_HANDLING, KEPT_OF_HANDLING_SD), KEPT_OTHERWISE_SD)


def _for_handling(signs: Signs, direction: float, too_far: bool) -> float:
    """too_far: the proof is seen to have gone too far, which spreads the loaves by itself."""
    kept, spread = _of_kept(signs, direction), _of_spread(signs, direction)
    value = (min(spread, 0.0) if too_far else spread) + (kept if "moulder" in signs.kept[2] else max(kept, 0.0))
    return value + _of_changes(signs, "handling")


def tells_of_proof(field: Field, signs: Signs) -> bool:
    """Does anything tell of the proof where its time and temperature were not recorded: heights, or a recorded change?"""
    height = np.isfinite(field.num["proof_height_mm"][field.episode]).any()
    return bool(height) or any(c.about == "proof" for c in signs.changes)


def weight_moved(signs: Signs, change: float) -> bool:
    """Does the loaf's weight, not its volume, account for about half of the change and more?"""
    size, error = signs.weight
    return bool(np.isfinite(size) and abs(size) > 3 * error and 0.4 < -size / change < 1.6)


def _of_baking(signs: Signs) -> float:
    """What bake loss says for an oven or a scale; 0 where neither it nor the loaf's weight is known."""
    points, error = signs.loss
    return _log_ratio(points, error, (0.0, LOSS_OF_OVEN_SD), LOSS_OTHERWISE_SD) if np.isfinite(points) else 0.0


def _of_checks(signs: Signs, change: float) -> float:
    """What the volumeter's checks say: off the change's way, or good."""
    known = [c for c in signs.volumeters if np.isfinite(c.after)]
    if any(abs(c.moved) > CHECK_OFF and np.sign(c.moved) == np.sign(change) for c in known):
        return CHECK_SEEN
    return CHECK_GOOD if any(abs(c.after) < CHECK_WITHIN for c in known) else 0.0


def of_coincidence(level: float, change: float) -> float:
    """What is taken from anything unrecorded where drivers outside their own limits say enough by themselves.

    level: what they do together by the trade's slopes, ln. Two faults that have nothing to do with each other seldom begin
    together, and the one that is seen is the likelier to be larger than the trade's slope says.
    """
    return EXPLAINED if level * np.sign(change) >= HALF * abs(change) else 0.0


def weight_of(candidates: tuple[Candidate, ...], signs: Signs, change: float, level: float = 0.0) -> np.ndarray:
    """Log likelihood ratios for each candidate. change: ln specific volume; level: what drivers outside their limits do.

    What stands for more than one piece of equipment has the evidence of that which speaks for it most. A weak flour keeps
    less gas, too; where nobody wrote its lot down it is the plant's.
    """
    about, sign = {c.about for c in signs.changes}, float(np.sign(change))
    flour_named = _of_changes(signs, "flour") / 2
    flour = max(_of_kept(signs, sign), 0.0) + flour_named
    written = any(c.kind == "flour lot" for c in candidates)
    oven, checked, besides = _of_baking(signs), _of_checks(signs, change), of_coincidence(level, change)
    of_equipment = {"oven": oven + _of_changes(signs, "oven"), "volumeter": checked}
    of_kind = {
        "handling": _for_handling(signs, sign, any(c.kind == "overproof" for c in candidates)),
        "overproof": max(_of_spread(signs, -1.0), 0.0),
        "line": OTHER_SEEN if "other" in about else 0.0,
        "flour lot": flour,
        "plant": flour_named if written else flour,
        "proof": _of_changes(signs, "proof"),
        "yeast lot": _of_changes(signs, "yeast") / 2,
    }
    out = []
    for c in candidates:
        equipment = [of_equipment[kind] for kind in (c.kind, *c.stands_for) if kind in of_equipment]
        alone = c.kind in of_equipment and not c.stands_for
        own = besides if c.inside and c.kind in UNRECORDED_STEPS else 0.0
        out.append(own + of_kind.get(c.kind, 0.0) + (sum(equipment) if alone else max([0.0, *equipment])))
    return np.array(out)
