"""A missed cooling from the logs to QA's release, by the commands a person types."""

from __future__ import annotations

import json
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import pytest

from flows import holding
from flows.cli import main
from flows.floor import taking
from flows.job import read_job
from flows.work import work
from models.floor.holds import HoldEvent
from models.people import Person
from models.storage import gather, holds, names, store
from tests.faults.killer import SAMPLE, put, run

PLANT = SAMPLE / "plant.toml"
PASTE = """paste_batch,kettle,recipe,shift_date,shift,weight_before_kg,weight_after_kg,cook_start,cook_end,cook_temp_c,temp_2h_c,temp_6h_c
71,K1,water-2,2026-10-06,early,138.0,135.2,2026-10-06 06:00,2026-10-06 06:20,66.0,{at_2h},4.0
72,K1,water-2,2026-10-06,early,138.0,135.2,2026-10-06 06:30,2026-10-06 06:50,66.0,18.0,4.0
"""
DOUGH = """dough_batch,line,product,shift_date,shift,mixed_at,flour_kg,liquid_kg,paste_batch,paste_kg,paste_batch_2,paste_kg_2,yeast_kg,dough_temp_c
71,L1,white-tin,2026-10-06,early,2026-10-06 13:00,80,35,71,60,,,2.5,26
72,L1,white-tin,2026-10-06,early,2026-10-06 13:20,80,35,72,30,71,30,2.5,26
73,L1,white-tin,2026-10-06,early,2026-10-06 13:40,80,35,72,60,,,2.5,26
"""
HELD = ["2026-10-06/K1/71", "2026-10-06/L1/71", "2026-10-06/L1/72"]


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """A store that has taken a paste that missed its cooling, and three doughs."""
    (tmp_path / "logs").mkdir()
    put(tmp_path / "logs", "a-paste.csv", PASTE.format(at_2h="26.4"))
    put(tmp_path / "logs", "b-dough.csv", DOUGH)
    run(tmp_path, tmp_path / "logs")
    return tmp_path


def command(folder: Path, *words: str, pages: bool = True) -> int:
    places = ["--plant", str(PLANT), "--store", str(folder / "s.duckdb")]
    return main([*words, *places, *(["--out", str(folder / "s-out")] if pages else [])])


def listed(folder: Path, capsys, *more: str) -> list[dict[str, Any]]:
    capsys.readouterr()
    assert command(folder, "holds", "--json", *more, pages=False) == 0
    return json.loads(capsys.readouterr().out)


def batches(hold: dict[str, Any]) -> list[str]:
    return [one["batch"] for one in hold["batches"] if one["state"] == "held"]


def page(folder: Path) -> str:
    return (folder / "s-out" / "day-2026-10-06.html").read_text(encoding="utf-8").replace("\u00a0", " ")


def test_a_missed_cooling_is_held_until_qa_releases_it(folder: Path, capsys) -> None:
    (hold,) = listed(folder, capsys)
    assert batches(hold) == HELD and hold["history"][0]["act"] == "held"
    assert "Went into 2 doughs: L1 71 and L1 72" in page(folder)
    name = hold["hold"]
    for who in ("supervisor", "floor", "manager"):
        assert command(folder, "release", name, "--by", who, "--because", "it looked fine") == 2
        assert "only QA releases" in capsys.readouterr().err
    for who in ("MK", "nobody at all", "QAX"):
        assert command(folder, "release", name, "--by", who, "--because", "it looked fine") == 2
        assert "only QA decides" in capsys.readouterr().err
    assert command(folder, "release", name, "--by", "QA\nx", "--because", "two lines") == 2
    assert command(folder, "release", name, "--by", "QA", "--because", " ") == 2
    assert "with a reason" in capsys.readouterr().err
    assert batches(listed(folder, capsys)[0]) == HELD
    assert command(folder, "release", name, "--by", "QA MK", "--because", "second probe: 19 °C") == 0
    said = capsys.readouterr().out
    assert said.startswith(f"{name}: released by MK: {', '.join(HELD)}") and "day-2026-10-06.html" in said
    assert listed(folder, capsys) == [] and len(listed(folder, capsys, "--all")) == 1
    assert "Released by MK" in page(folder) and "second probe: 19 °C" in page(folder)


