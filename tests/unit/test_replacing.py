"""A workbook written for correcting rows: its row takes the place of the one it names, whatever was corrected in it."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from openpyxl import load_workbook

from models.storage import replacing, store
from tests.conftest import Loaftrace
from tests.unit.test_decisions import DOUGH, plant, run, words

__all__ = ["plant"]
WRONG = "02,L9,white-tin,2026-10-04,early,2026-10-04 07:30,90,20,2.7,26\n"  # there is no line L9


@pytest.fixture
def asked(plant: Path, loaftrace: Loaftrace) -> Path:
    """A plant whose dough row of an unknown line waits, and the workbook to correct it."""
    (plant / "logs" / "late.csv").write_text(DOUGH + WRONG)
    assert run(loaftrace, plant)["rows"]["dough"]["quarantined"] == 1
    done = loaftrace("quarantine", *words(plant), "--slips", "slips", cwd=plant)
    assert done.returncode == 0, done.stderr
    return plant


def corrected(folder: Path, **cells: str) -> None:
    """The workbook with cells of its row replaced, dropped into the logs."""
    book = load_workbook(folder / "slips" / "correct-dough.xlsx")
    sheet = book.active
    heads = [cell.value for cell in sheet[1]]
    for name, text in cells.items():
        sheet.cell(2, heads.index(name) + 1).value = text
    book.save(folder / "logs" / "corrected.xlsx")


def account(rows: dict) -> tuple[int, int, int]:
    return rows["dough"]["accepted"], rows["dough"]["quarantined"], rows["dough"]["superseded"]


@pytest.mark.slow
@pytest.mark.parametrize(
    "cells", [{"line": "L1"}, {"line": "L1", "shift_date": "2026-10-05", "mixed_at": "2026-10-05 07:30"}]
)
def test_the_row_it_names_waits_no_longer(asked: Path, loaftrace: Loaftrace, cells: dict[str, str]) -> None:
    day = asked / "out" / "day-2026-10-04.html"
    before = day.read_text(encoding="utf-8")
    corrected(asked, **cells)
    result = run(loaftrace, asked)
    assert account(result["rows"]) == (2, 0, 1)
    assert not [row for row in result["quarantine"] if row["kind"] == "dough"]
    assert day.read_text(encoding="utf-8") != before, "the day on which it waited is printed anew"
    assert account(run(loaftrace, asked)["rows"]) == (2, 0, 1), "and it stays so"


@pytest.mark.slow
def test_while_the_corrected_row_cannot_be_true_either_both_wait(asked: Path, loaftrace: Loaftrace) -> None:
    corrected(asked, dough_batch="03", flour_kg="9000000")
    assert account(run(loaftrace, asked)["rows"]) == (1, 2, 0)


@pytest.mark.slow
def test_a_name_of_another_store_replaces_nothing(asked: Path, loaftrace: Loaftrace) -> None:
    book = load_workbook(asked / "slips" / "correct-dough.xlsx")
    heads = [cell.value for cell in book.active[1]]
    name = book.active.cell(2, heads.index(replacing.COLUMN) + 1).value
    seq, mark = name.split("-")
    for number, other in enumerate(
        (f"{seq}-{mark[::-1]}", f"{int(seq) - 1}-{mark}", f"999999-{mark}", seq, "x", f"{10**25}-{mark}")
    ):
        corrected(asked, dough_batch=f"1{number}", line="L1", **{replacing.COLUMN: other})
        (asked / "logs" / "corrected.xlsx").rename(asked / "logs" / f"{number}.xlsx")
    assert account(run(loaftrace, asked)["rows"]) == (7, 1, 0)


@pytest.mark.slow
def test_a_rejected_rows_day_is_printed_anew(asked: Path, loaftrace: Loaftrace) -> None:
    waits = json.loads(loaftrace("quarantine", *words(asked), "--json", cwd=asked).stdout)
    seq = next(str(row["seq"]) for row in waits if row["kind"] == "dough")
    done = loaftrace(
        "quarantine",
        *words(asked),
        "--reject",
        "--rows",
        seq,
        "--by",
        "QA",
        "--because",
        "a training sheet",
        "--out",
        "out",
        cwd=asked,
    )
    assert "day-2026-10-04.html" in done.stdout, done.stderr
    assert "a training sheet" in (asked / "out" / "day-2026-10-04.html").read_text(encoding="utf-8")


@pytest.mark.slow
def test_the_account_names_what_took_its_place(asked: Path, loaftrace: Loaftrace) -> None:
    corrected(asked, line="L1")
    run(loaftrace, asked)
    con = store.open_for_reading(asked / "s.duckdb")
    from models.storage import gather

    rows = gather.excluded(con)
    con.close()
    (why,) = rows.loc[(rows["kind"] == "dough") & (rows["status"] == "superseded"), "why"]
    assert why == "a row of a workbook written for correcting it came with other values; both stay readable"
