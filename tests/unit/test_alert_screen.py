"""The alert page, live: what it says, who may do what, and what was done, which nobody can alter."""

from __future__ import annotations

from dataclasses import replace

import pytest

from models.calls import Telling
from models.floor.acting import LONGEST_NOTE, ActRefused, act_of
from models.floor.alertscreen import AlertScreen, alert_screen
from models.people import ALONE, Person
from models.shapes import Cause
from models.storage.cases import CaseEvent
from tests.unit.board import FLOOR, NOW, QA, SUPERVISOR, ago, of_paste, page, paste, view
from tests.unit.test_alerts import alert

CAUSES = (
    Cause("paste", -0.18, -0.24, -0.11, 0.86, "Dough dry", ("4 of 5 doughs of K1",), ("residue",)),
    Cause("yeast", -0.02, -0.06, 0.03, 0.1, "Yeast lot weak"),
    Cause("handling", -0.01, -0.05, 0.03, 0.04, "Dough cold"),
    Cause("unexplained", 0.0, -0.05, 0.05, 0.0, ""),
)
TRACED = alert(
    causes=CAUSES, refuted_by=("A dough without paste as small",), next_measurement=("Volumeter on its block",)
)
HOLD = of_paste("H", urgency="hold", characteristic="cooling")


def shown(name: str, seen=None, person: Person | None = FLOOR, who: str = "MK", **more) -> AlertScreen:
    found = alert_screen(seen or view((TRACED, of_paste(), HOLD)), name, NOW, person, who, **more)
    assert found is not None
    return found


def html(name: str, *args, **more) -> str:
    return page("alert", f"/alerts/{name}", alert=shown(name, *args, **more))


def test_an_alert_that_is_not_there() -> None:
    assert alert_screen(view(), "A9", NOW) is None


def test_parts_add_up_and_carry_their_intervals() -> None:
    one, text = shown("A1"), html("A1")
    assert one.adds and (one.together, one.total) == ("−0.21\u00a0mL/g", "−0.21\u00a0mL/g")
    assert one.parts[0].bounds == "−0.24 to −0.11"
    for words in ("4 of 5 doughs of K1", "residue", "What would refute it", "Volumeter on its block", "add up to"):
        assert words in text


def test_parts_that_do_not_add_up_say_so() -> None:
    wrong = replace(TRACED, change=-0.4)
    assert not shown("A1", view((wrong,))).adds
    assert "do not add up" in html("A1", view((wrong,)))


def test_a_cause_is_never_said_where_none_was_traced() -> None:
    assert "No cause is traced" in html("P1") and "add up" not in html("P1")


def test_it_falls_while_one_looks_and_says_why() -> None:
    used = view((of_paste(),), pastes=(paste(doughs=("2026-05-06/L1/D08",)),))
    one, text = shown("P1", used), html("P1", used)
    assert (one.urgency, one.stored, one.fallen) == ("review", "now", "used")
    assert "The paste is used by now." in text and "L1\u00a0D08" in text
    assert "Act now.</strong>" in html("P1") and "No dough names this paste yet" in html("P1")


def test_cautions_stand_where_they_belong() -> None:
    assert any("baking does not repair" in line for line in shown("H").cautions)
    low = alert(alert="B", characteristic="bake loss", direction="low", unit="%")
    assert any("under-baked" in line for line in shown("A1", view((TRACED, low))).cautions)
    assert shown("A1", view((TRACED, replace(low, line="L2")))).cautions == ()


@pytest.mark.parametrize(
    ("name", "person", "may_close"),
    [
        ("P1", FLOOR, False), ("P1", SUPERVISOR, True), ("P1", QA, True),
        ("H", FLOOR, False), ("H", SUPERVISOR, False), ("H", QA, True),
        ("H", Person(initials="BB", role="manager"), False), ("H", ALONE, True),
    ],
)  # fmt: skip
def test_only_qa_closes_a_hold_and_the_floor_closes_nothing(name: str, person: Person, may_close: bool) -> None:
    text = html(name, person=person)
    assert ("closed" not in shown(name, person=person).no) is may_close
    assert ('name="found" value="real"' in text) is may_close
    assert ("this is for" in text) is not may_close
    assert 'value="handed over"' in text


def test_a_hold_that_was_one_is_closed_by_qa_alone_whatever_the_hour() -> None:
    later = view((replace(HOLD, signal="over"),))
    form = {"act": "closed", "found": "real"}
    with pytest.raises(ActRefused) as no:
        act_of(form, later.alerts[0], SUPERVISOR, "RS", NOW)
    assert (no.value.why, no.value.needs) == ("may not", "QA")


def test_who_has_not_tapped_initials_does_nothing() -> None:
    text = html("P1", who="")
    assert "<form" not in text and "Tap initials" in text and "/who?next=/alerts/P1" in text
    assert "<form" not in html("P1", person=None)


@pytest.mark.parametrize(
    ("form", "why"),
    [
        ({}, "no such act"),
        ({"act": "released"}, "no such act"),
        ({"act": "closed"}, "no finding"),
        ({"act": "closed", "found": "maybe"}, "no finding"),
        ({"act": "done", "note": "  \n "}, "no note"),
        ({"act": "handed over"}, "no note"),
        ({"act": "done", "note": "x" * (LONGEST_NOTE + 1)}, "too long"),
    ],
)
def test_forms_that_are_refused(form: dict[str, str], why: str) -> None:
    with pytest.raises(ActRefused) as no:
        act_of(form, of_paste(), SUPERVISOR, "RS", NOW)
    assert no.value.why == why


