"""What is held: by an alert or by hand, with every dough that a held paste went into, until QA has decided batch by batch."""

from __future__ import annotations

from datetime import timedelta

import pytest

from models.floor import onhold
from models.floor.holds import Hold, HoldEvent, gravest_first, holds_of, how_long, not_yet_kept
from tests.unit import board
from tests.unit.heldrows import AT, COOKED, DAY, DOUGHS, OTHER, PASTE, dough, frames, missed

L1, L2 = "2026-05-06/L1/{}".format, "2026-05-06/L2/{}".format
ALL = (L1("01"), L1("02"), L2("01"))


def held(alerts, events=(), now=AT, doughs=None) -> Hold:
    (found,) = holds_of(alerts, events, **frames(doughs), now=now)
    return found


def released(hour: float, pastes=(PASTE,), doughs=ALL, act="released") -> HoldEvent:
    return HoldEvent(
        "Hc001", DAY + timedelta(hours=hour), "MK", act, "probe was wrong", pastes, doughs, "cooling", "QA"
    )


def kept(*alerts) -> HoldEvent:
    """What is written down of the first alert's hold before anybody acts on it."""
    (event,) = not_yet_kept([held(alerts)], alerts)
    return event


def standing(hold: Hold) -> list[str]:
    return [batch.key for batch in hold.batches if batch.stands]


def test_a_missed_cooling_holds_the_paste_and_every_dough_of_it_the_second_tub_and_baked_ones_too():
    hold = held([missed()])
    assert standing(hold) == [PASTE, *ALL]
    assert (hold.hold, hold.ground, hold.where, hold.since, hold.by) == ("Hc001", "cooling", "K1, L1, L2", COOKED, "")
    assert "26.4 °C two hours after cooking" in hold.why
    assert [batch.baked for batch in hold.standing("dough")] == [
        "baked", "baked by now, not recorded", "may not be in the oven yet",
    ]  # fmt: skip
    assert all(batch.of == (PASTE,) for batch in hold.standing("dough"))


@pytest.mark.parametrize(
    ("characteristic", "ground"),
    [
        ("cooling", "cooling"),
        ("paste age", "cooling"),  # food safety both
        ("allergen", "allergen"),
        ("paste recipe", "allergen"),
        ("net weight", "short weight"),
        ("kettle overdrawn", "other"),
    ],
)
def test_the_ground_of_a_hold_is_what_its_alert_is_about(characteristic: str, ground: str):
    alert = missed(characteristic=characteristic)
    assert held([alert]).ground == kept(alert).ground == ground


def test_what_can_harm_at_the_first_bite_is_told_before_what_is_short_however_old():
    of_dough = {"kettle": None, "line": "L1", "batches": (L1("01"),), "began_at_batch": L1("01")}
    kinds = ("net weight", "kettle overdrawn", "cooling", "paste recipe", "allergen")
    alerts = [
        missed(alert=f"A{n}", characteristic=kind, **({} if kind == "cooling" else of_dough), signalled_at=DAY + timedelta(hours=n))
        for n, kind in enumerate(kinds)
    ]
    by_hand = HoldEvent("Hhand", DAY, "MK", "held", "a glove", (), (L1("01"),), "foreign body", "QA")
    told = gravest_first(holds_of(alerts, [by_hand], **frames(), now=AT))
    assert [hold.characteristic or hold.ground for hold in told] == [
        "allergen", "paste recipe", "foreign body", "cooling", "net weight", "kettle overdrawn",
    ]  # fmt: skip


def test_a_dough_is_held_since_it_was_mixed_and_its_paste_since_it_was_cooked():
    for events in ([], [kept(missed())]):  # before it is written down, and after
        since = {batch.key: (batch.since - DAY) / timedelta(hours=1) for batch in held([missed()], events).batches}
        assert since == {PASTE: 6.0, L1("01"): 8.0, L1("02"): 9.0, L2("01"): 12.5}


@pytest.mark.parametrize(("hours", "word"), [(2.5, "may not be in the oven yet"), (2.51, "baked by now, not recorded")])
def test_a_dough_is_baked_by_two_and_a_half_hours_after_mixing(hours: float, word: str):
    """Common practice, no source."""
    hold = held([missed()], now=DAY + timedelta(hours=8 + hours), doughs=[dough("L1", "01", 8, PASTE, loaves=0.0)])
    assert [batch.baked for batch in hold.standing("dough")] == [word]


def test_no_other_alert_holds():
    assert holds_of([missed(urgency="now")], [], **frames(), now=AT) == ()


@pytest.mark.parametrize("changes", [{"signal": "over"}, {"case": "closed"}, {"case": "closed", "signal": "over"}])
def test_an_ended_signal_or_a_closed_case_does_not_end_a_hold(changes: dict):
    assert standing(held([missed(**changes)])) == [PASTE, *ALL]


def test_loaves_are_counted_where_logs_know_them():
    """L1 made 330 - 30 pieces of three doughs, two of them held; the shift of L2 has no output row."""
    loaves = held([missed()]).loaves
    assert (loaves.doughs, loaves.measured, loaves.pieces, loaves.exact, loaves.unknown) == (3, 4, 200.0, False, 1)


