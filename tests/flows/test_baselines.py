"""A person sets a baseline anew: named, with a reason, the earlier one kept, alerts charted from it."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest

from flows.baselines import _lines
from models.charts.baseline import chosen, row_changed
from models.shapes import Points, Stream
from models.storage import ledger, store

STREAM = Stream("north", "specific volume", "mL/g", "L1", "milk-loaf")


def points(n: int = 60, shift: float = 0.0) -> Points:
    chance = np.random.Generator(np.random.PCG64(7))
    at = np.datetime64("2026-05-01T06:00", "us") + np.arange(n) * np.timedelta64(3, "h")
    value = 4.6 + 0.05 * chance.standard_normal(n) + shift * (np.arange(n) >= 40)
    lots = np.array([f"Y{i // 8}" for i in range(n)])
    return Points(
        np.array([f"2026-05-01/L1/{i:02}" for i in range(n)]),
        at,
        value,
        np.full(n, 4.0),
        np.full(n, 0.08),
        lots,
        at.astype("datetime64[D]"),
    )


def test_a_chosen_baseline_is_of_the_stretch_that_was_named() -> None:
    base = chosen(STREAM, points(shift=-0.4), "2026-05-01/L1/40", "2026-05-01/L1/59")
    assert base.level == pytest.approx(4.2, abs=0.06)
    assert (base.first_key, base.last_key, base.learning) == ("2026-05-01/L1/40", "2026-05-01/L1/59", False)


def test_a_corrected_row_is_said_and_moves_nothing() -> None:
    before = points()
    base = chosen(STREAM, before, "2026-05-01/L1/00", "2026-05-01/L1/39")
    assert not row_changed(base, before)
    before.value[50] += 0.3
    assert not row_changed(base, before)
    before.value[5] += 0.01
    assert row_changed(base, before)


def test_the_list_says_which_baselines_hold_a_corrected_batch() -> None:
    before = points()
    base = chosen(STREAM, before, "2026-05-01/L1/00", "2026-05-01/L1/39")
    charted = SimpleNamespace(stream=STREAM, baseline=base, points=before)
    assert len(_lines(1, charted, [])) == 1
    before.value[5] += 0.01
    assert "corrected since it was frozen" in _lines(1, charted, [])[1]


def test_the_list_counts_lots_where_lots_are_recorded() -> None:
    before = points()
    base = chosen(STREAM, before, "2026-05-01/L1/00", "2026-05-01/L1/39")
    (said,) = _lines(1, SimpleNamespace(stream=STREAM, baseline=base, points=before), [])
    assert "40\u00a0batches, 6\u00a0days, 5\u00a0lots, 2026" in said
    unnamed = replace(before, lot=np.full(len(before), "", dtype=object))
    base = chosen(STREAM, unnamed, "2026-05-01/L1/00", "2026-05-01/L1/39")
    (said,) = _lines(1, SimpleNamespace(stream=STREAM, baseline=base, points=unnamed), [])
    assert "40\u00a0batches, 6\u00a0days, 2026" in said


def test_every_baseline_is_kept_with_who_and_why(tmp_path: Path) -> None:
    con = store.open_for_writing(tmp_path / "s.duckdb")
    first = chosen(STREAM, points(), "2026-05-01/L1/00", "2026-05-01/L1/29")
    second = chosen(STREAM, points(), "2026-05-01/L1/30", "2026-05-01/L1/59")
    ledger.keep_baseline(con, STREAM, first, 500.0, 1)
    ledger.keep_baseline(con, STREAM, second, 500.0, 2, "QA", "new oven")
    assert ledger.baselines(con) == {STREAM: (second, 500.0)}
    history = ledger.baseline_history(con)
    con.close()
    assert [(h["run"], h["set_by"], h["because"]) for h in history] == [(1, "", ""), (2, "QA", "new oven")]
