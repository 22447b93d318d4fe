"""A paste that doughs of the next day are traced to, because their own sheet is late, is not said to be overdrawn."""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path
from typing import Any

import pytest

from flows import pulling, steps
from flows.job import Job
from flows.work import work
from models.storage import store
from tests.unit.rows import SOUND, plant

MILK = {"recipe": "milk-5", "kettle": "K2"}  # weighed out of its kettle: 35.2 kg were made
DOSE = 8.5
OVER, IN_DOUBT = "pastes.overdrawn.action", "pastes.overdrawn-in-doubt"


def csv(kind: str, rows: Iterable[dict[str, Any]]) -> str:
    sound = [SOUND[kind] | row for row in rows]
    names = list(dict.fromkeys(name for row in sound for name in row))
    return "\n".join([",".join(names), *(",".join(str(row.get(n, "")) for n in names) for row in sound)]) + "\n"


def pastes(
    day: int, *numbers: int, shift: str = "early", hour: int | None = None, dated: int | None = None, digits: int = 2
) -> str:
    """Pastes of a day; hour: of their cooks, else the shift's; dated: the day of the sheet, where it is another; digits: of the
    number, with the zeros before it."""
    at = f"2026-05-{day:02} {hour or (5 if shift == 'early' else 14):02}"
    return csv(
        "paste",
        (
            MILK
            | {
                "paste_batch": f"{n:0{digits}}", "shift_date": f"2026-05-{dated or day:02}", "shift": shift,
                "flour_kg": 6, "liquid_kg": 30, "cook_start": f"{at}:{n:02}", "cook_end": f"{at}:{n + 10:02}",
            }
            for n in numbers
        ),
    )  # fmt: skip


def doughs(day: int, *of: int, first: int = 1, digits: int = 2) -> str:
    """Doughs of a day, each with a dose of the paste of that number."""
    return csv(
        "dough",
        (
            {
                "dough_batch": f"{n:02}", "line": "L2", "product": "plain-loaf", "shift_date": f"2026-05-{day:02}",
                "mixed_at": f"2026-05-{day:02} {6 + n // 6:02}:{n % 6}0", "paste_batch": f"{paste:0{digits}}", "paste_kg": DOSE,
            }
            for n, paste in enumerate(of, first)
        ),
    )  # fmt: skip


class Floor:
    """A plant of its own, into which files are dropped."""

    def __init__(self, folder: Path) -> None:
        self.job = Job(plant(), "the small plant", folder / "logs", folder / "s.duckdb", folder / "out")
        self.pages: dict[str, str] = {}
        self.alerts, self.runs = 0, 0
        self.job.logs.mkdir(parents=True)

    def after(self, **logs: str) -> dict[str, str]:
        """Which rules on the ledger the pastes break once these files are taken and judged."""
        self._drop(logs)
        self.runs += 1
        con = store.open_for_writing(self.job.store)
        try:
            with store.transaction(con):
                touched = pulling.pull(con, self.job, self.runs).touched
                assert touched is not None
                steps.judge(con, self.job, touched)
            return self._found(con)
        finally:
            con.close()

    def run(self, **logs: str) -> dict[str, str]:
        """The same by a whole run; what it prints is in `pages`, how many alerts say overdrawn in `alerts`."""
        self._drop(logs)
        result = work(self.job)
        self.alerts = sum(one["characteristic"] == "kettle overdrawn" for one in result["alerts"])
        self.pages = {Path(page).name: Path(page).read_text(encoding="utf-8") for page in result["reports"]}
        con = store.open_for_reading(self.job.store)
        try:
            return self._found(con)
        finally:
            con.close()

    def _drop(self, logs: dict[str, str]) -> None:
        for name, text in logs.items():
            (self.job.logs / f"{name}.csv").write_text(text, encoding="utf-8")

    def _found(self, con: Any) -> dict[str, str]:
        return dict(con.execute("SELECT key, rule FROM finding WHERE rule LIKE 'pastes.overdrawn%'").fetchall())


@pytest.fixture
def floor(tmp_path: Path) -> Floor:
    return Floor(tmp_path / "floor")


def test_a_late_sheet_is_waited_for_and_settles_it(floor: Floor) -> None:
    assert floor.run(a=pastes(6, 1, 2), b=doughs(6, 1, 1, 1, 1, 2, 2)) == {}
    late = floor.run(c=doughs(7, 1, 1, 1, 1, 2))
    assert late == {"2026-05-06/K2/01": IN_DOUBT} and not floor.alerts
    page = next(text for name, text in floor.pages.items() if "2026-05-06" in name)
    assert "doughs of 2026-05-07 are traced to it, too, whose own paste sheet of K2, early, has not come" in page
    assert "more paste used than was made" not in page
    assert floor.run(d=pastes(7, 1, 2)) == {} and not floor.alerts


