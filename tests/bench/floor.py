"""From a log renamed into the folder to the boards that show its batch: `python -m tests.bench.floor`.

A month of the demo bakery lies in the store; each of the 50 logs holds one dough of the day after. Wanted: 2 s for 95
of 100, with one board open and with fifty.
"""

from __future__ import annotations

import argparse
import statistics
import tempfile
import time
from datetime import datetime, timedelta
from pathlib import Path

import numpy as np

from seed_data import bakery
from tests.bench.boards import Board, Served
from tests.bench.machine import machine

DAYS, WANTED_S, WARM = 31, 2.0, 3
HEAD = "dough_batch,line,product,shift_date,shift,mixed_at,flour_kg,liquid_kg,yeast_kg,dough_temp_c\n"
FIRST = datetime(2026, 11, 5, 6, 0)


def dough(n: int) -> tuple[str, str]:
    """The name and the one row of a log: a dough of line L1, seven minutes after the one before."""
    name = f"Z{n:03}"
    at = FIRST + timedelta(minutes=7 * n)
    return name, f"{HEAD}{name},L1,white-tin,{at:%Y-%m-%d},early,{at:%Y-%m-%d %H:%M},100,50,2.5,26.1\n"


def main(arguments: list[str] | None = None) -> int:
    """Print both tables; 1 where the 2 s were not kept."""
    parser = argparse.ArgumentParser(prog="python -m tests.bench.floor", description=__doc__)
    parser.add_argument("--drops", type=int, default=50)
    parser.add_argument("--no-prefect", action="store_true", help="without Prefect's own server beside it")
    asked = parser.parse_args(arguments)
    print(machine())
    with tempfile.TemporaryDirectory() as folder:
        bakery.write(Path(folder), days=DAYS)
        served = Served(Path(folder), not asked.no_prefect)
        try:
            served.wait()
            dropped = measure(served, 1, 0, WARM)[1]
            late = False
            for boards in (1, 50):
                took, dropped = measure(served, boards, dropped, asked.drops)
                late |= said(boards, took)
        finally:
            served.stop()
    return int(late)


def measure(served: Served, boards: int, first: int, drops: int) -> tuple[list[float], int]:
    """Seconds from rename until the last of the open boards shows the batch; and the number of the next drop."""
    opened = [Board(served) for _ in range(boards)]
    for board in opened:
        board.start()
    time.sleep(3)
    rest = np.random.default_rng(drops + boards)
    took = []
    for n in range(first, first + drops):
        name, text = dough(n)
        at = served.drop(f"{name}.csv", text)
        took.append(max(board.shows(name) for board in opened) - at)
        time.sleep(float(rest.uniform(0.5, 2.5)))
    for board in opened:
        board.close()
    return took, first + drops


def said(boards: int, took: list[float]) -> bool:
    """Print a table's line; whether it was late."""
    at_95 = float(np.quantile(took, 0.95, method="higher"))
    print(
        f"{boards} boards open, all of them show it: median {statistics.median(took):.2f} s, 95th of {len(took)} "
        f"{at_95:.2f} s (wanted {WANTED_S:.0f}), slowest {max(took):.2f} s",
        flush=True,
    )
    return at_95 > WANTED_S


if __name__ == "__main__":
    raise SystemExit(main())
