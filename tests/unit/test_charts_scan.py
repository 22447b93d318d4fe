"""The filter and the scan against what they stand for: generalised least squares, prefix sums, Student's t."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from models.charts.boundary import FROZEN, LEARNING, boundary
from models.charts.follow import follow
from models.charts.innovations import Model, Series, filtered, normal_score, student_score
from models.charts.scan import WINDOW, Asked, onset_evidence, scan, scan_all
from models.charts.variation import LEAN, RATIO, Trade, _leaning, fit

PLAIN = Model(0.0, 1.0, 0.0, 0.0, 0.0, 0.0, 1e9, 0.0, False)


def _series(
    y: np.ndarray, lots: np.ndarray | None = None, flours: np.ndarray | None = None, error: float = 0.0
) -> Series:
    alike = np.zeros(len(y), dtype=int)
    return Series(y, np.full(len(y), error), alike if lots is None else lots, alike if flours is None else flours)


@pytest.mark.parametrize("seed", range(3))
def test_scores_are_those_of_generalised_least_squares(seed: int):
    """T(tau, t) = h' V^-1 y / sqrt(h' V^-1 h), h the step, V the whole covariance, with no filter at all."""
    rng = np.random.default_rng(seed)
    size, phi, lot, flour, error = 40, 0.4, 0.9, 0.6, 0.3
    lots, flours = np.repeat(np.arange(5), 8), np.repeat(np.arange(4), 10)
    gap = np.abs(np.subtract.outer(np.arange(size), np.arange(size)))
    v = phi**gap + lot**2 * np.equal.outer(lots, lots) + flour**2 * np.equal.outer(flours, flours)
    v += error * np.eye(size)
    y = 0.2 * np.linalg.cholesky(v) @ rng.standard_normal(size)  # small, so that nothing is cut
    model = Model(0.0, 1.0, lot, flour, 0.0, phi, 1e9, 0.0, False)
    innovations = filtered(_series(y, lots, flours, error), model)
    for t in (3, 17, 39):
        nums, dens, _ = onset_evidence(innovations, t, WINDOW)
        w = np.linalg.inv(v[: t + 1, : t + 1])
        for tau in range(t + 1):
            h = (np.arange(t + 1) >= tau).astype(float)
            assert dens[t - tau] == pytest.approx(h @ w @ h, rel=1e-9)
            assert nums[t - tau] == pytest.approx(h @ w @ y[: t + 1], abs=1e-9)


def test_days_of_a_lot_that_differ_are_in_the_covariance():
    """A lot's effect that lives on by half from day to day: V holds lot^2 0.5^|days apart| within a lot."""
    rng = np.random.default_rng(5)
    size, lots, days = 36, np.repeat(np.arange(3), 12), np.repeat(np.arange(9), 4)
    same = np.equal.outer(lots, lots)
    v = 0.8**2 * same * 0.5 ** np.abs(np.subtract.outer(days, days)) + (1 + 0.2) * np.eye(size)
    y = 0.2 * np.linalg.cholesky(v) @ rng.standard_normal(size)
    series = replace(_series(y, lots, None, 0.2), days=days)
    model = Model(0.0, 1.0, 0.8, 0.0, 0.0, 0.0, 1e9, 0.0, False, stay=0.5)
    nums, dens, _ = onset_evidence(filtered(series, model), size - 1, WINDOW)
    w = np.linalg.inv(v)
    for tau in range(size):
        h = (np.arange(size) >= tau).astype(float)
        assert dens[size - 1 - tau] == pytest.approx(h @ w @ h, rel=1e-9)
        assert nums[size - 1 - tau] == pytest.approx(h @ w @ y, abs=1e-9)


def test_days_that_differ_within_a_lot_are_found():
    """Lots of five days; sd between lots 0.5, between days 0.8: correlation from day to day 0.28."""
    rng = np.random.default_rng(8)
    days = np.repeat(np.arange(150), 6)
    lots = days // 5
    y = rng.standard_normal(900) + rng.normal(0, 0.5, 30)[lots] + rng.normal(0, 0.8, 150)[days]
    apart = fit(replace(_series(y, lots), days=days), Trade(0.8, 0.0), 0.0)[0]
    assert apart.stay < 0.6 and apart.lot == pytest.approx((0.5**2 + 0.8**2) ** 0.5, rel=0.3)
    y = rng.standard_normal(900) + rng.normal(0, 0.9, 30)[lots]
    assert fit(replace(_series(y, lots), days=days), Trade(0.8, 0.0), 0.0)[0].stay > 0.85


