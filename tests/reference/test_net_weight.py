"""Net weight against the published rules."""

from __future__ import annotations

import pytest

from models.trade import netweight

# Nominal g, tolerable negative error g, T1, T2. Recomputed from Directive 76/211/EEC annex I and gov.uk "packaged
# goods" (percentages are rounded up to the next 0.1 g).
EXAMPLES = [
    (50, 4.5, 45.5, 41.0),
    (75, 4.5, 70.5, 66.0),
    (100, 4.5, 95.5, 91.0),
    (125, 5.7, 119.3, 113.6),
    (200, 9.0, 191.0, 182.0),
    (250, 9.0, 241.0, 232.0),
    (300, 9.0, 291.0, 282.0),
    (330, 9.9, 320.1, 310.2),
    (400, 12.0, 388.0, 376.0),
    (450, 13.5, 436.5, 423.0),
    (453.6, 13.7, 439.9, 426.2),
    (500, 15.0, 485.0, 470.0),
    (600, 15.0, 585.0, 570.0),
    (680, 15.0, 665.0, 650.0),
    (750, 15.0, 735.0, 720.0),
    (800, 15.0, 785.0, 770.0),
    (907, 15.0, 892.0, 877.0),
    (1000, 15.0, 985.0, 970.0),
    (1200, 18.0, 1182.0, 1164.0),
    (1600, 24.0, 1576.0, 1552.0),
]


@pytest.mark.parametrize(("nominal", "error", "t1", "t2"), EXAMPLES)
def test_tolerable_negative_errors(nominal, error, t1, t2):
    got = netweight.tolerable_negative_error(nominal)
    assert got == error
    assert nominal - got == pytest.approx(t1) and nominal - 2 * got == pytest.approx(t2)


@pytest.mark.parametrize(
    ("low", "high", "at_low", "at_high"),
    [
        (5, 50, 0.5, 4.5),
        (50, 100, 4.5, 4.5),
        (100, 200, 4.5, 9.0),
        (200, 300, 9.0, 9.0),
        (300, 500, 9.0, 15.0),
        (500, 1000, 15.0, 15.0),
        (1000, 10000, 15.0, 150.0),
        (10000, 15000, 150.0, 150.0),
        (15000, 25000, 150.0, 250.0),
    ],
)
def test_every_row_of_the_table_and_no_step_between_them(low, high, at_low, at_high):
    assert netweight.tolerable_negative_error(low) == at_low
    assert netweight.tolerable_negative_error(high) == at_high


@pytest.mark.parametrize(
    ("bound", "below", "above"),
    [
        (50, 4.5, 4.5),
        (100, 4.5, 4.6),
        (200, 9.0, 9.0),
        (300, 9.0, 9.1),
        (500, 15.0, 15.0),
        (1000, 15.0, 15.1),
        (10000, 150.0, 150.0),
        (15000, 150.0, 150.1),
    ],
)
def test_a_tenth_of_a_gram_on_each_side_of_every_row(bound, below, above):
    """Annex I, worked by hand: 4.5 % of 100.1 g is 4.5045 g, rounded up 4.6 g."""
    assert netweight.tolerable_negative_error(bound - 0.1) == below
    assert netweight.tolerable_negative_error(bound + 0.1) == above


@pytest.mark.parametrize("nominal", [4.9, 25001])
def test_outside_the_scope_there_is_no_answer(nominal):
    with pytest.raises(ValueError, match="covers 5 g to 25 000 g"):
        netweight.tolerable_negative_error(nominal)


@pytest.mark.parametrize(("n", "coefficient"), [(30, 0.503), (50, 0.379), (20, 0.640)])
def test_mean_test(n, coefficient):
    """76/211/EEC annex II 2.3: the mean may lie s * 0.503 (n 30), 0.379 (50), 0.640 (20, destructive) below."""
    assert 400.0 - netweight.mean_limit(400.0, 1.0, n) == pytest.approx(coefficient, abs=5.01e-4)


