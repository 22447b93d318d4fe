"""A real service for tests: its own process, its own folder, the sample's plant, stopped and killed like any other."""

from __future__ import annotations

import json
import os
import re
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Callable
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any
from urllib import error, parse, request

from tests.faults.killer import SAMPLE, put

ROOT = Path(__file__).resolve().parents[2]
START_S = 120.0


def free_port() -> int:
    """A port nobody has at this moment."""
    with socket.socket() as ear:
        ear.bind(("127.0.0.1", 0))
        return int(ear.getsockname()[1])


def until(found: Callable[[], Any], within_s: float = 30.0) -> Any:
    """What `found` gives once it gives anything. Raises AssertionError where it does not in time."""
    end = time.monotonic() + within_s
    while time.monotonic() < end:
        if value := found():
            return value
        time.sleep(0.02)
    raise AssertionError(f"not within {within_s} s: {found}")


class Service:
    """`loaftrace serve` on a folder of its own."""

    def __init__(self, folder: Path, *more: str, prefect: bool = False) -> None:
        self.folder, self.port = folder, free_port()
        self.more = more if prefect else ("--no-prefect", *more)
        self.logs, self.store = folder / "logs", folder / "s.duckdb"
        self.logs.mkdir(exist_ok=True)
        self.base = f"http://127.0.0.1:{self.port}"
        self.process: subprocess.Popen[str] | None = None

    def command(self, name: str = "serve") -> list[str]:
        """The command line."""
        where = ["--plant", str(SAMPLE / "plant.toml"), "--store", str(self.store), "--out", str(self.folder / "out")]
        folder = ["--drop", str(self.logs), "--port", str(self.port), *self.more]
        return [
            sys.executable,
            "-m",
            "flows.cli",
            name,
            *where,
            *(folder if name == "serve" else ["--logs", str(self.logs)]),
        ]

    def start(self, within_s: float = START_S) -> Service:
        """Start it, and wait until it answers."""
        self.process = subprocess.Popen(self.command(), cwd=ROOT, stderr=subprocess.PIPE, text=True)
        until(self._answers, within_s)
        return self

    def _answers(self) -> bool:
        assert self.process is not None
        if self.process.poll() is not None:
            raise AssertionError(self.process.stderr.read() if self.process.stderr else "ended")
        try:
            return bool(self.health())
        except (error.URLError, OSError):
            return False

    def stop(self, with_signal: int = signal.SIGTERM) -> int:
        """Stop it; how it ended."""
        assert self.process is not None
        self.process.send_signal(with_signal)
        ended = self.process.wait(40)
        if self.process.stderr:
            self.process.stderr.close()
        return ended

    def kill(self) -> None:
        """Kill it on the spot."""
        assert self.process is not None
        os.kill(self.process.pid, signal.SIGKILL)
        self.process.wait()
        if self.process.stderr:
            self.process.stderr.close()

    def get(self, path: str) -> str:
        """A page or an answer as text."""
        with request.urlopen(request.Request(self.base + path, headers={"accept": "text/html"}), timeout=30) as answer:
            return str(answer.read().decode())

    def health(self) -> dict[str, Any]:
        """GET /health."""
        return dict(json.loads(self.get("/health")))

    def received(self, kind: str = "dough") -> int:
        """Rows of a log that the board's account knows."""
        return int(self.health()["rows"][kind]["received"])

    def drop(self, name: str, text: str) -> float:
        """A log renamed into place; seconds until the account on the board knows of it."""
        before = self.health()["version"]
        began = time.monotonic()
        put(self.logs, name, text)
        until(lambda: self.health()["version"] > before)
        return time.monotonic() - began


def visit(service: Service, path: str) -> tuple[str, str]:
    """The cookie and the form token of a screen."""
    with request.urlopen(request.Request(service.base + path, headers={"accept": "text/html"}), timeout=30) as answer:
        found = re.search(r'name="form_token" value="([^"]+)"', answer.read().decode())
        return answer.headers["set-cookie"].partition(";")[0], found[1] if found else ""


def post(service: Service, path: str, cookie: str, **fields: str) -> tuple[int, str]:
    asked = request.Request(
        service.base + path, data=parse.urlencode(fields).encode(), headers={"cookie": cookie, "origin": service.base}
    )
    try:
        with request.urlopen(asked, timeout=30) as answer:
            return int(answer.status), str(answer.read().decode())
    except error.HTTPError as refused:
        with refused:
            return refused.code, refused.read().decode()


def descendants(pid: int) -> set[int]:
    """Every process that a process began, and those that they began; needs /proc."""
    parents = {}
    for stat in Path("/proc").glob("[0-9]*/stat"):
        try:
            parents[int(stat.parent.name)] = int(stat.read_text().rpartition(")")[2].split()[1])
        except OSError:
            continue
    found: set[int] = set()
    while more := {child for child, parent in parents.items() if parent in found | {pid}} - found:
        found |= more
    return found


def boiled(now: datetime) -> str:
    """A paste of K1 that lost 10 % of its weight, a quarter of an hour ago."""
    start, end = (f"{now - timedelta(minutes=ago):%Y-%m-%d %H:%M}" for ago in (30, 15))
    since_six = now - timedelta(hours=6, minutes=30)  # the shifts begin at six, fourteen and twenty-two
    shift = ("early", "late", "night")[since_six.hour // 8]
    names = "paste_batch,kettle,shift_date,shift,flour_kg,liquid_kg,weight_before_kg,weight_after_kg,cook_start,cook_end,cook_temp_c,probe"
    return f"{names}\n99,K1,{since_six:%Y-%m-%d},{shift},64,128,192,172.8,{start},{end},66,contact\n"


def with_people(folder: Path, people: str, pieces: int) -> Service:
    """A service not yet started, with a people file of this text and so many of the sample's logs in its folder."""
    from tests.faults import killer

    file = folder / "people.toml"
    file.write_text(people, encoding="utf-8")
    file.chmod(0o600)
    found = Service(folder, "--people", str(file))
    for name, text in list(killer.pieces())[:pieces]:
        (found.logs / name).write_text(text, encoding="utf-8")
    return found
