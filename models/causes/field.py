"""The measured batches that a call is made from, as plain arrays: what was recorded, and what is usual."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from models.causes.effects import EFFECTS
from models.plant import Plant
from models.shapes import Baseline, Episode, Points, Stream

if TYPE_CHECKING:
    from pandas import DataFrame

NUMBERS: tuple[str, ...] = tuple(
    dict.fromkeys(
        [
            *(e.column for e in EFFECTS),
            "mix_minutes",
            "paste_loss_pct",
            "gas_produced_ml",
            "gas_kept_pct",
            "gas_tests",
            "lot_gas_ml",
            "lot_gas_tests",
            "proof_height_mm",
            "volume_ml",
            "baked_g",
            "scaled_g",
            "loaves",
            "specific_volume",
            "specific_volume_sd",
        ]
    )
)
TEXTS: tuple[str, ...] = (
    "batch_key",
    "dough_batch",
    "line",
    "product",
    "yeast_lot",
    "flour_lot",
    "paste_key",
    "kettle",
    "recipe",
    "water_made_good",
    "gas_sampled_after",
    "thermometer",
    "volumeter",
    "scale",
)
FEWEST_BASELINE = 5
"""Batches a baseline must have before anything is traced against it."""


@dataclass(frozen=True)
class Field:
    """All measured batches of the plant's open lines, in order of mixing; arrays of one length n.

    num, text: recorded columns (NaN, "" where not recorded). usual: what each number is usually, on that row's line
    and product. stream: index into `streams`; own: the traced one. base, episode: rows of the traced stream in its
    baseline and in the episode. y: ln specific volume. hours: time of mixing, hours since the first row.
    """

    num: dict[str, np.ndarray]
    text: dict[str, np.ndarray]
    usual: dict[str, np.ndarray]
    stream: np.ndarray
    streams: tuple[tuple[str, str], ...]
    own: int
    base: np.ndarray
    episode: np.ndarray
    at: np.ndarray
    hours: np.ndarray
    day: np.ndarray
    y: np.ndarray

    def __len__(self) -> int:
        return len(self.y)

    @property
    def line(self) -> str:
        """The traced line."""
        return self.streams[self.own][0]

    @property
    def product(self) -> str:
        """The traced product."""
        return self.streams[self.own][1]

    @property
    def traceable(self) -> bool:
        """Is there an episode, and enough of a baseline to hold it against?"""
        return bool(self.episode.any()) and int(self.base.sum()) >= FEWEST_BASELINE

    def since(self) -> np.ndarray:
        """Rows of any line mixed from the episode's first to its last batch."""
        rows = np.flatnonzero(self.episode)
        return (self.at >= self.at[rows[0]]) & (self.at <= self.at[rows[-1]])

    def lasting(self) -> np.ndarray:
        """Rows of any line that the episode lasts over: those since it began, and where it goes on those mixed after its last
        batch, too."""
        goes_on = bool(self.episode[np.flatnonzero(self.stream == self.own)[-1]])
        return self.at >= self.at[self.episode].min() if goes_on else self.since()


def _numbers(frame: DataFrame, name: str) -> np.ndarray:
    if name not in frame.columns:
        return np.full(len(frame), np.nan)
    return np.asarray(frame[name].to_numpy(dtype=float, na_value=np.nan))


def _texts(frame: DataFrame, name: str) -> np.ndarray:
    if name not in frame.columns:
        return np.full(len(frame), "", dtype=object)
    return np.array([v if isinstance(v, str) else "" for v in frame[name].to_numpy(dtype=object)], dtype=object)


def _measured(plant: Plant, batches: DataFrame) -> DataFrame:
    """Batches with a specific volume, of lines whose lid does not fix it, in order of mixing."""
    lidded = {name for name, line in plant.lines.items() if line.lidded}
    frame = batches[(batches["specific_volume"] > 0) & ~batches["line"].isin(lidded)]
    return frame.sort_values(["mixed_at", "batch_key"], kind="stable")


def baseline_keys(baseline: Baseline, points: Points) -> set[str]:
    """Keys of the points the baseline was made of: from its first to its last, less those it left out."""
    keys = [str(k) for k in points.keys]
    first = keys.index(baseline.first_key) if baseline.first_key in keys else 0
    last = keys.index(baseline.last_key) if baseline.last_key in keys else min(baseline.batches, len(keys)) - 1
    return set(keys[first : last + 1]) - {key for key, _ in baseline.excluded}


def episode_keys(episode: Episode, points: Points) -> set[str]:
    """Keys of the points the call speaks of: began to until, inclusive."""
    return {str(k) for k in points.keys[episode.began : episode.until + 1]}


def _is_in(values: np.ndarray, wanted: set[str]) -> np.ndarray:
    return np.array([v in wanted for v in values], dtype=bool)


def _base_rows(keys: np.ndarray, mine: np.ndarray, episode: np.ndarray, wanted: set[str]) -> np.ndarray:
    """The baseline's rows; where an early episode lies inside it, what else the stream has stands in."""
    base = mine & _is_in(keys, wanted) & ~episode
    return base if base.sum() >= FEWEST_BASELINE else mine & ~episode


def _reference(stream: np.ndarray, base: np.ndarray, early: np.ndarray) -> np.ndarray:
    """Rows that say what is usual for each stream: its baseline, else the same span of time, else all of it."""
    use = np.zeros(len(stream), dtype=bool)
    for s in np.unique(stream):
        rows = stream == s
        own = rows & base
        if not own.any():
            own = rows & early if (rows & early).sum() >= 8 else rows
        use |= own
    return use


def _usual(values: np.ndarray, stream: np.ndarray, use: np.ndarray) -> np.ndarray:
    out = np.full(len(values), np.nan)
    for s in np.unique(stream):
        rows = stream == s
        known = values[rows & use & np.isfinite(values)]
        known = known if len(known) else values[rows & np.isfinite(values)]
        if len(known):
            out[rows] = np.median(known)
    return out


def read(
    plant: Plant, batches: DataFrame, stream: Stream, baseline: Baseline, episode: Episode, points: Points
) -> Field:
    """The measured batches of the plant as arrays; see `Field`."""
    frame = _measured(plant, batches)
    num = {name: _numbers(frame, name) for name in NUMBERS}
    text = {name: _texts(frame, name) for name in TEXTS}
    pairs = list(zip(text["line"], text["product"], strict=True))
    mine = (stream.line or "", stream.product or "")
    streams = tuple(sorted({*pairs, mine}))
    place = {pair: i for i, pair in enumerate(streams)}
    index = np.array([place[pair] for pair in pairs], dtype=int)
    at = frame["mixed_at"].to_numpy(dtype="datetime64[us]")
    inside = _is_in(text["batch_key"], episode_keys(episode, points))
    base = _base_rows(text["batch_key"], index == place[mine], inside, baseline_keys(baseline, points))
    use = _reference(index, base, at <= np.datetime64(baseline.last_at, "us"))
    hours = (at - at[0]) / np.timedelta64(1, "h") if len(at) else np.empty(0)
    return Field(
        num,
        text,
        {name: _usual(v, index, use) for name, v in num.items()},
        index,
        streams,
        place[mine],
        base,
        inside,
        at,
        hours,
        frame["shift_date"].to_numpy(dtype="datetime64[D]"),
        np.log(num["specific_volume"]),
    )
