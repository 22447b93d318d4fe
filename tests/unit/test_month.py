"""The month page's content: what is claimed, what is not, and the statistics behind it."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from functools import cache

import numpy as np
import pytest
from scipy.stats import f_oneway

from models.pages.holes import reach
from models.pages.month import Month, month, span_of
from models.pages.rates import Rate, Summed, likeness, mean_interval, paired_difference, rate, rate_difference, wilson
from models.shapes import Alert, Finding, Group
from models.trade import placed
from tests.unit.snapshots import bare, snapshot


@cache
def page(which: str) -> Month:
    return month(snapshot(), which)


def sentences(which: str) -> dict[str, str]:
    return {word: says.replace("\u00a0", " ") for word, says in page(which).sentences}


def test_three_sentences_say_what_is_clear_and_what_is_not():
    said = sentences("2026-04")
    assert said["Better"].startswith("L2 milk-loaf, ") and "fewer loaves per 1000 outside the window" in said["Better"]
    assert said["Worse"] == "No line clearly."
    assert "L1 milk-loaf" in said["Cannot tell"] and "may be chance" in said["Cannot tell"]
    assert "the lid fixes the volume" in said["Cannot tell"]


def test_too_few_days_are_not_judged():
    assert "loaves of 4 days only, 5 are needed" in sentences("2026-05")["Cannot tell"]
    judged = snapshot().counted.judged
    without = replace(snapshot().counted, judged=judged[judged["line"] != "L1"])
    none = month(replace(snapshot(), counted=without), "2026-05").shares[0]
    assert (none.name, none.why_not) == ("L1 milk-loaf", "none of its loaves was measured")  # not "of no days only"


def test_a_month_that_goes_on_says_of_which_days_its_sums_are():
    """Before, eight days' money stood under "November 2026" beside a whole month's."""
    assert page("2026-05").reach == (
        "Doughs are recorded on 4 of the month's 31 days, 1 May to 5 May 2026: every sum is of these alone."
    )
    whole = snapshot()
    days = np.arange("2026-05-01", "2026-06-01", dtype="datetime64[D]")
    every = whole.batches.iloc[[0] * len(days)].assign(shift_date=days)
    assert reach(replace(whole, batches=every), *span_of("2026-05")) == "" == reach(whole, *span_of("2025-01"))


def test_the_first_month_claims_no_change():
    said = sentences("2026-03")
    assert said["Better"] == said["Worse"] == "No line clearly."
    assert "too few loaves the month before" in said["Cannot tell"]


def test_loaves_on_suspicion_and_hot_ones_do_not_count():
    for odd in ({"reason": "suspicion"}, {"cooled_minutes": 20.0}):
        rows = placed.counted(snapshot().plant, snapshot().loaves.assign(**odd), snapshot().batches)
        assert month(replace(snapshot(), counted=rows), "2026-04").shares[0].now.n == 0


def test_lines_are_compared_in_words_within_one_product_and_instrument():
    (found,) = page("2026-04").comparisons
    assert (found.product, found.instrument, found.first, found.second) == ("milk-loaf", "V1", "L1", "L2")
    assert found.says.startswith("No clear difference") and "30\u00a0days in common" in found.says
    (march,) = page("2026-03").comparisons
    assert march.difference.clear and march.says.startswith("L1 is larger by 0.1")


def test_lines_on_two_instruments_are_not_compared():
    batches = snapshot().batches
    other = batches.assign(volumeter=np.where(batches["line"] == "L2", "V2", "V1"))
    told = month(replace(snapshot(), batches=other.astype({"volumeter": "str"})), "2026-04")
    assert not told.comparisons and told.not_compared == (
        "L1 and L2 on milk-loaf: not compared, no volumeter in common.",
    )


def test_money_rests_on_what_was_recorded():
    costs = {cost.name: cost for cost in page("2026-05").money.costs}
    assert costs["Water lost and not put back"].amount == "0\u00a0EUR"
    assert "whose make-up water is not recorded" in costs["Water lost and not put back"].says
    assert costs["Weight given away"].amount == "cannot be said"
    # 24 output rows of 60 pieces of 460 g at 0.60 a kilogram: 1440 x 0.46 x 0.6 = 397.44
    assert costs["Pieces thrown away"].amount == "397\u00a0EUR"


def test_without_costs_there_is_no_money():
    plant = snapshot().plant.model_copy(update={"dough_cost_per_kg": None})
    told = month(replace(snapshot(), plant=plant), "2026-04").money
    assert told.costs == () and "dough_cost_per_kg" in told.why_not


def test_a_cause_that_came_back_is_listed_while_a_case_is_open():
    (item,) = page("2026-04").repeats
    assert item.title == "Water lost in the cook" and "2\u00a0alerts, 1 not closed" in item.says
    closed = tuple(replace(a, case="closed") for a in snapshot().alerts)
    assert month(replace(snapshot(), alerts=closed), "2026-04").repeats == ()


def test_how_often_calls_were_right_is_said_once_one_was_closed():
    def named(name: str, group: Group, finding: Finding | None) -> Alert:
        return replace(a, alert=name, finding=finding, closed_as=(group, "what it named") if finding else ())

    a = next(alert for alert in snapshot().alerts if alert.causes)
    which = f"{a.began_at:%Y-%m}"
    closed = (named("X1", "yeast", "real"), named("X2", "yeast", "nothing found"), named("X3", "paste", None))
    said = month(replace(snapshot(), alerts=closed), which).records
    assert said[1].startswith("Yeast: 1 of 2 closed calls were real (90 %: ")
    assert said[0] == "Paste: no such call has been closed yet."
    assert month(replace(snapshot(), alerts=closed[2:]), which).records == ()


def test_one_event_that_a_limit_and_a_chart_tell_did_not_come_back():
    one = next(a for a in snapshot().alerts if a.kind == "limit" and a.case != "closed")
    chart = replace(one, alert="A-chart", kind="chart")
    which = f"{one.began_at:%Y-%m}"
    assert month(replace(snapshot(), alerts=(one, chart)), which).repeats == ()
    elsewhere = replace(one, alert="A-other", kettle="K9")
    (item,) = month(replace(snapshot(), alerts=(one, chart, elsewhere)), which).repeats
    assert "2\u00a0alerts" in item.says and len(item.detail) == 2


def test_holes_are_shown_line_by_line_and_day_by_day():
    told = page("2026-05")
    assert told.grid.days[-1] == "2026-05-05" and told.grid.lines == ("L1", "L2", "L3")
    assert [row[2] for row in told.grid.marks] == ["nothing"] * 3
    assert told.grid.marks[0][4] == "loaves"
    counts = {row[0].says: row[1].says for row in told.holes.rows}
    rows = snapshot().account
    rows = rows[rows["shift_date"] >= "2026-05-01"]
    (of,) = [row[2].says for row in told.holes.rows if row[0].says == "Rows that still wait or stand in quarantine"]
    assert of.replace("\u202f", "") == f"{rows['received'].sum():.0f}", "of all rows that came, not of those left out"
    assert counts["Pastes without a cooling reading"] == "4" and counts["Doughs without a gas test"] == "96"


def test_a_month_without_data_claims_nothing():
    told = month(bare(), "2026-05")
    assert {says for _, says in told.sentences[:2]} == {"No line clearly."}
    assert told.made.startswith("Pieces made: not recorded") and not told.curves
    assert {mark for row in told.grid.marks for mark in row} == {"nothing"}


def test_no_such_month():
    assert span_of("2028-02") == (date(2028, 2, 1), date(2028, 2, 29))
    for wrong in ("2026-13", "May", "2026-05-01"):
        with pytest.raises(ValueError, match="written like 2026-05"):
            month(snapshot(), wrong)


def test_wilson_interval_of_a_published_example():
    """15 of 148: 0.0624 to 0.1605. R. G. Newcombe, Statistics in Medicine 17 (1998) 857, method 3; from memory."""
    assert wilson(15 / 148, 148) == pytest.approx((0.0624, 0.1605), abs=5e-5)


def test_difference_of_rates_of_a_published_example():
    """56/70 and 48/80: 0.0524 to 0.3339. R. G. Newcombe, Stat. Med. 17 (1998) 873, method 10; from memory."""
    first, second = (Rate(k / n, *wilson(k / n, n), k, n, 9) for k, n in ((56, 70), (48, 80)))
    found = rate_difference(first, second)
    assert (found.value, found.low, found.high) == pytest.approx((0.2, 0.0524, 0.3339), abs=5e-5)


def test_loaves_of_one_day_that_are_alike_widen_the_interval():
    alike, mixed = rate([20, 0, 0, 0, 0, 0], [20] * 6), rate([4, 3, 3, 4, 3, 3], [20] * 6)
    assert alike.share == mixed.share == pytest.approx(1 / 6)
    assert alike.high - alike.low > 2 * (mixed.high - mixed.low)


def test_no_loaf_outside_is_not_certainty():
    none, apart = rate([0] * 10, [40] * 10), rate([0] * 10, [40] * 10, alike=0.1)
    assert none.share == apart.share == 0 and none.high > 0.2
    assert 3 / 400 < apart.high < none.high


def test_likeness_of_loaves_within_a_day():
    """Two groups (1, 3) and (5, 7): between 16, within 2, so (16 - 2) / (16 + 2) = 7/9, by hand."""


    def summed(*values: int) -> Summed:
        return Summed(len(values), sum(values), sum(value**2 for value in values))

    assert likeness([summed(1, 3), summed(5, 7)]) == pytest.approx(7 / 9)
    assert likeness([summed(1, 2)]) == 1.0 and likeness([summed(1, 2)] * 3) == 0.0


def test_likeness_is_that_of_the_analysis_of_variance():
    """Loaves of eight days in whole grains (seed 11), against the F of scipy's one-way analysis of variance."""
    rng = np.random.default_rng(11)
    days = [rng.normal(480_000 + 9_000 * rng.normal(), 12_000, size=size).round().astype(int) for size in range(20, 60, 5)]
    f = f_oneway(*days).statistic
    n, k = sum(map(len, days)), len(days)
    size = (n - sum(len(day) ** 2 for day in days) / n) / (k - 1)
    found = likeness([Summed(len(day), int(day.sum()), int((day**2).sum())) for day in days])
    assert found == pytest.approx((f - 1) / (f - 1 + size), rel=1e-9)


