"""Readings that are not independent are told from those that are; thresholds: common practice, no source."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from models.judging import independence
from models.judging.independence import SURE, Looked, look, shift_by_clock
from models.pages.patterns import patterns
from tests.unit.rows import SOUND, frame, plant
from tests.unit.snapshots import snapshot

NORTH = plant()
MONTH = "2026-05"
SHIFTS = (("early", 5), ("late", 13), ("night", 21))  # code, hour in UTC (Lisbon is an hour ahead in May)


def pastes(seed: int, batches: int = 6, days: int = 28, **fixed: float) -> pd.DataFrame:
    """A month of honest paste sheets: three shifts, cooks read to 0.5 °C, weights to 0.02 kg, times to the minute."""
    rng = np.random.default_rng(seed)
    rows = []
    for day in range(1, days + 1):
        for shift, hour in SHIFTS:
            for n in range(batches):
                start = pd.Timestamp(2026, 5, day, hour) + pd.Timedelta(minutes=int(70 * n + rng.integers(0, 40)))
                flour, liquid = np.round(12 + rng.normal(0, 0.05, 1), 2)[0], np.round(24 + rng.normal(0, 0.08, 1), 2)[0]
                before = np.round((flour + liquid + rng.normal(0, 0.06)) / 0.02) * 0.02
                rows.append(
                    SOUND["paste"]
                    | {
                        "paste_batch": f"{shift}{n}",
                        "shift": shift,
                        "shift_date": f"2026-05-{day:02}",
                        "cook_start": start,
                        "cook_end": start + pd.Timedelta(minutes=int(rng.integers(8, 13))),
                        "flour_kg": flour,
                        "liquid_kg": liquid,
                        "weight_before_kg": round(float(before), 2),
                        "weight_after_kg": round(
                            float(np.round(before * (1 - rng.normal(0.03, 0.005)) / 0.02) * 0.02), 2
                        ),
                        "cook_temp_c": float(np.round(rng.normal(66, 1.5) * 2) / 2),
                        "scale": "S1",
                        "thermometer": "T1",
                    }
                    | fixed
                )
    return frame("paste", rows)


def loaves(seed: int, days: int = 20) -> pd.DataFrame:
    """A month of honest loaf sheets: volumes to 5 mL by seed, weights to 1 g, one product a line."""
    rng = np.random.default_rng(seed)
    rows = []
    for day in range(1, days + 1):
        for n in range(24):
            at = pd.Timestamp(2026, 5, day, 6) + pd.Timedelta(minutes=int(20 * n + rng.integers(0, 12)))
            rows.append(
                SOUND["loaf"]
                | {
                    "loaf": str(n),
                    "measured_at": at,
                    "baked_g": float(round(rng.normal(402, 4))),
                    "volume_ml": float(5 * round(rng.normal(1890, 60) / 5)),
                    "scaled_g": float(round(rng.normal(450, 3))),
                    "volumeter": "V1",
                    "scale": "S2",
                }
            )
    return frame("loaf", rows)


def found(**logs: pd.DataFrame) -> dict[tuple[str, str, str], independence.Note]:
    return {(note.pattern, note.shift, note.column): note for note in look(MONTH, logs, NORTH).notes}


def test_honest_months_are_left_alone() -> None:
    """At most one month in a hundred is to show anything by chance: in forty, more than two has a chance below 1 %."""
    told = [look(MONTH, {"paste": pastes(seed, batches=3), "loaf": loaves(seed)}, NORTH) for seed in range(40)]
    assert all(one.places > 200 for one in told)
    assert sum(bool(one.notes) for one in told) <= 2


def test_values_copied_down_stand_out_and_four_alike_do_not() -> None:
    rows = pastes(1)
    mine = rows.index[(rows["shift"] == "late") & (rows["shift_date"] == "2026-05-12")]
    rows.loc[mine, "cook_temp_c"] = 66.5
    told = found(paste=rows)
    assert list(told) == [("equal in a row", "late", "cook_temp_c")]
    (note,) = told.values()
    assert note.n >= 6 and note.probability < SURE and "2026-05-12" in note.says
    rows = pastes(1)
    rows.loc[mine[:4], "cook_temp_c"] = 66.5
    assert not found(paste=rows)


def test_a_value_that_is_the_same_everywhere_is_no_pattern() -> None:
    assert not found(paste=pastes(2, cook_temp_c=65.0))


def test_one_shift_whose_reading_never_moves_is_held_against_the_others() -> None:
    rows = pastes(3)
    rows.loc[rows["shift"] == "night", "cook_temp_c"] = 65.0
    assert ("hardly ever moves", "night", "cook_temp_c") in found(paste=rows)
    rows = pastes(3)
    night = rows.index[rows["shift"] == "night"]
    rows.loc[night[::2], "cook_temp_c"] = 65.0  # every second reading: a steady hand, no copy
    assert ("hardly ever moves", "night", "cook_temp_c") not in found(paste=rows)


def test_times_on_the_quarter_hour_stand_out() -> None:
    rows = pastes(4)
    late = rows["shift"] == "late"
    rows.loc[late, "cook_start"] = rows.loc[late, "cook_start"].dt.floor("15min")
    assert set(found(paste=rows)) == {("on the quarter hour", "late", "cook_start")}
    rows = pastes(4)
    rows["cook_start"] = rows["cook_start"].dt.floor("5min")
    assert not found(paste=rows)


def test_one_last_digit_too_often_stands_out_and_a_coarse_instrument_does_not() -> None:
    rows = loaves(5)
    early = rows["measured_at"].dt.hour < 10
    assert not found(loaf=rows)
    rows.loc[early, "volume_ml"] = (rows.loc[early, "volume_ml"] / 50).round() * 50
    assert set(found(loaf=rows)) >= {("one last digit", "early", "volume_ml")}
    every = loaves(5)
    every["volume_ml"] = (every["volume_ml"] / 25).round() * 25
    assert not found(loaf=every)


def test_wb_that_is_always_the_sum_of_the_charge_stands_out() -> None:
    rows = pastes(6)
    early = rows["shift"] == "early"
    rows.loc[early, "weight_before_kg"] = (rows["flour_kg"] + rows["liquid_kg"]).round(2)[early] + 48.2
    rows.loc[early, "tare_kg"] = 48.2
    assert ("sum of the charge", "early", "weight_before_kg") in found(paste=rows)


def test_a_scale_too_coarse_to_tell_is_not_asked() -> None:
    rows = pastes(7)
    for name in ("flour_kg", "liquid_kg"):
        rows[name] = rows[name].round(0)
    rows["weight_before_kg"] = rows["flour_kg"] + rows["liquid_kg"]
    assert not any(pattern == "sum of the charge" for pattern, _, _ in found(paste=rows))


def test_no_person_is_named() -> None:
    rows = pastes(8).assign(operator="K.L.")
    rows.loc[rows["shift"] == "night", "cook_temp_c"] = 65.0
    notes = look(MONTH, {"paste": rows}, NORTH).notes
    assert notes and not any("K.L." in f"{note}" for note in notes)


@pytest.mark.parametrize(
    ("utc", "shift", "day"),
    [
        ("2026-05-06 04:59", "night", "2026-05-05"),
        ("2026-05-06 05:00", "early", "2026-05-06"),
        ("2026-05-06 22:30", "night", "2026-05-06"),
    ],
)
def test_the_shift_that_was_on(utc: str, shift: str, day: str) -> None:
    code, began = shift_by_clock(pd.Series([pd.Timestamp(utc)]), NORTH)
    assert (code[0], f"{began[0]:%Y-%m-%d}") == (shift, day)


def test_few_rows_are_too_few_and_the_page_says_so() -> None:
    looked = look(MONTH, {"paste": pastes(9, batches=1, days=3), "loaf": loaves(9, days=0)}, NORTH)
    assert looked == Looked(MONTH, 0, ())
    assert patterns(replace(snapshot(), looked=(looked,)), MONTH) == (
        (),
        "Too few readings this month to tell a pattern from chance.",
    )
    assert patterns(snapshot(), MONTH) == ((), "Not looked at.")


def test_the_page_says_what_how_many_and_how_likely() -> None:
    rows = pastes(10)
    rows.loc[rows["shift"] == "night", "cook_temp_c"] = 65.0
    (item, *_), _ = patterns(replace(snapshot(), looked=(look(MONTH, {"paste": rows}, NORTH),)), MONTH)
    assert item.title == "Paste log, shift night, cook_temp_c: hardly ever moves."
    assert "140\u00a0rows" in item.detail[0] and "by chance anywhere in the month" in item.detail[0]
