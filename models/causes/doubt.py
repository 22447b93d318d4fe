"""How much wider the bounds are than the model alone says."""

from __future__ import annotations

WIDER, SLOPE_ELSEWHERE = 1.2, 0.22
"""How much wider than the model says the intervals are, and how far a slope may differ by line: from the benchmark."""
STRETCH = 1.25
"""How much further the bounds reach than the weighed candidates say, for what is on no list: set on plants drawn apart
from the benchmark's."""