def test_where_every_dough_of_a_shift_is_held_its_pieces_are_all_of_them():
    loaves = held(
        [missed()], doughs=[row for row in DOUGHS if row["line"] == "L1" and row["dough_batch"] != "03"]
    ).loaves
    assert (loaves.pieces, loaves.exact, loaves.unknown) == (300.0, True, 0)


def test_without_an_output_row_pieces_are_not_known():
    assert held([missed()], doughs=[DOUGHS[-1]]).loaves.pieces is None


def test_a_release_ends_what_it_names_and_no_more():
    hold = held([missed()], [kept(missed()), released(11, pastes=(), doughs=(L1("01"),))])
    assert standing(hold) == [PASTE, L1("02"), L2("01")] and hold.ended is None
    rest = held([missed()], [kept(missed()), released(13, doughs=(L1("01"), L1("02")))])
    assert (standing(rest), rest.where, rest.since) == ([L2("01")], "L2", DAY + timedelta(hours=12.5))
    over = held([missed()], [kept(missed()), released(13)])
    assert over.where == "K1, L1, L2"
    assert not over.stands and over.ended == DAY + timedelta(hours=13)
    assert how_long(over, AT + timedelta(days=3)) == timedelta(hours=7)


def test_a_paste_that_joins_the_alert_after_the_release_is_held_anew():
    later = missed(PASTE, OTHER, until_at=AT)
    hold = held([later], [kept(missed()), released(12.8)])
    assert standing(hold) == [OTHER, L1("02"), L1("03")], "L1 02 got both; QA knew of one"
    assert hold.since == AT


def test_a_dough_mixed_before_the_release_that_qa_did_not_know_of_is_held_one_mixed_after_is_free():
    late = [*DOUGHS, dough("L2", "02", 12.99, PASTE), dough("L2", "03", 13, PASTE)]
    hold = held([missed()], [kept(missed()), released(13)], doughs=late)
    assert standing(hold) == [L2("02")]


def test_a_dough_of_a_disposed_paste_is_held_whenever_it_was_mixed():
    late = [*DOUGHS, dough("L2", "03", 13.5, PASTE)]
    hold = held([missed()], [kept(missed()), released(13, act="disposed")], doughs=late)
    assert standing(hold) == [L2("03")]


def test_what_left_the_house_is_held_on():
    hold = held([missed()], [kept(missed()), released(11, (), (L1("01"),), "left the house")])
    assert [batch.state for batch in hold.batches] == ["held", "left the house", "held", "held"]


def test_a_correction_takes_nothing_out_of_a_hold():
    first = held([missed()])
    event = kept(missed())
    assert (event.pastes, event.doughs, event.who, event.alert, event.at) == ((PASTE,), ALL, "", "Ac001", COOKED)
    corrected = [{**row, "paste_key": OTHER, "paste_key_2": None} for row in DOUGHS]
    assert standing(held([], [event], doughs=corrected)) == [PASTE, *ALL]
    again = held([missed()], [event])
    assert standing(again) == standing(first) and not not_yet_kept([again], [missed()])


def test_a_dough_that_comes_later_is_written_down_later():
    more = held([missed()], [kept(missed())], doughs=[*DOUGHS, dough("L2", "02", 12.6, PASTE)])
    (new,) = not_yet_kept([more], [missed()])
    assert (new.pastes, new.doughs) == ((), (L2("02"),))


def test_a_dough_can_be_held_by_hand():
    event = HoldEvent(
        "M1", AT, "JS", "held", "a shard of the pan", doughs=(L1("03"),), ground="foreign body", role="floor"
    )
    hold = held([], [event])
    assert standing(hold) == [L1("03")]
    assert (hold.by, hold.why, hold.ground, hold.since) == ("JS (floor)", "a shard of the pan", "foreign body", AT)


def test_short_weight_holds_all_that_the_line_made_in_the_shift_measured_or_not():
    light = missed(L1("01"), characteristic="net weight", kettle=None, line="L1")
    other_shift = dough("L1", "09", 15, OTHER) | {"shift": "late"}
    hold = held([light], doughs=[*DOUGHS, other_shift])
    assert standing(hold) == [L1("01"), L1("02"), L1("03")] and hold.ground == "short weight"


def test_a_paste_and_a_dough_of_the_same_key_are_two_batches():
    row = dough("K1", "03", 8, OTHER)
    event = HoldEvent("M1", AT, "JS", "held", "x", doughs=(row["batch_key"],))
    hold = held([], [event], doughs=[*DOUGHS, row])
    assert [(batch.kind, batch.key) for batch in hold.batches] == [("dough", PASTE)]


def test_order_of_rows_does_not_matter():
    assert held([missed()], doughs=DOUGHS[::-1]) == held([missed()])


def test_of_two_holds_of_a_paste_the_mixer_is_told_the_gravest() -> None:
    older, graver = board.hold("H1"), board.hold("H2")
    older.batches[0].since = graver.batches[0].since = board.NOW
    graver.ground, graver.since, graver.why = "cooling", board.NOW, "26.4 °C two hours after cooking"
    (told,) = onhold.pastes(board.view(holds=(older, graver))).values()
    assert told.why == graver.why
