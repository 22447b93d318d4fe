"""The one thread that writes the store while a service runs: it takes what is dropped, and does what people ask for, in turn."""

from __future__ import annotations

import logging
import queue
import threading
import time
from collections.abc import Callable
from concurrent.futures import Future
from dataclasses import replace
from typing import TYPE_CHECKING, Any

from flows.floor import taking
from flows.floor.watch import Watch
from models.judging import checks

if TYPE_CHECKING:
    from datetime import datetime

    from flows.floor.taking import Act, Committed
    from flows.steps import Job
    from models.floor.view import View
    from models.shapes import Charted

log = logging.getLogger("loaftrace.owner")
# between two looks into the folder: at most this share of the time is spent on looking
LOOKING_SHARE, LONGEST_PAUSE_S = 0.1, 2.0
AGAIN_AFTER_S = 5.0
Told = Callable[["Committed"], None]


class Owner:
    """Owns the store of one plant. told: called in the owner's thread after each commit; before: before each look into the
    folder. view: as last committed.
    """

    def __init__(self, job: Job, told: Told, before: Callable[[], None], every_s: float = 0.1) -> None:
        self.job, self._told, self._before, self._every_s = job, told, before, every_s
        self._watch = Watch(job.logs, job.is_ours)
        self._asked: queue.Queue[tuple[Callable[[], Any], Future[Any]] | None] = queue.Queue()
        self._stop = threading.Event()
        self._thread = threading.Thread(target=self._run, name="owner", daemon=True)
        self._charted: tuple[Charted, ...] = ()
        self._version = 0
        self._not_before = 0.0
        self._scan_s = 0.0
        self.view: View | None = None
        self.trouble: str | None = None
        self.taken_at: datetime | None = None
        self.looked_at: datetime | None = None

    def begin(self) -> None:
        """Read the store as it is and take what lies in the folder; then go on in a thread. Raises what keeps it from either."""
        checks.load_suite()  # else the first drop would wait for it
        self._commit(lambda: taking.first(self.job, self._version + 1))
        self._look()
        self._thread.start()

    def stop(self, within_s: float = 30.0) -> None:
        """Finish what is under way, then stop. What was asked for and not begun fails with a line that says so."""
        self._stop.set()
        self._asked.put(None)
        if self._thread.is_alive():
            self._thread.join(within_s)
        while not self._asked.empty():
            asked = self._asked.get_nowait()
            if asked is not None:
                asked[1].set_exception(RuntimeError("the service is stopping; nothing was recorded, do it again later"))

    @property
    def alive(self) -> bool:
        """Whether the thread runs."""
        return self._thread.is_alive()

    def act(self, doing: Act) -> Future[Any]:
        """Record what a person did, in its turn; the future gives what `doing` returned, once it is committed."""
        return self._ask(
            lambda: self._commit(lambda: taking.act(self.job, self._version + 1, self._charted, doing)).answer
        )

    def take(self, **changes: Any) -> Future[Any]:
        """Look into the folder now (or take another job's: `changes` of the job), in its turn; gives the files' outcomes."""
        job = replace(self.job, only=None, **changes)
        return self._ask(
            lambda: self._commit(lambda: taking.take(job, self._version + 1, self._charted), took=True).files
        )

    def _ask(self, call: Callable[[], Any]) -> Future[Any]:
        future: Future[Any] = Future()
        if self._stop.is_set():
            future.set_exception(RuntimeError("the service is stopping; nothing was recorded, do it again later"))
        else:
            self._asked.put((call, future))
        return future

    def _run(self) -> None:
        pause = self._every_s
        while not self._stop.is_set():
            try:
                asked = self._asked.get(timeout=pause)
            except queue.Empty:
                asked = None
            if asked is not None:
                self._answer(*asked)
                continue
            self._look_safely()
            pause = min(max(self._every_s, self._scan_s * (1 / LOOKING_SHARE - 1)), LONGEST_PAUSE_S)

    def _answer(self, call: Callable[[], Any], future: Future[Any]) -> None:
        if not future.set_running_or_notify_cancel():
            return
        try:
            future.set_result(call())
        except Exception as error:
            future.set_exception(error)

    def _look_safely(self) -> None:
        """A full disk or a folder that is away for a moment is said on the board, and tried again."""
        if time.monotonic() < self._not_before:
            return
        try:
            self._look()
        except Exception as error:
            line = " ".join(str(error).split()) or type(error).__name__
            if self.trouble != line:
                log.error("%s", line, exc_info=error)
            self.trouble = line
            self._not_before = time.monotonic() + AGAIN_AFTER_S

    def _look(self) -> None:
        self._before()
        began = time.monotonic()
        new = self._watch.changed()
        self._scan_s = time.monotonic() - began
        self.looked_at = taking.utc_now()
        if new:
            states = self._watch.states(new)
            job = replace(self.job, only=frozenset(states))
            committed = self._commit(lambda: taking.take(job, self._version + 1, self._charted), took=True)
            self._watch.settle({name: states[name] for name in states if name not in _not_yet(committed)})
        self.trouble = None

    def _commit(self, doing: Callable[[], Committed], took: bool = False) -> Committed:
        committed = doing()
        self._version += 1
        if committed.charted is not None:
            self._charted = committed.charted
        self.view = committed.view
        if took:
            self.taken_at = committed.view.as_of
        self._told(committed)
        return committed


def _not_yet(committed: Committed) -> frozenset[str]:
    """Files that were still being written, to be looked at again without their state changing."""
    from models.reader.inbox import STILL_WRITTEN

    return frozenset(file["file"] for file in committed.files if file["why"] == STILL_WRITTEN)
