"""What to expect of a chart, in plain words: how rare its false alarms are, how soon a change is found.

The delay is reckoned from the same sums the chart scans: averaged over onsets in the stretch charted, a lasting change
is found after about as many batches as it takes for its expected score to reach the limit.
"""

from __future__ import annotations

import numpy as np

from models.charts.characteristics import Characteristic
from models.charts.innovations import Model
from models.charts.scan import expected_batches
from models.charts.working import Working
from models.shapes import Baseline, Points


def promise(
    char: Characteristic,
    points: Points,
    work: Working,
    model: Model,
    reaches: np.ndarray,
    arl0: float,
    baseline: Baseline,
) -> str:
    """Two sentences for the page. reaches: as from scan.reach; arl0 in points."""
    per_day = points_per_day(points)
    false = f"About one false alarm in {_days(arl0 / per_day)} here."
    small = char.small * abs(baseline.level) if char.trade.relative else char.small
    batches = expected_batches(reaches, abs(work.shift(-small, model.level)))
    what = f"{100 * char.small:g} %" if char.trade.relative else f"{char.small:g} {char.unit}"
    found = (
        f"A lasting change of {what} is found after about {batches} batches, {_days(batches / per_day)} here."
        if batches is not None
        else f"A lasting change of {what} is too small for this chart: it may not be found."
    )
    return f"{'Still learning, limits wide. ' if baseline.learning else ''}{false} {found}"


def points_per_day(points: Points) -> float:
    """Points a day over the days that have any, and at least one a week."""
    days = np.unique(points.day)
    span = float((days[-1] - days[0]) / np.timedelta64(1, "D")) + 1.0
    return max(len(points) / span, 1.0 / 7.0)


def _days(days: float) -> str:
    if days < 2:
        return f"{max(round(24 * days), 1)} h"
    return f"{days:.0f} days" if days < 100 else f"{days / 30.4:.0f} months"
