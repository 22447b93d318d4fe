"""A process beside the service that writes its pages and keeps Prefect's record, after the board has shown what is new.

It is told over its standard input and ends with it, so that no server is left behind when the service is killed.
"""

from __future__ import annotations

import contextlib
import json
import logging
import subprocess
import sys
import threading
import time
from collections import deque
from collections.abc import Sequence
from typing import IO, Any

log = logging.getLogger("loaftrace.clerk")
KEPT = 10_000  # events that wait while the process is away: some 10 MB
LONGEST_REST_S = 60.0


class _Untold:
    """What the process has not been told yet: the newest commit, for pages are made from the store, and every event."""

    def __init__(self) -> None:
        self._changed = threading.Condition()
        self._commit: str | None = None
        self._events: deque[str] = deque()
        self._closed = False
        self.lost = 0

    def __len__(self) -> int:
        """Events that wait."""
        return len(self._events)

    def put(self, said: dict[str, Any]) -> None:
        """Never waits."""
        with self._changed:
            if "event" in said:
                self._events.append(json.dumps(said))
                self._let_go()
            else:
                self._commit = json.dumps(said)
            self._changed.notify()

    def close(self) -> None:
        """Nothing more is to be told than what waits."""
        with self._changed:
            self._closed = True
            self._changed.notify()

    def take(self, within_s: float) -> tuple[str, bool] | None:
        """What is to be told next, and whether it is an event; None where nothing came in time."""
        with self._changed:
            self._changed.wait_for(lambda: self._events or self._commit is not None or self._closed, within_s)
            if self._events:
                return self._events.popleft(), True
            said, self._commit = self._commit, None
            return None if said is None else (said, False)

    def give_back(self, said: str, is_event: bool) -> None:
        """It could not be told."""
        with self._changed:
            if is_event:
                self._events.appendleft(said)
                self._let_go()
            elif self._commit is None:
                self._commit = said

    def _let_go(self) -> None:
        while len(self._events) > KEPT:
            self._events.popleft()
            self.lost += 1
            if self.lost == 1:
                log.error("more than %d Prefect events wait for the process that sends them: the oldest are lost", KEPT)


class Clerk:
    """Starts the process, tells it of each commit, and starts it again where it ended. command: what is run."""

    def __init__(self, command: Sequence[str]) -> None:
        self._command = tuple(command)
        self._untold = _Untold()
        self._process: subprocess.Popen[str] | None = None
        self._stop = threading.Event()
        self._thread = threading.Thread(target=self._run, name="clerk", daemon=True)

    def start(self) -> None:
        """Start the process and the thread that tells it."""
        self._thread.start()

    def note(self, said: dict[str, Any]) -> None:
        """Tell it of a commit, or of an event (`said` has an `event`); never waits."""
        self._untold.put(said)

    @property
    def events(self) -> dict[str, int]:
        """Prefect's events that were not handed on yet, and those that never will be because too many waited."""
        return {"waiting": len(self._untold), "lost": self._untold.lost}

    @property
    def alive(self) -> bool:
        """Whether the process runs."""
        return self._process is not None and self._process.poll() is None

    def stop(self, within_s: float = 20.0) -> None:
        """Let it finish the page it is writing, then end."""
        self._stop.set()
        self._untold.close()
        if self._thread.is_alive():
            self._thread.join(within_s)
        if left := len(self._untold):
            log.warning("Prefect events not sent before the service stopped: %d", left)
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
            untold = self._untold.take(within_s=1.0)
            if untold is None:
                if self._stop.is_set():
                    return
                continue
            try:
                pipe.write(untold[0] + "\n")
                pipe.flush()
            except OSError:
                self._untold.give_back(*untold)
                return


def _relay(process: subprocess.Popen[str]) -> None:
    """What the process complains of stands in the service's log, the one place for it."""
    pipe = process.stderr
    assert pipe is not None
    with pipe:
        for line in pipe:
            if line.strip():
                log.warning("%s", line.rstrip())
