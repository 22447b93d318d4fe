"""Many rows go in groups, and only suspects through the suite: the answers are those of all rows at once."""

from __future__ import annotations

from pathlib import Path

import duckdb
import numpy as np
import pandas as pd
import pytest

from flows import pulling
from models.judging import checks
from models.storage import account, measured, store
from tests.faults.killer import pieces, put
from tests.faults.killer import run as run_sample
from tests.unit.test_rules import NORTH


def loaves(n: int, seed: int) -> pd.DataFrame:
    """Loaf rows of which a part is empty, out of range, swapped or of an unknown line."""
    chance = np.random.default_rng(seed)
    frame = pd.DataFrame(
        {
            "loaf": [str(i) for i in range(n)],
            "dough_batch": "01",
            "line": chance.choice(["L1", "L1", "L1", "L9"], n),
            "measured_at": pd.Timestamp("2026-05-06") + pd.to_timedelta(np.arange(n), "min"),
            "scaled_g": chance.choice([450.0, 450.0, 4.5], n),
            "baked_g": chance.choice([400.0, 400.0, 400.0, np.nan, 1800.0, 40000.0], n),
            "volume_ml": chance.choice([1800.0, 1800.0, 400.0, 1.8], n),
            "cooled_minutes": chance.choice([60.0, np.nan, -5.0], n),
            "core_temp_c": chance.choice([96.0, np.nan, 205.0], n),
        }
    )
    texts = dict.fromkeys(("position", "reason", "method", "scale", "volumeter"), pd.Series([None] * n, dtype="str"))
    return frame.astype({"dough_batch": "str", "line": "str", "measured_at": "datetime64[us]"}).assign(**texts)


@pytest.mark.parametrize("seed", range(3))
def test_suspects_alone_get_the_verdicts_of_the_whole(seed: int, monkeypatch: pytest.MonkeyPatch) -> None:
    frame = loaves(400, seed)
    whole = checks.judge_truth("loaf", frame, pd.Series(np.zeros(len(frame))), NORTH)
    monkeypatch.setattr(checks, "WHOLE", 0)
    picked = checks.judge_truth("loaf", frame, pd.Series(np.zeros(len(frame))), NORTH)
    assert picked.outcomes == whole.outcomes
    assert {outcome.outcome for outcome in whole.outcomes} == {checks.PASSED, checks.BROKEN}


def test_nothing_suspect_is_passed_and_counted(monkeypatch: pytest.MonkeyPatch) -> None:
    frame = loaves(5, 0).assign(
        line="L1", scaled_g=450.0, baked_g=400.0, volume_ml=1800.0, cooled_minutes=60.0, core_temp_c=96.0
    )
    monkeypatch.setattr(checks, "WHOLE", 0)
    found = {o.rule.code: o for o in checks.judge_truth("loaf", frame, pd.Series(np.zeros(5)), NORTH).outcomes}
    assert (found["loaf.baked_g.range"].judged, found["loaf.baked_g.range"].outcome) == (5, checks.PASSED)


@pytest.mark.slow
def test_groups_give_what_all_at_once_gives(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    logs = tmp_path / "logs"
    logs.mkdir()
    for name, text in pieces():
        put(logs, name, text)
    at_once = run_sample(tmp_path, logs)
    monkeypatch.setattr(pulling, "TOGETHER", 1)
    monkeypatch.setattr(measured, "STEPS", (1, 1, 1))
    monkeypatch.setattr(measured, "TOGETHER", 3)
    in_groups = run_sample(tmp_path, logs, "grouped")
    assert all(at_once[name] == in_groups[name] for name in ("rows", "files", "quarantine", "alerts"))
    assert _wide(tmp_path / "s.duckdb") == _wide(tmp_path / "grouped.duckdb")


def _wide(path: Path) -> list[tuple[list, list]]:
    con = store.open_for_reading(path)
    try:
        return [
            con.execute(f"SELECT * FROM {view}").fetchall()
            for view in ("paste_batches", "dough_batches", "loaves", "findings")
        ]
    finally:
        con.close()


@pytest.mark.slow
def test_a_day_more_at_a_time_gives_what_all_at_once_gives(tmp_path: Path) -> None:
    logs = tmp_path / "logs"
    logs.mkdir()
    coming = list(pieces())
    for place, (name, text) in enumerate(coming):
        put(logs, name, text)
        if place % (len(coming) // 4) == 0:
            run_sample(tmp_path, logs)
    by_parts, at_once = run_sample(tmp_path, logs), run_sample(tmp_path, logs, "at-once")
    assert all(by_parts[name] == at_once[name] for name in ("rows", "quarantine"))
    assert {a["alert"] for a in by_parts["alerts"]} == {a["alert"] for a in at_once["alerts"]}
    assert _wide(tmp_path / "s.duckdb")[:3] == _wide(tmp_path / "at-once.duckdb")[:3]


@pytest.mark.parametrize("few", [0, 100])
def test_many_rows_come_as_frame_brings_them(few: int, monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setattr(store, "FEW_TEXTS", few)
    con = store.open_for_writing(tmp_path / "s.duckdb")
    try:
        con.execute("CREATE TABLE odd (n DOUBLE, t VARCHAR, empty VARCHAR)")
        con.execute(
            "INSERT INTO odd VALUES (2, 'it''s', NULL), (1, NULL, NULL), (3, '', NULL), (NULL, 'ä,\"', NULL), (5, 'it''s', NULL)"
        )
        columns = {"t": "text", "n": "number", "empty": "text"}
        expected = store.frame(con, "SELECT t, n, empty FROM odd ORDER BY n", columns)
        pd.testing.assert_frame_equal(store.many(con, "odd", "n", columns), expected)
        assert store.many(con, "odd WHERE n > 9", "n", columns).empty
    finally:
        con.close()


def test_what_goes_wrong_while_rows_go_in_is_what_is_said() -> None:
    """Not that the transaction is aborted, which is what any statement after it would say."""
    with duckdb.connect() as con:
        con.execute("BEGIN")
        with pytest.raises(duckdb.ConversionException), account._at_once(con):
            con.execute("SELECT CAST('x' AS INTEGER)").fetchall()
        con.execute("ROLLBACK")
        with account._at_once(con):
            assert con.execute("SELECT current_setting('preserve_insertion_order')").fetchall() == [(False,)]
        left = con.execute("SELECT current_setting('preserve_insertion_order'), current_setting('disabled_optimizers')")
        assert left.fetchall() == [(True, "")]
