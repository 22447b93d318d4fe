"""Alerts keep their names; urgency is what can still be saved; the contract's object has its members."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime, timedelta

import numpy as np
import pandas as pd
import pytest

from models.alarms import alerts, reaction
from models.alarms.limits import FAMILIES
from models.shapes import Alert, Cause
from tests.unit.rows import plant

NORTH = plant()
AT = datetime(2026, 5, 6, 13, 20)


def alert(**changes) -> Alert:
    made = Alert(
        alert="A1",
        kind="chart",
        urgency="review",
        signal="on",
        case="open",
        plant="north",
        line="L1",
        kettle=None,
        product="milk-loaf",
        characteristic="specific volume",
        direction="low",
        signalled_at_batch="b5",
        signalled_at=AT,
        began_at_batch="b3",
        began_at=AT - timedelta(hours=4),
        until_batch="b6",
        until_at=AT + timedelta(hours=1),
        change=-0.21,
        unit="mL/g",
        causes=(Cause("paste", -0.18, -0.24, -0.11, 0.86, "Dough dry", ("e",), ("n",)),),
        check_first=("a",),
        batches=("b3", "b5"),
        says="Dough dry",
    )
    return replace(made, **changes)


def test_an_alert_keeps_its_name_and_signal_while_its_figures_sharpen() -> None:
    later = alert(
        alert="A2",
        signalled_at=AT + timedelta(hours=1),
        signalled_at_batch="b6",
        until_at=AT + timedelta(hours=9),
        change=-0.25,
    )
    (kept,) = alerts.reconcile([later], [alert(case="seen")])
    assert (kept.alert, kept.signalled_at, kept.signalled_at_batch, kept.case) == ("A1", AT, "b5", "seen")
    assert kept.change == -0.25


def test_another_episode_is_another_alert() -> None:
    later = alert(
        alert="A2",
        signalled_at=AT + timedelta(days=3),
        began_at=AT + timedelta(days=3),
        until_at=AT + timedelta(days=3),
    )
    assert [a.alert for a in alerts.reconcile([later], [alert()])] == ["A1", "A2"]


def test_a_chart_of_the_same_event_takes_the_lead_not_the_name() -> None:
    (kept,) = alerts.reconcile([alert(alert="A2")], [alert(characteristic="volume", unit="mL")])
    assert (kept.alert, kept.characteristic) == ("A1", "specific volume")


@pytest.mark.parametrize(
    "other", [dict(direction="high"), dict(line="L2"), dict(kind="limit"), dict(characteristic="dough temperature")]
)
def test_another_chart_or_direction_is_another_alert(other: dict) -> None:
    assert len(alerts.reconcile([alert(alert="A2", **other)], [alert()])) == 2


def test_a_signal_that_restated_rows_took_away_stays_and_says_so() -> None:
    (gone,) = alerts.reconcile([], [alert()])
    assert gone.signal == "over"
    assert alerts.RESTATED in gone.says
    assert alerts.reconcile([], [gone]) == [gone]


def test_reconciling_twice_changes_nothing() -> None:
    once = alerts.reconcile([alert()], [])
    assert alerts.reconcile([alert()], once) == once


def test_text_and_back() -> None:
    assert alerts.from_text(alerts.to_text(alert())) == alert()


def test_the_contracts_object() -> None:
    body = alerts.to_json(alert(), NORTH)
    assert list(body)[: len(alerts.CONTRACT)] == list(alerts.CONTRACT)
    assert body["signalled_at"] == "2026-05-06T14:20:00+01:00"
    assert set(body["causes"][0]) == {
        "group",
        "contribution",
        "low",
        "high",
        "share",
        "driver",
        "evidence",
        "not_checked",
    }


def wide(paste: dict, batch: dict, newest: datetime) -> alerts.Wide:
    pastes = pd.DataFrame([{"paste_key": "p", "doughs": 0.0, "cook_end": AT} | paste])
    batches = pd.DataFrame([{"batch_key": "b", "loaves": np.nan, "mixed_at": AT} | batch])
    return alerts.Wide(pastes, batches, newest)


@pytest.mark.parametrize(
    ("characteristic", "key", "on", "paste", "batch", "hours", "expected"),
    [
        ("paste loss", "p", True, {}, {}, 1, "now"),
        ("paste loss", "p", True, {"doughs": 2.0}, {}, 1, "review"),  # used: nothing left to save
        ("paste loss", "p", True, {}, {}, 60, "review"),  # too old to be used any more
        ("paste loss", "p", False, {}, {}, 1, "review"),
        ("dough temperature", "b", True, {}, {}, 1, "now"),
        ("dough temperature", "b", True, {}, {"loaves": 4.0}, 1, "review"),
        ("dough temperature", "b", True, {}, {}, 5, "review"),
        ("cooling", "p", False, {}, {}, 90, "hold"),
        ("net weight", "b", True, {}, {}, 1, "hold"),
        ("specific volume", "b", True, {}, {}, 1, "review"),
    ],
)
def test_urgency(characteristic, key, on, paste, batch, hours, expected) -> None:
    assert alerts.urgency(characteristic, key, on, wide(paste, batch, AT + timedelta(hours=hours))) == expected


def test_untraced_parts_add_up_and_say_why() -> None:
    causes = alerts.unexplained(-0.2, "no chart")
    assert sum(c.contribution for c in causes) == pytest.approx(-0.2)
    assert sum(c.share for c in causes) == 1
    assert all(c.low <= c.contribution <= c.high and c.not_checked for c in causes)


def test_every_limit_family_has_its_first_checks() -> None:
    missing = [
        f.characteristic
        for f in FAMILIES
        if all(reaction.check_first(f.characteristic, d) == reaction.PLAIN for d in ("low", "high"))
    ]
    assert not missing
