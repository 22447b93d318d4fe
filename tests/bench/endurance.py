"""Three days of a floor at high speed, and what the service holds in memory: `python -m tests.bench.endurance`.

The demo bakery's last days are dropped as a floor makes them, the rows of ten minutes and one log in a file, as fast as
the service takes them. Boards come and go with every hour of the floor; a person signs in anew and leafs through the screens.
Wanted: over the second half the memory of the service and of its clerk grows by no more than 5 % a day of the floor.
"""

from __future__ import annotations

import argparse
import base64
import contextlib
import csv
import io
import re
import tempfile
import time
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path

import httpx
import numpy as np

from models import passphrases
from models.logbook import TABLES
from seed_data import bakery
from tests.bench.boards import Board, Served, resident_mib
from tests.bench.machine import machine

DAYS, SLOT, BOARDS = 31, timedelta(minutes=10), 5
MOST_A_DAY = 0.05
SCREENS = ("/", "/holds", "/kettle", "/mixer", "/handover", "/quarantine", "/reports", "/health", "/alerts.json")
WORDS = "floury oven mitts"


@dataclass(frozen=True)
class Drop:
    """One log of ten minutes. at: on the plant's clock."""

    at: datetime
    name: str
    text: str


@dataclass(frozen=True)
class Sample:
    """After an hour of the floor: drops so far, MiB of the service and of its clerk."""

    hour: int
    drops: int
    service: float
    clerk: float


def drops(folder: Path, days: int) -> list[Drop]:
    """The last days' logs taken out of the folder and cut into the files of a floor, in order of time."""
    found: dict[tuple[datetime, str], tuple[list[str], list[dict[str, str]]]] = {}
    for day in sorted((folder / "logs").iterdir())[-days:]:
        for sheet in sorted(day.glob("*.csv")):
            kind = sheet.stem.rpartition("-")[2]
            with sheet.open(encoding="utf-8-sig", newline="") as file:
                table = csv.DictReader(file)
                for row in table:
                    at = _slot(kind, row)
                    found.setdefault((at, f"{day.name}-{sheet.stem}"), (list(table.fieldnames or ()), []))[1].append(
                        row
                    )
            sheet.unlink()
    return [Drop(at, f"{name}-{at:%d%H%M}.csv", _text(*table)) for (at, name), table in sorted(found.items())]


def _slot(kind: str, row: dict[str, str]) -> datetime:
    text = row.get(TABLES[kind].at) or ""
    try:
        at = datetime.fromisoformat(text).replace(tzinfo=None)
    except ValueError:  # a sheet with a slip in it, or one without a time of day: with the end of its day
        at = datetime.fromisoformat(f"{row.get('shift_date') or text[:10]} 23:59")
    return datetime.min + (at - datetime.min) // SLOT * SLOT


def _text(names: list[str], rows: list[dict[str, str]]) -> str:
    out = io.StringIO()
    table = csv.DictWriter(out, names, lineterminator="\n")
    table.writeheader()
    table.writerows(rows)
    return out.getvalue()


def people_file(path: Path) -> None:
    """One person of QA, readable by this account alone."""
    key = base64.b64encode(b"k" * 32).decode()
    person = f'[people.MK]\nrole = "QA"\npassphrase = "{passphrases.hashed(WORDS)}"\n'
    path.write_text(f'[sign_in]\nkey = "{key}"\n{person}', encoding="utf-8")
    path.chmod(0o600)


@contextlib.contextmanager
def signed_in(served: Served) -> Iterator[httpx.Client]:
    """A browser of its own that has just signed in."""
    base, html = f"http://127.0.0.1:{served.port}", {"accept": "text/html"}
    with httpx.Client(base_url=base, headers=html, timeout=60, follow_redirects=True, trust_env=False) as one:
        token = re.search(r'name="form_token" value="([^"]+)"', one.get("/sign-in").text)
        assert token is not None
        one.post("/sign-in", data={"form_token": token[1], "name": "MK", "passphrase": WORDS}).raise_for_status()
        yield one


def an_hour(served: Served, opened: list[Board]) -> list[Board]:
    """The boards go and others come; a person signs in and leafs through the screens. Gives the boards that are open."""
    for board in opened:
        board.close()
    with signed_in(served) as one:
        served.cookie = "; ".join(f"{name}={value}" for name, value in one.cookies.items())
        for screen in SCREENS:
            one.get(screen).raise_for_status()
    fresh = [Board(served) for _ in range(BOARDS)]
    for board in fresh:
        board.start()
    return fresh


def taken(served: Served, name: str, within_s: float = 120.0) -> None:
    """Wait until the service has settled what was dropped: its version rose."""
    until = time.monotonic() + within_s
    while served.version() == name:
        if time.monotonic() > until:
            raise RuntimeError(f"a log was not taken within {within_s:.0f} s")
        time.sleep(0.02)


def play(served: Served, logs: list[Drop]) -> list[Sample]:
    """Drop them all; a sample after each hour of the floor."""
    samples: list[Sample] = []
    boards = an_hour(served, [])
    begun, hour = logs[0].at, 0
    for n, log in enumerate(logs):
        now = int((log.at - begun) / timedelta(hours=1))
        if now > hour:
            samples.append(sample(served, hour, n))
            hour, boards = now, an_hour(served, boards)
        before = served.version()
        served.drop(log.name, log.text)
        taken(served, before)
    for board in boards:
        board.close()
    return [*samples, sample(served, hour, len(logs))]


def sample(served: Served, hour: int, drops_so_far: int) -> Sample:
    """What is resident now; printed as it is taken."""
    clerk = sum(resident_mib(pid) for pid in served.descendants())
    one = Sample(hour, drops_so_far, resident_mib(served.process.pid), clerk)
    print(f"{one.hour:6d} {one.drops:6d} {one.service:9.1f} {one.clerk:9.1f}", flush=True)
    return one


def grows(samples: list[Sample], what: str) -> float:
    """Growth a day of the floor over the second half, as a share of its mean: the slope of a straight line."""
    half = samples[len(samples) // 2 :]
    value = np.array([getattr(one, what) for one in half])
    slope = np.polyfit([one.hour / 24 for one in half], value, 1)[0]
    return float(slope / value.mean())


def main(arguments: list[str] | None = None) -> int:
    """Print the table and the verdict; 1 where memory is not flat."""
    parser = argparse.ArgumentParser(prog="python -m tests.bench.endurance", description=__doc__)
    parser.add_argument("--days", type=int, default=3, help="days of the floor to play (3)")
    asked = parser.parse_args(arguments)
    print(machine())
    with tempfile.TemporaryDirectory() as place:
        folder = Path(place)
        bakery.write(folder, days=DAYS)
        logs = drops(folder, asked.days)
        people_file(folder / "people.toml")
        served = Served(folder, False, "--people", folder / "people.toml")
        try:
            served.wait()
            print("  hour  drops   service     clerk   (MiB resident)")
            began = time.monotonic()
            samples = play(served, logs)
            took = time.monotonic() - began
        finally:
            served.stop()
    grown = {what: grows(samples, what) for what in ("service", "clerk")}
    said = ", ".join(f"{what} {share:+.1%} a day" for what, share in grown.items())
    print(f"{len(logs)} drops in {took:.0f} s; second half: {said} (wanted: at most {MOST_A_DAY:+.0%})")
    return int(max(grown.values()) > MOST_A_DAY)


if __name__ == "__main__":
    raise SystemExit(main())
