"""A warm process that forks services and kills them amid drops: `python -m tests.faults.serverkiller FOLDER SEED KILLS`.

A fork takes over the libraries that are loaded already, so that twenty starts take seconds. Prints one JSON line.
"""

from __future__ import annotations

import json
import os
import random
import signal
import sys
import time
from pathlib import Path

from tests.faults.killer import SAMPLE, pieces, put, run


def serve(folder: Path, logs: Path) -> None:
    """The service's parts without its web server: the owner, the watched folder, the messages."""
    from flows.floor.floor import Floor
    from flows.job import read_job
    from models.storage import owned

    job = read_job(SAMPLE / "plant.toml", logs, folder / "s.duckdb", folder / "s-out")
    owned.claim(job.store, owned.Owner(os.getpid(), "http://127.0.0.1:0", "key"))
    Floor(job, None).begin()
    while True:
        time.sleep(1)


def killed(folder: Path, logs: Path, waits: float, coming: list[tuple[str, str]]) -> None:
    """Fork a service, drop logs while it works, kill it after a while."""
    child = os.fork()
    if child == 0:
        try:
            serve(folder, logs)
        finally:
            os._exit(1)
    for name, text in coming:
        time.sleep(waits / (len(coming) + 1))
        put(logs, name, text)
    time.sleep(waits / (len(coming) + 1))
    ended, status = os.waitpid(child, os.WNOHANG)
    if ended:
        raise RuntimeError(f"the service ended by itself ({status})")
    os.kill(child, signal.SIGKILL)
    os.waitpid(child, 0)


def main(folder: Path, seed: int, kills: int) -> None:
    """Kill `kills` services at random moments while logs keep coming."""
    logs = folder / "logs"
    logs.mkdir()
    chance, coming = random.Random(seed), pieces()
    put(logs, *next(coming))
    run(folder / "warm", logs)
    dropped = 1
    for _ in range(kills):
        some = [piece for piece in (next(coming, None) for _ in range(2)) if piece]
        dropped += len(some)
        killed(folder, logs, 0.3 + chance.random() * 2.5, some)
    print(json.dumps({"kills": kills, "dropped": dropped}))


if __name__ == "__main__":
    main(Path(sys.argv[1]), int(sys.argv[2]), int(sys.argv[3]))
