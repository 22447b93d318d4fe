"""Killed while a very large log goes in: the next run has the store of one that was never disturbed."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

from models.storage import store

ROOT = Path(__file__).resolve().parents[2]
KILLS = 10
# everything a run keeps of what came in, and what it worked out of it
TABLES = ("file", "raw_file", "raw_row", "slip", "judged", "log_loaf", "log_dough", "log_paste", "pastes", "batches")


@pytest.mark.slow
@pytest.mark.timeout(300)
@pytest.mark.skipif(not hasattr(os, "fork"), reason="needs fork")
def test_killed_inside_the_bulk_lane(tmp_path: Path) -> None:
    done = subprocess.run(
        [sys.executable, "-m", "tests.faults.bulkkiller", str(tmp_path), "1", str(KILLS)],
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=False,
        timeout=280,
    )
    assert done.returncode == 0, done.stderr[-2000:]
    said = json.loads(done.stdout.splitlines()[-1])
    print(said)
    assert said["kills"] == KILLS
    assert min(said["fifths"]) > 0, "the kills did not fall into every part of the lane"
    disturbed, undisturbed = _kept(tmp_path / "s.duckdb"), _kept(tmp_path / "other.duckdb")
    assert len(undisturbed["raw_file"]) == 2
    assert disturbed == undisturbed
    assert not list(store.archive_folder(tmp_path / "s.duckdb").rglob("*.part"))


def _kept(path: Path) -> dict[str, list[tuple]]:
    con = store.open_for_reading(path)
    try:
        return {table: con.execute(f"SELECT * FROM {table} ORDER BY ALL").fetchall() for table in TABLES}
    finally:
        con.close()