def test_a_learning_chart_scores_against_the_level_of_its_own_past():
    """With a level quite unknown, the score of a step is the usual contrast of the means after and before."""
    y = np.random.default_rng(1).standard_normal(30) * 0.3
    model = Model(0.0, 1.0, 0.0, 0.0, 0.0, 0.0, 1e9, 1e4, True, scale_df=1e12)
    nums, dens, _ = onset_evidence(filtered(_series(y), model), 29, WINDOW)
    after, before = y[20:], y[:20]
    contrast = (after.mean() - before.mean()) / (1 / 10 + 1 / 20) ** 0.5
    assert nums[9] / dens[9] ** 0.5 == pytest.approx(contrast, rel=1e-4)


def test_independent_batches_scan_like_plain_moving_means():
    y = np.random.default_rng(2).standard_normal(300) * 0.7
    found = scan(filtered(_series(y), PLAIN), boundary(370, 50))
    sums = np.concatenate([[0.0], np.cumsum(y)])
    limits = boundary(370, 50)
    for t in (0, 10, 299):
        excess = [abs(sums[t + 1] - sums[t + 1 - m]) / m**0.5 - limits[m - 1] for m in range(1, min(50, t + 1) + 1)]
        assert found.excess[t] == pytest.approx(max(excess))
        assert found.lag[t] == int(np.argmax(excess))


