"""The note of a shift is made from what is open: nothing is left out, nothing is said that is not so."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta

from models.floor.handover import handover, owes
from models.storage.cases import CaseEvent
from tests.unit.board import NORTH, NOW, ago, hold, of_paste, page, paste, seen, view
from tests.unit.test_alerts import alert

ROW = {
    "seq": 7, "kind": "paste", "file": "paste.csv", "row": 3, "column": "weight_after_kg", "value": "1191",
    "rule": "paste.after-above-before", "why": "<i>Wa is above Wb</i>", "proposal": None, "cells": {},
}  # fmt: skip


def html(shown) -> str:
    return page("handover", "/handover", handover=handover(shown, NOW))


def test_it_names_the_shift_and_when_it_stands() -> None:
    note = handover(view(), NOW)
    assert (note.shift, note.began, note.clock, note.day) == ("late", "14:00", "14:20", "Wednesday 6 May 2026")


def test_the_night_belongs_to_the_day_it_began_on() -> None:
    night = handover(view(), NOW + timedelta(hours=14))
    assert (night.shift, night.began, night.day) == ("night", "Wed 6 May 22:00", "Wednesday 6 May 2026")


def test_nothing_open_is_said_in_so_many_words_and_only_then() -> None:
    assert handover(view(), NOW).empty and "Nothing is open" in html(view())
    for open_one in (
        view((of_paste(),)), view(holds=(hold(),)), view(quarantine=(ROW,)), view(unsent=(1,)),
        view(pastes=(paste(),)), view(lines={}),
    ):  # fmt: skip
        assert not handover(open_one, NOW).empty and "Nothing is open" not in html(open_one)


def test_what_was_handed_over_stands_with_its_note_until_somebody_takes_it_up() -> None:
    given = CaseEvent("P1", ago(5), "MK", "handed over", None, "weigh P08 <b>twice</b>")
    note = handover(view((of_paste(),), (given,)), NOW)
    assert [one.alert for one in note.handed] == ["P1"] and note.alerts == ()
    assert "MK, 14:15: weigh P08 &lt;b&gt;twice&lt;/b&gt;" in html(view((of_paste(),), (given,)))
    taken = handover(view((of_paste(),), (given, CaseEvent("P1", ago(2), "RS", "seen"))), NOW)
    assert taken.handed == () and [one.alert for one in taken.alerts] == ["P1"]


def test_a_hold_is_told_once_and_never_denied() -> None:
    raised = of_paste("A7", urgency="hold", characteristic="cooling")
    both = view((raised,), holds=(hold(of="A7"),))
    assert len(handover(both, NOW).holds) == 1 and handover(both, NOW).alerts == ()
    alone = view((raised,))
    assert "No batch is held" not in html(alone) and [o.alert for o in handover(alone, NOW).alerts] == ["A7"]
    assert "No batch is held" in html(view((of_paste(),)))
    assert handover(view(holds=(hold(stands=False),)), NOW).holds == ()


def test_water_owed_is_what_two_weighings_cannot_make_up() -> None:
    assert owes(paste(excess=4.0), NORTH, NOW)
    assert not owes(paste(excess=0.3), NORTH, NOW)  # 112 kg x 2 x sqrt(2) x 0.1 % = 0.32 kg
    assert not owes(replace(paste(), excess_kg=None), NORTH, NOW)
    assert not owes(paste(minutes=25 * 60), NORTH, NOW)
    assert not owes(replace(paste(), points=1.0), NORTH, NOW) and owes(replace(paste(), points=1.1), NORTH, NOW)
    used = paste(doughs=("2026-05-06/L1/D08",))
    text = html(view(pastes=(used, paste("2026-05-06/K1/P08"))))
    assert "Went into L1\u00a0D08 of 6\u00a0May" in text and "put the water back before it is used" in text
    assert "no water recorded as put back" in text


def test_silence_and_rows_that_wait_are_named() -> None:
    shown = view(quarantine=(ROW, {**ROW, "seq": 8}))
    shown = replace(shown, lines={**shown.lines, "L1": seen("L1", 200)}, kettles={})
    text = html(shown)
    assert "Line L1: no batch for 3 h 20" in text and "Kettle K1: no batch has ever come" in text
    assert "2 rows: &lt;i&gt;Wa is above Wb&lt;/i&gt;" in text


def test_reviews_long_over_stand_apart() -> None:
    note = handover(view((alert(signal="over", until_at=ago(25 * 60)), alert(alert="N", until_at=ago(5)))), NOW)
    assert ([o.alert for o in note.older], [o.alert for o in note.alerts]) == (["A1"], ["N"])
    (one,) = note.older
    assert f"{one.since} to {one.until}" in page("handover", handover=note) and one.since != one.until
