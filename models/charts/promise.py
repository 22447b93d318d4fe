"""What to expect of a chart, in plain words: how rare its false alarms are, how soon a change is found.

The delay is reckoned from the same sums the chart scans: averaged over onsets in the stretch charted, a lasting change
is found after about as many batches as it takes for its expected score to reach the limit.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from models.charts.characteristics import Characteristic
from models.charts.innovations import Model
from models.charts.working import Working
from models.shapes import Baseline, Points
from models.texts import in_number, texts


def promise(
    char: Characteristic,
    points: Points,
    work: Working,
    model: Model,
    found_after: Callable[[float], int | None],
    arl0: float,
    baseline: Baseline,
) -> str:
    """Two sentences for the page. found_after: batches for a step on the working scale, as scan.expected_batches; arl0 in points."""
    per_day = points_per_day(points)
    t = texts("curve")["promise"]
    false = t["false_alarms"].format(time=_days(arl0 / per_day))
    small = char.small * abs(baseline.level) if char.trade.relative else char.small
    batches = found_after(abs(work.shift(-small, model.level)))
    what = f"{100 * char.small:g} %" if char.trade.relative else f"{char.small:g} {char.unit}"
    if batches is None:
        says = t["not_found"].format(false_alarms=false, change=what)
    else:
        soon = _days(batches / per_day)
        found = in_number(t["found_lots" if char.per == "plant" else "found"], batches)
        says = found.format(false_alarms=false, change=what, batches=batches, time=soon)
    return t["learning"].format(says=says) if baseline.learning else says


def points_per_day(points: Points) -> float:
    """Points a day over the days that have any, and at least one a week."""
    span = float((points.day.max() - points.day.min()) / np.timedelta64(1, "D")) + 1.0
    return max(len(points) / span, 1.0 / 7.0)


def _days(days: float) -> str:
    t = texts("curve")["promise"]
    if days < 2:
        return t["hours"].format(n=max(round(24 * days), 1))
    return t["days"].format(n=days) if days < 100 else t["months"].format(n=days / 30.4)
