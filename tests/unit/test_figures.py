"""The drawings: plain lists, the same bytes, nothing that phones home, text that is never markup."""

from __future__ import annotations

import json
from dataclasses import replace
from functools import cache

import pytest

from models.pages.day import day
from models.pages.month import month
from models.pages.shown import Curve, Span
from reports import figures, intervals, look
from tests.unit.snapshots import BAD, snapshot


@cache
def curve_shown() -> Curve:
    return day(snapshot(), BAD).lines[0].main[0]


def drawn(figure) -> dict:
    return json.loads(json.dumps(figure))


def texts(value) -> list[str]:
    """Every text in a figure, however deep."""
    if isinstance(value, str):
        return [value]
    if isinstance(value, dict):
        return [text for inner in value.values() for text in texts(inner)]
    if isinstance(value, list):
        return [text for inner in value for text in texts(inner)]
    return []


def test_a_curve_has_the_weeks_and_the_day_side_by_side():
    layout = drawn(figures.curve(curve_shown()))["layout"]
    assert layout["xaxis2"]["range"] == ["2026-05-05T06:00:00", "2026-05-06T06:00:00"]
    assert layout["xaxis"]["range"][1] == "2026-05-05T06:00:00"
    assert layout["xaxis"]["domain"][1] < layout["xaxis2"]["domain"][0]


def test_every_batch_is_drawn_once():
    points = [
        x for trace in drawn(figures.curve(curve_shown()))["data"] if trace["name"] == "batches" for x in trace["x"]
    ]
    assert sorted(points) == sorted(dot.at for dot in curve_shown().dots)


def test_a_batch_beyond_the_limits_has_a_shape_of_its_own():
    dots = tuple(dot._replace(value=4.0, outside=True) if dot.today else dot for dot in curve_shown().dots)
    (today,) = (
        trace
        for trace in drawn(figures.curve(replace(curve_shown(), dots=dots)))["data"]
        if trace["name"] == "batches" and trace["xaxis"] == "x2"
    )
    assert today["marker"]["symbol"] == "triangle-down"


def test_limits_level_and_episode_are_named_in_words():
    said = " ".join(word["text"] for word in drawn(figures.curve(curve_shown()))["layout"]["annotations"])
    for words in (
        "two 4.42",
        "two 4.90",
        "level 4.66",
        "window 4.40",
        "▼ 4.5 % small",
        "this day",
        "the weeks before",
    ):
        assert words in said.replace("\u00a0", " ")


def test_words_at_the_edge_do_not_lie_on_each_other():
    words = [w for w in drawn(figures.curve(curve_shown(), 190))["layout"]["annotations"] if w.get("xshift") == 5]
    heights = sorted(w["y"] for w in words)
    low, high = drawn(figures.curve(curve_shown(), 190))["layout"]["yaxis"]["range"]
    pixels = (190 - 46) * 0.89 / (high - low)
    assert all((b - a) * pixels >= 12.9 for a, b in zip(heights, heights[1:], strict=False))


def test_an_episode_over_both_panels_is_drawn_in_both():
    span = Span("2026-05-02T10:00:00", "2026-05-05T14:30:00", "low", 4.45, "small (x)", False)
    layout = drawn(figures.curve(replace(curve_shown(), spans=(span,))))["layout"]
    bars = [shape for shape in layout["shapes"] if shape.get("line", {}).get("width") == 5]
    assert [shape["xref"] for shape in bars] == ["x", "x2"]


def test_a_day_without_batches_still_has_its_empty_panel():
    dots = tuple(dot for dot in curve_shown().dots if not dot.today)
    assert "xaxis2" in drawn(figures.curve(replace(curve_shown(), dots=dots, spans=())))["layout"]


def test_a_curve_without_limits_or_level_is_drawn():
    bare = replace(curve_shown(), level=None, lower=None, upper=None, window=None, baseline=None, spans=(), day=None)
    layout = drawn(figures.curve(bare))["layout"]
    assert not layout.get("shapes")
    assert "xaxis2" not in layout