def test_acts_that_are_taken() -> None:
    assert act_of({"act": "seen", "found": "real"}, of_paste(), FLOOR, " MK ", NOW) == CaseEvent(
        "P1", NOW, "MK", "seen"
    )
    closed = act_of({"act": "closed", "found": "nothing found", "note": "tare\nwas left in"}, of_paste(), QA, "QA", NOW)
    assert closed == CaseEvent("P1", NOW, "QA", "closed", "nothing found", "tare was left in")


def test_a_closed_case_takes_nothing_more_and_keeps_its_history() -> None:
    acts = (
        CaseEvent("P1", ago(9), "MK", "seen"),
        CaseEvent("P1", ago(5), "RS", "closed", "real", "tub <b>not</b> tared"),
    )
    seen = view((of_paste(),), acts)
    text = html("P1", seen, SUPERVISOR)
    assert "<form" not in text and "Closed: real." in text and "14:11" in text and "RS" in text
    assert "tub &lt;b&gt;not&lt;/b&gt; tared" in text
    with pytest.raises(ActRefused) as no:
        act_of({"act": "seen"}, seen.alerts[0], SUPERVISOR, "RS", NOW)
    assert no.value.why == "closed"


def test_the_history_stands_in_the_order_of_the_records_and_offers_no_change() -> None:
    acts = tuple(CaseEvent("P1", ago(m), who, act, None, note) for m, who, act, note in (
        (9, "MK", "seen", ""), (8, "MK", "done", "tared again"), (5, "RS", "handed over", "weigh P08 twice"),
    ))  # fmt: skip
    one = shown("P1", view((of_paste(),), acts))
    assert [(p.when, p.who, p.act) for p in one.history] == [
        ("14:11", "MK", "seen"), ("14:12", "MK", "done"), ("14:15", "RS", "handed over"),
    ]  # fmt: skip
    text = html("P1", view((of_paste(),), acts))
    assert "Handed over to the next shift by RS, 14:15: weigh P08 twice" in text
    assert text.count('name="form_token" value="the-token"') == text.count("<form") > 0


def test_who_was_told() -> None:
    text = html("P1", told=(Telling("RS", ago(10), True, True), Telling("AB", ago(2), True, False)))
    assert "RS, 14:10: the message was taken" in text and "AB, 14:18: not sent yet" in text


def test_every_refusal_and_state_has_its_words() -> None:
    from typing import get_args

    from models.fixed import ROLES
    from models.floor.acting import ACTS, Why
    from models.floor.floor import STATES
    from models.texts import texts

    words, board = texts("alert"), texts("board")
    assert set(words["refused"]) == set(get_args(Why)) and set(words["acts"]) == set(ACTS)
    assert set(board["state"]) == set(STATES) and set(board["role"]) == set(ROLES)


def test_markup_from_a_log_is_text() -> None:
    bad = "<img src=x onerror=alert(1)>"
    seen = view(
        (
            of_paste(
                says=bad,
                check_first=(bad,),
                last_good_batch=bad,
                causes=(replace(CAUSES[0], driver=bad, evidence=(bad,)),),
            ),
        )
    )
    text = html("P1", seen)
    assert bad not in text and "&lt;img" in text


def test_a_refusal_is_one_sentence_in_the_screens_words() -> None:
    from reports.said import act_refused

    assert act_refused(ActRefused("may not", "QA")) == "This is for QA."
    assert act_refused(ActRefused("too long")) == f"The note is too long: at most {LONGEST_NOTE} characters."


def test_the_screen_carries_the_chart_that_the_printed_page_has() -> None:
    from models.pages.notice import notice
    from tests.unit.snapshots import snapshot

    whole = snapshot()
    low = next(one for one in whole.alerts if one.characteristic == "specific volume")
    seen = view((low,), plant=whole.plant, charted=whole.charted, changes=whole.changes)
    mine, printed = shown(low.alert, seen).curves, notice(whole, low).curves
    assert [curve.name for curve in mine] == [curve.name for curve in printed] and len(mine) > 1
    for one, other in zip(mine, printed, strict=True):
        assert [(dot.at, dot.value, dot.outside) for dot in one.dots] == [
            (d.at, d.value, d.outside) for d in other.dots
        ]
        assert (one.spans, one.marks, one.summary) == (other.spans, other.marks, other.summary)
    text = html(low.alert, seen)
    assert text.count('<svg class="inked"') == 2 * len(mine) and printed[0].summary in text
    assert " style=" not in text and "plotly" not in text
    figures = text[text.index("The last batches in figures") :]
    newest = mine[0].dots[-1]
    assert figures.index(newest.name) < figures.index(mine[0].dots[-2].name) and f"{newest.value:.2f}" in figures


def test_an_alert_that_no_chart_follows_says_so() -> None:
    assert "No chart follows this" in html("P1") and 'class="inked"' not in html("P1")


def test_a_note_has_no_sign_that_cannot_be_seen_or_turns_the_line_round() -> None:
    form = {"act": "done", "note": "looked\u202e at\x00 the\nprobe\u2066 "}
    assert act_of(form, of_paste(), SUPERVISOR, "RS", NOW).note == "looked at the probe"
    with pytest.raises(ActRefused, match="no note"):
        act_of({"act": "done", "note": "\u202e\x00\u200b"}, of_paste(), SUPERVISOR, "RS", NOW)
