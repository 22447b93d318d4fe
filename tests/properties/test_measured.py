"""What was measured on each batch: worked out in the store and as frames, the same to the last digit."""

from __future__ import annotations

from pathlib import Path

import pandas as pd
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from models.logbook import FRAME_TYPE, TABLES
from models.storage import measured, store
from models.trade import batches
from tests.unit.rows import plant

NORTH = plant()
TENTH = st.integers(10, 50_000).map(lambda n: n / 10)
ODD = st.one_of(TENTH, st.floats(10, 5000), st.none())
LOAF = st.fixed_dictionaries(
    {
        "batch_key": st.sampled_from(["a", "b", "c", None]),
        "measured_at": st.integers(0, 9).map(lambda n: pd.Timestamp("2026-05-06") + pd.Timedelta(minutes=n)),
        "scaled_g": ODD,
        "baked_g": ODD,
        "volume_ml": st.one_of(TENTH, st.floats(20, 25_000)),
        "cooled_minutes": st.sampled_from([None, 0.0, 59.0, 60.0]),
        "core_temp_c": st.sampled_from([None, 93.5, 96.0]),
        "reason": st.sampled_from([None, "routine", "suspicion"]),
        "method": st.sampled_from([None, "seed", "laser"]),
        "scale": st.sampled_from([None, "S1", "S2", "S10"]),
        "volumeter": st.none(),
    }
)


def _both(rows: list[dict], path: Path) -> tuple[pd.DataFrame, pd.DataFrame]:
    kinds = {"batch_key": "text"} | store.typed_columns(TABLES["loaf"].columns)
    frame = pd.DataFrame(rows).astype({name: FRAME_TYPE[kinds[name]] for name in rows[0]})
    path.unlink(missing_ok=True)
    con = store.open_for_writing(path)
    try:
        places = {"seq": range(len(frame)), "row": 1, "file_id": 1, "credible": True, "asks": False, "digest": 0}
        store.insert(con, "log_loaf", frame.assign(**places, status="accepted"))
        con.execute("CREATE TEMP TABLE again_batches AS SELECT DISTINCT batch_key AS name FROM log_loaf")
        return measured.loaves(con, NORTH), batches.loaves(NORTH, frame)
    finally:
        con.close()


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(rows=st.lists(LOAF, min_size=1, max_size=40))
def test_in_the_store_and_as_frames(tmp_path: Path, rows: list[dict]) -> None:
    in_store, as_frames = _both(rows, tmp_path / "s.duckdb")
    pd.testing.assert_frame_equal(in_store.sort_index(), as_frames[in_store.columns], check_exact=True)
    assert set(in_store.columns) == set(as_frames.columns)


@pytest.mark.parametrize("steps", [(30, 50, 50), (1, 1, 1)])
def test_numbers_that_do_not_fit_go_as_frames(
    steps: tuple[int, ...], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(measured, "STEPS", steps)
    monkeypatch.setattr(measured, "TOGETHER", 1)
    empty = dict.fromkeys(("core_temp_c", "reason", "method", "scale", "volumeter", "cooled_minutes"))
    at = {"measured_at": pd.Timestamp("2026-05-06")}
    rows = [
        empty | at | {"batch_key": key, "scaled_g": 450.1, "baked_g": baked, "volume_ml": 1890.0}
        for key, baked in (("a", 400.1), ("a", 400.7), ("b", 399.9), ("b", 10.0))
    ]
    in_store, as_frames = _both(rows, tmp_path / "s.duckdb")
    pd.testing.assert_frame_equal(in_store.sort_index(), as_frames[in_store.columns], check_exact=True)
