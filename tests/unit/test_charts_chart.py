"""A stream charted: its baseline, its episodes, what it says."""

from __future__ import annotations

from dataclasses import replace
from statistics import NormalDist
from types import SimpleNamespace

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from models import plant as plants
from models.charts.baseline import chosen
from models.charts.chart import _kind, chart
from models.charts.follow import Raw
from models.charts.learn import BATCHES, LOTS, complete_at, in_control
from models.charts.windows import against_window
from models.shapes import Charted, Points, Stream
from tests.unit.charts_streams import LEVEL, STREAM, first, made

ARL0 = 2000.0
PLANT = plants.parse(
    {
        "plant": "north",
        "timezone": "Europe/Lisbon",
        "shifts": {"early": "06:00", "late": "18:00"},
        "pastes": {"water": {"liquid_ratio": 2.0}},
        "kettles": {"K1": {"pastes": ["water"]}},
        "lines": {"L1": {"kettle": "K1", "products": ["tin"]}},
        "products": {"tin": {"paste": "water", "hydration_pct": 63, "yeast_pct": 3, "scaled_g": 450}},
    }
)


def _chart(points: Points, **more) -> Charted:
    return chart(STREAM, points, arl0=ARL0, **more)


def test_nothing_to_chart_is_no_data():
    found = _chart(first(made(1, 10), 0))
    assert (found.state, found.baseline, found.episodes) == ("no data", None, ())


@pytest.mark.parametrize("size", [1, 2, 3, 9])
def test_a_handful_of_points_only_learns(size: int):
    found = _chart(made(1, size))
    assert (found.state, found.episodes, len(found.statistic)) == ("learning", (), size)
    assert found.baseline.batches == size and np.isfinite([found.lower, found.upper]).all()


def test_rounded_sheets_are_no_news():
    """A temperature read as 26.0 day after day, and once in a while as 26.1."""
    temperature = replace(STREAM, characteristic="dough temperature", unit="°C")
    points = made(1, 300)
    value = np.where(np.arange(300) % 37 == 36, 26.1, 26.0)
    found = chart(temperature, replace(points, value=value, n=np.ones(300)), arl0=500.0)
    assert not found.episodes and found.state == "in control"
    moved = np.where(np.arange(300) >= 250, 27.5, value)
    assert chart(temperature, replace(points, value=moved, n=np.ones(300)), arl0=500.0).episodes[0].signalled < 254


def test_a_quiet_line_learns_then_stands_in_control():
    points = made(3, 400)
    young, old = _chart(first(points, 60)), _chart(points)
    assert young.state == "learning" and young.baseline.learning
    assert young.baseline.says == "learning: 60 of 100 batches, 4 of 8 lots"
    assert old.state == "in control" and not old.episodes
    base = old.baseline
    assert (base.learning, base.batches, base.lots) == (False, 113, 8)
    assert base.says == "113 batches on 15 days, 8 lots"
    assert base.level == pytest.approx(LEVEL, abs=3 * base.level_se)
    assert old.lower < base.level - 2 * base.sd and old.upper > base.level + 2 * base.sd


@pytest.mark.parametrize(("change", "direction"), [(-0.08, "low"), (0.08, "high")])
def test_a_step_after_the_baseline(change: float, direction: str):
    found = _chart(made(4, 400, steps=((250, 280, change),)))
    (episode,) = found.episodes
    assert (episode.direction, episode.over) == (direction, True)
    assert 250 <= episode.signalled <= 256
    assert episode.began_low <= 250 <= episode.began_high and abs(episode.began - 250) <= 2
    assert abs(episode.until - 279) <= 3
    span = slice(episode.began, episode.until + 1)
    assert episode.change == pytest.approx(found.points.value[span].mean() - found.baseline.level)
    assert episode.change_low < change * LEVEL < episode.change_high
    assert found.state == "in control"


