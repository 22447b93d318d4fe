"""Whether a group's part is borne out by something seen to be off: without that no call is sure of the group."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from models.causes.asking import LOT_GAS, OVERPROOFED
from models.causes.lots import UNRECORDED
from models.shapes import GROUPS

if TYPE_CHECKING:
    from models.causes.attribute import Evidence, Parts

HALF = 0.5
"""Share of the change that what was off has to account for. Common practice, no source."""
FAR_OUTSIDE = 3.0
"""Standard errors beyond which a driver bears a call out: of fifteen that are looked at, one beyond 2.5 is no rarity."""
LIKELY = 0.5
WEAK_GAS, SURE = 0.03, 1.645


def surely_off(found: Parts, sign: float) -> list[tuple[str, float, float]]:
    """Yeast lots of the episode whose gas is surely off, in the change's direction: lot, ln gas, its sd."""
    out = []
    for name, mean in found.terms.items():
        sd, lot = found.term_sds[name], name.removeprefix(LOT_GAS)
        if name.startswith(LOT_GAS) and not lot.startswith(UNRECORDED) and mean * sign > max(WEAK_GAS, SURE * sd):
            out.append((lot, mean, sd))
    return out


def seen(known: Evidence, found: Parts, sign: float) -> dict[str, float]:
    """What was seen to be off accounts for, by group, ln: drivers far outside their own limits, lots surely off, steps more
    likely than not by evidence of their own."""
    out: dict[str, float] = dict.fromkeys(GROUPS, 0.0)
    for name, shift in known.shifts.items():
        if shift.outside and abs(shift.z) > FAR_OUTSIDE:
            out[shift.effect.group] += found.terms[name] + (found.terms["water_curve"] if name == "water" else 0.0)
    if surely_off(found, sign):
        out["yeast"] += found.terms["lots"] + found.terms["ageing"]
    of_proof = [(name, group, True) for group, name in OVERPROOFED.items()]
    for name, group, far in [("yeast", "yeast", False), ("handling", "handling", False), *of_proof]:
        mine = [p for p, c in known.weighed.present if c.group == group and (c.kind == "overproof") == far]
        if max(mine, default=0.0) >= LIKELY:
            out[group] += found.terms[name]
    return out


def not_surer_than_seen(known: Evidence, found: Parts, change: float) -> Parts:
    """The bounds reach to nothing where what was seen to be off accounts for less than half. change: ln specific volume.

    Half of the change, all groups together (two faults share it), and half of the group's own part. Drivers within their
    own limits move volume too, and their sum may be much of a change; but a cause is not called surely by them.
    """
    sign = float(np.sign(change))
    by_group = seen(known, found, sign)
    off = np.array([by_group[g] for g in GROUPS]) * sign
    enough = np.maximum(off, 0.0).sum() >= HALF * abs(change)
    sure = enough & (off >= HALF * found.mean * sign) | np.array([g == "unexplained" for g in GROUPS])
    low = np.where(sure, found.low, np.minimum(found.low, 0.0))
    high = np.where(sure, found.high, np.maximum(found.high, 0.0))
    return replace(found, low=low, high=high)
