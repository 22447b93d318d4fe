"""Limit alerts: an action limit, a safety or a legal rule broken, one alert an episode.

An episode runs from the first batch beyond the limit; it is over when the next three batches that could
be judged are inside again. Dough temperature signals on one batch beyond the action limit, or two of
three beyond the same warning limit.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from models.judging import derive
from models.shapes import Direction

if TYPE_CHECKING:
    from models.plant import Plant

GOOD_TO_END = 3
Sides = dict[Direction, tuple[np.ndarray, np.ndarray, np.ndarray]]


@dataclass(frozen=True)
class Family:
    """Rules that together make one kind of limit alert."""

    characteristic: str
    table: str  # pastes or batches
    column: str
    unit: str
    rules: tuple[str, ...]


FAMILIES: tuple[Family, ...] = (
    Family("cook temperature", "pastes", "cook_temp_c", "°C", ("pastes.cook-temperature.action",)),
    Family("paste loss", "pastes", "loss_pct", "% of Wb", ("pastes.loss.action", "pastes.points.action")),
    Family("kettle overdrawn", "pastes", "overdrawn_kg", "kg", ("pastes.overdrawn.action",)),
    Family("cooling", "pastes", "cooling_over_c", "°C", ("pastes.cooling",)),
    Family(
        "dough temperature",
        "batches",
        "dough_temp_c",
        "°C",
        ("batches.dough-temperature.action", "batches.dough-temperature.warning"),
    ),
    Family("specific volume", "batches", "specific_volume", "mL/g", ("batches.specific-volume",)),
    Family("paste recipe", "batches", "paste_kg", "kg", ("batches.paste-of-another-recipe",)),
    Family("allergen", "batches", "paste_kg", "kg", ("batches.undeclared-allergen",)),
    Family("paste age", "batches", "paste_age_h", "h", ("batches.paste-age.action",)),
)


# what an episode is made of; a stream has years of batches, and their other columns are not copied
OF_BATCHES = ["batch_key", "mixed_at", "line", "product", "recipe", "usual_gap_points"]
OF_BATCHES += dict.fromkeys(family.column for family in FAMILIES if family.table == "batches")


@dataclass(frozen=True)
class Run:
    """One episode of a limit broken. Positions are into `keys`, the stream's batches in order of production.

    until: the last batch beyond the limit, so never before the one that signalled.
    """

    family: Family
    line: str | None
    kettle: str | None
    product: str | None
    direction: Direction
    keys: tuple[str, ...]
    at: Sequence[pd.Timestamp]
    values: tuple[float, ...]
    began: int
    signalled: int
    until: int
    broken: tuple[int, ...]
    over: bool
    level: float
    says: str
    recipe: str | None = None


def runs(plant: Plant, pastes: pd.DataFrame, batches: pd.DataFrame, findings: pd.DataFrame) -> list[Run]:
    """Every episode of every limit family. findings: as the store keeps them (rule, kind, key, value, says)."""
    wide = {"pastes": pastes, "batches": batches}
    by = {"pastes": ["kettle"], "batches": ["line", "product"]}
    streams: dict[tuple[str, ...], pd.DataFrame] = {}
    found = []
    for family in FAMILIES:
        broken = findings[findings["rule"].isin(family.rules)]
        if broken.empty:
            continue
        says = broken.drop_duplicates("key").set_index("key")["says"]
        key = "paste_key" if family.table == "pastes" else "batch_key"
        rows = wide[family.table]
        mine = rows.loc[rows[key].isin(broken["key"]), by[family.table]]
        for names in sorted(set(mine.itertuples(index=False, name=None))):
            if (family.table, *names) not in streams:
                chosen = np.logical_and.reduce([rows[c] == v for c, v in zip(by[family.table], names, strict=True)])
                streams[family.table, *names] = _judged(plant, family.table, rows, chosen)
            found += _of_stream(family, streams[family.table, *names], key, broken, says)
    return found


def _judged(plant: Plant, table: str, rows: pd.DataFrame, chosen: np.ndarray) -> pd.DataFrame:
    """One stream's batches with their limits: only streams that broke one are asked for."""
    if table == "pastes":
        return derive.pastes_and_limits(rows[chosen], plant)
    return derive.batches_and_limits(rows.loc[chosen, OF_BATCHES], plant)


