"""A warm process that forks runs and kills them: `python -m tests.faults.killer FOLDER SEED KILLS`.

Logs arrive one by one, renamed into place, whenever a run was let finish. Prints one JSON line: kills that
hit a running run, runs that finished, and in which part of a run the kills fell (tenths of its usual time).
"""

from __future__ import annotations

import csv
import io
import json
import os
import random
import shutil
import signal
import sys
import time
from collections.abc import Iterator
from pathlib import Path

SAMPLE = Path(__file__).resolve().parents[2] / "seed_data" / "sample"
ROWS_A_FILE = 6


def pieces() -> Iterator[tuple[str, str]]:
    """The sample's sheets cut into small logs, in an order in which they could have come: name, text."""
    number = 0
    for day in sorted((SAMPLE / "logs").iterdir()):
        for path in sorted(
            day.glob("*.csv"),
            key=lambda p: (["change", "paste", "dough", "proof", "loaf"] + [p.stem]).index(p.stem.split("-")[-1]),
        ):
            rows = list(csv.reader(io.StringIO(path.read_text(encoding="utf-8"))))
            for start in range(1, len(rows), ROWS_A_FILE):
                text = io.StringIO()
                csv.writer(text, lineterminator="\n").writerows([rows[0], *rows[start : start + ROWS_A_FILE]])
                yield f"{number:03}-{path.stem}.csv", text.getvalue()
                number += 1


def put(logs: Path, name: str, text: str) -> None:
    """A log renamed into place, whole at once."""
    part = logs / f".{name}.part"
    part.write_text(text, encoding="utf-8")
    part.replace(logs / name)


def run(folder: Path, logs: Path, name: str = "s") -> dict:
    """One run, undisturbed."""
    from flows.job import read_job
    from flows.work import work

    return work(read_job(SAMPLE / "plant.toml", logs, folder / f"{name}.duckdb", folder / f"{name}-out"))


def killed(folder: Path, logs: Path, after_s: float) -> bool:
    """Fork a run and kill it after a while; whether it was still running then."""
    child = os.fork()
    if child == 0:
        status = 1
        try:
            run(folder, logs)
            status = 0
        finally:
            os._exit(status)
    until = time.monotonic() + after_s
    while time.monotonic() < until:
        done, status = os.waitpid(child, os.WNOHANG)
        if done:
            if status:
                raise RuntimeError("an undisturbed run failed")
            return False
        time.sleep(0.002)
    os.kill(child, signal.SIGKILL)
    os.waitpid(child, 0)
    return True


def main(folder: Path, seed: int, kills: int) -> None:
    """Kill `kills` runs at random moments while logs keep coming."""
    logs = folder / "logs"
    logs.mkdir()
    coming = pieces()
    first = next(coming)
    put(logs, *first)
    run(folder / "warm", logs)
    put(logs, *next(coming))
    started = time.monotonic()
    run(folder / "warm", logs)
    usual = time.monotonic() - started
    shutil.rmtree(folder / "warm")
    chance = random.Random(seed)
    hit, finished, tenths = 0, 0, [0] * 10
    while hit < kills:
        part = chance.random()
        if killed(folder, logs, part * usual * 1.1):
            hit += 1
            tenths[min(9, int(part * 10))] += 1
        else:
            finished += 1
            if more := next(coming, None):
                put(logs, *more)
    print(json.dumps({"kills": hit, "finished": finished, "tenths": tenths, "files": len(list(logs.glob("*.csv")))}))


if __name__ == "__main__":
    main(Path(sys.argv[1]), int(sys.argv[2]), int(sys.argv[3]))
