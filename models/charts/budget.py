"""How the plant's one false-alarm budget is shared out over its charts.

Rule. Every event family (a family raises one alert, whatever its charts say) gets a part of the weekly budget: a loaf
family LOAF_PARTS parts, because the loaf is what the plant sells and four charts share them; every other one part. No
chart gets more than one false alarm in LEAST_RUN of its points: what a rarely measured family does not take goes to
the others, by their parts. Within a family the leading chart gets half and the others share the other half: the parts
are added as if the charts never agreed, so the family keeps its part whatever the correlation (Bonferroni).

A chart's in-control average run length is then points a week / false alarms a week, in points.
"""

from __future__ import annotations

from collections import defaultdict

from models.charts.characteristics import characteristic, family
from models.shapes import Stream

Family = tuple[str, str, str, str]
LOAF_PARTS = 3.0
LEAST_RUN = 200.0
MOST_RUN = 200_000.0


def share_budget(points_per_week: dict[Stream, float], false_alarms_per_week: float) -> dict[Stream, float]:
    """In-control average run length of every chart, in points of that chart.

    points_per_week: points of each stream in a week as sampled (0 counts as one). false_alarms_per_week: budget of
    the plant. Returned lengths lie between LEAST_RUN and MOST_RUN.
    """
    members: dict[Family, list[Stream]] = defaultdict(list)
    for stream in sorted(points_per_week, key=_order):
        members[family(stream)].append(stream)
    rate = {s: max(points_per_week[s], 1.0) for s in points_per_week}
    ceilings = {f: min(rate[s] for s in group) * len(group) / LEAST_RUN for f, group in members.items()}
    parts = _fill(ceilings, false_alarms_per_week)
    lengths = {}
    for name, group in members.items():
        for stream, weight in zip(group, _weights(len(group)), strict=True):
            lengths[stream] = min(max(rate[stream] / (parts[name] * weight), LEAST_RUN), MOST_RUN)
    return lengths


def _order(stream: Stream) -> tuple:
    return (family(stream), characteristic(stream).rank, stream.characteristic)


def _weights(size: int) -> list[float]:
    return [1.0] if size == 1 else [0.5] + [0.5 / (size - 1)] * (size - 1)


def _fill(ceilings: dict[Family, float], budget: float) -> dict[Family, float]:
    """The budget by parts under each family's ceiling; what a low ceiling leaves goes to the rest."""
    parts: dict[Family, float] = {}
    weight = {name: LOAF_PARTS if name[0] == "loaf" else 1.0 for name in ceilings}
    left, waiting = budget, sum(weight.values())
    for name in sorted(ceilings, key=lambda f: (ceilings[f] / weight[f], f)):
        parts[name] = min(ceilings[name], left * weight[name] / waiting)
        left, waiting = left - parts[name], waiting - weight[name]
    return parts