def _of_stream(family: Family, rows: pd.DataFrame, key: str, broken: pd.DataFrame, said: pd.Series) -> list[Run]:
    at = "cook_end" if family.table == "pastes" else "mixed_at"
    keys, times = tuple(rows[key].to_numpy(dtype=object)), rows[at].array
    values = tuple(rows[family.column].to_numpy(dtype=float).tolist())
    runs_found = []
    for direction, marks in _sides(family, rows, key, broken).items():
        for began, signalled, until, over, hits in episodes(*marks):
            says = said[keys[signalled]] if keys[signalled] in said.index else ""
            where = _place(family, rows, began)
            level = _level(family, rows, began)
            runs_found.append(
                Run(
                    family,
                    *where[:3],
                    direction,
                    keys,
                    times,
                    values,
                    began,
                    signalled,
                    until,
                    hits,
                    over,
                    level,
                    says,
                    where[3],
                )
            )
    return runs_found


def _place(family: Family, rows: pd.DataFrame, began: int) -> tuple[str | None, str | None, str | None, str | None]:
    """Line, kettle, product and (a kettle's) recipe of an episode."""
    if family.table == "pastes":
        return None, rows["kettle"].iloc[0], None, rows["recipe"].iloc[began]
    return rows["line"].iloc[0], None, rows["product"].iloc[0], None


def _level(family: Family, rows: pd.DataFrame, began: int) -> float:
    """Where no chart has a level yet: the middle of the warning limits, the usual loss, the limit itself, or nothing."""
    row = rows.iloc[began]
    middle = {
        "cook temperature": ("cook_warn_low", "cook_warn_high"),
        "dough temperature": ("dough_warn_low", "dough_warn_high"),
        "specific volume": ("sv_low", "sv_high"),
    }.get(family.characteristic)
    if middle:
        return float(row[list(middle)].mean())
    own = {"paste loss": "usual_loss_pct", "paste age": "age_act"}.get(family.characteristic)
    return float(row[own]) if own else 0.0


def _sides(family: Family, rows: pd.DataFrame, key: str, broken: pd.DataFrame) -> Sides:
    """direction -> (signals, beyond, judged), one flag a row."""
    action = rows[key].isin(broken.loc[~broken["rule"].str.endswith(".warning"), "key"]).to_numpy()
    judged = (
        rows[family.column].notna() if family.characteristic != "cooling" else rows["cooling_judged"].notna()
    ).to_numpy()
    limits = {
        "cook temperature": "cook_act",
        "paste loss": "loss_act",
        "dough temperature": "dough_act",
        "specific volume": "sv",
    }
    limit = limits.get(family.characteristic)
    if limit is None:
        return {"high": (action, action, judged)}
    low = action & (rows[family.column] < rows[f"{limit}_low"]).to_numpy()
    sides: Sides = {"low": (low, low, judged), "high": (action & ~low, action & ~low, judged)}
    return _two_of_three(rows, sides) if family.characteristic == "dough temperature" else sides


def _two_of_three(rows: pd.DataFrame, sides: Sides) -> Sides:
    value = rows["dough_temp_c"].to_numpy()
    beyond: dict[Direction, np.ndarray] = {
        "low": value < rows["dough_warn_low"].to_numpy(),
        "high": value > rows["dough_warn_high"].to_numpy(),
    }
    result: Sides = {}
    for side, (action, _, judged) in sides.items():
        warned = beyond[side]
        recent = np.convolve(warned.astype(int), np.ones(3, dtype=int))[: len(warned)]
        result[side] = (action | (warned & (recent >= 2)), warned, judged)
    return result


def episodes(
    signals: np.ndarray, beyond: np.ndarray, judged: np.ndarray
) -> list[tuple[int, int, int, bool, tuple[int, ...]]]:
    """Group flags into episodes: (began, signalled, until, over, the batches beyond), positions in order.

    began: the first batch beyond the limit that leads to the signal without three good ones between.
    """
    out = beyond | signals
    places, good = np.flatnonzero(out), np.cumsum(judged & ~out)
    found = []
    for hits in np.split(places, np.flatnonzero(np.diff(good[places]) >= GOOD_TO_END) + 1):
        signalled = hits[signals[hits]]
        if len(signalled):
            over = bool(good[-1] - good[hits[-1]] >= GOOD_TO_END)
            found.append((int(hits[0]), int(signalled[0]), int(hits[-1]), over, tuple(hits.tolist())))
    return found


def from_chart(run: Run, level: float | None) -> Run:
    """The run measured from the level of its chart's baseline, where that has one."""
    return run if level is None else replace(run, level=level)


def change(run: Run) -> float:
    """Mean of the judged values from began to until, less the level; 0 where there is nothing to average."""
    values = np.array(run.values[run.began : run.until + 1])
    return float(np.nanmean(values)) - run.level if np.isfinite(values).any() else 0.0


def last_good(keys: Sequence[str] | np.ndarray, began: int) -> str | None:
    """The batch before the episode began; None where it began with the first."""
    return str(keys[began - 1]) if began > 0 else None
