"""Calls of the causes held against the truth: what counts as right, and the tables that say how often."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from models.shapes import GROUPS
from tests.bench import plants

LATER = (0, 6, 12)
LEAST, NEAR_TIE = 0.03, 0.01


@dataclass(frozen=True)
class Judged:
    """One call held against the truth. Sizes are shares of the level.

    peer, sloped: what the two plain callers say: the largest standardised driver, and the true slopes on what was recorded.
    left: what the fault of each group left, see `plants.left_behind`; groups without a fault are not in it.
    """

    fault: str
    group: str
    truth_group: str
    called: str
    recorded: bool
    size: float
    later: int
    truth: np.ndarray
    parts: np.ndarray
    low: np.ndarray
    high: np.ndarray
    double: bool
    ramp: bool
    gas_tests: str
    peer: str
    sloped: str
    seconds: float
    plant: int
    left: dict[str, str]


def _rate(hits: list[bool]) -> str:
    return f"{100 * np.mean(hits):5.1f} % of {len(hits)}" if hits else "   -      "


def near_tie(j: Judged) -> bool:
    """Two groups whose true effects differ by less than 1 % of volume: which is larger is chance."""
    along = np.sort(j.truth * np.sign(j.truth.sum()))
    return bool(along[-1] - along[-2] < NEAR_TIE)


def right(j: Judged) -> bool:
    """Is the group with the largest share the one with the largest true effect?"""
    return j.called == j.truth_group


def confident_wrong(j: Judged) -> bool:
    """A group held to be the driver (interval away from 0, more than half of the change) that is not."""
    along = np.maximum(j.parts * np.sign(j.parts.sum()), 0.0)
    sure = [
        (j.low[g] > 0 or j.high[g] < 0) and along[g] > 0.5 * along.sum() and GROUPS[g] != j.truth_group
        for g in range(3)
    ]
    return any(sure)


def covered(calls: list[Judged], moved: bool, least: float = 0.01) -> list[bool]:
    """Is each group's truth inside its interval; groups that moved by 1 % of volume and more, or the rest."""
    return [
        bool(j.low[g] <= j.truth[g] <= j.high[g])
        for j in calls
        for g in range(4)
        if (abs(j.truth[g]) >= least) == moved
    ]


def is_the_cause(j: Judged) -> bool:
    """Is the fault put in what moved most? Lots and days go on differing and may by chance do more than it."""
    return j.group == j.truth_group


def caused_by(calls: list[Judged], left: str) -> list[Judged]:
    """Those whose cause, what truly moved most, is a fault that left just that: "a record", "a trace", "nothing"."""
    return [j for j in calls if j.left.get(j.truth_group) == left]


def _logged(calls: list[Judged]) -> list[Judged]:
    return [j for j in calls if j.recorded and j.group != "unexplained"]


def _at(calls: list[Judged], later: int) -> list[str]:
    """The main table at one moment. calls: those with a true change of 3 % and more at that moment."""
    apart = [j for j in calls if not near_tie(j)]
    unlogged = [j for j in apart if not j.recorded and not j.double]
    lines = [f"{later:2d} batches after the alarm"]
    for says, some in (("all", _logged(calls)), ("groups 1 % and more apart", _logged(apart))):
        lines.append(
            f"  right group, recorded, {says:26s} {_rate([right(j) for j in some])}   peer "
            f"{_rate([j.peer == j.truth_group for j in some])}   true slopes "
            f"{_rate([j.sloped == j.truth_group for j in some])}"
        )
    return [
        *lines,
        "  of these with one fault                           "
        f"{_rate([right(j) for j in _logged(apart) if not j.double])}",
        "  of these, the fault put in is what moved most     "
        f"{_rate([right(j) for j in _logged(apart) if not j.double and is_the_cause(j)])}   true slopes "
        f"{_rate([j.sloped == j.truth_group for j in _logged(apart) if not j.double and is_the_cause(j)])}",
        f"  unlogged called unexplained                       {_rate([j.called == 'unexplained' for j in unlogged])}   "
        f"peer {_rate([j.peer == 'unexplained' for j in unlogged])}   true slopes "
        f"{_rate([j.sloped == 'unexplained' for j in unlogged])}",
        "  the same, or called the group that moved most     "
        f"{_rate([j.called in ('unexplained', j.truth_group) for j in unlogged])}",
        "  unlogged and what moved most, called unexplained  "
        f"{_rate([j.called == 'unexplained' for j in unlogged if is_the_cause(j)])}",
        f"  cause left a record, right group                  {_rate([right(j) for j in caused_by(apart, plants.RECORD)])}",
        "  cause left a trace only, right or unexplained     "
        f"{_rate([right(j) or j.called == 'unexplained' for j in caused_by(apart, plants.TRACE)])}",
        "  cause left nothing, called unexplained            "
        f"{_rate([j.called == 'unexplained' for j in caused_by(apart, plants.NOTHING)])}",
        f"  confident and wrong, 1 % and more apart           {_rate([confident_wrong(j) for j in apart])}   "
        f"all {_rate([confident_wrong(j) for j in calls])}",
        f"  90 % intervals cover, groups that moved           {_rate(covered(calls, True))}   "
        f"rest {_rate(covered(calls, False))}",
    ]


def _by(calls: list[Judged], later: int) -> list[str]:
    """Right calls by size of the change and by gas tests; near ties left out."""
    some = [j for j in _logged(calls) if j.later == later and not near_tie(j)]
    sizes = [
        f"{100 * low:.0f} to {100 * high:.0f} %: {_rate([right(j) for j in some if low <= j.size < high])}"
        for low, high in ((0.01, 0.03), (0.03, 0.04), (0.04, 0.06), (0.06, 0.2))
    ]
    tests = [
        f"{name}: {_rate([right(j) for j in some if j.gas_tests == name and j.size >= LEAST])}"
        for name in ("none", "lot", "dough")
    ]
    return [f"    by change   {'; '.join(sizes)}", f"    by gas test {'; '.join(tests)}"]


def report(calls: list[Judged]) -> list[str]:
    """The benchmark's tables, one string a line."""
    big = [j for j in calls if j.size >= LEAST]
    lines: list[str] = []
    for later in LATER:
        lines += _at([j for j in big if j.later == later], later) + _by(calls, later)
    return lines + confusion([j for j in big if j.later == LATER[-1]]) + by_fault(big)


def confusion(calls: list[Judged]) -> list[str]:
    """Rows: the truth's largest group; columns: the call's."""
    lines = [
        "truth (rows) and call (columns), 12 batches after the alarm",
        " " * 14 + "".join(f"{g:>13}" for g in GROUPS),
    ]
    for row in GROUPS:
        counts = [sum(j.truth_group == row and j.called == col for j in calls) for col in GROUPS]
        lines.append(f"{row:>14}" + "".join(f"{c:13d}" for c in counts))
    return lines


def by_fault(calls: list[Judged]) -> list[str]:
    """Right calls of each fault at the alarm and later, single faults."""
    lines = ["single faults: recorded, right at alarm / 6 / 12"]
    for name in plants.FAULTS:
        for recorded in (True, False):
            rows = [
                [
                    j.called == (j.truth_group if recorded else "unexplained")
                    for j in calls
                    if j.fault == name and j.recorded == recorded and not j.double and j.later == later
                ]
                for later in LATER
            ]
            if rows[0]:
                lines.append(
                    f"  {name:12s} {'recorded' if recorded else 'unlogged'}  " + "  ".join(_rate(r) for r in rows)
                )
    return lines
