"""Three days of a floor, as fast as the service takes them: `python -m tests.bench.endurance`. Memory has to stay flat.

A month of the demo bakery lies in the store. Its next days' rows come a few at a time, as they are written on a floor;
boards come and go, pages are asked for, and Prefect's record and the printed pages are kept beside. Resident memory of
the service and of the process that writes pages is read after every simulated hour.
"""

from __future__ import annotations

import argparse
import tempfile
import time
from collections.abc import Iterator
from dataclasses import replace
from datetime import datetime
from pathlib import Path

import numpy as np

from models.logbook import TABLES
from seed_data import bakery
from seed_data.folder import sheets_of
from seed_data.plan import FIRST_DAY, SEED
from seed_data.sheets import as_csv
from seed_data.simulate import simulate
from tests.bench.boards import Board, Served, resident_mib
from tests.bench.machine import machine

MONTH, DAYS, TOGETHER = 31, 3, 2
PAGES = ("/", "/holds", "/handover", "/quarantine", "/reports", "/kettle", "/mixer", "/alerts.json", "/health")
# of its memory after half of the time, by which the service may grow in a day of the second half
FLAT = 0.05


def main(arguments: list[str] | None = None) -> int:
    """Print memory by simulated hour and its slope; 1 where it is not flat."""
    parser = argparse.ArgumentParser(prog="python -m tests.bench.endurance", description=__doc__)
    parser.add_argument("--days", type=int, default=DAYS)
    asked = parser.parse_args(arguments)
    print(machine())
    with tempfile.TemporaryDirectory() as folder:
        bakery.write(Path(folder), days=MONTH)
        served = Served(Path(folder), prefect=False)
        try:
            served.wait()
            time.sleep(20)  # the pages of the month are written
            hours, found = go_through(served, asked.days)
        finally:
            served.stop()
    return int(not said(hours, found))


def go_through(served: Served, days: int) -> tuple[list[float], list[float]]:
    """Drop the days' rows; hours since their beginning, and MiB of the service at each."""
    began, hours, found = time.monotonic(), [], []
    boards = [Board(served) for _ in range(10)]
    for board in boards:
        board.start()
    next_h = 1.0
    for drops, (at_h, name, text) in enumerate(rows_in_order(days)):
        if at_h >= next_h:
            hours.append(at_h), found.append(resident_mib(served.process.pid))
            boards.pop(0).close()
            boards.append(Board(served))
            boards[-1].start()
            for page in PAGES:
                served.get(page)
            next_h = np.floor(at_h) + 1
            if len(hours) % 6 == 0:
                print(
                    f"hour {at_h:.0f}: {drops} logs, {time.monotonic() - began:.0f} s, {found[-1]:.0f} MiB", flush=True
                )
        before = served.version()
        served.drop(name, text)
        while served.version() == before:
            time.sleep(0.02)
    return hours, found


def rows_in_order(days: int) -> Iterator[tuple[float, str, str]]:
    """(hours since the first day's midnight, name, text) of logs of a few rows each, in order of their last row."""
    pieces = []
    first = FIRST_DAY.toordinal()
    for path, sheet in sheets_of(simulate(SEED, MONTH + days)).items():
        day = datetime.fromisoformat(path.split("/")[1]).date()
        if day.toordinal() - first < MONTH or sheet.kind in ("gas", "output", "change", "check"):
            continue
        rows = sorted(sheet.rows, key=lambda row: row[TABLES[sheet.kind].at])  # type: ignore[arg-type, return-value]
        for n in range(0, len(rows), TOGETHER):
            some = rows[n : n + TOGETHER]
            at = some[-1][TABLES[sheet.kind].at]
            assert isinstance(at, datetime)
            text = as_csv(replace(sheet, rows=some, totals=None, above=())).decode("utf-8")
            pieces.append((at.timestamp(), f"{path.replace('/', '-').removesuffix('.csv')}-{n:03}.csv", text))
    pieces.sort()
    yield from (((at - pieces[0][0]) / 3600, name, text) for at, name, text in pieces)


def said(hours: list[float], found: list[float]) -> bool:
    """Print the verdict: the straight line (least squares) through the second half of the hours."""
    half = len(hours) // 2
    slope = float(np.polyfit(hours[half:], found[half:], 1)[0]) * 24
    share = slope / found[half]
    flat = share <= FLAT
    print(
        f"{len(hours)} hours: {found[0]:.0f} MiB after the first, {found[half]:.0f} in the middle, {found[-1]:.0f} at the end; "
        f"second half {slope:+.1f} MiB a day, {share:+.1%} ({'flat' if flat else 'NOT FLAT'}: at most {FLAT:.0%} a day)"
    )
    return flat


if __name__ == "__main__":
    raise SystemExit(main())
