"""A warm process that kills runs while a very large log goes in: `python -m tests.faults.bulkkiller FOLDER SEED KILLS`.

The lane begins where the first such file is checked and ends where its rows are counted; a run says both to the process
that kills it. Prints one JSON line: kills that hit the lane, runs that had left it, and in which fifth of it the kills fell.
"""

from __future__ import annotations

import json
import os
import random
import signal
import sys
import time
from pathlib import Path
from typing import Any

from tests.bench.intake import plant_file, write_logs

LINES, LOAVES = 2, 14_400


def take(folder: Path, name: str = "s", said: int | None = None) -> None:
    """Take all logs, no page written. said: where to write when the lane begins and ends."""
    from flows import work
    from flows.job import read_job
    from models.storage import bulk

    if said is not None:
        bulk.check = _saying(bulk.check, said, b"begins", before=True)
        bulk.outcomes = _saying(bulk.outcomes, said, b"ends", before=False)
    work.take(read_job(folder / "plant.toml", folder / "logs", folder / f"{name}.duckdb", folder / f"{name}-out"))


def _saying(step: Any, to: int, word: bytes, before: bool) -> Any:
    def step_said(*args: Any) -> Any:
        if before:
            os.write(to, word)
        found = step(*args)
        if not before:
            os.write(to, word)
        return found

    return step_said


def forked(folder: Path, name: str, after_s: float | None) -> tuple[float, bool]:
    """Fork a run; kill it so long after its lane began (None: let it end). Seconds its lane took, whether it was left."""
    ours, theirs = os.pipe()
    child = os.fork()
    if child == 0:
        status = 1
        try:
            take(folder, name, theirs)
            status = 0
        finally:
            os._exit(status)
    os.close(theirs)
    with os.fdopen(ours, "rb", buffering=0) as words:
        first = words.read(len(b"begins"))
        began = time.monotonic()
        if first != b"begins":
            raise RuntimeError("no log of this run went in as a very large one")
        if after_s is not None:
            time.sleep(after_s)
            os.kill(child, signal.SIGKILL)
        rest = b""
        while b"ends" not in rest and (more := words.read(64)):
            rest += more
        took = time.monotonic() - began
        os.waitpid(child, 0)
    return took, b"ends" in rest


def main(folder: Path, seed: int, kills: int) -> None:
    """Kill `kills` runs inside the lane, then let one end; another store is never disturbed."""
    folder.mkdir(parents=True, exist_ok=True)
    (folder / "plant.toml").write_text(plant_file(LINES), encoding="utf-8")
    write_logs(folder / "logs", 2, LINES, LOAVES)
    take(folder, "other")
    usual, _ = forked(folder, "timed", None)
    chance, hit, left, fifths = random.Random(seed), 0, 0, [0] * 5
    while hit < kills:
        fifth = hit % 5
        _, over = forked(folder, "s", (fifth + chance.random()) / 5 * usual)
        left += over
        fifths[fifth] += not over
        hit += not over
        if over:
            usual *= 0.9
    take(folder, "s")
    print(json.dumps({"kills": hit, "left": left, "fifths": fifths}))


if __name__ == "__main__":
    main(Path(sys.argv[1]), int(sys.argv[2]), int(sys.argv[3]))
