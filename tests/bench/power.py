"""Where the power of a volume chart goes in whole bakeries: `python -m tests.bench.power [--bakeries 64] [--first 0]`.

The bakeries are those of `tests.bench.whole`, read straight from what they measured; one chart, specific volume of the
fault's line. Each row of the table takes something more away from a detector that knows all: first how large the fault is,
then the level, then the sureness about the variation, at last the variation itself. Below, what the other lines are worth,
which share yeast, flour and day: as the program watches them, and were all their variation known.
"""

from __future__ import annotations

import argparse
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import pandas as pd

from models.charts.beside import beside as beside_others
from models.charts.boundary import FROZEN, NONE, Caution, boundary
from models.charts.budget import share_budget
from models.charts.characteristics import BESIDE
from models.charts.chart import chart
from models.charts.innovations import Innovations, Model, Series, filtered
from models.charts.parted import lent
from models.charts.scan import WINDOW, onset_sums, scan
from models.shapes import Charted, Points, Stream
from tests.bench.bakeries import DAYS_BEFORE, DOUGHS_A_DAY, LINES, MEASURED, START, Bakery, draw
from tests.bench.machine import machine

WITHIN, BATCH = float(np.hypot(0.018, 0.010)), 0.0336
YEAST, FLOUR, DAY = 0.40 * 0.04, 0.015, 0.010
"""Sds that `tests.bench.bakeries` works with, ln; BATCH is what its rates and spreads come to (counted, 12 bakeries)."""
LEVEL_SE = 0.0095
"""What 23 days of such lots, days and batches leave open of the level, ln."""
TRUE = Model(
    level=0.0,
    batch=BATCH,
    lot=float(np.hypot(YEAST, DAY)),
    flour=FLOUR,
    within=WITHIN,
    phi=0.0,
    nu=1e9,
    level_se=0.0,
    learns=False,
    stay=YEAST**2 / (YEAST**2 + DAY**2),
)
TUNED = {0.03: 4.9, 0.04: 5.4, 0.05: 5.7, 0.06: 5.85, 0.08: 5.95, 0.10: 5.9}
"""Limit of a detector tuned to one size that alarms once in TUNED_RUN batches there (own simulation, 50,000 batches)."""
TUNED_RUN = 790.0
JOINT_WINDOW = 3 * WINDOW


@dataclass(frozen=True)
class Case:
    """One bakery's fault: points by line, index of the first point of the fault's line since, and by how much it moved."""

    bakery: Bakery
    points: dict[str, Points]
    first: int
    moved: float
    arl0: float

    @property
    def own(self) -> Points:
        """The points of the fault's line."""
        return self.points[self.bakery.fault.line]


def case(number: int) -> Case:
    """Bakery `number` as its volume charts see it."""
    bakery = draw(number)
    points = {line: _points(bakery, line) for line in LINES}
    doughs, fault = bakery.doughs, bakery.fault
    mine = (doughs["line"] == fault.line).to_numpy() & doughs["measured"].to_numpy()
    since = mine & (doughs["hour"].to_numpy() >= fault.hour)
    effect = bakery.effects.sum(axis=1)
    moved = float(effect[since].mean() - effect[mine & ~since].mean())
    return Case(bakery, points, int((mine & ~since).sum()), moved, _run_length(fault.line))


def _points(bakery: Bakery, line: str) -> Points:
    loaves = bakery.logs["loaf"].query("line == @line")
    volume = loaves["volume_ml"] / loaves["baked_g"]
    each = volume.groupby(loaves["dough_batch"]).agg(["mean", "std", "count"])
    doughs = bakery.logs["dough"].set_index("dough_batch").loc[each.index]
    at = pd.to_datetime(doughs["mixed_at"]).to_numpy(dtype="datetime64[us]")
    return Points(
        keys=each.index.to_numpy(dtype=object),
        at=at,
        value=each["mean"].to_numpy(),
        n=each["count"].to_numpy(dtype=float),
        sd_within=each["std"].to_numpy(),
        lot=doughs["yeast_lot"].to_numpy(dtype=object),
        day=at.astype("datetime64[D]"),
        flour=doughs["flour_lot"].to_numpy(dtype=object),
    )


