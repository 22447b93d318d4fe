"""Chart constants against the tables of ASTM E2587 and ISO 7870-2 (printed: from memory; exact: recomputed)."""

from __future__ import annotations

import csv
from pathlib import Path

import pytest

from tests.reference.yardsticks.constants import constants

DATA = Path(__file__).parent / "data" / "charts_constants.csv"
PRINTED_OFF = {("2", "E2"), ("3", "D4")}


def _rows() -> list[dict[str, str]]:
    return list(csv.DictReader(DATA.read_text(encoding="utf-8").splitlines()[1:]))


def _ours(n: int) -> dict[str, float]:
    c = constants(n)
    return {
        "d2": c.d2,
        "d3": c.d3,
        "c4": c.c4,
        "A2": c.a2,
        "A3": c.a3,
        "B3": c.b3,
        "B4": c.b4,
        "D3": c.d3_limit,
        "D4": c.d4_limit,
        "E2": c.e2,
    }


@pytest.mark.parametrize("row", _rows(), ids=lambda r: f"{r['constant']}({r['n']})")
def test_constants(row: dict[str, str]):
    ours = _ours(int(row["n"]))[row["constant"]]
    assert ours == pytest.approx(float(row["exact"]), abs=1e-9)
    off = 1.5e-3 if (row["n"], row["constant"]) in PRINTED_OFF else 5.01e-4
    assert ours == pytest.approx(float(row["printed"]), abs=off)


def test_closed_forms():
    """d2(2) = 2 / sqrt(pi), d3(2)^2 = 2 - 4 / pi."""
    assert constants(2).d2 == pytest.approx(2 / 3.141592653589793**0.5, abs=1e-12)
    assert constants(2).d3 ** 2 == pytest.approx(2 - 4 / 3.141592653589793, abs=1e-12)


def test_one_has_no_range():
    with pytest.raises(ValueError, match="at least 2"):
        constants(1)
