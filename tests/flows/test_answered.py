"""A file that is refused with a question goes in once the plant file answers it, as it lies there."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from flows.job import Job
from flows.work import work
from models import plant as plant_file
from models.storage import store
from tests.unit.rows import plant

HEAD = "line,product,shift_date,shift,pieces_made,pieces_wasted\n"
OPEN = HEAD + "L1,milk-loaf,3/4/2026,early,900,6\nL1,milk-loaf,4/4/2026,early,901,6\n"
MONTH_FIRST = HEAD + "L2,plain-loaf,4/13/2026,early,900,6\nL2,plain-loaf,4/3/2026,early,901,6\n"
HELD = "SELECT CAST(shift_date AS VARCHAR), pieces_made FROM log_output ORDER BY seq"


class Floor:
    """A folder of logs and a store."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        (folder / "logs").mkdir()

    def run(self, **sheets: str) -> dict[str, dict[str, Any]]:
        """The files of a run with these answers, by name."""
        here = self.folder
        job = Job(plant(sheets=sheets), str(sheets), here / "logs", here / "s.duckdb", here / "out")
        return {file["file"]: file for file in work(job)["files"]}

    def held(self) -> list[tuple[Any, ...]]:
        con = store.open_for_reading(self.folder / "s.duckdb")
        try:
            return con.execute(HELD).fetchall()
        finally:
            con.close()


@pytest.fixture
def floor(tmp_path: Path) -> Floor:
    return Floor(tmp_path)


@pytest.mark.parametrize(("answer", "first"), [("day first", "2026-04-03"), ("month first", "2026-03-04")])
def test_which_comes_first_is_asked_once_and_answered_in_the_plant_file(floor: Floor, answer: str, first: str) -> None:
    (floor.folder / "logs" / "open.csv").write_text(OPEN, encoding="utf-8")
    (floor.folder / "logs" / "tells.csv").write_text(MONTH_FIRST, encoding="utf-8")
    files = floor.run()
    assert files["tells.csv"]["notes"] == "dates with the month first" and files["open.csv"]["outcome"] == "refused"
    assert 'in the plant file, [sheets] dates = "day first" or "month first"' in files["open.csv"]["why"]
    again = floor.run()
    assert again["open.csv"]["why"] == files["open.csv"]["why"] and len(floor.held()) == 2

    answered = floor.run(dates=answer)
    assert (answered["open.csv"]["outcome"], answered["open.csv"]["notes"]) == (
        "taken",
        f"dates with the {answer}, as the plant file says",
    )
    assert floor.held() == [("2026-04-13", 900.0), ("2026-04-03", 901.0), (first, 900.0), ("2026-04-04", 901.0)]
    later = floor.run(dates=answer)
    assert {file["outcome"] for file in later.values()} == {"already taken"} and len(floor.held()) == 4


def test_a_sheet_that_tells_is_not_answered_for() -> None:
    """Decimal commas that can be nothing else stay what they are, and dates that can be read one way only."""
    from models.reader import intake, reading

    answered = plant(sheets={"decimal": "point", "dates": "day first"})
    text = HEAD.replace(",", ";") + "L1;milk-loaf;5/14/2026;early;1,5;6\n"
    sheet = intake.read("o.csv", text.encode(), answered)
    assert reading.typed(sheet, answered).frame["pieces_made"].tolist() == [1.5]
    assert not [note for note in sheet.notes if "plant file" in note]


@pytest.mark.parametrize(("answer", "kg"), [("point", 1234.0), ("comma", 1.234)])
def test_the_decimal_mark_is_answered_alike(answer: str, kg: float) -> None:
    from models.reader import intake, reading

    head, row = "gas_test;tested_at;gas_produced_ml;piece_g\n", "G1;2026-05-04 10:00;410;{}\n"
    text = (head + row.format("1,234")).encode()
    answered = plant(sheets={"decimal": answer})
    with pytest.raises(intake.Refused, match=r'\[sheets\] decimal = "point" or "comma"'):
        intake.read("g.csv", text, plant())
    sheet = intake.read("g.csv", text, answered)
    assert f"decimal {answer}, as the plant file says" in sheet.notes
    assert reading.typed(sheet, answered).frame["piece_g"].tolist() == [kg]


def test_any_other_answer_is_refused_with_what_it_may_be() -> None:
    with pytest.raises(plant_file.PlantFileError, match=r"sheets\.dates.*'day first' or 'month first'"):
        plant(sheets={"dates": "day-first"})