def test_a_corrected_reading_or_a_corrected_link_releases_nothing(folder: Path, capsys) -> None:
    put(folder / "logs", "c-paste.csv", PASTE.format(at_2h="16.4"))
    put(folder / "logs", "d-dough.csv", DOUGH.replace("35,71,60", "35,72,60"))
    result = run(folder, folder / "logs")
    (hold,) = listed(folder, capsys)
    assert batches(hold) == HELD
    assert [one["signal"] for one in result["alerts"] if one["characteristic"] == "cooling"] == ["over"]


def test_anybody_holds_a_batch_by_the_name_on_its_sheet(folder: Path, capsys) -> None:
    assert command(folder, "hold", "L1/73", "--by", "JS", "--because", "a shard", "--ground", "foreign body") == 0
    mine = listed(folder, capsys)[0]  # told before the paste that cooled too slowly
    assert (batches(mine), mine["ground"], mine["alert"]) == (["2026-10-06/L1/73"], "foreign body", None)
    assert "L1: foreign body: a shard" in page(folder)
    assert command(folder, "hold", "K1/72", "--under", mine["hold"], "--by", "JS", "--because", "its tub, too") == 0
    (mine,) = [one for one in listed(folder, capsys) if one["hold"] == mine["hold"]]
    assert sorted(batches(mine)) == ["2026-10-06/K1/72", "2026-10-06/L1/72", "2026-10-06/L1/73"]
    assert command(folder, "hold", "L9/01", "--by", "JS", "--because", "x") == 2
    assert "no such batch" in capsys.readouterr().err


def test_with_a_people_file_who_acts_must_be_in_it(folder: Path, capsys, monkeypatch) -> None:
    known = {"AB": Person(initials="AB", role="supervisor"), "MK": Person(initials="MK", role="QA")}
    monkeypatch.setattr("models.people.load", lambda path: type("People", (), {"people": known}))
    (hold,) = listed(folder, capsys)
    words = ("release", hold["hold"], "--because", "probe", "--people", "people.toml", "--by")
    for who, says in (("QA", "is not in people.toml"), ("AB", "AB (supervisor): only QA releases")):
        assert command(folder, *words, who) == 2
        assert says in capsys.readouterr().err
    assert command(folder, *words, "MK") == 0
    assert listed(folder, capsys, "--all")[0]["history"][-1]["role"] == "QA"


def test_the_board_records_by_its_forms_and_its_view_has_the_hold(folder: Path) -> None:
    job = read_job(PLANT, folder / "logs", folder / "s.duckdb", folder / "s-out")
    at = datetime(2026, 10, 6, 14)
    form = {"batch": "L1/73", "ground": "foreign body", "because": "a shard", "by": "JS"}
    floor = Person(initials="JS", role="floor")
    held = taking.act(job, 2, (), holding.held_by_form(form, floor, "JS", at))
    assert [hold.hold for hold in held.view.holds if hold.stands][-1] == held.answer.hold
    boxes = {"act": "released", "because": "found to be flour", "on:dough:2026-10-06/L1/73": "1"}
    ends = holding.ended_by_form(held.answer.hold, boxes, floor, "JS", at)
    with pytest.raises(holds.HoldError, match="only QA releases"):
        taking.act(job, 3, (), ends)
    by_qa = holding.ended_by_form(held.answer.hold, boxes, Person(initials="MK", role="QA"), "MK", at)
    over = taking.act(job, 3, (), by_qa)
    assert [hold.stands for hold in over.view.holds] == [True, False]
    assert "foreign body" not in page(folder), "pages are printed later, by whoever prints what is due"


