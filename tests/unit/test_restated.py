"""What of a day that was printed is another now: values that were corrected, whatever way, and rows that came late."""

from __future__ import annotations

from datetime import datetime
from pathlib import Path

import pytest

from models.storage import account, ledger, restating, store, viewing
from tests.unit.test_decisions import DOUGH
from tests.unit.test_replacing import MOVED, NORTH, Desk

DAY = "2026-10-04"


@pytest.fixture
def desk(tmp_path: Path) -> Desk:
    """The day of the row that waits was printed by the first run."""
    made = Desk(tmp_path)
    printed(made, DAY, run=1)
    con = store.open_for_writing(made.job.store)
    ledger.keep_pages(con, {"alert:A0671a33ed7", "month:2026-10"}, 1)
    con.close()
    return made


def printed(desk: Desk, day: str, run: int) -> None:
    con = store.open_for_writing(desk.job.store)
    ledger.keep_pages(con, {f"day:{day}"}, run)
    con.close()


def changed(desk: Desk) -> list[tuple[str, ...]]:
    """Column, before, after, file, who, whether the page had been printed."""
    con = store.open_for_writing(desk.job.store)
    rows = restating.restated(con)[["column", "before", "after", "file", "by", "printed"]].fillna("")
    con.close()
    return [tuple(row) for row in rows.itertuples(index=False)]


def came(desk: Desk, day: str = DAY) -> dict[str, tuple[float, float, str]]:
    """File -> its rows of the day, of these in force, late."""
    con = store.open_for_writing(desk.job.store)
    rows = restating.brought(con, [day])
    con.close()
    return {row.file: (row.rows, row.in_force, row.late) for row in rows.itertuples()}


def row(batch: str, day: str = DAY, yeast: str = "2.7") -> str:
    return f"{batch},L1,white-tin,{day},early,{day} 07:30,90,20,{yeast},26\n"


def test_a_row_that_waited_is_restated_by_its_correction(desk: Desk) -> None:
    assert changed(desk) == []
    desk.corrected(line="L1")
    desk.take()
    assert changed(desk) == [("line", "L9", "L1", "corrected.xlsx", "MK", "yes")]


def test_so_is_one_that_moved_to_another_day_by_it(desk: Desk) -> None:
    desk.corrected(**MOVED)
    desk.take()
    assert sorted(column for column, *_ in changed(desk)) == ["line", "mixed_at", "shift_date"]
    assert {mark for *_, mark in changed(desk)} == {"no"}, "the page of the day it moved to was not printed"
    con = store.open_for_writing(desk.job.store)
    assert [str(day) for day in account.days(con)] == ["2026-10-05"], "nothing speaks of the day it left any more"
    con.close()


def test_what_could_not_be_read_stands_as_it_was_written(desk: Desk) -> None:
    (desk.logs / "a.csv").write_text(DOUGH + row("07", yeast="two"))
    desk.take()
    (desk.logs / "b.csv").write_text(DOUGH + row("07"))
    desk.take()
    assert changed(desk) == [("yeast_kg", "two", "2.7", "b.csv", "", "yes")]


def test_rows_are_late_once_the_day_after_next_was_printed(desk: Desk) -> None:
    (desk.logs / "next-day.csv").write_text(DOUGH + row("08"))
    desk.take()
    printed(desk, "2026-10-06", run=2)
    (desk.logs / "b.csv").write_text(DOUGH + row("07") + row("07", "2026-10-05"))
    desk.take()
    assert came(desk) == {"late.csv": (1, 0, "no"), "next-day.csv": (1, 1, "no"), "b.csv": (1, 1, "yes")}
    assert came(desk, "2026-10-05")["b.csv"] == (1, 1, "no"), "that day is still open"


def test_a_page_of_a_wrong_year_ends_no_day(desk: Desk) -> None:
    printed(desk, "2027-10-04", run=1)
    (desk.logs / "b.csv").write_text(DOUGH + row("07"))
    desk.take()
    assert came(desk)["b.csv"] == (1, 1, "no")


def test_a_refused_file_that_came_again_is_no_loss_any_more(desk: Desk) -> None:
    refused = []
    for content in ("no log\n", DOUGH + row("07")):
        (desk.logs / "b.csv").write_text(content)
        desk.take()
        con = store.open_for_writing(desk.job.store)
        refused.append([name for name, _ in viewing.view(con, NORTH, 1, datetime(2026, 10, 6), ()).refused])
        con.close()
    assert refused == [["b.csv"], []]
