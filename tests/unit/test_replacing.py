"""A workbook written for correcting rows: its row takes the place of the one it names, whatever was corrected in it.

A correction has somebody's name on it, or waits.
"""

from __future__ import annotations

import json
from datetime import datetime
from pathlib import Path
from typing import Any

import pytest
from openpyxl import load_workbook

from flows import cli, pulling
from flows.job import Job
from flows.quarantine import decide
from models import plant as plant_file
from models.storage import account, decisions, gather, ledger, names, replacing, store
from tests.conftest import Loaftrace
from tests.faults.killer import SAMPLE
from tests.unit.test_decisions import DOUGH, run, words

SOUND = "01,L1,white-tin,2026-10-05,early,2026-10-05 07:00,90,20,2.7,26\n"
WRONG = "02,L9,white-tin,2026-10-04,early,2026-10-04 07:30,90,20,2.7,26\n"  # there is no line L9
NORTH = plant_file.load(SAMPLE / "plant.toml")
MOVED = {"line": "L1", "shift_date": "2026-10-05", "mixed_at": "2026-10-05 07:30"}
UNSIGNED = {replacing.BY: ""}


class Desk:
    """The QA lead's: a store of one sound dough and one of an unknown line, which waits, and the workbook to correct it."""

    def __init__(self, folder: Path) -> None:
        self.folder, self.logs = folder, folder / "logs"
        self.logs.mkdir()
        (self.logs / "dough.csv").write_text(DOUGH + SOUND)
        (self.logs / "late.csv").write_text(DOUGH + WRONG)
        self.job = Job(NORTH, "the sample's plant", self.logs, folder / "s.duckdb", folder / "out")
        assert self.take() == (1, 1, 0)

    def take(self, *decided: decisions.Decision) -> tuple[int, int, int]:
        """Take what is new; doughs accepted, in quarantine, superseded. Nothing is charted or printed."""
        con = store.open_for_writing(self.job.store)
        job = Job(NORTH, self.job.plant_text, self.logs, self.job.store, self.job.out, decisions=decided)
        with store.transaction(con):
            pulling.pull(con, job, ledger.last_run(con) + 1)
        rows = account.count(con)["dough"]
        self.waiting = decisions.waiting(con)
        self.left_out = gather.excluded(con)
        con.close()
        store.publish(self.job.store)
        assert rows["received"] == sum(n for name, n in rows.items() if name != "received")
        return rows["accepted"], rows["quarantined"], rows["superseded"]

    def slips(self) -> Path:
        """The workbook of what waits now."""
        assert cli.main(["quarantine", *words(self.folder), "--slips", str(self.folder / "slips")]) == 0
        return self.folder / "slips" / "correct-dough.xlsx"

    def corrected(self, to: str = "corrected.xlsx", row: int = 2, **cells: Any) -> None:
        """One row of that workbook with cells replaced, by MK where no other is named, dropped into the logs."""
        book = load_workbook(self.slips())
        sheet = book.active
        heads = [cell.value for cell in sheet[1]]
        for name, text in ({replacing.BY: "MK"} | cells).items():
            sheet.cell(row, heads.index(name) + 1).value = text
        for other in range(sheet.max_row, 1, -1):
            if other != row:
                sheet.delete_rows(other)
        book.save(self.logs / to)


@pytest.fixture
def desk(tmp_path: Path) -> Desk:
    return Desk(tmp_path)


@pytest.mark.parametrize("cells", [{"line": "L1"}, MOVED])
def test_the_row_it_names_waits_no_longer(desk: Desk, cells: dict[str, str]) -> None:
    desk.corrected(**cells)
    assert desk.take() == (2, 0, 1) and desk.waiting == []
    assert desk.take() == (2, 0, 1), "and it stays so"


def test_while_the_corrected_row_cannot_be_true_either_both_wait(desk: Desk) -> None:
    desk.corrected(dough_batch="03", flour_kg="9000000")
    assert desk.take() == (1, 2, 0)


def test_a_name_of_another_store_replaces_nothing(desk: Desk) -> None:
    book = load_workbook(desk.slips())
    heads = [cell.value for cell in book.active[1]]
    name = book.active.cell(2, heads.index(replacing.COLUMN) + 1).value
    seq, mark = name.split("-")
    for number, other in enumerate(
        (f"{seq}-{mark[::-1]}", f"{int(seq) - 1}-{mark}", f"999999-{mark}", seq, "x", f"{10**25}-{mark}")
    ):
        desk.corrected(f"{number}.xlsx", dough_batch=f"1{number}", line="L1", **{replacing.COLUMN: other})
    assert desk.take() == (7, 1, 0)


def test_nor_does_it_stand_without_a_name_there(desk: Desk) -> None:
    """As where a store is made anew from its logs: what names a row corrects one, and has somebody's name on it or waits."""
    desk.corrected(dough_batch="11", line="L1", **UNSIGNED, **{replacing.COLUMN: "0-0123456789ab"})
    assert desk.take() == (1, 2, 0)
    assert [row.cells for row in desk.waiting if row.rule == "dough.corrected-by"] == [{}]


@pytest.mark.parametrize("who", ["", "-", "?", '"', "n/a", "ditto", "x" * 41])
def test_a_correction_of_nobody_waits_and_says_so(desk: Desk, who: str) -> None:
    desk.corrected(**{replacing.BY: who}, line="L1")
    assert desk.take() == (1, 2, 0)
    (mine,) = [row for row in desk.waiting if row.rule == "dough.corrected-by"]
    assert (mine.file, mine.column, mine.why) == ("corrected.xlsx", replacing.BY, replacing.WHY)
    assert (mine.proposal, mine.cells) == ("line = L1", {"line": "L1"})


