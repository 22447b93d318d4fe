"""The chart's limit for every window length, for a wanted in-control average run length.

    boundary(m) = c(ARL) - SLOPE ln m,     m = 1, 2, ... batches

in normal scores. c was found by simulation of independent normal batches with known level and sd (tests.bench.charts
--calibrate: 120 million points, smoothed by a cubic; at 4.6 and 4.7
364 million, the cubic was 1.5 % short there); beyond the table it goes on in a straight line. The slope was
chosen so that every size of step from 0.5 to 3 sd is found within 15 % (0.75 to 2 sd: 10 %) of the batches that the
CUSUM made for that size alone would take.

Where level, spread and tails are not known but learned, the limits are widened: all of them by a factor, because the
estimates err, and the shortest windows once more, because a baseline of a hundred batches tells little of how far out
one batch in ten thousand lies. Both were chosen by simulation of plants with parameters drawn at random, so that at
most one plant in ten has more false alarms than promised (tests.bench.charts); the rarer the alarms, the wider.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

SLOPE = 0.07
_RUN = np.array(
    [
        48.7,
        60.8,
        76.6,
        97.0,
        124.0,
        159.6,
        207.3,
        272.0,
        360.6,
        483.6,
        652.8,
        890.6,
        1228.0,
        1710.0,
        2407.0,
        3426.0,
        4921.0,
        7168.0,
        10540.0,
        15890.0,
        23935.0,
        35740.0,
        54500.0,
        84500.0,
    ]
)
_LIMIT = np.arange(27, 51) / 10.0


@dataclass(frozen=True)
class Caution:
    """How much the limits are widened.

    all: factor at a run length of 1000 points; rise: added to it with ln(run length / 1000), because the rarer the
    alarms, the less is known of what makes them; short: added for a window of m batches as short / m. Below LEAST_KNOWN
    points, the shortest run length they were chosen at, they are no narrower.
    """

    all: float
    rise: float
    short: float


LEAST_KNOWN = 500.0
NONE = Caution(1.0, 0.0, 0.0)
FROZEN = Caution(1.06, 0.03, 0.12)
LEARNING = Caution(1.07, 0.014, 0.12)


def boundary(arl0: float, window: int, caution: Caution = NONE) -> np.ndarray:
    """Limits in normal scores for windows of 1..window batches. arl0: in-control average run length, in points."""
    m = np.arange(1, window + 1)
    wider = caution.all + caution.rise * np.log(max(arl0, LEAST_KNOWN) / 1000.0) + caution.short / m
    return np.maximum(wider, 1.0) * (_level(arl0) - SLOPE * np.log(m))


def _level(arl0: float) -> float:
    wanted, known = np.log(arl0), np.log(_RUN)
    level = float(np.interp(wanted, known, _LIMIT))
    for edge, near in ((0, 1), (-1, -2)):
        slope = (_LIMIT[edge] - _LIMIT[near]) / (known[edge] - known[near])
        if (wanted - known[edge]) * (1 if edge else -1) > 0:
            level = float(_LIMIT[edge] + slope * (wanted - known[edge]))
    return level
