"""A process beside the service that writes its pages and keeps Prefect's record, after the board has shown what is new.

It is told over its standard input and ends with it, so that no server is left behind when the service is killed.
"""

from __future__ import annotations

import contextlib
import json
import logging
import queue
import subprocess
import sys
import threading
import time
from collections.abc import Sequence
from typing import IO, Any

log = logging.getLogger("loaftrace.clerk")
KEPT = 100
LONGEST_REST_S = 60.0


class Clerk:
    """Starts the process, tells it of each commit, and starts it again where it ended. command: what is run."""

    def __init__(self, command: Sequence[str]) -> None:
        self._command = tuple(command)
        self._notes: queue.Queue[str | None] = queue.Queue()
        self._process: subprocess.Popen[str] | None = None
        self._stop = threading.Event()
        self._thread = threading.Thread(target=self._run, name="clerk", daemon=True)

    def start(self) -> None:
        """Start the process and the thread that tells it."""
        self._thread.start()

    def note(self, said: dict[str, Any]) -> None:
        """Tell it of a commit; never waits. Of many untold ones the oldest are let go: pages are made from the store."""
        while self._notes.qsize() >= KEPT:
            self._notes.get_nowait()
        self._notes.put(json.dumps(said))

    @property
    def alive(self) -> bool:
        """Whether the process runs."""
        return self._process is not None and self._process.poll() is None

    def stop(self, within_s: float = 20.0) -> None:
        """Let it finish the page it is writing, then end."""
        self._stop.set()
        self._notes.put(None)
        if self._thread.is_alive():
            self._thread.join(within_s)
        process = self._process
        if process is None:
            return
        try:
            process.wait(within_s)
        except subprocess.TimeoutExpired:
            process.kill()

    def _run(self) -> None:
        rest = 1.0
        while not self._stop.is_set():
            began = time.monotonic()
            try:
                self._serve_one()
            except Exception:  # whatever it is, pages must not stop for good
                log.exception("the process that writes pages could not be told")
            if self._stop.is_set():
                return
            rest = 1.0 if time.monotonic() - began > LONGEST_REST_S else min(rest * 2, LONGEST_REST_S)
            log.error("the process that writes pages and Prefect's record ended; it is started again in %.0f s", rest)
            self._stop.wait(rest)

    def _serve_one(self) -> None:
        """Start the process and tell it until it or the service ends."""
        self._process = subprocess.Popen(
            [sys.executable, "-m", *self._command],
            stdin=subprocess.PIPE,
            stdout=subprocess.DEVNULL,
            stderr=subprocess.PIPE,
            text=True,
            encoding="utf-8",
            errors="replace",
        )
        threading.Thread(target=_relay, args=(self._process,), daemon=True).start()
        pipe = self._process.stdin
        assert pipe is not None
        try:
            self._tell(self._process, pipe)
        finally:
            with contextlib.suppress(OSError):  # what an ended process did not take cannot be flushed
                pipe.close()
            if not self._stop.is_set():  # never two at once
                self._process.kill()
                self._process.wait()

    def _tell(self, process: subprocess.Popen[str], pipe: IO[str]) -> None:
        while process.poll() is None:
            try:
                said = self._notes.get(timeout=1.0)
            except queue.Empty:
                continue
            if said is None:
                return
            try:
                pipe.write(said + "\n")
                pipe.flush()
            except OSError:
                self._notes.put(said)
                return


def _relay(process: subprocess.Popen[str]) -> None:
    """What the process complains of stands in the service's log, the one place for it."""
    pipe = process.stderr
    assert pipe is not None
    with pipe:
        for line in pipe:
            if line.strip():
                log.warning("%s", line.rstrip())
