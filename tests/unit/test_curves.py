"""What a chart says beside its points: what its lines mean and since when, what the baseline left out, the story."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta

import numpy as np
import pytest

from models.charts.characteristics import streams
from models.charts.chart import chart
from models.pages import words
from models.pages.curves import BATCHES_SHOWN, curve
from models.pages.day import day
from models.pages.footing import footing
from models.shapes import Charted, Episode, Stream
from tests.unit.charts_streams import STREAM, first, made
from tests.unit.snapshots import BAD, bare, snapshot

FROM, TO = date(2026, 4, 6), date(2026, 7, 1)


def shown(charted: Charted):
    return curve(charted, bare(), FROM, TO)


def test_the_lines_say_what_they_mean_and_since_when():
    charted = chart(STREAM, made(3, 200), arl0=2000.0)
    said = shown(charted).limits_say.replace("\u00a0", " ")
    low, high = charted.lasting
    assert said.startswith(f"Two batches in a row outside {charted.lower:.2f} to {charted.upper:.2f} mL/g signal")
    assert f"eight whose mean is outside {low:.2f} to {high:.2f} mL/g" in said
    assert said.endswith("these lines have stood since 20 Apr 2026.")
    young = chart(STREAM, made(3, 60), arl0=2000.0)
    assert shown(young).limits_say.endswith("these lines still move while the chart learns.")


def test_no_more_batches_are_drawn_before_a_day_than_can_be_told_apart():
    """A line with a loaf batch every half hour: whole days, the newest, and the episode that a day is about is never cut off."""
    charted = replace(chart(STREAM, made(3, 48 * 30, per_day=48), arl0=2000.0), episodes=())
    last = charted.points.day[-1].astype("datetime64[D]").astype(object)
    weeks = last - timedelta(days=20)
    before = [dot for dot in curve(charted, bare(), weeks, last, today=last).dots if not dot.today]
    assert len(before) == 8 * 48 <= BATCHES_SHOWN
    names = [words.batch(str(charted.points.keys[place])) for place in (48 * 21, 48 * 29 - 1)]
    assert [before[0].name, before[-1].name] == names
    assert len(curve(charted, bare(), weeks, last).dots) == 21 * 48  # a page that is about no day draws them all
    began = 48 * 15
    episode = Episode("low", began + 9, began, began, began + 9, 48 * 29 + 5, -0.2, -0.3, -0.1, False, "step")
    for over in (False, True):
        seen = replace(charted, episodes=(replace(episode, over=over),))
        drawn = curve(seen, bare(), weeks, last, today=last).dots
        assert drawn[0].name == words.batch(str(charted.points.keys[began])) and sum(dot.today for dot in drawn) == 48


def test_a_learning_chart_counts_up_to_its_baseline():
    young = chart(STREAM, made(3, 60), arl0=2000.0)
    assert shown(young).baseline_says.startswith("Learning: 60 of 100 batches, 4 of 8 lots.")
    lots = replace(STREAM, characteristic="gassing power of the lot", unit="mL", line=None, product=None)
    found = shown(chart(lots, made(3, 20), arl0=500.0)).baseline_says
    assert found.startswith("Learning: 20 of 100 yeast lots.") and "batch" not in found
    charted = chart(lots, made(3, 200), arl0=500.0)
    assert "yeast lots, " in charted.promise and "batch" not in charted.promise


def test_a_kettles_lots_are_of_flour_and_the_plants_charts_are_of_all_lines():
    paste = replace(STREAM, characteristic="paste loss", unit="% of Wb", line=None, product="water-2", kettle="K1")
    lots = replace(STREAM, characteristic="gassing power of the lot", unit="mL", line=None, product=None)
    charted = [chart(STREAM, made(3, 60), arl0=2000.0)] * 3
    of_line, of_kettle, of_lots = (
        replace(one, stream=stream) for one, stream in zip(charted, (STREAM, paste, lots), strict=True)
    )
    assert "4\u00a0yeast lots" in shown(of_line).baseline_says
    assert "4\u00a0flour lots" in shown(of_kettle).baseline_says
    told = footing(replace(bare(), charted=(of_line, of_kettle, of_lots))).baselines
    assert told[0].startswith("All lines, gassing power of the yeast lot: Learning: 60 of 100 yeast lots.")
    assert "4\u00a0flour lots" in told[1] and "4\u00a0yeast lots" in told[2]


def test_batches_left_out_of_the_baseline_are_named_with_the_reason():
    charted = chart(STREAM, made(6, 300, steps=((50, 70, -0.12),)), arl0=2000.0)
    said = shown(charted).baseline_says.replace("\u00a0", " ")
    out = [why for _, why in charted.baseline.excluded]
    assert out and f"Left out of it: {len(out)} in an episode that signalled while the chart learned (" in said
    assert f"and {len(out) - 3} more)" in said


def test_an_episode_says_what_kind_it_is():
    far = shown(chart(STREAM, made(4, 400, steps=((250, 280, -0.2),)), arl0=2000.0))
    assert [span.says.rsplit(", ", 1)[1] for span in far.spans] == ["far off at once"]
    small = shown(chart(STREAM, made(4, 400, lot=0.004, steps=((250, 400, -0.03),)), arl0=2000.0))
    assert small.spans[-1].says.endswith(("a shift", "a small shift that lasts"))


def test_the_leading_chart_tells_every_batch_and_the_others_those_asked_about():
    line = day(snapshot(), BAD).lines[0]
    main, others = line.main[0], line.others
    assert all(any(part.startswith("loaf ") for part in dot.says) for dot in main.dots)
    assert all(any(part.startswith("loaf ") for part in dot.says) for c in others for dot in c.dots if dot.today)
    found = streams(snapshot().plant, snapshot().pastes, snapshot().batches)
    stream = next(s for s in found if s.characteristic == "paste loss")
    told = curve(chart(stream, found[stream], arl0=2000.0), snapshot(), FROM, TO).dots[-1].says
    assert any("before" in part for part in told) and any(part.startswith("cook ") for part in told)


@pytest.mark.parametrize(("signal", "stays"), [("on", True), ("over", False)])
def test_a_case_closed_while_its_signal_is_on_stays_on_the_page_until_it_is_over(signal: str, stays: bool):
    (fall,) = (a for a in snapshot().alerts if a.line == "L1" and a.kind == "chart")
    closed = replace(fall, case="closed", finding="real", signal=signal)
    later = date.fromordinal(BAD.toordinal() + 2)
    told = day(replace(snapshot(), alerts=(closed,)), later)
    assert bool(told.lines[0].changes) is stays


def test_loaves_taken_on_suspicion_are_no_points():
    """A batch that has only loaves on suspicion has no routine loaf, so it is no point of any loaf chart."""
    batches = snapshot().batches.copy()
    stream = Stream("north", "specific volume", "mL/g", "L1", "milk-loaf")
    before = streams(snapshot().plant, snapshot().pastes, batches)[stream]
    batches.loc[batches["batch_key"] == before.keys[-1], "loaves"] = 0.0
    after = streams(snapshot().plant, snapshot().pastes, batches)[stream]
    assert np.array_equal(after.keys, before.keys[:-1])


def test_an_unstable_or_short_stretch_says_no_worth():
    from models.pages.reckoning import worth_of

    moved = replace(chart(replace(STREAM, line="L1"), made(4, 330, steps=((250, 330, -0.1),)), arl0=2000.0), promise="")
    base = replace(snapshot(), charted=(moved,))
    last = moved.points.day[-1].astype(object)
    assert "Unstable: the level moved" in worth_of(base, "L1", last)[0]
    young = chart(replace(STREAM, line="L1"), first(made(3, 400), 20), arl0=2000.0)
    assert "Not enough data" in worth_of(replace(snapshot(), charted=(young,)), "L1", date(2026, 4, 10))[0]