def test_stretches_scanned_side_by_side_are_scanned_as_each_by_itself():
    rng = np.random.default_rng(4)
    asked = []
    for size, first, fresh, window in ((207, 3, 200, 200), (260, 0, 250, 200), (9, 0, 0, 200), (700, 0, 690, 200), (80, 5, 70, 50)):
        lots = np.arange(size) // 7
        series = _series(rng.standard_normal(size), lots, lots // 3, 0.3)
        model = replace(PLAIN, lot=0.6, flour=0.3, phi=0.3, nu=6.0)
        asked.append(Asked(filtered(series, model), boundary(370, window), rng.uniform(0, 0.3), first, fresh))
    for one, found in zip(asked, scan_all(asked), strict=True):
        alone = scan(one.innovations, one.boundary, one.level_se, one.first, one.fresh)
        for name in ("excess", "score", "lag"):
            assert np.array_equal(getattr(found, name), getattr(alone, name)), name
    assert scan_all([]) == []


def test_an_uncertain_level_counts_in_the_score():
    y = np.full(40, 0.5)
    sure, unsure = (scan(filtered(_series(y), PLAIN), boundary(370, 100), se).score[-1] for se in (0.0, 0.5))
    assert sure == pytest.approx(0.5 * 40**0.5)
    assert unsure == pytest.approx(0.5 * 40**0.5 / (1 + 0.25 * 40) ** 0.5)


@pytest.mark.parametrize("nu", [3.5, 5.0, 8.0, 30.0])
def test_normal_scores_of_student(nu: float):
    from scipy.stats import norm, t

    far = np.linspace(-10, 10, 41)
    exact = np.where(far > 0, norm.isf(t.sf(far, nu)), norm.ppf(t.cdf(far, nu)))
    assert normal_score(far, nu) == pytest.approx(exact, rel=0.03, abs=0.005)
    assert student_score(normal_score(far, nu), nu) == pytest.approx(far, abs=1e-9)


def test_a_known_lot_that_comes_back_is_no_news():
    lots = np.repeat([0, 1, 0], 30)
    y = np.where(lots == 0, 2.0, 0.0) + 0.1 * np.random.default_rng(0).standard_normal(90)
    model = Model(0.0, 0.5, 1.0, 0.0, 0.0, 0.0, 1e9, 0.0, False)
    score = filtered(_series(y, lots), model).score
    assert abs(score[0]) > 1.5 and abs(score[60]) < 0.7


def test_the_limit_of_a_window_is_lower_by_seven_hundredths_of_its_logarithm():
    """c = 3.6 at a run length of 483.6 (the simulation's own); of 100 batches 3.6 - 0.07 ln 100 = 3.2776."""
    limits = boundary(483.6, 100)
    assert (limits[0], limits[99]) == (pytest.approx(3.6), pytest.approx(3.2776, abs=1e-4))


def test_limits_fall_with_the_window_and_rise_with_the_run_length():
    assert (np.diff(boundary(1000, WINDOW)) < 0).all()
    runs = [5.0, 30.0, 100.0, 370.0, 5000.0, 80_000.0, 1e6]
    assert (np.diff([boundary(run, 1)[0] for run in runs]) > 0).all()
    assert (boundary(1000, 9, FROZEN) > boundary(1000, 9)).all()
    assert (boundary(1000, 9, LEARNING) > boundary(1000, 9, FROZEN)).all()


def test_in_control_run_length_is_as_asked():
    """100,000 independent batches, 100 to one alarm: 1000 alarms, of which counting alone leaves 3 % in doubt."""
    alarms = 0.0
    for seed in range(4):
        y = np.random.default_rng(seed).standard_normal(25_000)
        found = follow(_series(y), PLAIN, boundary(100, WINDOW), 0, len(y))
        watched = len(y) - sum(raw.until - raw.signalled for raw in found.episodes)
        alarms += len(found.episodes) / watched
    assert alarms / 4 == pytest.approx(1 / 100, rel=0.12)


@given(st.integers(0, 10_000), st.integers(60, 239), st.floats(-4, 4))
@settings(max_examples=25, deadline=None)
def test_what_has_signalled_stays(seed: int, cut: int, step: float):
    """Episodes over by `cut` and all signals up to it are the same whatever comes later."""
    y = np.random.default_rng(seed).standard_normal(240)
    y[50:120] += step
    lots = np.repeat(np.arange(12), 20)
    model = Model(0.0, 1.0, 0.5, 0.0, 0.0, 0.1, 8.0, 0.1, False)
    limits = boundary(200, WINDOW)
    early = follow(_series(y, lots), model, limits, 0, cut)
    late = follow(_series(y, lots), model, limits, 0, 240)
    known = [raw for raw in late.episodes if raw.signalled < cut]
    assert [(r.signalled, r.direction) for r in early.episodes] == [(r.signalled, r.direction) for r in known]
    assert [r for r in early.episodes if r.declared is not None] == [r for r in known if (r.declared or 999) < cut]


def test_variation_is_found():
    """Batch 1, lot 1.2, flour 0, phi 0.4, normal: 900 batches in 60 lots."""
    rng = np.random.default_rng(9)
    size, lots = 900, np.repeat(np.arange(60), 15)
    a = rng.standard_normal(size) * (1 - 0.4**2) ** 0.5
    for i in range(1, size):
        a[i] += 0.4 * a[i - 1]
    y = 50 + a + rng.normal(0, 1.2, 60)[lots] + rng.normal(0, 0.5, size)
    model, sd_rel_se = fit(_series(y, lots, error=0.25), Trade(0.8, 0.4), 0.5)
    assert model.level == pytest.approx(50, abs=0.5) and 0.1 < model.level_se < 0.25
    assert model.batch == pytest.approx(1.0, rel=0.1)
    assert model.lot == pytest.approx(1.2, rel=0.3)
    assert model.phi == pytest.approx(0.4, abs=0.1)
    assert model.flour == 0 and model.nu >= 8 and 0.02 < sd_rel_se < 0.03


def test_a_few_lots_do_not_make_large_ones_of_small_ones():
    """What is taken leans to the cautious side, by less than half an sd of the variance, which few lots leave wide."""
    ratio = np.array(RATIO)
    known = np.where(ratio == 0.5, 1.0, 0.0)
    assert _leaning(known, ratio) == pytest.approx(0.5)
    assert _leaning(np.where(ratio == 0.0, 1.0, 0.0), ratio) == 0.0
    few = np.array([0.15, 0.2, 0.25, 0.2, 0.1, 0.05, 0.03, 0.02])
    middle, variance = float(np.exp(few @ np.log(ratio + 0.2)) - 0.2), float(few @ ratio**2)
    open_still = float(few @ (ratio**2 - variance) ** 2) ** 0.5
    assert LEAN > 0 and middle < _leaning(few, ratio) < (variance + open_still / 2) ** 0.5


@pytest.mark.parametrize(("nu", "low", "high"), [(3.5, 3.0, 6.0), (1e6, 8.0, 50.0)])
def test_tails_are_found_leaning_to_the_heavy_side(nu: float, low: float, high: float):
    rng = np.random.default_rng(6)
    y = rng.standard_normal(600) if nu > 100 else rng.standard_t(nu, 600)
    assert low <= fit(_series(y), Trade(0.8, 0.0), 0.0)[0].nu <= high
