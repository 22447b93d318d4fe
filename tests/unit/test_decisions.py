"""Quarantine as a work list: proposals, a named person's decision, a workbook corrected and dropped in again."""

from __future__ import annotations

import json
from collections.abc import Iterator
from datetime import datetime
from pathlib import Path
from typing import Any

import pytest

from models import plant as plant_file
from models.judging import proposals
from models.storage import decisions, replacing, store
from reports import slips
from tests.conftest import Loaftrace
from tests.faults import killer
from tests.faults.killer import SAMPLE
from tests.unit import books
from tests.unit.rows import SOUND

HEAD = ",".join(["loaf", "dough_batch", "line", "measured_at", "scaled_g", "baked_g", "volume_ml"])
DOUGH = "dough_batch,line,product,shift_date,shift,mixed_at,flour_kg,liquid_kg,yeast_kg,dough_temp_c\n"
LOAVES = [
    "1,01,L1,2026-10-05 10:30,460,1850,405",  # weight and volume changed over
    "2,01,L1,2026-10-05 10:31,460,405,1.850",  # litres
    "3,01,L1,2026-10-05 10:32,460,404,1.860",
    "4,01,L1,2026-10-05 10:33,460,?,1860",
    "5,01,L1,2026-10-05 10:34,460,404,1860",
]


@pytest.fixture
def plant(tmp_path: Path) -> Path:
    logs = tmp_path / "logs"
    logs.mkdir()
    (logs / "dough.csv").write_text(DOUGH + "01,L1,white-tin,2026-10-05,early,2026-10-05 07:00,90,20,2.7,26\n")
    (logs / "loaf.csv").write_text("\n".join([HEAD, *LOAVES]) + "\n")
    return tmp_path


def words(folder: Path) -> list[str]:
    return ["--plant", str(SAMPLE / "plant.toml"), "--store", str(folder / "s.duckdb")]


def run(loaftrace: Loaftrace, folder: Path) -> dict:
    done = loaftrace("run", *words(folder), "--logs", "logs", "--out", "out", "--json", cwd=folder)
    assert done.returncode == 0, done.stderr
    return json.loads(done.stdout)


@pytest.mark.slow
def test_a_person_confirms_alike_rows_rejects_one_and_corrects_another(plant: Path, loaftrace: Loaftrace) -> None:
    assert run(loaftrace, plant)["rows"]["loaf"] == {
        "received": 5,
        "accepted": 1,
        "waiting": 0,
        "quarantined": 4,
        "duplicate": 0,
        "superseded": 0,
    }
    listed = json.loads(loaftrace("quarantine", *words(plant), "--json", cwd=plant).stdout)
    seqs = {row["rule"]: row["seq"] for row in listed}
    assert {row["rule"]: row["cells"] for row in listed}["loaf.weight-and-volume-swapped"] == {
        "baked_g": "405",
        "volume_ml": "1850",
    }

    done = loaftrace(
        "quarantine", *words(plant), "--confirm", "--alike", "loaf.volume_ml.litres", "--by", "QA", cwd=plant
    )
    assert "2 rows confirmed by QA; 2 still wait." in done.stdout, done.stderr
    done = loaftrace(
        "quarantine",
        *words(plant),
        "--reject",
        "--rows",
        str(seqs["loaf.weight-and-volume-swapped"]),
        "--by",
        "QA",
        "--because",
        "loaf dropped",
        cwd=plant,
    )
    assert "1 row rejected by QA; 1 still wait" in done.stdout, done.stderr

    done = loaftrace("quarantine", *words(plant), "--slips", "slips", cwd=plant)
    assert done.returncode == 0, done.stderr
    _correct(plant / "slips" / "correct-loaf.xlsx", "baked_g", "404", plant / "logs" / "corrected.xlsx")
    result = run(loaftrace, plant)
    assert result["quarantine"] == []
    assert result["rows"]["loaf"] == {
        "received": 8,
        "accepted": 4,
        "waiting": 0,
        "quarantined": 1,
        "duplicate": 0,
        "superseded": 3,
    }
    _who_and_when_is_kept(plant)


def _correct(book: Path, column: str, text: str, to: Path) -> None:
    from openpyxl import load_workbook

    filled = load_workbook(book)
    sheet = filled.active
    names = [cell.value for cell in sheet[1]]
    assert sheet.cell(2, names.index("in question") + 1).value == column
    sheet.cell(2, names.index(column) + 1).value = text
    sheet.cell(2, names.index("corrected_by") + 1).value = "QA MK"
    filled.save(to)