def _stream(name: str, line: str | None, kettle: str | None = None) -> Stream:
    return Stream("invented", name, "", line=line, kettle=kettle, product=LINES[line].product if line else None)


def _run_length(line: str, name: str = "specific volume") -> float:
    """What the budget's rule gives a chart of the loaf in such a bakery."""
    doughs = 7.0 * DOUGHS_A_DAY
    loaf = ("specific volume", "volume", "weight", "bake loss", "within-batch spread", BESIDE.name)
    rates = {_stream(name, each): MEASURED * doughs for each in LINES for name in loaf}
    rates |= {_stream("dough temperature", each): doughs for each in LINES}
    rates |= {
        _stream(name, None, kettle): 84.0 for kettle in ("K1", "K2") for name in ("paste loss", "cook temperature")
    }
    return share_budget(rates, 1.0)[_stream(name, line)]


def series(case: Case, lines: list[str]) -> tuple[Series, np.ndarray]:
    """Batches of these lines in order of mixing as ln of their line's usual, and whether each is of the fault's line."""
    began = np.datetime64(START + pd.Timedelta(hours=case.bakery.fault.hour), "us")
    some = [case.points[line] for line in lines]
    order = np.argsort(np.concatenate([p.at for p in some]), kind="stable")

    def joined(values: Callable[[Points], np.ndarray]) -> np.ndarray:
        return np.concatenate([values(p) for p in some])[order]

    def labels(values: Callable[[Points], np.ndarray]) -> np.ndarray:
        return np.unique(joined(values).astype(str), return_inverse=True)[1]

    y = joined(lambda p: np.log(p.value / np.exp(np.log(p.value[p.at < began]).mean())))
    own = np.repeat([line == case.bakery.fault.line for line in lines], [len(p) for p in some])[order]
    lots, flours = labels(lambda p: p.lot), labels(lambda p: p.flour if p.flour is not None else p.lot)
    return Series(y, WITHIN**2 / joined(lambda p: p.n), lots, flours, joined(lambda p: p.day).astype(int)), own


def tuned(case: Case) -> np.ndarray:
    """How far a detector that knows variation and size of the fault is above its limit, batch by batch."""
    one, size = series(case, [case.bakery.fault.line])[0], max(abs(case.moved), min(TUNED))
    best = np.full(len(one.y), -np.inf)
    for lag, num, den, _ in onset_sums(filtered(one, TRUE), 0, len(one.y), WINDOW):
        np.maximum(best[lag:], size * np.abs(num) - 0.5 * size**2 * den, out=best[lag:])
    return best - np.interp(size, list(TUNED), list(TUNED.values())) - np.log(case.arl0 / TUNED_RUN)


def known(case: Case, level_se: float, caution: Caution) -> np.ndarray:
    """The same of the chart's own scan, the true variation given."""
    v = filtered(series(case, [case.bakery.fault.line])[0], TRUE)
    return scan(v, boundary(case.arl0, WINDOW, caution), level_se).excess


def beside(case: Case) -> np.ndarray:
    """The same where batches of the other lines tell of the lots and days they share; the fault is of this line alone."""
    together, own = series(case, list(LINES))
    v, limits = filtered(together, TRUE), boundary(case.arl0 * len(LINES), JOINT_WINDOW)
    excess = np.full(len(own), -np.inf)
    for lag, num, den in _sums_of_one(v, own.astype(float)):
        np.maximum(excess[lag:], np.abs(num) / np.sqrt(den + 1e-12) - limits[lag], out=excess[lag:])
    return excess[own]


