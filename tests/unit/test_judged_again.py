"""A changed plant file has every row held against it anew: a stretch at a time, with the answer of all at once."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from flows import pulling
from flows.job import Job
from models.judging import checks
from models.logbook import TABLES
from models.storage import ledger, rejudging, store
from tests.unit.rows import SOUND, plant

FILES, ROWS = 4, 30


def fill(logs: Path) -> None:
    """Files of pastes and of loaves; in each a weight that slipped, told by its file, and a product's line that will go."""
    logs.mkdir()
    for number in range(FILES):
        for kind in ("paste", "loaf", "output"):
            names = list(SOUND[kind])
            rows = [one(kind, number, row) for row in range(ROWS)]
            lines = [",".join(names), *(",".join(str(row[name]) for name in names) for row in rows)]
            (logs / f"{number}-{kind}.csv").write_text("\n".join(lines) + "\n", encoding="utf-8")


def one(kind: str, number: int, row: int) -> dict[str, Any]:
    day = f"2026-05-{number + 1:02}"
    slipped = row == 7
    return (
        SOUND[kind]
        | {
            "paste": {
                "paste_batch": f"{row:02}",
                "shift_date": day,
                "flour_kg": "",
                "liquid_kg": "",
                "cook_start": f"{day} 05:10",
                "cook_end": f"{day} 05:20",
                "weight_before_kg": 360.0 if slipped else 36.0,
                "weight_after_kg": 352.0 if slipped else 35.2,
            },
            "loaf": {"loaf": f"{row:02}", "measured_at": f"{day} 11:00", "line": "L2" if row % 2 else "L1"},
            "output": {"shift_date": day, "line": "L2" if row % 2 else "L1", "product": f"milk-loaf{row}"},
        }[kind]
    )


def judged(folder: Path) -> list[tuple[Any, ...]]:
    """Take the files, change the plant file, and say what speaks against which row."""
    folder.mkdir()
    fill(folder / "logs")
    job = Job(plant(), "first", folder / "logs", folder / "s.duckdb", folder / "out")
    fewer = plant(lines={"L1": {"kettle": "K1", "products": ["milk-loaf"]}})
    con = store.open_for_writing(job.store)
    try:
        for now in (job, replace(job, plant=fewer, plant_text="second")):
            with store.transaction(con):
                pulling.pull(con, now, ledger.last_run(con) + 1)
        slips = con.execute("SELECT * EXCLUDE (why) FROM slip ORDER BY ALL").fetchall()
        doubted = [
            (kind, *con.execute(f"SELECT count(*), count(*) FILTER (NOT credible) FROM log_{kind}").fetchall()[0])
            for kind in TABLES
        ]
        return [*slips, *doubted]
    finally:
        con.close()


def test_stretches_give_the_answer_of_all_at_once(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    whole = judged(tmp_path / "whole")
    assert ("loaf", FILES * ROWS, FILES * ROWS // 2) in whole and ("paste", FILES * ROWS, FILES) in whole
    held: list[tuple[str, int]] = []
    judge = checks.judge_truth
    monkeypatch.setattr(
        checks, "judge_truth", lambda kind, frame, *more: held.append((kind, len(frame))) or judge(kind, frame, *more)
    )
    monkeypatch.setattr(rejudging, "AT_ONCE", 20)
    assert judged(tmp_path / "stretches") == whole
    again = {kind: [n for of, n in held if of == kind and n < FILES * ROWS] for kind in ("loaf", "paste")}
    assert max(again["loaf"]) <= 20 and sum(again["loaf"]) == FILES * ROWS
    assert again["paste"] == [ROWS] * FILES  # each file whole: it is the measure of its own rows


def test_small_files_are_judged_together(tmp_path: Path) -> None:
    con = store.open_for_writing(tmp_path / "s.duckdb")
    try:
        fill(tmp_path / "logs")
        job = Job(plant(), "first", tmp_path / "logs", tmp_path / "s.duckdb", tmp_path / "out")
        with store.transaction(con):
            pulling.pull(con, job, 1)
        (stretch,) = rejudging._stretches(con, "loaf", 10_000)
        assert con.execute(
            f"SELECT count(*) FROM log_loaf WHERE seq >= {stretch[0]} AND seq < {stretch[1]}"
        ).fetchall() == [(FILES * ROWS,)]
    finally:
        con.close()