@pytest.mark.parametrize(
    ("n", "factor"),
    [
        (2, 8.985),
        (3, 2.484),
        (4, 1.591),
        (5, 1.241),
        (6, 1.05),
        (7, 0.925),
        (8, 0.836),
        (9, 0.769),
        (10, 0.715),
        (11, 0.672),
        (12, 0.635),
        (24, 0.422),
        (48, 0.291),
    ],
)
def test_sample_correction_factors_of_handbook_133(n, factor):
    """Table 2-1, printed factors from memory; t(0.975, n-1)/sqrt(n) recomputed lies within 0.0007."""
    assert 400.0 - netweight.mean_limit(400.0, 1.0, n, 0.975) == pytest.approx(factor, abs=7e-4)


# Handbook 133 table 2-5, from memory: label from, to below (g); allowed variation, g and pounds as printed.
VARIATIONS = [
    (36, 54, 3.6, 0.008),
    (54, 81, 5.4, 0.012),
    (81, 117, 7.2, 0.016),
    (117, 154, 9.0, 0.02),
    (154, 208, 10.8, 0.024),
    (208, 263, 12.7, 0.028),
    (263, 317, 14.5, 0.032),
    (317, 381, 16.3, 0.036),
    (381, 426, 18.1, 0.04),
    (426, 489, 19.9, 0.044),
    (489, 571, 21.7, 0.048),
    (571, 635, 23.5, 0.052),
    (635, 698, 25.4, 0.056),
    (698, 771, 27.2, 0.06),
    (771, 852, 29.0, 0.064),
    (852, 970, 31.7, 0.07),
    (970, 1120, 35.3, 0.078),
]


@pytest.mark.parametrize(("low", "high", "grams", "pounds"), VARIATIONS)
def test_allowed_variation_of_handbook_133(low, high, grams, pounds):
    """The 113 g row agrees with a public mailing-list post. A pound is 453.592 g; grams are printed cut to 0.1 g."""
    assert {netweight.allowed_variation(label) for label in (low, low + 1, high - 0.1)} == {grams}
    assert 0 <= 453.592 * pounds - grams < 0.1


@pytest.mark.parametrize("label", [10, 30, 35.9])
def test_a_small_package_may_vary_by_a_tenth(label):
    assert netweight.allowed_variation(label) == pytest.approx(label / 10)


@pytest.mark.parametrize("label", [0, 1120, 5000])
def test_no_allowed_variation_is_made_up(label):
    with pytest.raises(ValueError, match="ends at 1120 g"):
        netweight.allowed_variation(label)


@pytest.mark.parametrize(
    ("n", "outcomes"),
    [
        (20, {1: "met", 2: "not met"}),  # destructive plan, looked up
        (30, {1: "met", 2: "cannot tell", 3: "not met"}),  # double plans, from memory
        (50, {2: "met", 3: "cannot tell", 4: "cannot tell", 5: "not met"}),
        (80, {3: "met", 4: "cannot tell", 6: "cannot tell", 7: "not met"}),
        (160, {6: "met", 7: "cannot tell", 13: "cannot tell", 14: "not met"}),
    ],
)
def test_acceptance_numbers(n, outcomes):
    assert {k: netweight.judge_t1(k, n) for k in outcomes} == outcomes


@pytest.mark.parametrize(
    ("made", "n"), [(100, 30), (500, 30), (501, 50), (3200, 50), (3201, 80), (None, 80), (12, 12), (1, 1)]
)
def test_sample_sizes(made, n):
    """76/211/EEC annex II; fewer than 100: all of them, up to 30 here. From memory."""
    assert netweight.wanted(made) == n


@pytest.mark.parametrize(
    ("made", "n"), [(1, 1), (8, 8), (12, 12), (250, 12), (251, 24), (3200, 24), (3201, 48), (None, 48)]
)
def test_sample_sizes_of_handbook_133(made, n):
    assert netweight.wanted_133(made) == n
