"""Worked examples of the NIST/SEMATECH e-Handbook, sections 6.3.2.2 to 6.3.3.2.

Numbers from memory of the pages, recomputed (www.itl.nist.gov/div898/handbook/pmc/section3).
"""

from __future__ import annotations

import numpy as np
import pytest

from models.charts.counts import counted
from tests.reference.yardsticks.classical import cusum, ewma, ewma_limits, individuals, three_sigma

FLOW = np.array([49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1])
CUSUM_MEANS = np.array(
    [
        324.925,
        324.675,
        324.725,
        324.35,
        325.35,
        325.225,
        324.125,
        324.525,
        325.225,
        324.6,
        324.625,
        325.15,
        328.325,
        327.25,
        327.825,
        328.5,
        326.675,
        327.775,
        326.875,
        328.35,
    ]
)
CUSUM_HIGH = [0, 0, 0, 0, 0.03, 0, 0, 0, 0, 0, 0, 0, 3.01, 4.94, 7.45, 10.63, 11.99, 14.44, 16.00, 19.04]
CUSUM_LOW = [0, 0.01, 0, 0.33, 0, 0, 0.56, 0.72, 0.17, 0.25, 0.31, 0, 0, 0, 0, 0, 0, 0, 0, 0]
EWMA_DATA = np.array(
    [
        52.0,
        47.0,
        53.0,
        49.3,
        50.1,
        47.0,
        51.0,
        50.1,
        51.2,
        50.5,
        49.6,
        47.6,
        49.9,
        51.3,
        47.8,
        51.2,
        52.6,
        52.4,
        53.6,
        52.1,
    ]
)
EWMA_SHOWN = [
    50.60,
    49.52,
    50.56,
    50.18,
    50.16,
    49.21,
    49.75,
    49.85,
    50.26,
    50.33,
    50.11,
    49.36,
    49.52,
    50.05,
    49.38,
    49.92,
    50.73,
    51.23,
    51.94,
    51.99,
]
WAFERS = np.array([16, 14, 28, 16, 12, 20, 10, 12, 10, 17, 19, 17, 14, 16, 15, 13, 14, 16, 11, 20, 11, 19, 16, 31, 13])
BAD_CHIPS = np.array(
    [
        12,
        15,
        8,
        10,
        4,
        7,
        16,
        9,
        14,
        10,
        5,
        6,
        17,
        12,
        22,
        8,
        10,
        5,
        13,
        11,
        20,
        18,
        24,
        15,
        9,
        12,
        7,
        13,
        9,
        6,
    ]
)


def test_individuals_6322():
    found = individuals(FLOW)
    assert found.centre == pytest.approx(50.81)
    # the page takes d2 = 1.128; with its three decimals the limits are 55.8041 and 45.8159
    page = 3 * float(np.abs(np.diff(FLOW)).mean()) / 1.128
    assert (50.81 + page, 50.81 - page) == pytest.approx((55.8041, 45.8159), abs=5e-5)
    assert (found.upper, found.lower) == pytest.approx((55.802412, 45.817588), abs=1e-6)


def test_cusum_6323():
    found = cusum(CUSUM_MEANS, 325.0, 0.3175, 4.1959)
    assert found.high == pytest.approx(CUSUM_HIGH, abs=0.006)
    assert found.low == pytest.approx(CUSUM_LOW, abs=0.006)
    assert found.signal == 13  # the 14th group; the 13th stands at 3.01, below the limit


def test_ewma_6324():
    assert ewma(EWMA_DATA, 0.3, 50.0) == pytest.approx(EWMA_SHOWN, abs=0.00501)
    limits = ewma_limits(50.0, 2.0539, 0.3)
    assert (limits.upper, limits.lower) == pytest.approx((52.5884, 47.4115), abs=5e-4)
    assert not ((ewma(EWMA_DATA, 0.3, 50.0) > limits.upper) | (ewma(EWMA_DATA, 0.3, 50.0) < limits.lower)).any()


def test_counts_6331():
    level = WAFERS.mean()
    assert level == 16
    assert three_sigma(level, 1, proportion=False) == pytest.approx((4.0, 28.0))
    assert np.flatnonzero(WAFERS > 28).tolist() == [23]  # 28 itself stands on the limit


def test_counts_with_limits_of_their_own():
    """Poisson of about 16, one false alarm in 370: P(X < 5) and P(X > 28) are both below 1 / 740."""
    found = counted(WAFERS, np.ones(25), proportion=False, arl0=370.0, baseline=20)
    assert (found.lower[0], found.upper[0], found.spread) == (5.0, 28.0, 0.0)
    assert found.beyond == (23,)


def test_counts_that_differ_more_than_counting_explains_get_wider_limits():
    level = np.random.default_rng(2).gamma(8.0, 2.0, 60)
    counts = np.random.default_rng(3).poisson(level)
    found = counted(counts, np.ones(60), proportion=False, arl0=370.0)
    assert found.spread == pytest.approx(8**-0.5, rel=0.4)
    assert found.upper[0] > 35 and not found.beyond


def test_proportions_6332():
    level = BAD_CHIPS.sum() / (50 * len(BAD_CHIPS))
    assert level == pytest.approx(0.2313, abs=5e-5)
    lower, upper = three_sigma(level, 50, proportion=True)
    assert [lower, upper] == pytest.approx([0.0524, 0.4102], abs=5.1e-5)
    assert (np.flatnonzero(upper < BAD_CHIPS / 50) + 1).tolist() == [15, 23]


@pytest.mark.parametrize("level", [0.003, 0.02, 0.2])
def test_limits_of_a_proportion_keep_their_promise(level: float):
    """Chance outside is at most what was asked for, where three sigma on rare faults is many times off."""
    from scipy.stats import binom

    found = counted(np.round(np.full(400, 200 * level)), np.full(400, 200.0), proportion=True, arl0=370.0)
    law = binom(200, found.level)
    outside = law.cdf(found.lower[0] - 1) + law.sf(found.upper[0])
    assert 0 < outside <= 1.001 / 370
    if level == 0.003:
        low, high = three_sigma(level, 200, proportion=True)
        assert low == 0 and binom(200, level).sf(np.floor(200 * high)) > 5 / 740


def test_a_lasting_rise_of_a_proportion_is_found():
    rng = np.random.default_rng(4)
    counts = np.concatenate([rng.binomial(60, 0.05, 80), rng.binomial(60, 0.11, 40)])
    found = counted(counts, np.full(120, 60.0), proportion=True, arl0=1000.0, baseline=60)
    assert found.lasting is not None and 80 <= found.lasting < 100


def test_nonsense_counts_are_refused():
    with pytest.raises(ValueError, match="no more counted than there are"):
        counted(np.array([5.0]), np.array([4.0]), proportion=True, arl0=370.0)
