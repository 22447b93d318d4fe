"""Alerts keep their names; urgency is what can still be saved; the contract's object has its members."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime, timedelta

import numpy as np
import pandas as pd
import pytest

from models.alarms import alerts, reaction
from models.alarms.limits import FAMILIES
from models.charts.events import Event
from models.shapes import Alert, Cause, Charted, Episode, Points, Stream
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


def test_an_alerts_name_never_changes() -> None:
    """The first ten figures of sha256 over its parts, worked out with another program."""
    parts = ("north", "limit", "cooling", None, "K1", None, "high", "2026-05-06/K1/03")
    assert alerts.identity(*parts) == "A71967d2146"
    assert len({alerts.identity(*parts[:i], "x", *parts[i + 1 :]) for i in range(len(parts))}) == len(parts)


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


@pytest.mark.parametrize(("was", "stays"), [("now", "review"), ("review", "review"), ("hold", "hold")])
def test_what_was_held_stays_held_when_its_signal_goes(was: str, stays: str) -> None:
    (gone,) = alerts.reconcile([], [alert(urgency=was)])
    assert gone.urgency == stays


@pytest.mark.parametrize(("minutes", "names"), [(0, ["A1"]), (1, ["A1", "A2"])])
@pytest.mark.parametrize("last", [dict(), dict(until_at=AT - timedelta(hours=1))], ids=["until", "signalled"])
def test_an_episode_reaches_to_its_last_batch(minutes: int, names: list[str], last: dict) -> None:
    """To the last so far, and at least to the one that signalled: what begins there is the same, what begins later another."""
    stored = alert(**last)
    begins = max(stored.until_at, stored.signalled_at) + timedelta(minutes=minutes)
    later = alert(alert="A2", began_at=begins, signalled_at=begins, until_at=begins)
    assert [a.alert for a in alerts.reconcile([later], [stored])] == names
    assert len(alerts.reconcile([stored], [later])) == len(names)


@pytest.mark.parametrize("other", ["volume", "weight", "bake loss"])
def test_what_moves_together_is_one_alert(other: str) -> None:
    """The contract: specific volume, volume, weight and bake loss of one line that move together are one alert."""
    assert len(alerts.reconcile([alert(alert="A2", characteristic=other, direction="high")], [alert()])) == 1


def test_reconciling_twice_changes_nothing() -> None:
    once = alerts.reconcile([alert()], [])
    assert alerts.reconcile([alert()], once) == once


def test_text_and_back() -> None:
    assert alerts.from_text(alerts.to_text(alert())) == alert()


# the members of an alert in the contract's example, in its order
ALERT = """alert kind urgency signal case plant line kettle product characteristic direction signalled_at_batch signalled_at
    began_at_batch began_at until_batch until_at change unit causes check_first"""
CAUSE = "group contribution low high share driver evidence not_checked"


def test_the_contracts_object() -> None:
    body = alerts.to_json(alert(), NORTH)
    assert list(body)[:21] == ALERT.split()
    assert {body[f"{name}_at"] for name in ("signalled", "began", "until")} == {
        "2026-05-06T14:20:00+01:00",
        "2026-05-06T10:20:00+01:00",
        "2026-05-06T15:20:00+01:00",
    }
    assert list(body["causes"][0])[:8] == CAUSE.split()


def test_an_event_is_as_its_episode_and_reaches_at_least_to_its_signal() -> None:
    at = np.array([AT + timedelta(hours=n) for n in range(6)], dtype="datetime64[us]")
    six = np.full(6, 4.0)
    points = Points(np.array(list("abcdef")), at, six, six, six, np.full(6, ""), at.astype("datetime64[D]"))
    episode = Episode("low", 4, 2, 1, 3, 3, -0.2, -0.3, -0.1, False, "shift")
    stream = Stream("north", "specific volume", "mL/g", line="L1", product="milk-loaf")
    charted = Charted(stream, points, None, None, None, (episode,), "signal", "")
    made = alerts.of_event(Event(charted, episode), NORTH, wide({}, {}, AT), None)
    assert (made.signalled_at_batch, made.began_at_batch, made.until_batch) == ("e", "c", "e")
    assert (made.signalled_at, made.began_at, made.until_at) == tuple(AT + timedelta(hours=n) for n in (4, 2, 4))
    assert (made.last_good_batch, made.batches) == ("b", ("c", "d", "e"))
    assert (made.began_low_batch, made.began_high_batch, made.change) == ("b", "d", -0.2)
    body = alerts.to_json(made, NORTH)
    assert (body["change_low"], body["change_high"]) == (-0.3, -0.1)
    assert (made.kind, made.signal, made.line, made.kettle, made.product) == ("chart", "on", "L1", None, "milk-loaf")


def wide(paste: dict, batch: dict, newest: datetime) -> alerts.Wide:
    pastes = pd.DataFrame([{"paste_key": "p", "doughs": 0.0, "cook_end": AT} | paste])
    batches = pd.DataFrame([{"batch_key": "b", "loaves": np.nan, "mixed_at": AT} | batch])
    return alerts.Wide(pastes, batches, newest)


@pytest.mark.parametrize(
    ("characteristic", "key", "on", "paste", "batch", "hours", "expected"),
    [
        ("paste loss", "p", True, {}, {}, 1, "now"),
        ("paste loss", "p", True, {"doughs": 2.0}, {}, 1, "review"),  # used: nothing left to save
        ("paste loss", "p", True, {}, {}, 48, "now"),
        ("paste loss", "p", True, {}, {}, 48.01, "review"),  # too old to be used any more
        ("cook temperature", "p", True, {}, {}, 1, "now"),
        ("kettle overdrawn", "p", True, {}, {}, 1, "now"),
        ("paste loss", "gone", True, {}, {}, 1, "review"),  # a row that was corrected away
        ("paste loss", "p", False, {}, {}, 1, "review"),
        ("dough temperature", "b", True, {}, {}, 1, "now"),
        ("dough temperature", "b", True, {}, {"loaves": 4.0}, 1, "review"),
        ("dough temperature", "b", True, {}, {"loaves": 0.0}, 2.5, "now"),
        ("dough temperature", "b", True, {}, {}, 2.51, "review"),  # in the oven: common practice, no source
        ("dough temperature", "gone", True, {}, {}, 1, "review"),
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
    assert [(c.low, c.high) for c in causes] == [pytest.approx(b) for b in [(-0.2, 0.2)] * 3 + [(-0.4, 0.0)]]
    assert sum(c.share for c in causes) == 1
    assert all(c.low <= c.contribution <= c.high and c.not_checked for c in causes)


def test_every_limit_family_has_its_first_checks() -> None:
    missing = [
        f.characteristic
        for f in FAMILIES
        if all(reaction.check_first(f.characteristic, d) == reaction.PLAIN for d in ("low", "high"))
    ]
    assert not missing