def test_a_gross_change_is_caught_while_learning():
    found = _chart(made(5, 70, steps=((40, 70, -0.12),)))
    assert found.state == "signal" and found.baseline.learning
    assert 40 <= found.episodes[0].signalled <= 44 and not found.episodes[0].over
    assert found.baseline.batches == 70 - (70 - found.episodes[0].began)
    assert found.baseline.excluded[-1] == (str(found.points.keys[-1]), "in an episode")


@pytest.mark.parametrize(("way", "window"), [("upper", 2), ("lower", 2), ("upper", 8), ("lower", 8)])
def test_the_lines_drawn_are_where_two_and_eight_batches_signal(way: str, window: int):
    """Most runs of two (eight) batches a tenth beyond the line signal by their last; few half-way to it do."""
    caught = {1.1: 0, 0.5: 0}
    for seed in range(8):
        points = made(seed, 320)
        found = _chart(first(points, 300))
        low, high = (found.lower, found.upper) if window == 2 else found.lasting
        level, edge = found.baseline.level, high if way == "upper" else low
        for far in caught:
            value = points.value[: 300 + window].copy()
            value[300:] = level + far * (edge - level)
            again = _chart(replace(first(points, 300 + window), value=value), baseline=found.baseline)
            caught[far] += any(e.signalled >= 300 for e in again.episodes)
    assert caught[1.1] >= 6 and caught[0.5] <= 1


def test_the_lines_drawn_stay_where_they_are_as_batches_come():
    points = made(3, 420)
    early, late = _chart(first(points, 200)), _chart(points)
    assert (early.lower, early.upper, early.lasting) == (late.lower, late.upper, late.lasting)


def test_one_loaf_far_off_proves_less_than_eight():
    """Unequal n: the same value is a far batch where it is the mean of many loaves, and none where it is one loaf."""
    points = made(14, 320, lot=0.004)
    value, scores = points.value.copy(), []
    value[300] = LEVEL * 0.88
    for loaves in (1.0, 8.0):
        n = points.n.copy()
        n[300] = loaves
        scores.append(abs(_chart(replace(points, value=value, n=n)).statistic[300]))
    assert scores[0] < 0.9 * scores[1]