def _sums_of_one(v: Innovations, own: np.ndarray):
    """As `scan.onset_sums` for a step that only batches with `own` have; the others answer to it through the lots."""
    size = len(own)
    num, den, lot, flour = (np.zeros(size) for _ in range(4))
    for lag in range(min(JOINT_WINDOW, size)):
        n, here = size - lag, slice(lag, size)
        r = own[here] - lot[:n] - flour[:n]
        s = r * v.root[here]
        num[:n] += s * v.score[here]
        den[:n] += s * s
        yield lag, num[:n], den[:n]
        lot[:n] = (lot[:n] + v.gain_lot[here] * r) * v.same_lot[here]
        flour[:n] = (flour[:n] + v.gain_flour[here] * r) * v.same_flour[here]


def charted(case: Case) -> np.ndarray:
    """Above zero where the chart signals, as it runs in the program, and by itself."""
    return _signals(case, _own(case))


def watched(case: Case) -> np.ndarray:
    """The same as the program watches it: by itself and beside the other lines."""
    volumes = {_stream("specific volume", each): points for each, points in case.points.items()}
    others = [
        chart(stream, points, arl0=_run_length(stream.line or "", BESIDE.name))
        for stream, points in beside_others(volumes).items()
    ]
    return _signals(case, lent([_own(case), *others])[0])


def _own(case: Case) -> Charted:
    return chart(_stream("specific volume", case.bakery.fault.line), case.own, arl0=case.arl0)


def _signals(case: Case, one: Charted) -> np.ndarray:
    found = np.full(len(case.own), -np.inf)
    found[[episode.signalled for episode in one.episodes]] = 1.0
    return found


ROWS: dict[str, Callable[[Case], np.ndarray]] = {
    "variation, level and size known": tuned,
    "size not known: the chart's scan": lambda c: known(c, 0.0, NONE),
    "nor the level, but for 23 days": lambda c: known(c, LEVEL_SE, NONE),
    "limits widened as for learned variation": lambda c: known(c, LEVEL_SE, FROZEN),
    "all learned: the line's own chart": charted,
    "the program: beside the other lines, too": watched,
    "variation known, other lines seen": beside,
}
SIZES = ((0.03, 0.05), (0.05, 0.07), (0.07, 0.5))


def report(cases: list[Case]) -> list[str]:
    """The table, one string a line: how many faults are found before the days are over, by how far volume moved."""
    head = "".join(f"{f'{100 * low:.0f} to {100 * high:.0f} %':>14s}" for low, high in SIZES)
    lines = [f"{'found on the line itself':42s}{head}   batches to it, in the middle"]
    for name, detector in ROWS.items():
        found = np.array([_first(detector(one), one.first) for one in cases])
        size = np.array([abs(one.moved) for one in cases])
        cells = ""
        for low, high in SIZES:
            of = (size >= low) & (size < high)
            cells += f"{f'{int((found[of] > 0).sum())} of {int(of.sum())}':>14s}"
        counted = found[(found > 0) & (size >= SIZES[0][0])]
        lines.append(f"{name:42s}{cells}   {np.median(counted) if len(counted) else 0:.0f}")
    return lines


def _first(excess: np.ndarray, first: int) -> int:
    """Batches from the fault to the first signal; 0: none."""
    over = np.flatnonzero(excess[first:] > 0)
    return int(over[0]) + 1 if len(over) else 0


def main() -> None:
    """Print the table."""
    asked = argparse.ArgumentParser(description=__doc__)
    asked.add_argument("--bakeries", type=int, default=64)
    asked.add_argument("--first", type=int, default=0)
    options = asked.parse_args()
    cases = [case(number) for number in range(options.first, options.first + options.bakeries)]
    print(machine())
    print(f"{len(cases)} bakeries, {DAYS_BEFORE} days before the fault; run length {cases[0].arl0:.0f} batches")
    print("\n".join(report(cases)))


if __name__ == "__main__":
    main()
