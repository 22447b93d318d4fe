"""Streams for the tests of the charts: batches of one line, with lots, neighbours alike, and steps."""

from __future__ import annotations

import numpy as np

from models.shapes import Points, Stream

STREAM = Stream("north", "specific volume", "mL/g", "L1", "milk-loaf")
LEVEL = 4.7
START = np.datetime64("2026-04-06", "D")


def made(
    seed: int,
    size: int,
    *,
    steps: tuple[tuple[int, int, float], ...] = (),
    batch: float = 0.02,
    lot: float = 0.008,
    phi: float = 0.2,
    per_day: int = 8,
    lot_days: int = 2,
    loaves: int = 4,
) -> Points:
    """Points about LEVEL mL/g; steps: (first, end, relative change); sds relative to the level."""
    rng = np.random.default_rng(seed)
    day = np.arange(size) // per_day
    lots = day // lot_days
    noise = rng.normal(0, batch * (1 - phi**2) ** 0.5, size)
    noise[:1] /= (1 - phi**2) ** 0.5
    for i in range(1, size):
        noise[i] += phi * noise[i - 1]
    within = rng.normal(0, 0.02, (size, loaves))
    value = 1 + noise + rng.normal(0, lot, size)[lots] + within.mean(axis=1)
    for first, end, change in steps:
        value[first:end] += change
    minutes = (np.arange(size) % per_day) * (1440 // per_day)
    return Points(
        keys=np.array([f"{START + d}/L1/{i:04d}" for i, d in enumerate(day)], dtype=object),
        at=(START + day).astype("datetime64[us]") + minutes.astype("timedelta64[m]"),
        value=LEVEL * value,
        n=np.full(size, float(loaves)),
        sd_within=LEVEL * within.std(axis=1, ddof=1),
        lot=np.array([f"Y{k}" for k in lots], dtype=object),
        day=START + day,
    )


def first(points: Points, size: int) -> Points:
    """The first `size` points."""
    flour = None if points.flour is None else points.flour[:size]
    return Points(
        points.keys[:size],
        points.at[:size],
        points.value[:size],
        points.n[:size],
        points.sd_within[:size],
        points.lot[:size],
        points.day[:size],
        flour,
    )
