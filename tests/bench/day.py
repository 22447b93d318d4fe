"""One more day of logs on a store that holds the demo month: `python -m tests.bench.day`.

Three figures: the month taken at once, the last day alone on top of the rest, and a run with nothing new.
"""

from __future__ import annotations

import json
import shutil
import tempfile
from pathlib import Path

from tests.bench.machine import EMPTY, PROGRAM, ROOT, Measured, measure, report

PLANT = ROOT / "seed_data" / "plant.toml"


def main() -> int:
    """Print time and peak memory of the three runs, and how many rows each took."""
    from seed_data.bakery import write

    with tempfile.TemporaryDirectory() as folder:
        here = Path(folder)
        write(here / "made")
        later = _put_aside_last_day(here / "made" / "logs", here / "later")
        month = _run("the demo month without its last day", here)
        _put_back(later, here / "made" / "logs")
        day = _run("the last day on top of it", here)
        nothing = _run("a run with nothing new", here)
        report(month, day, nothing, against=measure("empty Python process", EMPTY, here, 5))
    return 0


def _run(what: str, here: Path) -> Measured:
    places = ("--plant", PLANT, "--logs", here / "made" / "logs", "--store", here / "s.duckdb", "--out", here / "out")
    found = measure(what, [*PROGRAM, "run", *places, "--json"], here)
    result = json.loads(found.said[found.said.index("{") :])
    taken = sum(f["outcome"] == "taken" for f in result["files"])
    received = sum(counts["received"] for counts in result["rows"].values())
    return Measured(f"{what} ({taken} files taken, {received} rows in the store)", found.seconds, found.peak_mib, "")


def _put_aside_last_day(logs: Path, later: Path) -> Path:
    """Move the newest day's folder out of the logs."""
    newest = max(path for path in logs.iterdir() if path.is_dir())
    return Path(shutil.move(newest, later / newest.name))


def _put_back(folder: Path, logs: Path) -> None:
    shutil.move(folder, logs / folder.name)


if __name__ == "__main__":
    raise SystemExit(main())