def test_contributions_are_laid_end_to_end_up_to_the_change():
    bars = day(snapshot(), BAD).lines[0].changes[0].bars
    parts, total = drawn(figures.bars(bars))["data"]
    ends = [start + part for start, part in zip(parts["base"], parts["x"], strict=True)]
    assert parts["base"][0] == 0 and parts["base"][1:] == pytest.approx(ends[:-1])
    assert ends[-1] == pytest.approx(total["x"][0])
    assert parts["marker"]["pattern"]["shape"] == ["", "", "", "/"]


def test_text_from_a_log_is_never_markup():
    evil = '<a href="http://example.invalid">x</a><b>'
    dots = tuple(dot._replace(says=(evil,), label="<i>1") for dot in curve_shown().dots)
    marks = tuple(replace(mark, says=f"yeast lot {evil}") for mark in curve_shown().marks)
    said = texts(drawn(figures.curve(replace(curve_shown(), dots=dots, marks=marks))))
    assert any("&lt;a href=" in text for text in said)
    assert not any("<a" in text or "<i>" in text for text in said)


def test_same_data_same_drawing_in_plain_lists():
    first, second = (json.dumps(figures.curve(curve_shown()), sort_keys=True) for _ in range(2))
    assert first == second and "bdata" not in first


def test_every_drawing_is_what_the_drawing_library_makes_of_it():
    """Pages write figures without the library's own checks; here it checks each kind, and has nothing to change."""
    from plotly.graph_objects import Figure

    told, of_month = day(snapshot(), BAD), month(snapshot(), "2026-04")
    every = [figures.curve(c) for line in told.lines for c in (*line.main, *line.others)]
    every += [figures.bars(change.bars) for line in told.lines for change in line.changes if change.bars]
    every += [intervals.shares(of_month.shares), intervals.differences(of_month.comparisons)]
    every += [intervals.grid(of_month.grid)]
    assert {trace["type"] for figure in every for trace in figure["data"]} == {"scatter", "bar"}
    for figure in every:
        assert drawn(Figure(figure).to_plotly_json()) == drawn(figure)


def test_nothing_is_shared_with_anybody():
    assert look.CONFIG["showSendToCloud"] is False and look.CONFIG["displaylogo"] is False
    assert not any("http" in text for text in texts(drawn(figures.curve(curve_shown()))))


def test_month_drawings_hold_what_the_month_says():
    told = month(snapshot(), "2026-04")
    now, before = drawn(intervals.shares(told.shares))["data"]
    judged = [share for share in told.shares if share.now.n]
    assert now["x"] == [pytest.approx(1000 * s.now.share, abs=0.05) for s in reversed(judged)]
    assert now["marker"]["symbol"] != before["marker"]["symbol"]
    (gap,) = drawn(intervals.differences(told.comparisons))["data"]
    assert gap["marker"]["symbol"] == ["circle-open"]
    marks = drawn(intervals.grid(told.grid))["data"]
    assert {trace["name"]: len(trace["x"]) for trace in marks} == {"loaves": 90, "doughs only": 0, "nothing": 0}


def luminance(colour: str) -> float:
    """Relative luminance, WCAG 2.1."""
    parts = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    linear = [p / 12.92 if p <= 0.04045 else ((p + 0.055) / 1.055) ** 2.4 for p in parts]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


@pytest.mark.parametrize("colour", [look.INK, look.QUIET, look.RED, look.TODAY])
@pytest.mark.parametrize("ground", ["#fbf7ef", look.BAND, look.CARD])
def test_words_in_drawings_have_contrast_enough(colour: str, ground: str):
    """WCAG 2.1, 1.4.3: 4.5 to 1 for text."""
    light, dark = sorted((luminance(colour), luminance(ground)), reverse=True)
    assert (light + 0.05) / (dark + 0.05) >= 4.5
