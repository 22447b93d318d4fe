"""What was worked out before and kept must not show: charts and alerts are those that are made anew from all rows."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from models.charts import past
from models.charts.chart import chart, chart_on, charting
from models.charts.follow import together
from models.shapes import Baseline, Charted, Points, Stream

STREAM = Stream("north", "specific volume", "mL/g", line="L1", product="milk-loaf")
ARL0 = 400.0


def drawn(seed: int, size: int, steps: tuple[tuple[int, int, float], ...]) -> Points:
    """Batches every half hour with lots that differ and come back, some lots unknown; steps: first, last, how far."""
    rng = np.random.default_rng(seed)
    lots = np.array([f"Y{n}" for n in rng.integers(0, 30, size // 12 + 1)], dtype=object)[np.arange(size) // 12]
    lots[rng.random(size) < 0.03] = ""
    flours = np.array([f"F{n}" for n in np.arange(size) // 60], dtype=object)
    effect = {lot: 0.05 * rng.standard_normal() for lot in sorted(set(lots))}
    value = 4.6 + np.array([effect[lot] for lot in lots]) + 0.09 * rng.standard_normal(size)
    for first, last, far in steps:
        value[first:last] += far
    at = np.datetime64("2026-05-04T04:00:00", "us") + np.arange(size) * np.timedelta64(30, "m")
    keys = np.array([f"{i:05}" for i in range(size)], dtype=object)
    n = rng.integers(2, 6, size).astype(float)
    sd = np.abs(0.09 + 0.01 * rng.standard_normal(size))
    return Points(keys, at, value, n, sd, lots, at.astype("datetime64[D]"), flours)


def part(points: Points, chosen: np.ndarray) -> Points:
    return Points(
        *(getattr(points, name)[chosen] for name in ("keys", "at", "value", "n", "sd_within", "lot", "day", "flour"))
    )


def told(charted: Charted) -> tuple:
    """All that a chart says but the statistic of each point."""
    c = charted
    return c.stream, c.baseline, c.episodes, c.state, c.lower, c.upper, c.lasting, c.promise


STEPS = st.lists(
    st.tuples(st.integers(0, 1400), st.integers(4, 260), st.sampled_from([-0.9, -0.3, -0.15, 0.2, 0.5])), max_size=3
)


@settings(max_examples=25, deadline=None)
@given(seed=st.integers(0, 10_000), steps=STEPS, cuts=st.lists(st.integers(1, 1400), min_size=1, max_size=5))
def test_a_chart_that_goes_on_is_the_chart_made_anew(seed: int, steps: list, cuts: list[int]) -> None:
    points = drawn(seed, 1400, tuple((first, first + size, far) for first, size, far in steps))
    kept: str | None = None
    baseline: Baseline | None = None
    for cut in [*sorted(cuts), 1400]:
        now = part(points, np.arange(1400) < cut)
        before = past.from_text(kept) if kept else None
        pieces = {"past": before.past, "drawn": before.drawn} if before else {}
        ((going, done),) = together([charting(STREAM, now, arl0=ARL0, baseline=baseline, **pieces)])
        anew, whole = chart_on(STREAM, now, arl0=ARL0, baseline=baseline)
        assert told(going) == told(anew) and done == whole
        seen = ~np.isnan(going.statistic)
        assert np.array_equal(going.statistic[seen], anew.statistic[seen])
        kept = past.to_text(past.last(going, done, "as it is"))
        assert told(past.from_text(kept).again(STREAM, now)) == told(anew)
        if going.baseline is not None and not going.baseline.learning:
            baseline = baseline or going.baseline


@settings(max_examples=15, deadline=None)
@given(seed=st.integers(0, 10_000), where=st.integers(0, 899), what=st.sampled_from(["value", "lot", "gone", "late"]))
def test_a_corrected_row_is_charted_as_if_it_had_always_been_so(seed: int, where: int, what: str) -> None:
    points = drawn(seed, 900, ((500, 540, -0.4),))
    late = np.arange(900) != where
    first = part(points, late) if what == "late" else points
    charted, before = chart_on(STREAM, first, arl0=ARL0)
    assert charted.baseline is not None and before is not None
    corrected = points
    if what == "value":
        corrected = replace(points, value=np.where(np.arange(900) == where, 3.1, points.value))
    elif what == "lot":
        corrected = replace(points, lot=np.where(np.arange(900) == where, "Y99", points.lot))
    elif what == "gone":
        corrected = part(points, late)
    going, _ = chart_on(STREAM, corrected, arl0=ARL0, baseline=charted.baseline, past=before)
    assert told(going) == told(chart(STREAM, corrected, arl0=ARL0, baseline=charted.baseline))


def test_going_on_scans_the_new_points_only() -> None:
    points = drawn(3, 1400, ())
    charted, before = chart_on(STREAM, part(points, np.arange(1400) < 1300), arl0=ARL0)
    assert charted.baseline is not None and not charted.episodes
    going, _ = chart_on(STREAM, points, arl0=ARL0, baseline=charted.baseline, past=before)
    assert np.isnan(going.statistic[:1300]).all() and np.isfinite(going.statistic[1300:]).all()