def test_an_act_that_is_refused_changes_nothing(folder: Path) -> None:
    before = (folder / "s.duckdb.read").read_bytes()
    con = store.open_for_writing(folder / "s.duckdb")
    event = HoldEvent("H0", holding._now(), "MK", "released", "x")
    with pytest.raises(holds.HoldError, match="no such hold"), store.transaction(con):
        holds.record(con, event, Person(initials="MK", role="QA"))
    assert [one.act for one in holds.events(con)] == ["held"]
    con.close()
    assert (folder / "s.duckdb.read").read_bytes() == before


def test_names_are_kept_as_long_as_the_plant_file_says(folder: Path, capsys) -> None:
    (hold,) = listed(folder, capsys)
    con = store.open_for_writing(folder / "s.duckdb")
    newest = gather.newest(con)
    for days, who in ((31, "AB"), (29, "CD")):
        event = [newest - timedelta(days=days), who]
        con.execute("INSERT INTO case_event VALUES ('A', ?, ?, 'seen', NULL, '')", event)
        con.execute(
            "INSERT INTO hold_event VALUES (?, ?, ?, 'QA', 'held', 'other', 'x', [], ['2026-10-06/L1/73'], '')",
            [hold["hold"], *event],
        )
        con.execute("INSERT INTO decision VALUES (1, 'rejected', ?, ?, 'x', NULL)", [who, event[0]])
        con.execute("INSERT INTO replaced VALUES (-1, -2, ?, ?)", [who, event[0]])
    con.close()
    text = PLANT.read_text(encoding="utf-8")
    for more, left in (("", {"AB", "CD"}), ("\n[names]\nkept_days = 30\n", {names.NO_LONGER, "CD"})):
        (folder / "plant.toml").write_text(text + more, encoding="utf-8")
        work(read_job(folder / "plant.toml", folder / "logs", folder / "s.duckdb", folder / "s-out"))
        con = store.open_for_reading(folder / "s.duckdb")
        for table in names.ACTS:
            assert {who for (who,) in con.execute(f"SELECT who FROM {table} WHERE who <> ''").fetchall()} == left
        assert {role for (role,) in con.execute("SELECT role FROM hold_event WHERE who <> ''").fetchall()} == {"QA"}
        con.close()


EARLY_DOUGH = """dough_batch,line,product,shift_date,shift,mixed_at,flour_kg,liquid_kg,paste_batch,paste_kg,yeast_kg,dough_temp_c
61,L1,white-tin,2026-10-06,early,2026-10-06 13:00,80,35,61,60,2.5,26
"""
OTHER_KETTLE = """paste_batch,kettle,recipe,shift_date,shift,weight_before_kg,weight_after_kg,cook_start,cook_end,cook_temp_c
61,K2,milk-5,2026-10-06,early,120.0,117.6,2026-10-06 06:00,2026-10-06 06:20,66.0
"""


def test_a_dough_before_its_paste_says_what_it_is_traced_to_since(tmp_path: Path) -> None:
    """The contract's latest such batch was another kettle's; its own paste comes, the hold stays, and the page says so."""
    (tmp_path / "logs").mkdir()
    put(tmp_path / "logs", "a-dough.csv", EARLY_DOUGH)
    put(tmp_path / "logs", "b-paste.csv", OTHER_KETTLE)
    first = run(tmp_path, tmp_path / "logs")
    assert [hold["ground"] for hold in first["holds"] if hold["stands"]].count("allergen") == 2
    assert "is traced to paste" not in page(tmp_path)
    put(tmp_path / "logs", "c-paste.csv", OTHER_KETTLE.replace("61,K2,milk-5", "61,K1,water-2"))
    assert all(hold["stands"] for hold in run(tmp_path, tmp_path / "logs")["holds"])
    assert "L1 61 is traced to paste K1 61 (water-2) as the rows stand now" in page(tmp_path)
