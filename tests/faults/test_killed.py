"""Killed at any moment: the next run finds everything, nothing twice, and no page half written."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

from models.storage import store
from tests.faults.killer import run

ROOT = Path(__file__).resolve().parents[2]
KILLS = 100


@pytest.mark.slow
@pytest.mark.timeout(600)
@pytest.mark.skipif(not hasattr(os, "fork"), reason="needs fork")
@pytest.mark.parametrize("seed", [1, 2])
def test_killed_at_random_moments(tmp_path: Path, seed: int) -> None:
    """Two hundred kills over both seeds, spread over a whole run, while logs keep coming."""
    done = subprocess.run(
        [sys.executable, "-m", "tests.faults.killer", str(tmp_path), str(seed), str(KILLS)],
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=False,
        timeout=550,
    )
    assert done.returncode == 0, done.stderr[-2000:]
    said = json.loads(done.stdout.splitlines()[-1])
    print(f"seed {seed}: {said}")
    assert said["kills"] == KILLS
    assert min(said["tenths"]) > 0, "the kills did not fall into every part of a run"
    after = run(tmp_path, tmp_path / "logs")
    undisturbed = run(tmp_path, tmp_path / "logs", "other")
    assert all(after[name] == undisturbed[name] for name in ("rows", "quarantine", "alerts"))
    _pages_are_whole(tmp_path)
    _archive_is_whole(tmp_path)
    assert run(tmp_path, tmp_path / "logs")["reports"] == []


def _pages_are_whole(folder: Path) -> None:
    mine = {path.name: path.read_text(encoding="utf-8") for path in (folder / "s-out").glob("*.html")}
    theirs = {path.name for path in (folder / "other-out").glob("*.html")}
    assert theirs <= set(mine)
    assert all(text.rstrip().endswith("</html>") for text in mine.values())
    assert not list((folder / "s-out").glob("*.part"))


def _archive_is_whole(folder: Path) -> None:
    con = store.open_for_reading(folder / "s.duckdb")
    taken = con.execute("SELECT path, sha256 FROM file").fetchall()
    con.close()
    assert sorted(path for path, _ in taken) == sorted(path.name for path in (folder / "logs").glob("*.csv"))
    for path, sha in taken:
        assert (store.archive_folder(folder / "s.duckdb") / sha[:2] / sha).read_bytes() == (
            folder / "logs" / path
        ).read_bytes()
