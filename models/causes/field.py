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

NUMBERS: tuple[str, ...] = tuple(dict.fromkeys(
    [e.column for e in EFFECTS]
    + ["mix_minutes", "paste_loss_pct", "gas_produced_ml", "gas_kept_pct", "gas_tests", "lot_gas_ml",
       "lot_gas_tests", "proof_height_mm", "volume_ml", "baked_g", "loaves", "specific_volume",
       "specific_volume_sd"]))
TEXTS: tuple[str, ...] = ("batch_key", "dough_batch", "line", "product", "yeast_lot", "flour_lot", "paste_key",
                          "kettle", "recipe", "water_made_good", "gas_sampled_after", "thermometer", "volumeter",
                          "scale", "method", "paste_dose")


@dataclass(frozen=True)
class Field:
    """All measured batches of the plant's open lines, in order of mixing; arrays of one length n.

    num, text: recorded columns (NaN, "" where not recorded). usual: the reference value of each number for
    that row's line and product. stream: index into `streams`. base, episode: rows of the traced stream in
    its baseline and in the episode. y: ln specific volume. hours: time of mixing, hours since the first row.
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


def _texts(values) -> np.ndarray:
    found = np.array(values, dtype=object)
    return np.array([v if isinstance(v, str) else "" for v in found], dtype=object)


def _column(frame: DataFrame, name: str) -> np.ndarray:
    if name not in frame.columns:
        return np.full(len(frame), np.nan)
    return np.asarray(frame[name].to_numpy(dtype=float, na_value=np.nan))


def _text_column(frame: DataFrame, name: str) -> np.ndarray:
    if name not in frame.columns:
        return np.full(len(frame), "", dtype=object)
    return _texts(frame[name].to_numpy(dtype=object))


def _measured(plant: Plant, batches: DataFrame) -> DataFrame:
    lidded = {name for name, line in plant.lines.items() if line.lidded}
    frame = batches[batches["specific_volume"].notna() & (batches["specific_volume"] > 0)]
    frame = frame[~frame["line"].isin(lidded)]
    return frame.sort_values(["mixed_at", "batch_key"], kind="stable")


def baseline_keys(baseline: Baseline, points: Points) -> set[str]:
    """Keys of the points the baseline was made of: from its first to its last, less those it left out."""
    keys = [str(k) for k in points.keys]
    first = keys.index(baseline.first_key) if baseline.first_key in keys else 0
    last = keys.index(baseline.last_key) if baseline.last_key in keys else min(baseline.batches, len(keys)) - 1
    return set(keys[first:last + 1]) - {key for key, _ in baseline.excluded}


def episode_keys(episode: Episode, points: Points) -> list[str]:
    """Keys of the points the call speaks of: began to until, inclusive."""
    return [str(k) for k in points.keys[episode.began:episode.until + 1]]


def _reference(field_stream: np.ndarray, base: np.ndarray, early: np.ndarray) -> np.ndarray:
    """Rows that say what is usual for each stream: its baseline, else the same span of time, else all."""
    use = np.zeros(len(field_stream), dtype=bool)
    for s in np.unique(field_stream):
        rows = field_stream == s
        if (rows & base).any():
            use |= rows & base
        elif (rows & early).sum() >= 8:
            use |= rows & early
        else:
            use |= rows
    return use


def _usual(values: np.ndarray, stream: np.ndarray, use: np.ndarray) -> np.ndarray:
    out = np.full(len(values), np.nan)
    for s in np.unique(stream):
        rows = stream == s
        known = values[rows & use & np.isfinite(values)]
        if not len(known):
            known = values[rows & np.isfinite(values)]
        if len(known):
            out[rows] = np.median(known)
    return out


def read(plant: Plant, batches: DataFrame, stream: Stream, baseline: Baseline, episode: Episode,
         points: Points) -> Field:
    """The measured batches of the plant as arrays; see `Field`."""
    frame = _measured(plant, batches)
    num = {name: _column(frame, name) for name in NUMBERS}
    text = {name: _text_column(frame, name) for name in TEXTS}
    pairs = list(zip(text["line"], text["product"], strict=True))
    streams = tuple(sorted(set(pairs) | {(stream.line or "", stream.product or "")}))
    place = {pair: i for i, pair in enumerate(streams)}
    index = np.array([place[pair] for pair in pairs], dtype=int)
    base_keys, episode_set = baseline_keys(baseline, points), set(episode_keys(episode, points))
    keys = text["batch_key"]
    base = np.array([k in base_keys for k in keys], dtype=bool)
    inside = np.array([k in episode_set for k in keys], dtype=bool)
    at = frame["mixed_at"].to_numpy(dtype="datetime64[us]")
    early = at <= np.datetime64(baseline.last_at, "us")
    use = _reference(index, base, early)
    hours = (at - at[0]) / np.timedelta64(1, "h") if len(at) else np.empty(0)
    return Field(num, text, {name: _usual(v, index, use) for name, v in num.items()}, index, streams,
                 place[(stream.line or "", stream.product or "")], base, inside, at, hours,
                 frame["shift_date"].to_numpy(dtype="datetime64[D]"), np.log(num["specific_volume"]))