def test_missing_batches_and_changeovers_raise_nothing():
    """A product made every other day, days missing, three to six loaves measured: the chart stands as it did."""
    points = made(15, 800)
    kept = np.flatnonzero((np.arange(800) // 8 % 2 == 0) & (np.arange(800) % 7 != 3))
    some = Points(*(getattr(points, f)[kept] for f in ("keys", "at", "value", "n", "sd_within", "lot", "day")))
    assert not [e for e in _chart(replace(some, n=3.0 + kept % 4)).episodes if e.signalled > 100]


def test_after_an_adjustment_the_chart_starts_clean():
    """A fall of 10 % is put right; a rise of 10 % sixteen batches later is found as fast as from a quiet start."""
    found = _chart(made(16, 420, steps=((300, 320, -0.1), (336, 360, 0.1)))).episodes
    late = [e for e in found if e.signalled >= 300]
    assert [e.direction for e in late] == ["low", "high"]
    assert late[0].over and late[1].signalled <= 340


def test_bad_batches_stay_out_of_the_baseline_and_are_listed():
    points = made(6, 300, steps=((50, 70, -0.12), (90, 91, 0.3)))
    base = _chart(points).baseline
    out = dict(base.excluded)
    assert sum("signalled while" in why for why in out.values()) >= 18
    assert "robust sd" in out[str(points.keys[90])] or "signalled" in out[str(points.keys[90])]
    assert base.level == pytest.approx(LEVEL, rel=0.012)


def test_a_level_that_moves_early_and_stays_becomes_the_first_stretch_in_control():
    found = _chart(made(7, 400, steps=((20, 400, -0.12),)))
    episode = found.episodes[0]
    assert episode.over and "taken up" in episode.kind and episode.change < -0.08 * LEVEL
    assert found.baseline.first_key == str(found.points.keys[episode.began])
    assert found.baseline.level == pytest.approx(0.88 * LEVEL, rel=0.02)
    assert dict(found.baseline.excluded)[str(found.points.keys[0])] == "before the level moved to where it stayed"
    assert found.state == "in control"


def test_usual_lots_are_no_alarm_and_unusual_ones_are():
    usual = made(8, 500, lot=0.02)
    assert not [e for e in _chart(usual).episodes if e.signalled > 120]
    unusual = made(8, 500, lot=0.004, steps=((304, 320, -0.07),))
    assert any(e.direction == "low" and 304 <= e.signalled < 320 for e in _chart(unusual).episodes)


def test_a_signal_that_returns_within_a_shift_is_resumed():
    points = made(9, 420, per_day=24, lot_days=1, steps=((300, 330, -0.1), (337, 360, -0.1)))
    (episode,) = _chart(points).episodes
    assert episode.signalled < 310 and abs(episode.until - 359) <= 3
    apart = _chart(points, shift_hours=1.0).episodes
    assert [e.direction for e in apart] == ["low", "low"]
    assert apart[0].signalled == episode.signalled


def test_a_signal_that_returns_after_more_than_a_shift_is_another():
    """Eight hours; here it comes back after eleven."""
    points = made(9, 420, per_day=24, lot_days=1, steps=((300, 330, -0.1), (340, 360, -0.1)))
    assert [(e.began, e.until) for e in _chart(points).episodes] == [(300, 329), (340, 359)]


def test_a_change_is_bounded_with_ninety_percent():
    """Independent batches of a known sd about a known level: half the interval is 1.645 sd / sqrt(n)."""
    temperature = replace(STREAM, characteristic="dough temperature", unit="°C")
    value = 26 + np.random.default_rng(2).normal(0, 0.3, 340) - (np.arange(340) >= 300)
    points = replace(made(1, 340), value=value, n=np.ones(340))
    base = chart(temperature, first(points, 300), arl0=ARL0).baseline
    alone = dict(batch=0.3, lot=0.0, flour=0.0, within=0.0, level_se=0.0, scale2=1.0)
    base = replace(base, phi=0.0, extra=base.extra | alone)
    (episode,) = chart(temperature, points, arl0=ARL0, baseline=base).episodes
    half = NormalDist().inv_cdf(0.95) * 0.3 / (episode.until + 1 - episode.began) ** 0.5
    assert (episode.change_low, episode.change_high) == (
        pytest.approx(episode.change - half, abs=1e-5),
        pytest.approx(episode.change + half, abs=1e-5),
    )


def test_a_small_lasting_shift_is_found_by_two_hundred_batches_together():
    """Six thousandths of the level: the mean of some 180 batches tells it, no shorter stretch does."""
    points = made(3, 500, lot=0.0, phi=0.0)
    base = _chart(first(points, 300)).baseline
    base = replace(base, phi=0.0, extra=base.extra | dict(lot=0.0, flour=0.0, level_se=0.0))
    moved = np.where(np.arange(500) < 300, points.value, 0.994 * base.level)
    (episode,) = (e for e in _chart(replace(points, value=moved), baseline=base).episodes if e.signalled >= 300)
    assert 470 < episode.signalled < 500 and episode.kind == "small lasting shift"


def test_the_first_eight_batches_cannot_signal():
    points = made(1, 30)
    fallen = replace(points, value=np.where(np.arange(30) < 5, points.value, 0.7 * points.value))
    (episode,) = chart(STREAM, fallen, arl0=500.0).episodes
    assert (episode.began, episode.signalled) == (5, 8)


@pytest.mark.parametrize(
    ("batches", "kind"),
    [(1, "far from"), (2, "far from"), (3, "shift"), (20, "shift"), (21, "small lasting shift")],
)
def test_a_change_is_named_by_the_batches_it_took(batches: int, kind: str):
    """batches: from the likeliest onset to the signal, both counted."""
    raw = Raw(1, 40, batches - 1, 40, 40, 40, 60, None, 0.0, 1.0)
    assert _kind(raw).startswith(kind)


def test_the_frozen_baseline_passed_back_changes_nothing():
    points = made(10, 420, steps=((60, 75, -0.1), (300, 330, -0.08)))
    once = _chart(points)
    again = _chart(points, baseline=once.baseline)
    assert again.episodes == once.episodes and again.baseline == once.baseline
    assert np.array_equal(again.statistic, once.statistic)


def test_a_learning_baseline_passed_back_is_replaced():
    points = made(11, 300)
    young = _chart(first(points, 50)).baseline
    assert _chart(points, baseline=young).baseline == _chart(points).baseline


def test_a_person_restarts_the_baseline():
    """After a new recipe at batch 250 the level is 8 % lower for good; the signal is over once that is the baseline."""
    points = made(13, 420, steps=((250, 420, -0.08),))
    before = _chart(points)
    assert before.state == "signal"
    base = chosen(STREAM, points, str(points.keys[250]), str(points.keys[349]))
    assert (base.learning, base.batches, base.first_key) == (False, 100, str(points.keys[250]))
    assert base.level == pytest.approx(0.92 * LEVEL, rel=0.01)
    after = _chart(points, baseline=base)
    assert after.state == "in control" and all(e.over for e in after.episodes)
    with pytest.raises(ValueError, match="not among the 420"):
        chosen(STREAM, points, "nothing", str(points.keys[349]))
    with pytest.raises(ValueError, match="too few"):
        chosen(STREAM, points, str(points.keys[2]), str(points.keys[4]))


def test_a_baseline_that_is_itself_bad_is_said():
    loss = Stream("north", "paste loss", "% of Wb", kettle="K1")
    points = made(1, 150, lot=0.0)
    found = chart(loss, replace(points, value=7.0 + points.value - LEVEL, n=np.ones(150)), arl0=ARL0)
    says = against_window(found, PLANT)
    assert says == (
        f"The baseline is itself bad: {found.baseline.level:.1f} % of Wb, action limits −0.5 to 6.0 % of Wb."
    )
    fine = chart(loss, replace(points, value=2.0 + points.value - LEVEL, n=np.ones(150)), arl0=ARL0)
    assert against_window(fine, PLANT) is None
    narrow = replace(fine, baseline=replace(fine.baseline, level=4.2))
    assert "outside the warning limits" in against_window(narrow, PLANT)


def test_limits_do_not_follow_a_drift():
    """Half a percent a month, from the frozen baseline on: found, and the level stays where it was."""
    points = made(12, 1200, lot=0.004, per_day=8)
    drift = LEVEL * 0.03 * np.clip(np.arange(1200) - 150, 0, None) / 1050
    found = _chart(replace(points, value=points.value - drift))
    assert found.baseline == _chart(first(points, 150)).baseline
    assert any(e.direction == "low" for e in found.episodes)


@given(st.integers(0, 1000), st.integers(20, 330), st.sampled_from([-0.1, -0.04, 0.05]))
@example(1, 162, 0.05)  # the first level left for a whole baseline, and come back to later
@settings(max_examples=15, deadline=None)
def test_signals_never_move_as_points_come(seed: int, cut: int, change: float):
    points = made(seed, 330, steps=((30, 60, change), (220, 260, change)))
    whole, early = _chart(points), _chart(first(points, cut))
    known = [(e.signalled, e.direction) for e in whole.episodes if e.signalled < cut]
    assert [(e.signalled, e.direction) for e in early.episodes] == known
    if early.baseline is not None and not early.baseline.learning:
        assert early.baseline == whole.baseline


@given(st.floats(0.1, 1000), st.integers(0, 100))
@settings(max_examples=10, deadline=None)
def test_the_unit_does_not_matter(factor: float, seed: int):
    points = made(seed, 260, steps=((200, 230, -0.08),))
    plain = _chart(points)
    scaled = _chart(replace(points, value=points.value * factor, sd_within=points.sd_within * factor))
    spans = [[(e.signalled, e.began, e.until) for e in one.episodes] for one in (plain, scaled)]
    assert spans[0] == spans[1]
    assert scaled.baseline.level == pytest.approx(plain.baseline.level * factor)


def test_the_promise_is_in_plain_words():
    young, old = _chart(made(2, 40)).promise, _chart(made(2, 400)).promise
    assert young.startswith("Still learning, limits wide.")
    assert old.startswith("About one false alarm in 8 months here.")
    assert "A lasting change of 3 % is found after about" in old and old.endswith("here.")


def test_a_run_length_of_one_is_refused():
    with pytest.raises(ValueError, match="at least 2"):
        chart(STREAM, made(1, 10), arl0=1.0)


def test_other_scales():
    """Spread of few loaves and paste loss are skew; quiet ones do not signal, and a doubled one does."""
    rng = np.random.default_rng(3)
    points = made(1, 320, lot=0.0)
    spread = replace(STREAM, characteristic="within-batch spread")
    quiet = replace(points, value=points.sd_within, sd_within=np.full(320, np.nan))
    assert not chart(spread, quiet, arl0=ARL0).episodes
    wild = replace(quiet, value=np.where(np.arange(320) >= 250, 2.0, 1.0) * quiet.value)
    assert chart(spread, wild, arl0=ARL0).episodes[0].signalled < 262
    loss = replace(STREAM, characteristic="paste loss", unit="% of Wb", line=None, product=None, kettle="K1")
    values = rng.lognormal(np.log(2.2), 0.35, 320)
    calm = replace(points, value=values, n=np.ones(320), sd_within=np.full(320, np.nan))
    assert not chart(loss, calm, arl0=ARL0).episodes
    high = chart(loss, replace(calm, value=values + 4 * (np.arange(320) >= 250)), arl0=ARL0).episodes[0]
    assert high.direction == "high" and high.signalled < 253


def _complete_at(lots: np.ndarray, start: int, episodes: tuple[Raw, ...], stop: int) -> int | None:
    """The definition, batch by batch: quiet, and enough batches and lots in control by what is known there."""
    for i in range(max(start + BATCHES - 1, 0), stop):
        known = tuple(raw for raw in episodes if raw.signalled <= i)
        inside = in_control(start, i + 1, known)
        quiet = all(raw.declared is not None and raw.declared < i for raw in known)
        if quiet and inside.sum() >= BATCHES and len(set(lots[: i + 1][inside])) >= LOTS:
            return i
    return None


def test_a_baseline_is_complete_where_its_definition_says():
    rng, complete = np.random.default_rng(5), 0
    for _ in range(200):
        stop, a_lot = int(rng.integers(1, 500)), int(rng.integers(5, 60))
        lots = np.cumsum(rng.random(stop) < 1 / a_lot)
        start = int(rng.integers(0, max(1, stop // 3)))
        at, episodes = start + int(rng.integers(0, 150)), []
        while at < stop:
            began, until = max(start, at - int(rng.integers(0, 20))), min(stop - 1, at + int(rng.integers(0, 60)))
            declared = until + int(rng.integers(1, 5))
            episodes.append(Raw(1, at, 0, began, began, began, until, declared, 0.0, 0.0, bool(rng.random() < 0.2)))
            at = declared + 1 + int(rng.integers(0, 200))
        found = complete_at(SimpleNamespace(lots=lots), start, tuple(episodes), stop)
        assert found == _complete_at(lots, start, tuple(episodes), stop)
        complete += found is not None
    assert 20 < complete < 180
