"""Ranges in which no rule fails: what is asked quickly of a very large log must be what the rules say, one by one."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from models.judging.ranges import unbroken
from models.judging.rules import DERIVED, truth_rules
from models.reader.bulk import unsure_texts

LOAF = [rule for rule in truth_rules("loaf") if ".unknown-" not in rule.code]


def test_numbers_inside_the_ranges_break_no_rule_of_a_loaf() -> None:
    # pandas evaluates the rules' own expressions, as the suite does
    found = unbroken(rule.fails for rule in LOAF)
    draw = np.random.default_rng(5)
    names = ("scaled_g", "baked_g", "volume_ml", "cooled_minutes", "core_temp_c")
    loaves = pd.DataFrame({name: draw.uniform(*found[name], 20_000) for name in names})
    for name, expression in DERIVED["loaf"].items():
        loaves[name] = loaves.eval(expression)
    inside = np.logical_and.reduce(
        [(loaves[name] > low) & (loaves[name] < high) for name, (low, high) in found.items()]
    )
    assert inside.sum() > 1_000
    for rule in LOAF:
        assert not loaves[inside].eval(rule.fails).any(), rule.code


def test_a_range_ends_where_a_rule_fails() -> None:
    found = unbroken(["x < 10 or x > 5000", "x >= 0.01 and x < 5", "x > 20 and y > 3", "y < 1"])
    assert found == {"x": (20.0, 5000.0), "y": (1.0, 3.0)}


@pytest.mark.parametrize("other", ["x < y", "1 < x < 2", "not known", "x + 1 < 2"])
def test_of_a_rule_of_another_form_nothing_is_said(other: str) -> None:
    assert unbroken(["x < 10 or x > 5000", other]) == {}


def test_where_rules_leave_nothing_nothing_is_said() -> None:
    assert unbroken(["x < 10", "x >= 10"]) == {}


def test_no_text_that_stands_for_nothing_begins_with_a_digit() -> None:
    assert not [text for text in unsure_texts() if text[0].isdigit()]
