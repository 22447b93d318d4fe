"""Loaves put together inside the store speak for the label as one by one: same counts, same words, same scale."""

from __future__ import annotations

from dataclasses import asdict
from itertools import product
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from models.alarms import short_weight
from models.batchbook import LOAF_COUNTS
from models.plant import Plant
from models.storage import gather, store, weighings
from models.trade import netweight
from tests.unit.snapshots import snapshot

DAYS = sorted({str(day.date()) for day in snapshot().batches["shift_date"]})
# off by 0 and by 9 g: 2.4 g is what the test bears of a label of 400 g; the second looks at every scale come a day late
CHECKS = (("S1", "2026-03-17 05:00", 0.0), ("S2", "2026-03-20 05:00", 0.0), ("S1", "2026-04-20 09:30", 9.0))


def batches() -> pd.DataFrame:
    """The invented bakery's doughs; of the first of each line and day no loaf was measured."""
    rows = snapshot().batches
    first = rows.groupby(["line", "shift_date"])["batch_key"].transform("min") == rows["batch_key"]
    return rows.assign(**{name: rows[name].mask(first) for name in LOAF_COUNTS})


def loaves() -> pd.DataFrame:
    """Their loaves, some of every kind that does not count, of two scales; of the last week some name none."""
    measured = batches()["batch_key"][batches()[[*LOAF_COUNTS]].sum(axis=1) > 0]
    rows = snapshot().loaves
    rows = rows[rows["batch_key"].isin(measured)].reset_index(drop=True)
    place = rows.groupby("batch_key").cumcount()
    late = rows["measured_at"] > pd.Timestamp("2026-04-28")
    return rows.assign(
        reason=rows["reason"].mask((place == 0) & (rows.index % 3 == 0), "suspicion"),
        cooled_minutes=rows["cooled_minutes"]
        .mask((place == 1) & (rows.index % 5 == 0), 20.0)
        .mask(rows.index % 11 == 0, np.nan),
        scale=rows["scale"].mask(rows["line"] == "L2", "S2").mask(late & (rows.index % 7 == 0), None),
        baked_g=rows["baked_g"].mask(rows.index % 23 == 0, 380.0),
    )


def checks(told: tuple[tuple[str, str, float], ...]) -> pd.DataFrame:
    rows = [(pd.Timestamp(at), scale, "weight", 500.0, 500.0 + off) for scale, at, off in told]
    rows += [(pd.Timestamp("2026-04-01 08:00"), "V1", "volume", 2000.0, 2050.0)] if told else []
    columns = ["checked_at", "instrument", "quantity", "standard", "as_found"]
    frame = pd.DataFrame(rows, columns=columns).astype({"checked_at": "datetime64[us]"})
    return frame.astype({"instrument": "str", "quantity": "str", "standard": "float64", "as_found": "float64"})


def kept(path: Path, told: tuple[tuple[str, str, float], ...]) -> Path:
    con, rows = store.open_for_writing(path), loaves()
    rows = pd.concat([rows.assign(status="accepted"), rows.head(9).assign(status="superseded")], ignore_index=True)
    of_row = {"file_id": 1, "row": 2, "credible": True, "asks": False, "digest": 0}
    store.insert(con, "log_loaf", rows.assign(seq=rows.index, **of_row))
    store.insert(con, "batches", batches())
    found = checks(told).assign(status="accepted", **of_row)
    store.insert(con, "log_check", found.assign(seq=found.index, identity=found.index.astype("str")))
    con.close()
    return path


def plain(verdict: netweight.NetWeight) -> dict:
    """Mean and spread to twelve digits: sums are exactly rounded, of weights one by one and of weights times how many."""
    numbers = ("mean_g", "sd_g", "mean_limit_g")
    return {
        name: round(value, 12) if name in numbers and value is not None else value
        for name, value in asdict(verdict).items()
    }


@pytest.mark.parametrize(("told", "rule"), list(product(((), CHECKS), ("76/211/EEC", "Handbook 133"))))
def test_put_together_they_are_judged_as_one_by_one(told: tuple, rule: str, tmp_path: Path) -> None:
    north: Plant = snapshot().plant
    north = north.model_copy(update={"net_weight": north.net_weight.model_copy(update={"rule": rule})})
    con = store.open_for_writing(kept(tmp_path / "s.duckdb", told))
    together, output = weighings.of_days(con, north, DAYS), snapshot().output
    con.close()
    assert together["times"].sum() == len(loaves()) and len(together) < 0.9 * len(loaves())
    one_by_one = netweight.verdicts(north, batches(), loaves(), output, checks(told))
    assert [plain(one) for one in netweight.verdicts(north, batches(), together, output, checks(told))] == [
        plain(one) for one in one_by_one
    ]
    assert len({one.leaning for one in one_by_one}) > 1 and any(one.below_t1 for one in one_by_one)
    assert any(one.left_out for one in one_by_one)
    said = " ".join(word for one in one_by_one for word in one.why)
    assert ("off by 9.0 g" in said and "not checked before" in said and "names its scale" in said) == bool(told)
    shifts = short_weight.weigh(north, batches(), loaves(), output, checks(told))
    assert [(one.against, one.met, one.says, one.batches) for one in shifts] == [
        (one.against, one.met, one.says, one.batches)
        for one in short_weight.weigh(north, batches(), together, output, checks(told))
    ]


def test_only_the_days_asked_for_are_read(tmp_path: Path) -> None:
    con = store.open_for_writing(kept(tmp_path / "s.duckdb", ()))
    some, none = (weighings.of_days(con, snapshot().plant, days) for days in (DAYS[3:5], []))
    digests = gather.digests(con)["loaves"]
    con.close()
    assert some["times"].sum() == sum(int(digests[day].partition("/")[0]) for day in DAYS[3:5]) and none.empty
