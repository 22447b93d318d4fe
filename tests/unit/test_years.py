"""A wrong year on a row is put to the QA lead with the year of its file; rows near it that are right are not.

Bounds: common practice, no source.
"""

from __future__ import annotations

from typing import Any

import pandas as pd
import pytest

from models.judging import checks, derive
from models.judging.proposals import as_text, propose
from tests.unit.rows import bent, frame, plant

NORTH = plant()


def on(kind: str, day: str, clock_day: str | None = None, **more: Any) -> dict[str, Any]:
    """A sound row of one day. clock_day: where its clock times say another."""
    at = clock_day or day
    times: dict[str, dict[str, Any]] = {
        "paste": {"shift_date": day, "cook_start": f"{at} 05:10", "cook_end": f"{at} 05:20"},
        "dough": {"shift_date": day, "mixed_at": f"{at} 06:30"},
        "output": {"shift_date": day},
        "proof": {"proof_in": f"{day} 07:10", "proof_out": f"{at} 08:10"},
        "gas": {"tested_at": f"{day} 09:00"},
    }
    return bent(kind, **times[kind] | more)


def found(kind: str, *files: list[dict[str, Any]]) -> dict[int, dict[str, str]]:
    """Rows that break the rule of years -> the cells that would mend them. Rows are counted through all files."""
    rows = frame(kind, [row for file in files for row in file])
    of = pd.Series([number for number, file in enumerate(files) for _ in file])
    judged = checks.judge_truth(kind, rows, of, NORTH)
    assert not [o.rule.code for o in judged.outcomes if o.outcome == checks.COULD_NOT_RUN]
    (outcome,) = [o for o in judged.outcomes if o.rule.code == f"{kind}.wrong-year"]
    return {
        row: {
            name: as_text(value, NORTH)
            for name, value in (propose(outcome.rule, judged.rows.iloc[row], NORTH) or {}).items()
        }
        for row in outcome.rows
    }


WEEK = [f"2026-10-{day:02}" for day in range(5, 12)]
MEANT = {
    "paste": {
        "shift_date": "2026-10-07",
        "cook_start": "2026-10-07T06:10+01:00",
        "cook_end": "2026-10-07T06:20+01:00",
    },
    "dough": {"shift_date": "2026-10-07", "mixed_at": "2026-10-07T07:30+01:00"},
    "output": {"shift_date": "2026-10-07"},
    "proof": {"proof_in": "2026-10-07T08:10+01:00", "proof_out": "2026-10-07T09:10+01:00"},
    "gas": {"tested_at": "2026-10-07T10:00+01:00"},
}


@pytest.mark.parametrize("kind", sorted(derive.YEARS_OF))
@pytest.mark.parametrize("year", ["2025", "2027"])
def test_one_row_a_year_off_its_file(kind: str, year: str) -> None:
    """Times of the small plant's rows are UTC; Lisbon is an hour ahead in summer."""
    week = [on(kind, day) for day in WEEK]
    assert found(kind, [*week, on(kind, f"{year}-10-07")]) == {7: MEANT[kind]}


@pytest.mark.parametrize(
    ("day", "at", "name"), [("2025-10-07", "2026-10-07", "shift_date"), ("2026-10-07", "2025-10-07", "mixed_at")]
)
def test_only_the_cell_that_is_off_is_mended(day: str, at: str, name: str) -> None:
    week = [on("dough", day) for day in WEEK]
    assert found("dough", [*week, on("dough", day, at)]) == {7: {name: MEANT["dough"][name]}}


def test_the_old_year_in_january() -> None:
    new = ["2027-01-01", "2027-01-02", "2027-01-02", "2027-01-03"]
    assert found("output", [on("output", day) for day in [*new, "2026-01-01"]]) == {4: {"shift_date": "2027-01-01"}}


@pytest.mark.parametrize(
    "days",
    [
        ["2026-12-30", "2026-12-31", "2026-12-31", "2027-01-01", "2027-01-01"],
        [*WEEK, "2025-11-30"],
        [*WEEK, "2025-10-06", "2025-10-07", "2025-10-08"],
        ["2026-10-05", "2026-10-06", "2025-10-05"],
        [*WEEK, "2026-03-01", "2025-10-06"],
        ["2025-10-05", "2025-10-06", "2026-10-05", "2026-10-06"],
    ],
    ids=[
        "the night of New Year",
        "not a year off",
        "several days of both years: a log kept over years",
        "too few to say what is usual",
        "a log of many months",
        "as many of each year",
    ],
)
def test_rows_near_it_are_left_alone(days: list[str]) -> None:
    assert found("output", [on("output", day) for day in days]) == {}


def test_a_month_delivered_late_is_a_file_of_its_own() -> None:
    assert found("output", [on("output", day) for day in WEEK], [on("output", f"2025{day[4:]}") for day in WEEK]) == {}
