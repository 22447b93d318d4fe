"""A case's life: seen, closed with a finding, and what the next like episode is told."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime, timedelta
from pathlib import Path

import pytest

from flows import steps
from models.alarms.alerts import from_text, reconcile, to_text, unexplained
from models.storage import cases, ledger, store
from models.storage.cases import CaseEvent
from tests.unit.test_alerts import alert

AT = datetime(2026, 5, 8, 9)


def test_open_seen_closed() -> None:
    acts = [CaseEvent("A1", AT, "QA", "seen"), CaseEvent("A1", AT, "QA", "closed", "real", "tub not tared")]
    assert [cases.applied([alert()], acts[:n])[0].case for n in range(3)] == ["open", "seen", "closed"]
    assert cases.applied([alert()], acts)[0].finding == "real"


def test_a_finding_comes_back_at_the_next_like_episode() -> None:
    later = alert(alert="A2", signalled_at=AT + timedelta(days=9))
    other = alert(alert="A3", causes=(alert().causes[0].__class__("yeast", -0.2, -0.3, -0.1, 1.0, "Yeast lot weak"),))
    found = cases.applied([alert(), later, other], [CaseEvent("A1", AT, "QA", "closed", "real", "kettle boiled over")])
    assert "kettle boiled over" in found[1].last_time[0]
    assert found[0].last_time == () and found[2].last_time == ()


def test_acts_are_kept_and_never_changed(tmp_path: Path) -> None:
    con = store.open_for_writing(tmp_path / "s.duckdb")
    acts = [CaseEvent("A1", AT, "QA", "seen"), CaseEvent("A1", AT, "QA", "closed", "nothing found", "n")]
    for act in acts:
        cases.record(con, act, [alert()])
    assert cases.events(con) == acts
    con.close()


@pytest.mark.parametrize(
    ("event", "says"),
    [
        (CaseEvent("A9", AT, "QA", "seen"), "no such alert"),
        (CaseEvent("A1", AT, " ", "seen"), "who"),
        (CaseEvent("A1", AT, "QA", "closed"), "closed with a finding"),
        (CaseEvent("A1", AT, "QA", "seen", "real"), "closed with a finding"),
    ],
)
def test_what_cannot_be_recorded(tmp_path: Path, event: CaseEvent, says: str) -> None:
    con = store.open_for_writing(tmp_path / "s.duckdb")
    with pytest.raises(cases.CaseError, match=says):
        cases.record(con, event, [alert()])
    assert cases.events(con) == []
    con.close()


def test_a_closed_case_stays_closed(tmp_path: Path) -> None:
    con = store.open_for_writing(tmp_path / "s.duckdb")
    for act in (CaseEvent("A1", AT, "QA", "closed", "real"), CaseEvent("A1", AT, "QA", "seen")):
        with pytest.raises(cases.CaseError, match="A1: is closed already, with real; its history stays as it is"):
            cases.record(con, act, [alert(case="closed", finding="real")])
    late = CaseEvent("A1", AT, "QA", "done", note="tub marked")
    cases.record(con, late, [alert(case="closed", finding="real")])
    assert cases.events(con) == [late]
    con.close()


def test_a_closing_is_printed_on_the_next_like_alert_and_in_its_month(tmp_path: Path) -> None:
    """Pages of what was open beside it stood as they were until their own rows changed."""
    con = store.open_for_writing(tmp_path / "s.duckdb")
    like = alert(alert="A2", signalled_at=AT + timedelta(days=9))
    unlike = alert(alert="A3", causes=(replace(alert().causes[0], driver="Paste cooked 9 °C above its limit"),))
    ledger.keep_alerts(con, [alert(), like, unlike], 1)
    month = f"month:{alert().began_at:%Y-%m}"
    ledger.keep_pages(con, {"alert:A1", "alert:A2", "alert:A3", month, "month:2020-01"}, 1)
    steps.note_case(con, CaseEvent("A1", AT, "QA", "seen"), 2)
    assert [page for page, run in ledger.pages(con).items() if run == 2] == ["alert:A1"]
    steps.note_case(con, CaseEvent("A1", AT, "QA", "closed", "real", "kettle boiled over"), 3)
    assert [page for page, run in ledger.pages(con).items() if run == 3] == ["alert:A1", "alert:A2", month]
    beside = {one.alert: one.last_time for one in ledger.stored_alerts(con)}
    assert "kettle boiled over" in beside["A2"][0] and beside["A3"] == ("paste: the one closed call was real",)
    con.close()


def test_what_was_not_traced_is_no_call_that_was_right() -> None:
    blind = alert(causes=unexplained(-0.2, "no chart yet"))
    after = cases.applied([blind, replace(blind, alert="A2")], [CaseEvent("A1", AT, "QA", "closed", "real")])
    assert after[1].last_time == ()


def test_what_was_found_is_held_against_what_was_called_then() -> None:
    """The episode goes on, and later batches make another call of it."""
    acts = [CaseEvent("A1", AT, "QA", "closed", "real", "kettle boiled over")]
    closed = cases.applied([alert()], acts)
    assert closed[0].closed_as == ("paste", alert().causes[0].driver)
    other = replace(alert().causes[0], group="yeast", driver="Yeast lot Y1 makes 9 % less gas")
    (later,) = reconcile([alert(causes=(other,))], closed)
    like = alert(alert="A2", began_at=AT + timedelta(days=8), signalled_at=AT + timedelta(days=9))
    weak = replace(like, alert="A3", causes=(other,))
    beside = {one.alert: one for one in cases.applied([later, like, weak], acts)}
    assert beside["A1"].closed_as == ("paste", alert().causes[0].driver)
    assert "kettle boiled over" in beside["A2"].last_time[0] and beside["A3"].last_time == ()
    assert from_text(to_text(beside["A1"])).closed_as == beside["A1"].closed_as
