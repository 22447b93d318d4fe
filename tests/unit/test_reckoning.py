"""Worth, counts and belief as the day page says them; the methods themselves are tested with the charts."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, datetime

import pandas as pd

from models.pages import reckoning
from models.snapshot import frame
from reports import intervals
from tests.unit.snapshots import bare
from tests.unit.test_alerts import alert

ON = date(2026, 5, 20)


def account(quarantined: list[int], received: int = 100):
    days = pd.date_range(end=ON, periods=len(quarantined))
    return frame(
        "account",
        [
            {
                "kind": "loaf",
                "shift_date": d,
                "received": received,
                "accepted": received - q,
                "waiting": 0,
                "quarantined": q,
                "duplicate": 0,
                "superseded": 0,
            }
            for d, q in zip(days, quarantined, strict=True)
        ],
    )


def test_rows_in_quarantine_are_held_against_the_days_before() -> None:
    usual = [1, 0, 2, 1, 0, 1, 2, 0, 1, 1, 0, 1, 2, 1]
    assert "not out of the usual" in reckoning.quarantined_of(replace(bare(), account=account([*usual, 2])), ON).says
    assert (
        "9 of 100, more than usual" in reckoning.quarantined_of(replace(bare(), account=account([*usual, 9])), ON).says
    )


def test_too_few_days_say_so() -> None:
    found = reckoning.quarantined_of(replace(bare(), account=account([1, 0, 9])), ON)
    assert "too few days before" in found.says and found.days == ()


def test_a_day_without_rows_says_nothing() -> None:
    assert reckoning.quarantined_of(replace(bare(), account=account([1, 0])), date(2026, 6, 1)) is None


def test_every_day_of_the_chart_has_the_limits_of_its_own_number() -> None:
    shown = reckoning.quarantined_of(replace(bare(), account=account([1, 0, 2, 1] * 5 + [9])), ON)
    assert len(shown.days) == 21 and shown.days[-1].count == 9 > shown.days[-1].high
    drawn = {trace["name"]: trace for trace in intervals.tallies(shown)["data"]}
    assert drawn["days"]["y"][-1] == 90.0 and drawn["days"]["marker"]["symbol"][-1] == "triangle-up"
    assert drawn["days"]["marker"]["symbol"][:-1] == ["circle"] * 20
    assert drawn["upper"]["y"][-1] == 10.0 * shown.days[-1].high


def test_believed_counts_closed_findings() -> None:
    at = datetime(2026, 5, 19, 12)
    alarms = (
        alert(alert="A", signalled_at=at, case="closed", finding="real"),
        alert(alert="B", signalled_at=at, case="closed", finding="nothing found"),
        alert(alert="C", signalled_at=at),
        alert(alert="D", signalled_at=at, kind="limit"),
    )
    assert (
        reckoning.believed_of(replace(bare(), alerts=alarms), ON)
        == "Last 60 days: 3 alarms; 1 real, 1 nothing found, 1 open."
    )