def test_a_sheet_that_comes_without_the_number_leaves_it_overdrawn(floor: Floor) -> None:
    floor.run(a=pastes(6, 1, 2), b=doughs(6, 1, 1, 1, 1), c=doughs(7, 1, 1, 1, 1))
    assert not floor.alerts
    assert floor.run(d=pastes(7, 2)) == {"2026-05-06/K2/01": OVER} and floor.alerts == 1
    assert any("2026-05-06" in name for name in floor.pages), "the earlier day's page says what it said before"


def test_half_a_sheet_is_waited_for_while_doughs_of_the_line_wait(floor: Floor) -> None:
    floor.after(a=pastes(6, 1, 2), b=doughs(6, 1, 1, 1, 1))
    half = floor.after(c=doughs(7, 1, 1, 1, 1, 3), d=pastes(7, 2))
    assert half == {"2026-05-06/K2/01": IN_DOUBT}
    assert floor.after(e=pastes(7, 3)) == {"2026-05-06/K2/01": OVER}


def test_another_shift_s_sheet_is_not_the_one_that_is_waited_for(floor: Floor) -> None:
    floor.after(a=pastes(6, 1), b=doughs(6, 1, 1, 1, 1))
    assert floor.after(c=doughs(7, 1, 1, 1, 1, first=60), d=pastes(7, 5, shift="late")) == {"2026-05-06/K2/01": IN_DOUBT}


@pytest.mark.parametrize(("shift", "dated"), [("late", 7), ("night", 6)])
@pytest.mark.parametrize("hour", [4, 6])
def test_the_sheet_of_the_same_hours_is_the_one_whatever_shift_it_names(
    floor: Floor, shift: str, dated: int, hour: int
) -> None:
    floor.after(a=pastes(6, 1, 2), b=doughs(6, 1, 1, 1, 1))
    doubted = floor.after(c=doughs(7, 1, 1, 1, 1, first=12))
    assert doubted == {"2026-05-06/K2/01": IN_DOUBT}
    came = floor.after(d=pastes(7, 2, shift=shift, hour=hour, dated=dated))
    assert came == {"2026-05-06/K2/01": OVER}


def test_the_shift_before_it_is_no_sheet_of_its_hours(floor: Floor) -> None:
    """The night's cooks end where the early ones begin, the night before as well: they are the night's own sheet."""
    nights = {"n": pastes(6, 11, shift="night", hour=3, dated=5), "m": pastes(7, 11, shift="night", hour=3, dated=6)}
    assert floor.after(a=pastes(6, 1, 2), b=doughs(6, 1, 1, 1, 1), c=doughs(7, 1, 1, 1, 1), **nights) == {
        "2026-05-06/K2/01": IN_DOUBT
    }


def test_a_number_with_other_zeros_is_no_proof_of_too_much(floor: Floor) -> None:
    """A spreadsheet took the zeros off the first day's sheet and off the doughs, the second day's paste sheet kept them."""
    floor.after(a=pastes(6, 1, 2, digits=1), b=doughs(6, 1, 1, 1, 1, digits=1), d=pastes(7, 1, 2))
    assert floor.after(c=doughs(7, 1, 1, 1, 1, digits=1)) == {"2026-05-06/K2/1": IN_DOUBT}
    assert floor.after(e=doughs(7, 1, 1, 1, 1)) == {}, "once they are written like that"


@pytest.mark.parametrize("waits", [(), (9,)])
def test_what_is_overdrawn_within_its_day_is_said_at_once(floor: Floor, waits: tuple[int, ...]) -> None:
    """Five doses out of a kettle for four are too many, whatever else waits and whatever the next day's doughs name."""
    assert floor.after(a=pastes(6, 1, 2), b=doughs(6, 1, 1, 1, 1, 1, *waits)) == {"2026-05-06/K2/01": OVER}
    assert floor.after(c=doughs(7, 1)) == {"2026-05-06/K2/01": OVER}


def test_the_order_in_which_files_come_changes_nothing(tmp_path: Path) -> None:
    logs = {"a": pastes(6, 1), "b": doughs(6, 1, 1, 1, 1), "c": doughs(7, 1, 1, 1, 1), "d": pastes(7, 2)}
    one, many = Floor(tmp_path / "one"), Floor(tmp_path / "many")
    for name, text in logs.items():
        last = many.after(**{name: text})
    assert one.after(**logs) == last == {"2026-05-06/K2/01": OVER}
