"""A whole file a year off is put to the QA lead: against what the store holds. Files near it that are right are not.

Bounds: common practice, no source.
"""

from __future__ import annotations

import csv
from dataclasses import replace
from pathlib import Path
from typing import Any

import openpyxl
import pytest

from flows import cli, pulling
from flows.job import Job
from flows.work import work
from models.storage import decisions, ledger, store
from tests.ugly import PLANT as PLANT_TEXT
from tests.unit.rows import SOUND, plant
from tests.unit.test_sheet_errors import NORTH


def sheet(path: Path, *days: str, batches: int = 2, before: float = 36.0) -> None:
    """A paste log of some days, so many cooks a day."""
    rows = [
        SOUND["paste"]
        | {"paste_batch": f"{n:02}", "shift_date": day, "weight_before_kg": before + n / 100}
        | {"cook_start": f"{day} {6 + n:02}:10", "cook_end": f"{day} {6 + n:02}:20"}
        for day in days
        for n in range(1, batches + 1)
    ]
    with path.open("w", encoding="utf-8", newline="") as handle:
        writer = csv.DictWriter(handle, list(rows[0]))
        writer.writeheader()
        writer.writerows(rows)


class Plant:
    """A folder of logs and its store."""

    def __init__(self, folder: Path) -> None:
        self.folder, self.logs = folder, folder / "logs"
        self.logs.mkdir()
        self.job = Job(NORTH, "the small plant", self.logs, folder / "s.duckdb", folder / "out")

    def drop(self, name: str, *days: str, **more: Any) -> None:
        sheet(self.logs / name, *days, **more)

    def asked(self) -> list[tuple[str, int, str]]:
        """What waits once every log is taken: file, row, rule. Nothing is charted or printed."""
        con = store.open_for_writing(self.job.store)
        try:
            with store.transaction(con):
                pulling.pull(con, self.job, ledger.last_run(con) + 1)
            return [(row.file, row.row, row.rule) for row in decisions.waiting(con)]
        finally:
            con.close()


@pytest.fixture
def here(tmp_path: Path) -> Plant:
    """A plant that has worked through the first week of October 2026, but for the 7th."""
    made = Plant(tmp_path)
    for day in ("01", "02", "03", "05", "06", "08"):
        made.drop(f"2026-10-{day}.csv", f"2026-10-{day}")
    assert made.asked() == []
    return made


WRONG = [("x.csv", 2, "paste.file-a-year-off"), ("x.csv", 3, "paste.file-a-year-off")]


@pytest.mark.parametrize("day", ["2025-10-07", "2027-10-07", "2025-10-09"])
def test_a_file_a_year_off_is_asked_about(here: Plant, day: str) -> None:
    here.drop("x.csv", day)
    assert here.asked() == WRONG


def test_the_old_year_in_january(tmp_path: Path) -> None:
    """Its rows would supersede those of a year ago."""
    (tmp_path / "other").mkdir()
    other = Plant(tmp_path / "other")
    for day in ("2026-01-02", "2026-01-03", "2026-06-02", "2026-12-30", "2026-12-31", "2027-01-01"):
        other.drop(f"{day}.csv", day)
    assert other.asked() == []
    other.drop("x.csv", "2026-01-02", before=37.0)
    assert other.asked() == WRONG


def test_what_was_confirmed_takes_its_right_place(here: Plant, capsys: pytest.CaptureFixture[str]) -> None:
    here.drop("x.csv", "2025-10-07")
    assert len(work(here.job)["quarantine"]) == 2
    (here.folder / "plant.toml").write_text(PLANT_TEXT, encoding="utf-8")
    where = ["--plant", str(here.folder / "plant.toml"), "--store", str(here.job.store)]
    assert cli.main(["quarantine", *where, "--confirm", "--alike", "paste.file-a-year-off", "--by", "QA"]) == 0
    assert "2 rows confirmed by QA; 0 still wait." in capsys.readouterr().out
    again = work(replace(here.job, plant_text=PLANT_TEXT))
    counts = again["rows"]["paste"]
    assert (counts["accepted"], counts["superseded"], counts["quarantined"]) == (14, 2, 0)


def test_a_changed_plant_file_keeps_the_question(here: Plant) -> None:
    here.drop("x.csv", "2025-10-07")
    assert here.asked() == WRONG
    here.job = replace(here.job, plant=plant(alarms={"false_alarms_per_week": 2.0}), plant_text="another")
    assert here.asked() == WRONG


def test_the_workbook_dropped_in_with_initials_says_that_the_date_is_right(here: Plant) -> None:
    here.drop("x.csv", "2025-10-07")
    assert here.asked() == WRONG
    (here.folder / "plant.toml").write_text(PLANT_TEXT, encoding="utf-8")
    store.publish(here.job.store)
    where = ["--plant", str(here.folder / "plant.toml"), "--store", str(here.job.store)]
    assert cli.main(["quarantine", *where, "--slips", str(here.folder / "slips")]) == 0
    book = openpyxl.load_workbook(here.folder / "slips" / "correct-paste.xlsx")
    book.save(here.logs / "unsigned.xlsx")
    assert here.asked() == WRONG, "nobody says so"
    sheet = book.active
    who = [cell.value for cell in sheet[1]].index("corrected_by") + 1
    for row in range(2, sheet.max_row + 1):
        sheet.cell(row, who).value = "MK"
    book.save(here.logs / "corrected.xlsx")
    assert here.asked() == []


@pytest.mark.parametrize(
    "days",
    [
        [f"2025-10-{day:02}" for day in range(1, 31)],
        ["2025-10-05"],
        ["2025-09-10"],
        ["2026-09-25"],
        ["2026-10-07"],
        ["2027-01-01"],
    ],
    ids=[
        "a month delivered late",
        "a day of last year whose place in this year is taken",
        "nothing of this year is near",
        "some days late",
        "the missing day itself",
        "a new season",
    ],
)
def test_files_near_it_are_left_alone(here: Plant, days: list[str]) -> None:
    for day in days:
        here.drop(f"x-{day}.csv", day)
    assert here.asked() == []


def test_the_night_of_new_year(tmp_path: Path) -> None:
    made = Plant(tmp_path)
    for day in ("2026-12-29", "2026-12-30", "2026-12-31", "2027-01-01", "2027-01-02"):
        made.drop(f"{day}.csv", day)
        assert made.asked() == []


def test_a_new_season_in_the_place_of_the_last(tmp_path: Path) -> None:
    """A bakery that works in October alone: the first day of the new season has its place of a year ago taken."""
    made = Plant(tmp_path)
    for day in range(1, 8):
        made.drop(f"2025-10-{day:02}.csv", f"2025-10-{day:02}")
    made.asked()
    for day in range(1, 4):
        made.drop(f"2026-10-{day:02}.csv", f"2026-10-{day:02}", batches=1)
        assert made.asked() == []
