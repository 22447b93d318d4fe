"""What an unusual driver does while the episode lasts, beyond what its everyday scatter teaches: its level has a slope of its own."""

from __future__ import annotations

import numpy as np

from models.causes.drivers import Terms
from models.causes.effects import BY_NAME, PLACE, Effect
from models.causes.field import Field

SLOPE_NOW = 0.4
"""How far what a driver's everyday scatter teaches may be from what it does when it moves and stays, as a share of the slope."""
FEWEST_TO_RISE = 8
"""Batches of a stream from which a driver may rise or fall within the episode; common practice, no source."""


def now_columns(field: Field, found: Terms, unusual: tuple[str, ...]) -> np.ndarray:
    """Levels of the unusual drivers while the episode lasts, on all lines, scaled to an effect of the trade's size."""
    since, out = field.since(), np.zeros((len(field), len(unusual)))
    for i, name in enumerate(unusual):
        effect = BY_NAME[name]
        x = found.x[:, PLACE[name]] * np.where(name == "water", found.dry, 1.0)
        out[:, i] = _levels(x, field, since) * _size(effect)
    return out


def _size(effect: Effect) -> float:
    """An effect of the trade's size for one unit of the driver's term, ln."""
    return max(abs(effect.slope), effect.slope_sd)


def _levels(x: np.ndarray, field: Field, rows: np.ndarray) -> np.ndarray:
    """A straight line through each stream's `rows`, 0 elsewhere: what a driver moved by, its batches' scatter left out."""
    out = np.zeros(len(x))
    for s in np.unique(field.stream[rows]):
        mine = rows & (field.stream == s)
        t = field.hours[mine] - field.hours[mine].mean()
        rises = float(t @ x[mine] / (t @ t)) if len(t) >= FEWEST_TO_RISE and t.any() else 0.0
        out[mine] = x[mine].mean() + rises * t
    return out


def everyday(cov: np.ndarray, unusual: tuple[str, ...], coefficient: tuple[int, ...]) -> np.ndarray:
    """Prior covariance of the slopes and, after them, of the unusual drivers' effects beyond them.

    The trade's slope is how volume answers to a driver that moved and stayed; scatter from batch to batch, read with an
    error, may show less of it (or more).
    """
    p = len(cov)
    out = np.zeros((p + len(unusual), p + len(unusual)))
    out[:p, :p] = cov
    for i, name in enumerate(unusual):
        j, size = coefficient[PLACE[name]], _size(BY_NAME[name])
        out[j, j] += (SLOPE_NOW * size) ** 2
        out[j, p + i] = out[p + i, j] = -(SLOPE_NOW**2) * size
        out[p + i, p + i] = SLOPE_NOW**2
    return out
