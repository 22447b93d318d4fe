"""Net-weight alerts, shift by shift. The rules themselves: tests/reference/test_net_weight.py."""

from __future__ import annotations

from dataclasses import replace
from itertools import product

import numpy as np
import pandas as pd
import pytest

from models.alarms import paste_part, short_weight
from models.alarms.kept import Kept
from models.batchbook import BATCHES
from models.logbook import FRAME_TYPE
from models.shapes import Alert
from tests.unit.rows import bent, frame, plant
from tests.unit.test_alerts import alert

NORTH = plant()
SHIFTS = [("2026-05-06", "early"), ("2026-05-06", "late"), ("2026-05-07", "early")]


def day(means: list[float]) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Batches and loaves of some shifts: four doughs each, five loaves a dough, 4 g apart."""
    batches, loaves = [], []
    for mean, (date, shift) in zip(means, SHIFTS, strict=False):
        for dough in range(4):
            key = f"{date}/L1/{shift}{dough}"
            at = pd.Timestamp(date) + pd.Timedelta(hours=6 + 8 * (shift == "late") + dough)
            batches.append(
                {
                    "batch_key": key,
                    "line": "L1",
                    "product": "milk-loaf",
                    "shift_date": date,
                    "shift": shift,
                    "mixed_at": at,
                    "loaves": 5.0,
                }
            )
            loaves += [
                bent("loaf", loaf=str(i), baked_g=mean + 4 * (i - 2), measured_at=at + pd.Timedelta(hours=3))
                | {"batch_key": key}
                for i in range(5)
            ]
    wide = pd.DataFrame([{c.name: row.get(c.name, np.nan) for c in BATCHES} for row in batches]).astype(
        {c.name: FRAME_TYPE[c.type] for c in BATCHES}
    )
    rows = frame("loaf", loaves)
    rows.insert(0, "batch_key", [row["batch_key"] for row in loaves])
    return wide, rows


def raised(batches: pd.DataFrame, loaves: pd.DataFrame) -> list[Alert]:
    return short_weight.raise_alerts(NORTH, short_weight.weigh(NORTH, batches, loaves, None, None))


def test_one_light_shift_is_held_and_the_next_good_one_ends_it() -> None:
    batches, loaves = day([400.0, 388.0, 400.0])
    (found,) = raised(batches, loaves)
    assert (found.urgency, found.signal, found.direction, found.characteristic) == ("hold", "over", "low", "net weight")
    assert found.began_at_batch == "2026-05-06/L1/late0"
    assert len(found.batches) == 4
    assert found.change == -7.0
    assert "indicative" in found.says  # 20 loaves are no full sample, and no check of the scale is there


def test_a_mean_that_chance_explains_raises_nothing_and_ends_nothing() -> None:
    """1 g below the label with an sd of 6: 20 loaves cannot tell (76/211/EEC annex II 2.3: 0.640 sd)."""
    assert raised(*day([394.0, 394.0])) == []
    (found,) = raised(*day([388.0, 394.0]))
    assert (found.signal, found.until_batch, len(found.batches)) == ("on", "2026-05-06/L1/early3", 4)


def test_two_light_shifts_are_one_alert() -> None:
    (found,) = raised(*day([388.0, 388.0]))
    assert found.signal == "on"
    assert found.until_batch == "2026-05-06/L1/late3"
    assert len(found.batches) == 8


def test_good_weight_raises_nothing() -> None:
    assert raised(*day([400.0, 400.0, 400.0])) == []


def test_days_weighed_a_few_at_a_time_are_weighed_the_same(monkeypatch: pytest.MonkeyPatch) -> None:
    batches, loaves = day([380.0, 383.0, 402.0])
    of_day = loaves["batch_key"].str.partition("/")[0]
    counts = {str(name): f"{n}/digest" for name, n in of_day.value_counts().items()}
    asked: list[list[str]] = []

    def load(days: list[str]) -> tuple[pd.DataFrame, None]:
        asked.append(days)
        return loaves[of_day.isin(days)], None

    def weighed() -> list[short_weight.Weighed]:
        kept = Kept("", {"loaves": counts, "batches": {}, "output": {}, "weight check": {}})
        return short_weight.weigh_kept(NORTH, batches, None, load, kept)  # type: ignore[arg-type]

    at_once = weighed()
    monkeypatch.setattr(short_weight, "TOGETHER", 1)
    assert weighed() == at_once == short_weight.weigh(NORTH, batches, loaves, None, None)
    assert asked == [["2026-05-06", "2026-05-07"], ["2026-05-06"], ["2026-05-07"]]


def test_days_weighed_before_raise_and_end_what_they_did(monkeypatch: pytest.MonkeyPatch) -> None:
    """Seven days of one shift each, of which some are light: the alerts are those of all verdicts, whatever was left unread."""
    days = [f"2026-05-{n:02}" for n in range(1, 8)]
    kept = Kept("", {"loaves": dict.fromkeys(days, "1/x"), "batches": {}, "output": {}, "weight check": {}})
    keys, read = short_weight._day_keys(days, kept), []
    frame = pd.DataFrame({"shift_date": pd.to_datetime([])})
    one = short_weight.weigh(NORTH, *day([388.0]), None, None)[0]
    assert short_weight.AGAINST in short_weight._text([one])
    from_text = short_weight._from_text
    monkeypatch.setattr(short_weight, "_from_text", lambda text: read.append(text) or from_text(text))
    for told in product((True, False, None), repeat=3):  # light, full or too few to tell
        verdicts = (False, *told, False, None, False)
        every = {
            on: replace(one, day=on, against=verdict is True, met=verdict is False, batches=(f"{on}/L1/01",), says='"against": true')
            for on, verdict in zip(days, verdicts, strict=True)
        }
        weights = {on: (keys[on], short_weight._text([shift])) for on, shift in every.items()}
        read.clear()
        again = short_weight.weigh_kept(NORTH, frame, None, None, replace(kept, weights=weights))  # type: ignore[arg-type]
        assert short_weight.raise_alerts(NORTH, again) == short_weight.raise_alerts(NORTH, list(every.values()))
        assert (len(read) == 0) == (True not in told) and len(read) < 7


def test_the_pastes_part_is_bounded_in_words() -> None:
    batches = pd.DataFrame({"batch_key": ["b3", "b5"], "usual_gap_points": [-1.0, -1.0]})
    traced = paste_part.with_bound(alert(level=4.6, change=-0.9), NORTH, batches)
    assert "far more than the paste can" in traced.causes[0].evidence[-1]
    small = paste_part.with_bound(alert(level=4.6, change=-0.05), NORTH, batches)
    assert "of the size its water explains" in small.causes[0].evidence[-1]
    assert "not known" in paste_part.with_bound(alert(level=4.6), NORTH, batches.iloc[:0]).causes[0].evidence[-1]
    assert paste_part.with_bound(alert(direction="high", level=4.6), NORTH, batches) == alert(
        direction="high", level=4.6
    )
