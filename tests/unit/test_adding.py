"""Parts as they are printed add up to the change as it is printed, and bounds hold their part."""

from __future__ import annotations

import re
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from models.alarms.alerts import unexplained
from models.pages import changes
from models.pages.adding import adding_up, outward, printed
from models.pages.words import number
from models.shapes import GROUPS, Cause
from models.texts import texts
from tests.unit.test_alerts import alert

PARTS = st.lists(st.floats(-0.6, 0.6), min_size=4, max_size=4)


def _hundredths(said: str) -> int:
    return round(100 * float(said.replace("\u2212", "-").replace("\u00a0", " ").split(" ")[0]))


@given(PARTS, st.floats(0, 0.2), st.floats(0, 0.2))
def test_what_is_printed_adds_up_and_lies_within_its_bounds(parts: list[float], below: float, above: float):
    change = sum(parts)
    share = [0.25] * 4
    causes = [Cause(g, p, p - below, p + above, s, "", (), ()) for g, p, s in zip(GROUPS, parts, share, strict=True)]
    shown = printed(causes, change)
    assert sum(_hundredths(s.part) for s in shown) == _hundredths(number(change, "mL/g"))
    for text, part in zip(shown, parts, strict=True):
        low, high = (_hundredths(x) for x in text.bounds.split(" to "))
        assert low <= _hundredths(text.part) <= high
        assert abs(_hundredths(text.part) - 100 * part) < 1 + 1e-6


def test_shares_add_up_to_a_hundred():
    # 33.3 three times, worked by hand: the largest remainders are equal, the first takes the one that is left
    assert adding_up([100 / 3] * 3, 100.0, 0) == pytest.approx((34, 33, 33))
    assert adding_up([-0.004, -0.188, 0.003, -0.056], -0.245, 2) == pytest.approx((-0.0, -0.19, 0.0, -0.06), abs=0.0101)


def test_parts_that_do_not_add_up_are_not_made_to():
    assert adding_up([0.1, 0.1], 0.5, 2) == (0.1, 0.1)


def test_bounds_are_rounded_away_from_each_other():
    assert outward(-0.121, 0.001, 2) == pytest.approx((-0.13, 0.01))
    assert outward(-0.12, 0.01, 2) == pytest.approx((-0.12, 0.01))


def _called(group: str, driver: str, low: float = -0.3) -> str:
    lead = Cause(group, -0.2, low, -0.1, 0.9, driver, (), ())
    rest = Cause("paste" if group != "paste" else "yeast", -0.01, -0.1, 0.1, 0.1, "", (), ())
    return changes.call(alert(causes=(lead, rest), change=-0.21)).replace("\u00a0", " ")


def test_a_call_that_names_nothing_does_not_name_it_as_a_cause():
    nothing = texts("causes")["within"]
    assert nothing not in _called("yeast", nothing) and "Nothing recorded explains it" in _called("yeast", nothing)
    assert nothing not in _called("unexplained", nothing)
    assert _called("unexplained", nothing).startswith("Not explained by anything recorded")
    oven = _called("unexplained", "Bake loss 1.1 points low (oven O1)")
    assert "Not explained by anything recorded" not in oven and re.search("Bake loss.*9\\d % .*left over", oven)


def test_an_alert_that_was_not_traced_does_not_say_that_nothing_explains_it():
    causes = unexplained(-0.21, "no chart of this line and product to trace it on yet")
    said = changes.call(alert(causes=causes, change=-0.21))
    assert said == "Not traced: no chart of this line and product to trace it on yet."


def test_a_second_fault_is_said_with_the_first():
    first = Cause("paste", -0.39, -0.5, -0.2, 0.57, "Dough 3.7 points too dry", (), ())
    second = Cause("yeast", -0.30, -0.45, -0.1, 0.43, "Dough 2.8 °C cold", (), ())
    said = changes.call(alert(causes=(first, second), change=-0.69)).replace("\u00a0", " ")
    assert said.endswith("about 57 % of the change. Beside it yeast: Dough 2.8 °C cold, about 43 %.")
    unsure = replace(second, high=0.1)
    assert "Beside" not in changes.call(alert(causes=(first, unsure), change=-0.69))