def _who_and_when_is_kept(folder: Path) -> None:
    con = store.open_for_reading(folder / "s.duckdb")
    verdicts = con.execute("SELECT verdict, who, because FROM decision ORDER BY seq").fetchall()
    cells = con.execute(
        "SELECT cells FROM raw_row WHERE cells LIKE '%corrected_by%' AND kind = 'loaf' ORDER BY seq"
    ).fetchall()
    raw = con.execute("SELECT cells FROM raw_row WHERE row = 3 AND kind = 'loaf' ORDER BY seq").fetchall()
    con.close()
    assert sorted(verdicts) == [("confirmed", "QA", ""), ("confirmed", "QA", ""), ("rejected", "QA", "loaf dropped")]
    assert json.loads(cells[0][0])["corrected_by"] == "QA" and json.loads(cells[0][0])["corrects"] == "loaf.csv row 3"
    assert json.loads(raw[0][0])["volume_ml"] == "1.850"  # as it came, for good


@pytest.mark.slow
def test_what_cannot_be_decided_is_one_line(plant: Path, loaftrace: Loaftrace) -> None:
    run(loaftrace, plant)
    listed = {
        row["rule"]: row["seq"]
        for row in json.loads(loaftrace("quarantine", *words(plant), "--json", cwd=plant).stdout)
    }
    number = str(listed["loaf.number"])
    for given, says in (
        (["--confirm", "--rows", "999", "--by", "QA"], "no such row waits"),
        (["--confirm", "--rows", number, "--by", "QA"], "nothing is proposed"),
        (["--reject", "--rows", number, "--by", "QA"], "with a reason"),
        (["--reject", "--rows", number, "--because", "x"], "--by"),
        (["--confirm", "--by", "QA"], "rows or --alike"),
    ):
        done = loaftrace("quarantine", *words(plant), *given, cwd=plant)
        assert done.returncode == 2 and says in done.stderr and len(done.stderr.splitlines()) == 1, done.stderr
    assert len(json.loads(loaftrace("quarantine", *words(plant), "--json", cwd=plant).stdout)) == 4


@pytest.mark.parametrize(("value", "swaps"), [(43.2, [34.2, 42.3]), (65.0, [56.0]), (7.0, [])])
def test_digit_swaps(value: float, swaps: list[float]) -> None:
    assert proposals.digit_swaps(value) == swaps


def test_every_log_can_be_written_again_as_it_was_understood() -> None:
    assert set(SOUND) == set(decisions.TABLES)


@pytest.fixture
def odd(tmp_path: Path) -> Iterator[tuple[Path, Any, dict[int, decisions.Waiting]]]:
    """Rows with more than one thing to correct: the folder, its store, and what waits by line."""
    logs = tmp_path / "logs"
    logs.mkdir()
    rows = [
        "1,01,L1,2026-10-05 10:30,460,?,1.850",
        "2,01,L1,10h,460,404,1.850",
        "3,01,L1,,460,404,1.850",
        LOAVES[1],
        "5,01,L1,2026-10-05 10:31,460,405,1850,5",
    ]
    (logs / "loaf.csv").write_text("\n".join([HEAD, *rows]) + "\n")
    killer.run(tmp_path, logs)
    con = store.open_for_reading(tmp_path / "s.duckdb")
    yield tmp_path, con, {row.row: row for row in decisions.waiting(con)}
    con.close()


DEMO = plant_file.load(SAMPLE / "plant.toml")


def test_a_proposal_that_leaves_a_cell_open_cannot_be_confirmed(odd: tuple[Path, Any, dict]) -> None:
    """What stands there would be lost, and the row would wait again: 1.850 mL is litres, but what is "?" g, or a time "10h"?"""
    _, con, waits = odd
    at = datetime(2026, 10, 7)
    for row, left in ((2, r"baked_g '\?' open"), (3, "measured_at '10h' open"), (4, "measured_at open")):
        assert waits[row].cells == {"volume_ml": "1850"}
        assert waits[row].proposal == f"volume_ml = 1850 mL; {left.split()[0]} still to be written"
        with pytest.raises(decisions.DecisionError, match=f"loaf.csv row {row}.*leaves {left}"):
            decisions.correction(con, DEMO, [waits[5], waits[row]], "QA", at)
    assert decisions.correction(con, DEMO, [waits[5]], "QA", at) and waits[5].proposal == "volume_ml = 1850 mL"


def test_a_workbook_leaves_out_nothing_that_was_written(odd: tuple[Path, Any, dict]) -> None:
    """One cell is in question, another cannot be read either: left empty it would be lost with a signature under it."""
    folder, con, waits = odd
    stands = {row: decisions.as_it_stands(con, DEMO, one.kind, one.seq) for row, one in waits.items()}
    assert (stands[2]["baked_g"], stands[3]["measured_at"], stands[4]["measured_at"]) == ("?", "10h", "")
    assert stands[6]["baked_g"] == "405" and stands[6]["volume_ml"] == "1850 | 5"
    con.close()
    cells = {one.seq: stands[row] | {replacing.COLUMN: f"{one.seq}-x", replacing.BY: "MK"} for row, one in waits.items()}
    (book,) = (path for path in slips.write(DEMO, list(waits.values()), cells, folder / "s") if path.suffix == ".xlsx")
    read = books.typed(book.read_bytes())
    assert {(slip.column, slip.value) for slip in read.slips if slip.value} >= {("baked_g", "?"), ("volume_ml", "1850 | 5")}
