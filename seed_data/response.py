"""How volume answers: ln(volume) = level + water + gassing + keeping + mixing + flour, day, batch, loaf.

The shapes are the trade's; the sizes are starting values a bakery has to learn for itself (README.md).
Arguments are departures from the formula or from the usual; results are added to ln(volume).
"""

from __future__ import annotations

import math


def water(points: float) -> float:
    """Hydration, points from the formula's: best two points above it, falling faster the drier."""
    return 0.010 * points - 0.0025 * points * points


def gas_before_proof(strength: float, dose: float, dough_c: float, box_c: float, points: float) -> float:
    """ln of gas made at the usual proof time. strength and dose as ratios to the usual, temperatures as differences."""
    stiff = 0.008 * min(0.0, points)
    return math.log(strength) + 0.9 * math.log(dose) + 0.095 * 0.7 * dough_c + 0.04 * box_c + stiff


def gassing(gas: float) -> float:
    """ln gas from the usual; past 10 % more it turns."""
    over = max(gas - 0.10, 0.0)
    fallen = max(gas - 0.35, 0.0)
    return 0.40 * (gas - 3.0 * over * over) - 0.5 * fallen


def keeping(points: float) -> float:
    """Share of gas kept, points from the usual."""
    return 0.010 * points


def mixing(work: float) -> float:
    """Mixing energy for this hydration, as a share above or below what the flour wants."""
    return -0.30 * max(-work, 0.0) - 0.15 * max(work - 0.05, 0.0)
