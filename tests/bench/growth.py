"""Does a run cost what is new? One more day on two years beside one on a month; a hundred small files beside one.

`python -m tests.bench.growth [--days 731] [--rounds 3] [--keep DIR]`. The month is the end of the same two years, so that
the day is the same day; both stores stand as a run left them. The hundred files hold the rows of the one, a few a file.
Whole commands, each in a process of its own, in turn, from copies of the same folders.
"""

from __future__ import annotations

import argparse
import csv
import os
import shutil
import statistics
import sys
import tempfile
from collections import defaultdict
from collections.abc import Callable
from pathlib import Path

from tests.bench.machine import EMPTY, PROGRAM, Measured, machine, measure

MONTH = 31
FILES = 100
AT_MOST = {"one more day": 1.3, "a hundred files": 1.5}


def main() -> int:
    """Make the logs, take the history in, measure both comparisons, print them; 1 where a ratio is too large."""
    asked = argparse.ArgumentParser(description=__doc__)
    asked.add_argument("--days", type=int, default=731)
    asked.add_argument("--rounds", type=int, default=3)
    asked.add_argument("--keep", type=Path, help="work here, and take up again what lies here")
    options = asked.parse_args()
    with tempfile.TemporaryDirectory() as temporary:
        here = options.keep or Path(temporary)
        long, month = _histories(here, options.days)
        print(machine())
        print(measure("empty Python process", EMPTY, here, 3).line())
        day = _in_turn(here, {"on a month": month, f"on {options.days - 1} days": long}, _last_day, options.rounds)
        good = [_said("one more day", *day)]
        few, many = _parted(here, month)
        files = _in_turn(here, {"one file a log": few, f"{FILES} files": many}, lambda _: None, options.rounds)
    good.append(_said("a hundred files", *files))
    return 0 if all(good) else 1


def _histories(here: Path, days: int) -> tuple[Path, Path]:
    """Two plants' folders with their history taken in and the last day put aside: all of it, and its last month."""
    long, month = here / "long", here / "month"
    if not (month / "taken").exists():
        from seed_data.bakery import write

        write(long, days=days)
        folders = sorted(path for path in (long / "logs").iterdir() if path.is_dir())
        last = folders[-2].name if len(list(folders[-1].iterdir())) == 1 else folders[-1].name
        (month / "logs").mkdir(parents=True)
        shutil.copy(long / "plant.toml", month / "plant.toml")
        recent = [path for path in folders if path.name < last][-MONTH:]
        for path in recent:
            shutil.copytree(path, month / "logs" / path.name)
        for path in [path for path in folders if path.name >= last]:
            for plant in (month, long):
                shutil.copytree(path, plant / "later" / path.name)
            shutil.rmtree(path)
        for plant in (long, month):
            print(measure(f"history of {plant.name}", _command(plant), here).line(), flush=True)
        (month / "taken").touch()
    return long, month


def _last_day(plant: Path) -> None:
    shutil.copytree(plant / "later", plant / "logs", dirs_exist_ok=True)


def _parted(here: Path, month: Path) -> tuple[Path, Path]:
    """A month's store and two folders of new logs with the same rows: one file a log, and about a hundred files."""
    rows: dict[tuple[str, tuple[str, ...]], list[list[str]]] = defaultdict(list)
    for path in sorted((month / "later").rglob("*.csv")):
        head, *lines = list(csv.reader(path.open(encoding="utf-8", newline="")))
        rows[path.stem.rsplit("-", 1)[-1], tuple(head)] += lines
    each = max(1, sum(map(len, rows.values())) // FILES)
    made = []
    for name, size in (("few", sys.maxsize), ("many", each)):
        plant = here / name
        shutil.rmtree(plant, ignore_errors=True)
        shutil.copytree(month, plant, ignore=shutil.ignore_patterns("later"))
        for number, ((kind, heads), every) in enumerate(rows.items()):
            for start in range(0, len(every), size):
                path = plant / "logs" / f"new-{number}-{start:05}-{kind}.csv"
                with path.open("w", encoding="utf-8", newline="") as file:
                    csv.writer(file, lineterminator="\n").writerows([list(heads), *every[start : start + size]])
        made.append(plant)
    return made[0], made[1]


def _command(plant: Path) -> list[str | Path]:
    places = ("--plant", plant / "plant.toml", "--logs", plant / "logs", "--store", plant / "s.duckdb")
    return [*PROGRAM, "run", *places, "--out", plant / "out", "--json"]


def _in_turn(
    here: Path, plants: dict[str, Path], prepare: Callable[[Path], None], rounds: int
) -> tuple[Measured, Measured]:
    """Each plant's run on a fresh copy, in turn, so many rounds: what else the machine does then meets both alike."""
    found: dict[str, list[Measured]] = {what: [] for what in plants}
    for _ in range(rounds):
        for what, plant in plants.items():
            copy = here / "copy"
            shutil.rmtree(copy, ignore_errors=True)
            shutil.copytree(plant, copy)
            prepare(copy)
            os.sync()  # else the run's own writes wait for those of the copy
            found[what].append(measure(what, _command(copy), here))
            shutil.rmtree(copy)
    first, second = (
        Measured(what, tuple(one.seconds[0] for one in runs), max(one.peak_mib for one in runs), "")
        for what, runs in found.items()
    )
    return first, second


def _said(what: str, small: Measured, large: Measured) -> bool:
    """Print both and their ratio, the median of the rounds' ratios; whether it is small enough."""
    ratios = [b / a for a, b in zip(small.seconds, large.seconds, strict=True)]
    ratio = statistics.median(ratios)
    print(small.line())
    print(large.line())
    print(f"{what}: {ratio:.2f} times (lowest {min(ratios):.2f}, highest {max(ratios):.2f}); at most {AT_MOST[what]}")
    return ratio <= AT_MOST[what]


if __name__ == "__main__":
    raise SystemExit(main())
