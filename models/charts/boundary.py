"""The chart's limit for every window length, for a wanted in-control average run length.

Calibrated once by simulation (tests.bench.charts), stored as a small table: boundary(m) = c(ARL) - SLOPE ln m. The slope
was chosen so that no size of shift from 0.5 to 3 sd is found much later than by the best scheme for it alone.
"""

from __future__ import annotations

import math

import numpy as np

SLOPE = 0.06
_LN_RUN = (math.log(370.0), math.log(1344.0), math.log(20000.0))
_LIMIT = (3.49, 3.855, 4.50)


def boundary(arl0: float, window: int, stretch: float = 1.0) -> np.ndarray:
    """Limits in normal scores for windows of 1..window batches. `stretch` widens them all."""
    slope = (_LIMIT[-1] - _LIMIT[-2]) / (_LN_RUN[-1] - _LN_RUN[-2])
    wanted = math.log(arl0)
    level = float(np.interp(wanted, _LN_RUN, _LIMIT))
    if wanted > _LN_RUN[-1]:
        level += slope * (wanted - _LN_RUN[-1])
    elif wanted < _LN_RUN[0]:
        level -= 0.3 * (_LN_RUN[0] - wanted)
    return stretch * (level - SLOPE * np.log(np.arange(1, window + 1)))