def test_signed_in_the_workbook_later_only_the_signed_row_stands(desk: Desk) -> None:
    desk.corrected("unsigned.xlsx", line="L2", **UNSIGNED)
    desk.corrected("wrong.xlsx", dough_batch="03", flour_kg="9000000")
    desk.corrected("signed.xlsx", **MOVED)
    (desk.logs / "signed.xlsx").rename(desk.folder / "signed.xlsx")
    assert desk.take() == (1, 3, 0)
    (desk.folder / "signed.xlsx").rename(desk.logs / "signed.xlsx")
    assert desk.take() == (2, 0, 3) and desk.waiting == []


def test_a_correction_of_a_correction_lets_both_go(desk: Desk) -> None:
    desk.corrected("unsigned.xlsx", line="L2", **UNSIGNED)
    assert desk.take() == (1, 2, 0)
    row = [row.rule for row in desk.waiting].index("dough.corrected-by") + 2
    desk.corrected("signed.xlsx", row, **{replacing.BY: "QA"})
    assert desk.take() == (2, 0, 2)


def test_nobodys_correction_may_be_confirmed_by_name(desk: Desk) -> None:
    desk.corrected(**MOVED, **UNSIGNED)
    assert desk.take() == (1, 2, 0)
    con = store.open_for_reading(desk.job.store)
    decided, logs = decide(con, NORTH, "confirmed", (), "dough.corrected-by", "QA", "")
    con.close()
    for name, content in logs.items():
        (desk.logs / name).write_bytes(content)
    assert desk.take(*decided) == (2, 0, 2)
    assert set(desk.left_out["why"]) == {
        "corrected as proposed, confirmed by QA; both stay readable",
        "a newer row of the same batch came with other values; both stay readable",
    }


def test_a_changed_plant_file_keeps_the_question_and_what_was_changed(desk: Desk) -> None:
    desk.corrected(line="L1", **UNSIGNED)
    desk.take()
    desk.job = Job(NORTH, "another", desk.logs, desk.job.store, desk.job.out)
    assert desk.take() == (1, 2, 0)
    assert [row.cells for row in desk.waiting if row.rule == "dough.corrected-by"] == [{"line": "L1"}]


def test_a_workbooks_rows_are_not_judged_beside_each_other(desk: Desk) -> None:
    """A row a year off its sheet, signed as right, is not off the workbook as well; a changed plant file asks no more."""
    year_off = SOUND.replace("2026", "2025").replace("01,L1", "09,L1")
    home = "".join(SOUND.replace("01,L1", f"1{n},L1") for n in range(4))
    others = "".join(WRONG.replace("02,L9", f"2{n},L9") for n in range(3))
    (desk.logs / "year.csv").write_text(DOUGH + home + year_off)
    (desk.logs / "others.csv").write_text(DOUGH + others)
    assert desk.take() == (5, 5, 0)
    assert [row.rule for row in desk.waiting].count("dough.wrong-year") == 1
    book = load_workbook(desk.slips())
    heads = [cell.value for cell in book.active[1]]
    for line in book.active.iter_rows(min_row=2):
        if str(line[heads.index("shift_date")].value).startswith("2025"):
            line[heads.index(replacing.BY)].value = "MK"
    book.save(desk.logs / "corrected.xlsx")
    assert desk.take() == (6, 4, 1)
    desk.job = Job(NORTH, "another", desk.logs, desk.job.store, desk.job.out)
    assert desk.take() == (6, 4, 1)


def test_rows_of_a_workbook_that_nobody_touched_are_the_same_rows_again(desk: Desk) -> None:
    desk.corrected(**UNSIGNED)
    assert desk.take() == (1, 1, 0)
    assert set(desk.left_out["status"]) == {"quarantined", "duplicate"}


def test_the_account_names_who_took_its_place(desk: Desk) -> None:
    desk.corrected(line="L1")
    desk.take()
    (why,) = desk.left_out.loc[desk.left_out["status"] == "superseded", "why"]
    assert why == "corrected in a workbook by MK; both stay readable"


def test_who_corrected_is_kept_as_long_as_names_are(desk: Desk) -> None:
    desk.corrected(line="L1")
    desk.take()
    con = store.open_for_writing(desk.job.store)
    names.forget(con, datetime(2026, 10, 5, 6))  # the newest instant in the store is 06:00 UTC of that day
    assert con.execute("SELECT who FROM replaced").fetchall() == [("MK",)]
    names.forget(con, datetime(2026, 10, 5, 7))
    assert con.execute("SELECT who FROM replaced").fetchall() == [(names.NO_LONGER,)]
    con.close()


@pytest.mark.slow
def test_the_days_it_leaves_and_that_of_a_rejected_row_are_printed_anew(desk: Desk, loaftrace: Loaftrace) -> None:
    run(loaftrace, desk.folder)
    day = desk.folder / "out" / "day-2026-10-04.html"
    before = day.read_text(encoding="utf-8")
    desk.corrected(**MOVED)
    (desk.logs / "more.csv").write_text(DOUGH + WRONG.replace("02,", "04,", 1))
    run(loaftrace, desk.folder)
    assert "corrected in a workbook by MK" in day.read_text(encoding="utf-8") != before
    waits = json.loads(loaftrace("quarantine", *words(desk.folder), "--json", cwd=desk.folder).stdout)
    reject = ["--reject", "--rows", str(waits[0]["seq"]), "--by", "QA", "--because", "a training sheet", "--out", "out"]
    done = loaftrace("quarantine", *words(desk.folder), *reject, cwd=desk.folder)
    assert "day-2026-10-04.html" in done.stdout, done.stderr
    assert "a training sheet" in day.read_text(encoding="utf-8")
