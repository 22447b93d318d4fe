"""The charts of every line and product: which chart answers, in what state, with which limits, and the alert on it."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta
from functools import cache

from models.floor.chartscreen import ChartScreen, Followed, charts
from models.floor.view import View
from models.storage.viewing import _chart
from tests.unit.board import page, view
from tests.unit.snapshots import snapshot

LOW = next(one for one in snapshot().alerts if one.characteristic == "specific volume" and one.signal == "on")
NOW = LOW.until_at + timedelta(minutes=30)


@cache
def seen() -> View:
    whole = snapshot()
    charted = whole.charted
    return view(
        (LOW,), plant=whole.plant, charted=charted, charts=tuple(map(_chart, charted)), changes=whole.changes,
        newest=LOW.until_at,
    )  # fmt: skip


def of(found: ChartScreen, line: str | None) -> Followed:
    return next(one for one in found.followed if one.line == line)


def test_every_line_and_product_is_there_once_by_the_chart_that_answers_for_it() -> None:
    found = charts(seen(), NOW)
    planned = {f"{name}, {product}" for name, line in seen().plant.lines.items() for product in line.products}
    named = [f"{one.line}, {one.product}" for one in found.followed]
    assert sorted([*named, *found.silent]) == sorted(planned)
    for one in found.followed:
        mine = [c for c in seen().charted if (c.stream.line, c.stream.product) == (one.line, one.product)]
        volumes = [c for c in mine if c.stream.characteristic == "specific volume"]
        assert (one.title == "Specific volume") == bool(volumes)


def test_an_open_alert_gives_the_state_and_the_link_and_a_closed_one_does_not() -> None:
    one = of(charts(seen(), NOW), LOW.line)
    assert (one.state, one.alert, one.on) == (LOW.urgency, LOW.alert, True) and "small" in one.what
    others = [other for other in charts(seen(), NOW).followed if other.line != LOW.line]
    assert others and not any(other.alert for other in others)
    closed = replace(seen(), alerts=(replace(LOW, case="closed", finding="real"),))
    one = of(charts(closed, NOW), LOW.line)
    assert one.alert == "" and one.state == "known"  # the chart still signals: never shown as no change


def test_an_alert_that_is_over_for_long_is_linked_and_no_state_any_more() -> None:
    over = replace(LOW, urgency="review", signal="over")
    watching = tuple(replace(chart, state="in control") for chart in seen().charts)
    later = replace(seen(), alerts=(over,), charts=watching)
    one = of(charts(later, LOW.until_at + timedelta(hours=25)), LOW.line)
    assert (one.state, one.alert, one.on) == ("steady", LOW.alert, False)
    assert "Alert over, not closed" in page("charts", charts=charts(later, LOW.until_at + timedelta(hours=25)))


def test_limits_and_the_last_batch_are_the_charts_own() -> None:
    one = of(charts(seen(), NOW), LOW.line)
    chart = next(c for c in seen().charted if (c.stream.line, c.stream.characteristic) == (LOW.line, "specific volume"))
    assert one.limits.replace("\u00a0", " ") == f"{chart.lower:.2f} to {chart.upper:.2f} mL/g"
    assert one.last.startswith(f"{chart.points.value[-1]:.2f}")


def test_a_chart_that_has_no_limits_yet_says_so() -> None:
    young = tuple(replace(chart, lower=None, upper=None, state="learning") for chart in seen().charts)
    found = charts(replace(seen(), charts=young, alerts=()), NOW)
    assert {one.state for one in found.followed} == {"learning"}
    assert "No limits yet" in page("charts", charts=found)


def test_state_stands_in_word_and_shape_and_the_page_is_small() -> None:
    text = page("charts", "/charts", charts=charts(seen(), NOW))
    many = len(charts(seen(), NOW).followed)
    assert text.count('class="inked"') == many and text.count('<p class="state"><svg class="shape"') == many
    assert f"/alerts/{LOW.alert}" in text and " style=" not in text and len(text) < 25_000 * many


def test_a_plant_without_batches_says_that_no_chart_is_there() -> None:
    found = charts(view(charts=(), newest=None), NOW)
    assert not found.followed and found.silent
    assert "charts begin with the first batches" in page("charts", charts=found)


def test_a_line_silent_for_longer_than_the_weeks_shown_is_drawn_as_it_was_last_seen() -> None:
    now_on, much_later = seen(), replace(seen(), newest=LOW.until_at + timedelta(days=60))
    before, after = of(charts(now_on, NOW), LOW.line).curve, of(charts(much_later, NOW), LOW.line).curve
    assert before is not None and after is not None
    assert after.dots[-1].at == before.dots[-1].at
