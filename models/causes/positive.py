"""Positive evidence for handling: the spread within batches, gas kept, and recorded changes."""

from __future__ import annotations

import numpy as np

from models.causes.drivers import Shift
from models.causes.field import Field
from models.causes.hypotheses import Candidate
from models.plant import Plant
from models.shapes import Episode

HANDLING_WORDS = ("mould", "mold", "divid", "round", "sheet", "bench", "roll", "mixer", "mixing", "hook", "belt",
                  "transfer", "conveyor", "pan ", "gap", "pressure board")
SPREAD_OF_HANDLING, SPREAD_OF_HANDLING_SD = 0.34, 0.18
SPREAD_OTHERWISE_SD = 0.08
OVEN_SEEN = 2.5


def spread(field: Field, rows: np.ndarray) -> tuple[float, float]:
    """Pooled within-batch sd (share of the mean) and its degrees of freedom."""
    sd = field.num["specific_volume_sd"][rows] / field.num["specific_volume"][rows]
    df = field.num["loaves"][rows] - 1
    use = np.isfinite(sd) & (df >= 1) & (sd > 0)
    total = float(df[use].sum())
    return (float(np.sqrt((sd[use] ** 2 * df[use]).sum() / total)), total) if total else (float("nan"), 0.0)


def spread_ratio(field: Field) -> tuple[float, float]:
    """ln of episode's over baseline's within-batch spread, and its standard error."""
    before, df0 = spread(field, field.base)
    after, df1 = spread(field, field.episode)
    if not (df0 > 3 and df1 >= 1):
        return float("nan"), float("nan")
    return float(np.log(after / before)), float(np.sqrt(0.5 / df0 + 0.5 / df1))


def _log_density(x: float, mean: float, sd: float) -> float:
    return -0.5 * ((x - mean) / sd) ** 2 - np.log(sd)


def spread_evidence(field: Field) -> float:
    """Log likelihood ratio of the spread seen, handling against anything else."""
    ratio, error = spread_ratio(field)
    if not np.isfinite(ratio):
        return -1.0
    with_it = _log_density(ratio, SPREAD_OF_HANDLING, float(np.hypot(SPREAD_OF_HANDLING_SD, error)))
    without = _log_density(ratio, 0.0, float(np.hypot(SPREAD_OTHERWISE_SD, error)))
    return float(np.clip(with_it - without, -6.0, 6.0))


def handling_changes(plant: Plant, field: Field, episode: Episode, changes) -> list[str]:
    """Recorded changes to handling on this line, near the beginning of the episode."""
    if changes is None or not len(changes):
        return []
    line = field.streams[field.own][0]
    names = {line, getattr(plant.lines.get(line), "mixer", None)}
    rows = np.flatnonzero(field.episode)
    first = field.at[rows[0]]
    near = []
    for row in changes.itertuples(index=False):
        when = np.datetime64(row.changed_at, "us")
        what = str(row.what).lower()
        close = np.timedelta64(-18, "h") <= first - when <= np.timedelta64(30, "h")
        if close and row.name in names and any(w in what for w in HANDLING_WORDS):
            near.append(f"{row.what} ({row.scope} {row.name})")
    return near


def positive_evidence(plant: Plant, field: Field, episode: Episode, changes, candidates: tuple[Candidate, ...],
                      moves: dict[str, Shift]) -> dict[int, float]:
    """Log likelihood ratios that the spread, the gas kept, recorded changes and the bake loss give, by candidate."""
    value = spread_evidence(field)
    if handling_changes(plant, field, episode, changes):
        value += 3.0
    baked = OVEN_SEEN if moves["bake_loss"].outside else 0.0
    return {i: value if c.name == "handling" else baked for i, c in enumerate(candidates) if c.name in ("handling", "line", "oven")}
