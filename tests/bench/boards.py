"""A service of its own process, boards that are open on it, and what it holds in memory: for the benches of the floor."""

from __future__ import annotations

import contextlib
import http.client
import json
import os
import socket
import subprocess
import sys
import threading
import time
from pathlib import Path
from urllib import request

from tests.bench.machine import PROGRAM, ROOT

LONGEST_S = 600.0


class Served:
    """`loaftrace serve` on the plant, logs, store and reports of a folder. prefect: with its own server, as on a floor."""

    def __init__(self, folder: Path, prefect: bool) -> None:
        with socket.socket() as ear:
            ear.bind(("127.0.0.1", 0))
            self.port = int(ear.getsockname()[1])
        self.logs = folder / "logs"
        places = ("--plant", folder / "plant.toml", "--drop", self.logs, "--store", folder / "store.duckdb")
        more = () if prefect else ("--no-prefect",)
        words = (*PROGRAM, "serve", *places, "--out", folder / "reports", "--port", str(self.port), *more)
        self.said = (folder / "served.txt").open("w", encoding="utf-8")
        self.process = subprocess.Popen([*map(str, words)], cwd=folder, env=_world(), stderr=self.said)

    def wait(self) -> None:
        """Until it answers and has taken what lay in the folder. Raises RuntimeError where it ended."""
        until = time.monotonic() + LONGEST_S
        while time.monotonic() < until:
            if self.process.poll() is not None:
                raise RuntimeError(Path(self.said.name).read_text(encoding="utf-8"))
            with contextlib.suppress(OSError):
                self.get("/health")
                return
            time.sleep(0.2)
        raise RuntimeError(f"it does not answer within {LONGEST_S:.0f} s")

    def get(self, path: str) -> str:
        """A page as text."""
        with request.urlopen(
            request.Request(f"http://127.0.0.1:{self.port}{path}", headers={"accept": "text/html"}), timeout=60
        ) as answer:
            return str(answer.read().decode())

    def version(self) -> int:
        """How many times the board has changed."""
        return int(json.loads(self.get("/health"))["version"])

    def drop(self, name: str, text: str) -> float:
        """Rename a log into the folder; the instant, of the monotonic clock."""
        part = self.logs / f".{name}.part"
        part.write_text(text, encoding="utf-8")
        at = time.monotonic()
        part.replace(self.logs / name)
        return at

    def stop(self) -> None:
        """End it as a system does."""
        self.process.terminate()
        self.process.wait(60)
        self.said.close()


def _world() -> dict[str, str]:
    return {**os.environ, "PYTHONPATH": str(ROOT)}


class Board(threading.Thread):
    """An open board: told over its live stream, it fetches the floor again, as the page's own script does."""

    def __init__(self, served: Served) -> None:
        super().__init__(daemon=True)
        self.served, self.seen, self.shown_at = served, "", 0.0
        self._changed = threading.Condition()
        self._stream: http.client.HTTPConnection | None = None
        self.closed = False

    def run(self) -> None:
        """Listen until closed."""
        self._stream = http.client.HTTPConnection("127.0.0.1", self.served.port, timeout=LONGEST_S)
        try:
            self._stream.request("GET", "/live", headers={"accept": "text/event-stream"})
            for line in self._stream.getresponse():
                if line.startswith(b"data:"):
                    self._fetch()
        except (OSError, ValueError, AttributeError, http.client.HTTPException):
            if not self.closed:
                raise

    def _fetch(self) -> None:
        page = self.served.get("/")
        with self._changed:
            self.seen, self.shown_at = page, time.monotonic()
            self._changed.notify_all()

    def shows(self, words: str, within_s: float = 60.0) -> float:
        """The instant at which the board showed these words. Raises RuntimeError where it does not in time."""
        with self._changed:
            if not self._changed.wait_for(lambda: words in self.seen, within_s):
                raise RuntimeError(f"no board shows {words!r} within {within_s:.0f} s")
            return self.shown_at

    def close(self) -> None:
        """Shut the board."""
        self.closed = True
        if self._stream is not None and self._stream.sock is not None:
            with contextlib.suppress(OSError):
                self._stream.sock.shutdown(socket.SHUT_RDWR)
            self._stream.close()


def resident_mib(pid: int) -> float:
    """Memory of a process that is resident and its own, MiB: VmRSS of Linux's /proc/PID/status (proc_pid_status(5))."""
    for line in Path(f"/proc/{pid}/status").read_text(encoding="ascii").splitlines():
        if line.startswith("VmRSS:"):
            return int(line.split()[1]) / 1024
    return 0.0


if sys.platform != "linux":
    raise ImportError("the benches of the floor read memory from /proc: they need Linux")
