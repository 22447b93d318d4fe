"""How the plant's one false-alarm budget is shared out over its charts.

Rule. Every event family (a family raises one alert, whatever its charts say) gets a part of the weekly budget: a loaf
family LOAF_PARTS parts, every other one part. Within a family the leading chart gets LEADING of it and the others
share the rest; what is watched beside the other lines gets BESIDE_LEADING as much as the leading chart. The parts are
added as if the charts never agreed, so the family keeps its part whatever the correlation (Bonferroni). No chart gets
more than one false alarm in LEAST_RUN of its points: what a rarely measured chart does not take goes to the others of
its family, and what a family does not take to the other families, by their parts.

The loaf has the larger part because it is what the plant sells, and because a false alarm buys most there: what is worth
finding in a loaf is one to two sd of a batch and lots blur it, while a cold dough or a dry paste is three sd and
more off and is found within batches at any limit. The leading chart has the larger share because a volume that falls
shows in specific volume as well: the others are there for what it does not show. What one line alone does is found
soonest beside the lines that share its lots and days, what all of them do on the leading chart.

A chart's in-control average run length is then points a week / false alarms a week, in points.
"""

from __future__ import annotations

from collections import defaultdict
from typing import TypeVar

from models.charts.characteristics import BESIDE, characteristic, family
from models.shapes import Stream

Name = TypeVar("Name")
Family = tuple[str, str, str, str]
LOAF_PARTS = 6.0
LEADING = 2 / 3
BESIDE_LEADING = 1 / 2
LEAST_RUN = 200.0
MOST_RUN = 200_000.0


def share_budget(points_per_week: dict[Stream, float], false_alarms_per_week: float) -> dict[Stream, float]:
    """In-control average run length of every chart, in points of that chart.

    points_per_week: points of each stream in a week as sampled (0 counts as one). false_alarms_per_week: budget of
    the plant. Returned lengths lie between LEAST_RUN and MOST_RUN.
    """
    members: dict[Family, dict[Stream, float]] = defaultdict(dict)
    for stream in sorted(points_per_week, key=_order):
        members[family(stream)][stream] = max(points_per_week[stream], 1.0) / LEAST_RUN
    ceilings = {name: sum(most.values()) for name, most in members.items()}
    parts = _fill(
        ceilings, {name: LOAF_PARTS if name[0] == "loaf" else 1.0 for name in ceilings}, false_alarms_per_week
    )
    lengths = {}
    for name, most in members.items():
        weights = _weights(list(most))
        for stream, alarms in _fill(most, weights, parts[name]).items():
            lengths[stream] = min(max(LEAST_RUN * most[stream] / alarms, LEAST_RUN), MOST_RUN)
    return lengths


def _order(stream: Stream) -> tuple:
    return (family(stream), characteristic(stream).rank, stream.characteristic)


def _weights(members: list[Stream]) -> dict[Stream, float]:
    """Parts of a family's charts, the leading one first in order."""
    lead, *others = members
    beside = [one for one in others if one.characteristic == BESIDE.name]
    rest = [one for one in others if one not in beside]
    parts = {lead: LEADING if rest else 1.0} | {one: (1.0 - LEADING) / len(rest) for one in rest}
    return parts | {one: BESIDE_LEADING * parts[lead] for one in beside}


def _fill(ceilings: dict[Name, float], weights: dict[Name, float], budget: float) -> dict[Name, float]:
    """The budget by weight under each one's ceiling; what a low ceiling leaves goes to the rest."""
    parts: dict[Name, float] = {}
    left, waiting = budget, sum(weights.values())
    for name in sorted(ceilings, key=lambda n: ceilings[n] / weights[n]):
        parts[name] = min(ceilings[name], left * weights[name] / waiting)
        left, waiting = left - parts[name], waiting - weights[name]
    return parts