def test_rates_cover_the_truth_when_days_differ():
    """95 % intervals over 2000 simulated months whose days differ (seed 5), with many hits and with few."""
    rng = np.random.default_rng(5)
    for beta, truth in ((38, 0.05), (398, 0.005)):
        hits = 0
        for _ in range(2000):
            shares = rng.beta(2, beta, size=22)
            found = rate([int(k) for k in rng.binomial(20, shares)], [20] * 22, alike=0.1)
            hits += found.low <= truth <= found.high
        assert hits / 2000 >= 0.90


def test_paired_difference_is_the_textbook_interval():
    """Differences 1..5: mean 3, sd sqrt(2.5), t(0.975, 4) = 2.776445 (ISO 3534 tables give 2.776)."""
    found = paired_difference(dict.fromkeys(range(5), 0.0), {i: i + 1.0 for i in range(5)})
    half = 2.776445 * 2.5**0.5 / 5**0.5
    assert (found.value, found.low, found.high) == pytest.approx((3.0, 3 - half, 3 + half), rel=1e-6)
    assert paired_difference({1: 0.0}, {1: 1.0}) is None and mean_interval([1.0, 2.0]) is None


def test_more_comparisons_need_more():
    first, second = dict.fromkeys(range(9), 0.0), {i: float(i % 3) for i in range(9)}
    one, many = paired_difference(first, second), paired_difference(first, second, comparisons=10)
    assert many.high - many.low > one.high - one.low
