"""Proofed too far: more gas than usual, and less volume for it, because the dough could not hold it.

A proof that was lengthened to make good a low volume is none: its height is no more than the usual.
"""

from __future__ import annotations

import numpy as np

from models.causes import effects
from models.causes.drivers import ALIKE, Terms, gas_index, ratio
from models.causes.effects import PLACE, size_text
from models.causes.field import Field
from models.causes.hypotheses import Candidate
from models.causes.rows import Design
from models.shapes import Episode, Group
from models.texts import texts

FAR_HIGH, SURELY, FEWEST = 0.06, 3.0, 3
"""ln of the proof height above the usual from which a proof may have gone too far, in how many standard errors, by how many
heights at least. Common practice, no source: a fault of the oven that stops a line gives a tenth."""
FAR_GAS = 0.28
"""The same of the gas made, ln, by what was recorded where no heights were: four degrees. Common practice, no source."""
HALF = 0.5
CHANCE, FALL_SD = 0.5, 0.12
"""Chance that volume fell by it where the proof went too far, and how much, ln: 3 to 10 %, and what so much gas is held to
have given. Common practice, no source."""


def _too_high(field: Field, high: np.ndarray, rows: np.ndarray, usual: np.ndarray) -> bool | None:
    """Do these rows' heights lie far above the usual; None: too few heights."""
    now, before = high[rows], high[usual]
    now, before = now[np.isfinite(now)], before[np.isfinite(before)]
    if len(now) < min(FEWEST, int(rows.sum())) or len(before) < FEWEST or not len(now):
        return None
    error = float(before.std(ddof=1)) * np.sqrt((1 + ALIKE * (len(now) - 1)) / len(now))
    return bool(now.mean() - before.mean() > max(FAR_HIGH, SURELY * error))


def too_far(field: Field, found: Terms) -> np.ndarray | None:
    """Rows of the lines that were proofed too far since the episode began; None where the traced line was not."""
    since, out = field.since(), np.zeros(len(field), dtype=bool)
    first = field.at[field.episode][0]
    high, gas = ratio(field, "proof_height_mm"), gas_index(found.gas, True)
    for s in np.unique(field.stream[since]):
        mine = field.stream == s
        rows, usual = mine & since, field.base if s == field.own else mine & (field.at < first)
        told = _too_high(field, high, rows, usual)
        if told is None:
            told = bool(usual.any() and gas[rows].mean() - gas[usual].mean() > FAR_GAS)
        out |= rows & told
    return out if out[field.episode].any() else None


def _gas_above(field: Field, found: Terms) -> float:
    """ln of the episode's gas above the baseline's, by what was recorded."""
    gas = gas_index(found.gas, True)
    return float(gas[field.episode].mean() - gas[field.base].mean())


def _by_the_paste(field: Field, found: Terms, unmeasured: float) -> bool:
    """Did most of the gas too much come with a warm paste? unmeasured: chance that an odd dough's did, its paste not measured."""
    warm = np.nan_to_num(found.gas[:, PLACE["dough_temp"]])
    measured = bool(np.isfinite(found.shown[field.episode, PLACE["paste_temp"]]).any())
    brought = warm - np.nan_to_num(found.shown[:, PLACE["dough_temp"]]) if measured else warm
    part = effects.GAS_OF_DEGREE * float(brought[field.episode].mean() - brought[field.base].mean())
    return (measured or unmeasured > HALF) and part > HALF * max(_gas_above(field, found), 0.0)


def _says(field: Field, found: Terms) -> str:
    """By its height where that was measured, else by the gas that was recorded."""
    t, high = texts("causes")["driver"], ratio(field, "proof_height_mm")[field.episode]
    if np.isfinite(high).any():
        return t["proofed_high"].format(size=size_text(100 * np.expm1(np.nanmean(high))))
    return t["proofed_far"].format(size=size_text(100 * np.expm1(_gas_above(field, found))))


def suspect(field: Field, found: Terms, episode: Episode, model: Design, unmeasured: float) -> tuple[Candidate, ...]:
    """The proof that went too far, of a fall and where something tells of it: yeast's, or the paste's that warmed the dough."""
    rows = too_far(field, found) if episode.direction == "low" else None
    if rows is None:
        return ()
    group: Group = "paste" if _by_the_paste(field, found, unmeasured) else "yeast"
    column = model.column(rows.astype(float))
    return (Candidate("overproof", field.line, group, _says(field, found), column, FALL_SD, CHANCE),)
