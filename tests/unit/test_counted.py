"""Loaves counted inside the store are those counted from frames, whatever was not recorded, from the days asked for alone."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from pandas.testing import assert_frame_equal

from models.storage import store
from models.storage.counted import counted
from models.trade import placed
from tests.unit.snapshots import BAD, snapshot

LOAVES = snapshot().loaves.reset_index(drop=True)
DAYS = sorted({str(day.date()) for day in snapshot().batches["shift_date"]})
MONTHS = sorted({day[:7] for day in DAYS})


def odd() -> pd.DataFrame:
    """The invented bakery's loaves: of every dough one on suspicion, one too hot, one that names no cooling, one no volume."""
    place = LOAVES.groupby("batch_key").cumcount()
    rows = LOAVES.assign(
        reason=LOAVES["reason"].mask(place == 0, "suspicion"),
        cooled_minutes=LOAVES["cooled_minutes"].mask(place == 1, 20.0).mask(place == 2, np.nan),
        volume_ml=LOAVES["volume_ml"].mask((place == 3) & (LOAVES.index % 5 == 0), np.nan),
    )
    return rows.assign(volume_ml=rows["volume_ml"].mask(rows.index % 7 == 0, 900.0))


@pytest.fixture(scope="module")
def kept(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A store that holds those loaves and their doughs, and one loaf more that is not in force."""
    path = tmp_path_factory.mktemp("counted") / "s.duckdb"
    con = store.open_for_writing(path)
    rows = odd()
    rows = pd.concat([rows.assign(status="accepted"), rows.head(1).assign(status="superseded")], ignore_index=True)
    of_row = {"file_id": 1, "row": 2, "credible": True, "asks": False, "digest": 0}
    store.insert(con, "log_loaf", rows.assign(seq=rows.index, **of_row))
    store.insert(con, "batches", snapshot().batches)
    con.close()
    return path


def test_the_store_counts_as_frames_do(kept):
    con, (plant, batches) = store.open_for_writing(kept), (snapshot().plant, snapshot().batches)
    plain = placed.counted(plant, odd(), batches)
    found = counted(con, plant, DAYS, MONTHS, 10_000)
    con.close()
    assert plain.outside["sum"].sum() > 0 and plain.judged["outside"].sum() > 0
    loaves = odd().merge(batches[["batch_key", "line", "product", "shift_date"]], on="batch_key", suffixes=("_own", ""))
    sound = loaves[(loaves["reason"] != "suspicion") & ~(loaves["cooled_minutes"] < 60) & loaves["volume_ml"].notna()]
    volumes = (sound["volume_ml"] / sound["baked_g"]).groupby([sound[name] for name in placed.DAY])
    days = plain.judged.set_index(list(placed.DAY))
    assert days["count"].to_dict() == {day: n for day, n in volumes.count().items() if n}
    mean = days["total"] * placed.GRAIN / days["count"]
    assert np.allclose(mean, volumes.mean()[days.index], atol=placed.GRAIN)
    spread = placed.GRAIN**2 * (days["squares"] - days["total"] ** 2 / days["count"])
    assert np.allclose(spread, (volumes.var() * (volumes.count() - 1))[days.index].fillna(0), rtol=1e-3, atol=1e-8)
    assert_frame_equal(found.outside, plain.outside)
    assert_frame_equal(found.judged, plain.judged)


def test_a_day_is_counted_with_so_many_before_it_and_a_month_with_the_one_before(kept):
    con, (plant, batches) = store.open_for_writing(kept), (snapshot().plant, snapshot().batches)
    plain = placed.counted(plant, odd(), batches)
    day = counted(con, plant, [str(BAD)], [], 5)
    months = counted(con, plant, [], ["2026-05"], 5)
    con.close()
    upto = plain.outside[plain.outside["shift_date"] <= pd.Timestamp(BAD)]
    wanted = upto.groupby(["line", "product"]).tail(6).reset_index(drop=True)
    assert len(wanted) < len(upto)
    assert_frame_equal(day.outside, wanted)
    assert day.judged.empty and months.outside.empty
    near = plain.judged["shift_date"].between("2026-04-01", "2026-05-31")
    assert_frame_equal(months.judged, plain.judged[near].reset_index(drop=True))
