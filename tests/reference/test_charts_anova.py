"""One-way analysis of variance against NIST StRD (looked up): AtmWtAg, SiRstv, SmLs01, SmLs04, SmLs07.

The certified figures are exact for the decimals printed. In binary the data of SmLs04 and SmLs07 are already
rounded, which leaves about 9 and 3 digits; every other difference is the program's.
"""

from __future__ import annotations

import csv
import math
from pathlib import Path

import numpy as np
import pytest

from tests.reference.yardsticks.components import one_way

DATA = Path(__file__).parent / "data" / "charts_anova.csv"
CERTIFIED = {
    # between df, SS; within df, SS; F; R squared; residual sd; digits wanted
    "AtmWtAg": (
        1,
        3.63834187500000e-09,
        46,
        1.04951729166667e-08,
        15.9467335677930,
        0.257426544538321,
        1.51048314446410e-05,
        9,
    ),
    "SiRstv": (
        4,
        5.11462616000000e-02,
        20,
        2.16636560000000e-01,
        1.18046237440255,
        0.190999039051129,
        1.04076068334656e-01,
        12,
    ),
    "SmLs01": (8, 1.68, 180, 1.8, 21.0, 0.482758620689655, 0.1, 13),
    "SmLs04": (8, 1.68, 180, 1.8, 21.0, 0.482758620689655, 0.1, 8),
    "SmLs07": (8, 1.68, 180, 1.8, 21.0, 0.482758620689655, 0.1, 2),
}


def _data(name: str) -> tuple[list[str], list[float]]:
    lines = DATA.read_text(encoding="utf-8").splitlines()[1:]
    rows = [row for row in csv.DictReader(lines) if row["dataset"] == name]
    return [row["treatment"] for row in rows], [float(row["response"]) for row in rows]


def _digits(ours: float, certified: float) -> float:
    return 15.0 if ours == certified else -math.log10(abs(ours - certified) / abs(certified))


@pytest.mark.parametrize("name", CERTIFIED)
def test_certified(name: str):
    found = one_way(*_data(name))
    between_df, between, within_df, within, f, r2, sd, digits = CERTIFIED[name]
    assert (found.between_df, found.within_df) == (between_df, within_df)
    ours = (found.between_ss, found.within_ss, found.f, found.r_squared, found.residual_sd)
    pairs = list(zip(ours, (between, within, f, r2, sd), strict=True))
    assert min(_digits(ours, certified) for ours, certified in pairs) >= digits


def test_the_one_pass_formula_would_not_do():
    """Negative control: the difference of two large sums keeps 1.4 digits of F on AtmWtAg."""
    groups, values = _data("AtmWtAg")
    g, v = np.array(groups), np.array(values)
    total = (v**2).sum() - v.sum() ** 2 / len(v)
    between = sum(v[g == k].sum() ** 2 / (g == k).sum() for k in np.unique(g)) - v.sum() ** 2 / len(v)
    f = between / ((total - between) / 46)
    assert _digits(f, CERTIFIED["AtmWtAg"][4]) < 3


def test_agrees_with_scipy():
    from scipy.stats import f_oneway

    groups, values = _data("SiRstv")
    sets = [[v for g, v in zip(groups, values, strict=True) if g == k] for k in sorted(set(groups))]
    assert one_way(groups, values).f == pytest.approx(f_oneway(*sets).statistic, rel=1e-12)


def test_components_of_a_known_hierarchy():
    rng = np.random.default_rng(3)
    groups = np.repeat(np.arange(400), 5)
    values = rng.normal(0, 2.0, 400)[groups] + rng.normal(0, 1.0, 2000)
    found = one_way(groups, values)
    assert found.between_var**0.5 == pytest.approx(2.0, rel=0.1)
    assert found.within_ms**0.5 == pytest.approx(1.0, rel=0.05)


def test_too_little_is_refused():
    with pytest.raises(ValueError, match="at least 2 groups"):
        one_way("aaa", [1.0, 2.0, 3.0])
    with pytest.raises(ValueError, match="one replicate"):
        one_way("abc", [1.0, 2.0, 3.0])
