"""Lines beside each other in plants drawn at random: false alarms of what is found so, and what it finds besides.

Plants as in `charts_plants`, of three to six lines that share their yeast lots, flour lots and days; each line answers to lots
and flour by its own factor (0.8 to 1.2), mixes as often as it likes and has its own batches.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from models.charts.beside import beside
from models.charts.chart import chart
from models.charts.parted import lent
from models.shapes import Charted, Points, Stream
from tests.bench.charts_known import beyond
from tests.bench.charts_plants import LEVEL, START, UNIT, Drawn, draw, in_control, labels

DAY = 0.4
"""Largest sd between days, in batch sd: all lines share them."""


@dataclass(frozen=True)
class Shared:
    """What all lines of one plant have in common, by day: label and effect, in batch sd."""

    lot: np.ndarray
    flour: np.ndarray
    lot_is: np.ndarray
    flour_is: np.ndarray
    day_is: np.ndarray


def shared(rng: np.random.Generator, plant: Drawn, days: int) -> Shared:
    """Lots, flour and days of so many days."""
    return Shared(
        labels(rng, days, *plant.lot_days),
        labels(rng, days, 3, 7),
        rng.normal(0, plant.lot, days),
        rng.normal(0, plant.flour, days),
        rng.normal(0, rng.uniform(0, DAY), days),
    )


def line(rng: np.random.Generator, plant: Drawn, all_share: Shared) -> Points:
    """One line's batches, in control."""
    mine = replace(plant, per_day=int(rng.integers(6, 25)))
    days = len(all_share.day_is)
    day = np.repeat(np.arange(days), mine.per_day)
    lot, flour, answers = all_share.lot[day], all_share.flour[day], rng.uniform(0.8, 1.2, 2)
    common = answers[0] * all_share.lot_is[lot] + answers[1] * all_share.flour_is[flour] + all_share.day_is[day]
    own, sd = in_control(rng, mine, len(day))
    second = np.sort(rng.uniform(0, 86_400, (days, mine.per_day)), axis=1).ravel()
    return Points(
        keys=np.arange(len(day)).astype(str).astype(object),
        at=(START + day).astype("datetime64[us]") + (1e6 * second).astype("timedelta64[us]"),
        value=LEVEL * (1 + rng.uniform(-0.1, 0.1)) + UNIT * (own + common),
        n=np.full(len(day), float(mine.loaves)),
        sd_within=UNIT * sd,
        lot=np.array([f"Y{k}" for k in lot], dtype=object),
        day=START + day,
        flour=np.array([f"F{k}" for k in flour], dtype=object),
    )


def _stream(number: int) -> Stream:
    return Stream("bench", "specific volume", "mL/g", f"L{number}", "milk-loaf")


def _plant(rng: np.random.Generator, days: int) -> dict[Stream, Points]:
    plant, count = draw(rng), int(rng.integers(3, 7))
    all_share = shared(rng, plant, days)
    return {_stream(number): line(rng, plant, all_share) for number in range(count)}


def _charted(found: dict[Stream, Points], arl0: float) -> tuple[Charted, list[Charted]]:
    """The first line's own chart, and what every line is beside the others, the first line's first."""
    mine = _stream(0)
    others = [chart(stream, points, arl0=arl0) for stream, points in beside(found).items()]
    return chart(mine, found[mine], arl0=arl0), sorted(others, key=lambda one: one.stream.line or "")


def false_alarms(seed: int, arl0: float, days: int) -> tuple[int, int, float]:
    """One plant: signals of the first line beside the others, those that would be told, and how many are promised."""
    own, others = _charted(_plant(np.random.default_rng([seed, 5]), days), arl0)
    told = lent([replace(own, episodes=()), *others])[0].episodes
    watched = len(others[0].points) - sum(e.until - e.signalled for e in others[0].episodes)
    return len(others[0].episodes), len(told), watched / arl0


def found_within(seed: int, fall: float, days: int, within: int, arl0: float) -> tuple[bool, bool]:
    """One plant, a fall of its first line alone near the end, in batch sd: found by its own chart; by that or beside the others."""
    rng = np.random.default_rng([seed, 6])
    found = _plant(rng, days + within)
    first = found[_stream(0)]
    began = START + days
    first.value[first.day >= began] -= fall * UNIT
    own, others = _charted(found, arl0)
    alone, together = (
        any(first.day[e.signalled] >= began for e in one.episodes) for one in (own, lent([own, *others])[0])
    )
    return alone, together


def show_beside(plants: int, days: int) -> None:
    """Print false alarms over the budget and what is found of one line's falls."""
    print(f"\nBeside the other lines: false alarms over the budget; {plants} plants of 3 to 6 lines, {days} days")
    for arl0 in (500.0, 1500.0):
        found = np.array([false_alarms(seed, arl0, days) for seed in range(plants)])
        signals, told, promised = found.sum(axis=0)
        over = float(np.mean(found[:, 0] > found[:, 2]))
        print(
            f"  arl0 {arl0:.0f}: {signals:.0f} signals, {told:.0f} of them told, {promised:.0f} promised: {signals / promised:.2f}, "
            f"plants above it {over:.2f}{beyond(signals <= promised)}"
        )
    print("  a fall of one line after 24 days, found within 5: by its own chart (run length 500), with the other lines")
    for fall in (1.5, 2.0, 2.5, 3.0):
        hits = np.array([found_within(seed, fall, 24, 5, 500.0) for seed in range(plants)])
        print(f"    {fall:g} batch sd: {hits[:, 0].mean():.2f}, {hits[:, 1].mean():.2f} of {plants}")
