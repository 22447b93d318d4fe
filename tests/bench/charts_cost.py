"""What charting costs: a year of a 12-line plant anew, and one new batch."""

from __future__ import annotations

import time

import numpy as np

from models.charts.chart import chart
from models.shapes import Stream
from tests.bench import charts_plants as plants

LINES, DOUGHS, EVERY = 12, 315_000, 3


def show_cost(share: float) -> None:
    """Print the time to chart `share` of a year, five charts a line, and one new batch on a year's chart."""
    size = int(DOUGHS / EVERY / LINES * share)
    per_day = DOUGHS / EVERY / LINES / 365
    rng = np.random.default_rng(4)
    plant = plants.Drawn(0.2, 0.8, 0.5, 1.0, 1e6, round(per_day), 4, (2.0, 4.0))
    streams = [plants.points(rng, plant, size) for _ in range(LINES)]
    began = time.perf_counter()
    done = [
        chart(Stream("bench", "specific volume", "mL/g", f"L{line}", str(copy)), p, arl0=5000.0)
        for line, p in enumerate(streams)
        for copy in range(5)
    ]
    took = time.perf_counter() - began
    print(
        f"\nA year of {LINES} lines ({DOUGHS:,} doughs, every third sampled; {len(done)} charts of {size:,} points)"
        f"{'' if share == 1 else f', {share:.0%} of it'}: {took:.1f} s anew"
    )
    began = time.perf_counter()
    chart(done[0].stream, done[0].points, arl0=5000.0, baseline=done[0].baseline)
    print(f"one new batch, its chart run again with the frozen baseline: {1000 * (time.perf_counter() - began):.0f} ms")
