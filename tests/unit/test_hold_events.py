"""Acts on holds are kept as they were; only QA releases, nobody without a reason, and nothing alters what stands."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import replace
from datetime import timedelta
from pathlib import Path

import duckdb
import pytest

from models.floor.holds import HoldEvent
from models.people import ALONE, Person
from models.snapshot import frame
from models.storage import holds, ledger, store
from models.storage.holds import HoldError
from tests import tree
from tests.unit.heldrows import AT, DOUGHS, OTHER, PASTE, PASTES, frames, missed

FLOOR, SUPERVISOR, QA, MANAGER = (
    Person(initials=name, role=role)
    for name, role in (("JS", "floor"), ("AB", "supervisor"), ("MK", "QA"), ("PM", "manager"))
)
L1 = "2026-05-06/L1/{}".format
HELD = HoldEvent("", AT, "JS", "held", "a shard of the pan", doughs=(L1("03"),), ground="foreign body")


@pytest.fixture
def con(tmp_path: Path) -> Iterator[duckdb.DuckDBPyConnection]:
    con = store.open_for_writing(tmp_path / "s.duckdb")
    store.insert(con, "batches", frames()["batches"])
    store.insert(con, "pastes", frame("pastes", PASTES))
    ledger.keep_alerts(con, [missed()], 1)
    yield con
    con.close()


def ends(act="released", hold="Hc001", because="second probe", **of) -> HoldEvent:
    return HoldEvent(hold, AT + timedelta(hours=1), "", act, because, **of)


def stands(con, name: str) -> bool:
    return next(hold for hold in holds.holds(con, AT) if hold.hold == name).stands


def test_anybody_on_the_floor_may_hold_by_hand(con):
    kept = holds.record(con, HELD, FLOOR)
    assert (kept.who, kept.role, kept.doughs) == ("JS", "floor", (L1("03"),)) and kept.hold.startswith("M")
    assert holds.events(con) == [kept]
    assert stands(con, kept.hold)


@pytest.mark.parametrize("who", [FLOOR, SUPERVISOR, MANAGER], ids=lambda person: person.role)
@pytest.mark.parametrize("act", ["released", "disposed"])
def test_only_qa_releases(con, who: Person, act: str):
    with pytest.raises(HoldError, match="only QA"):
        holds.record(con, ends(act), who)
    assert holds.events(con) == [] and stands(con, "Hc001")


def test_qa_releases_with_a_reason_and_the_record_says_what(con):
    kept = holds.record(con, ends(), QA)
    assert (kept.who, kept.role, kept.alert, kept.ground) == ("MK", "QA", "Ac001", "cooling")
    assert kept.pastes == (PASTE,) and len(kept.doughs) == 3
    assert not stands(con, "Hc001")


def test_alone_on_a_machine_one_may_release_and_gives_a_name(con):
    assert holds.record(con, replace(ends(), who="MK"), ALONE).role == ""
    with pytest.raises(HoldError, match="who"):
        holds.record(con, ends(), ALONE)


@pytest.mark.parametrize("because", ["", "   ", "\n"])
def test_nothing_begins_or_ends_without_a_reason(con, because: str):
    for event, by in ((ends(because=because), QA), (replace(HELD, because=because), FLOOR)):
        with pytest.raises(HoldError, match="reason"):
            holds.record(con, event, by)
    assert holds.events(con) == []


@pytest.mark.parametrize(
    ("event", "says"),
    [
        (ends(hold="H9"), "no such hold"),
        (ends(doughs=(L1("03"),)), "no dough held under"),
        (ends(pastes=(OTHER,)), "no paste held under"),
        (replace(HELD, doughs=()), "which batches"),
        (replace(HELD, doughs=(PASTE,)), "no such dough"),
        (replace(HELD, doughs=(), pastes=(L1("03"),)), "no such paste"),
        (replace(HELD, hold="M9"), "no such hold"),
    ],
)
def test_what_cannot_be_recorded(con, event: HoldEvent, says: str):
    with pytest.raises(HoldError, match=says) as caught:
        holds.record(con, event, QA)
    assert "\n" not in str(caught.value) and holds.events(con) == []


def test_what_is_over_is_over(con):
    holds.record(con, ends(), QA)
    with pytest.raises(HoldError, match="nothing of it is held"):
        holds.record(con, ends(), QA)
    assert [event.act for event in holds.events(con)] == ["held", "released"]


def test_a_form_sent_twice_holds_once(con):
    holds.record(con, HELD, FLOOR)
    with pytest.raises(HoldError, match="held already"):
        holds.record(con, HELD, FLOOR)


def test_more_can_be_held_under_a_hold(con):
    first = holds.record(con, HELD, FLOOR)
    holds.record(con, replace(HELD, hold=first.hold, doughs=(L1("02"),)), SUPERVISOR)
    (mine,) = [hold for hold in holds.holds(con, AT) if hold.hold == first.hold]
    assert [batch.key for batch in mine.standing("dough")] == [L1("02"), L1("03")]


def test_that_a_batch_left_the_house_is_kept_and_ends_nothing(con):
    with pytest.raises(HoldError, match="supervisor"):
        holds.record(con, ends("left the house", doughs=(L1("01"),)), FLOOR)
    holds.record(con, ends("left the house", doughs=(L1("01"),)), SUPERVISOR)
    assert stands(con, "Hc001")


def test_history_only_grows(con):
    before: list[HoldEvent] = []
    for event, by in ((HELD, FLOOR), (ends(doughs=(L1("01"),)), QA), (ends("disposed"), QA)):
        holds.record(con, event, by)
        now = holds.events(con)
        assert now[: len(before)] == before and now[-1].act == event.act
        before = now


def test_no_statement_of_the_program_alters_history():
    kept = "hold_event|case_event|decision"
    alters = rf"(?i)\b(?:UPDATE|DELETE\s+FROM|TRUNCATE|DROP\s+TABLE|OR\s+REPLACE\s+(?:INTO|TABLE))\s+(?:{kept})\b"
    assert re.search(alters, "DELETE FROM hold_event") and re.search(alters, "insert or replace into decision")
    sources = [path for path in tree.files() if path.suffix in (".py", ".sql") and "tests" not in path.parts]
    assert [tree.name(p) for p in sources if re.search(alters, p.read_text(encoding="utf-8"))] == []


def test_what_alerts_hold_is_written_down_once(con):
    (new,) = holds.keep_raised(con, [missed()], AT)
    assert new.pastes == (PASTE,) and holds.events(con) == [new]
    assert holds.keep_raised(con, [missed()], AT) == []
    ledger.keep_alerts(con, [missed(OTHER)], 2)
    assert stands(con, "Hc001")
    (hold,) = holds.holds(con, AT)
    assert {batch.key for batch in hold.standing("paste")} == {PASTE, OTHER}


def test_batches_are_named_as_the_floor_writes_them():
    pastes, doughs = ["2026-05-05/K1/03", PASTE], [row["batch_key"] for row in DOUGHS]
    assert holds.named(["K1/03", "L1 02"], pastes, doughs) == ((PASTE,), (L1("02"),))
    assert holds.named(["2026-05-05/K1/03"], pastes, doughs) == (("2026-05-05/K1/03",), ())
    for name, says in (("03", "of which kettle"), ("K9/01", "no such batch"), ("", "of which kettle")):
        with pytest.raises(HoldError, match=says):
            holds.named([name], pastes, doughs)
    with pytest.raises(HoldError, match="a paste and a dough"):
        holds.named(["K1/03"], pastes, [*doughs, PASTE])


def test_a_stretch_of_a_line_is_held_whole():
    """Of foreign bodies and short weight: all since the last good check."""
    doughs = ["2026-05-05/L1/09", L1("01"), "2026-05-06/L2/01", L1("02"), L1("03")]
    assert holds.named(["L1/09..L1/02"], [], doughs) == ((), (doughs[0], L1("01"), L1("02")))
    assert holds.named(["L1/02.."], [], doughs) == ((), (L1("02"), L1("03")))
    for wrong in ("L1/03..L1/01", "L1/01..L2/01", "K1/03..L1/01"):
        with pytest.raises(HoldError, match="a stretch runs|no such batch"):
            holds.named([wrong], [PASTE], doughs)
