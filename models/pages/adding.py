"""Parts as they are printed: they add up to their sum as it is printed, and bounds hold what they bound."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from models.pages.words import interval, number
from models.shapes import Cause

PLACES = 2


@dataclass(frozen=True)
class Printed:
    """One group's part of a change as text: the part, its 90 % bounds, its share."""

    part: str
    bounds: str
    share: str


def adding_up(values: Sequence[float], total: float, places: int) -> tuple[float, ...]:
    """The values to so many places so that they add up to the total to as many: by largest remainder (Hamilton's method).

    None is moved by a whole unit of its last place. Values that do not add up are rounded each for itself.
    """
    unit = 10.0**-places
    if abs(sum(values) - total) >= unit / 2:
        return tuple(round(value, places) for value in values)
    scaled = [round(value / unit, 6) for value in values]
    whole = [math.floor(value) for value in scaled]
    left = round(float(f"{total:.{places}f}") / unit) - sum(whole)  # as it is printed
    by_rest = sorted(range(len(values)), key=lambda i: (whole[i] - scaled[i], i))
    for i in by_rest[: max(left, 0)]:
        whole[i] += 1
    return tuple(value * unit for value in whole)


def outward(low: float, high: float, places: int) -> tuple[float, float]:
    """Bounds to so many places that leave out nothing of what they held."""
    unit = 10.0**-places
    return math.floor(round(low / unit, 6)) * unit, math.ceil(round(high / unit, 6)) * unit


def printed(causes: Sequence[Cause], change: float) -> tuple[Printed, ...]:
    """The parts of a change as a page shows them, in the order of the causes."""
    parts = adding_up([cause.contribution for cause in causes], change, PLACES)
    shares = adding_up([100 * cause.share for cause in causes], 100.0, 0)
    return tuple(
        Printed(
            number(part, "", PLACES, signed=True),
            interval(*outward(cause.low, cause.high, PLACES), "", PLACES, signed=True),
            number(share, "%", 0),
        )
        for cause, part, share in zip(causes, parts, shares, strict=True)
    )
