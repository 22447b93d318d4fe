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
from models.texts import texts

if TYPE_CHECKING:
    from datetime import datetime

    from flows.floor.taking import Act, Committed
    from flows.job import Job
    from models.floor.view import View
    from models.shapes import Charted

log = logging.getLogger("loaftrace.owner")
# between two looks into the folder: at most this share of the time is spent on looking
LOOKING_SHARE, LONGEST_PAUSE_S = 0.1, 2.0
AGAIN_AFTER_S = 5.0
Told = Callable[["Committed"], None]


class Owner:
    """Owns the store of one plant. view: as last committed. All that it calls, it calls in its own thread.

    told: after each commit, at once; published: once readers have it; before: before each look into the folder.
    """

    def __init__(
        self,
        job: Job,
        told: Told,
        published: Told | None = None,
        before: Callable[[], None] | None = None,
        every_s: float = 0.1,
    ) -> None:
        self.job, self._told, self._published, self._before, self._every_s = job, told, published, before, every_s
        self._unpublished: Committed | None = None
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
        as_it_is = taking.first(self.job, self._version + 1)
        self._show(as_it_is)
        self._settle(as_it_is, "")
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
                asked[1].set_exception(_stopping())

    @property
    def alive(self) -> bool:
        """Whether the thread runs."""
        return self._thread.is_alive()

    def act(self, doing: Act) -> Future[Any]:
        """Record what a person did, in its turn; the future gives what `doing` returned, once it is committed."""
        return self._ask(
            lambda: (
                self._commit(lambda: taking.act(self.job, self._version + 1, self._charted, doing, self._show)).answer
            )
        )

    def take(self, **changes: Any) -> Future[Any]:
        """Look into the folder now (or take another job's: `changes` of the job), in its turn; gives the files' outcomes."""
        job = replace(self.job, only=None, **changes)
        return self._ask(
            lambda: self._commit(lambda: taking.take(job, self._version + 1, self._charted, self._show)).files
        )

    def _ask(self, call: Callable[[], Any]) -> Future[Any]:
        future: Future[Any] = Future()
        if self._stop.is_set():
            future.set_exception(_stopping())
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
        if self._before is not None:
            self._before()
        if self._unpublished is not None:
            self._settle(self._unpublished, taking.publish_again(self.job))
        began = time.monotonic()
        new = self._watch.changed()
        self._scan_s = time.monotonic() - began
        self.looked_at = taking.utc_now()
        if new:
            states = self._watch.states(new)
            job = replace(self.job, only=frozenset(states))
            committed = self._commit(lambda: taking.take(job, self._version + 1, self._charted, self._show))
            self._watch.settle({name: states[name] for name in states if name not in _not_yet(committed)})
        if self._unpublished is None:
            self.trouble = None

    def _commit(self, doing: Callable[[], Committed]) -> Committed:
        committed = doing()
        self._settle(committed, committed.unpublished)
        return committed

    def _show(self, committed: Committed) -> None:
        """It is committed: whatever comes after it, the board shows it."""
        self._version += 1
        if committed.charted is not None:
            self._charted = committed.charted
        self.view = committed.view
        if committed.files:
            self.taken_at = committed.view.as_of
        self._told(committed)

    def _settle(self, committed: Committed, unpublished: str) -> None:
        """Readers have it, or wait for it until there is room."""
        self._unpublished = committed if unpublished else None
        if unpublished:
            fresh = self.trouble != unpublished
            self.trouble, self._not_before = unpublished, time.monotonic() + AGAIN_AFTER_S
            if fresh:
                log.error("%s", unpublished)
        elif self._published is not None:
            self._published(committed)


def _stopping() -> RuntimeError:
    return RuntimeError(texts("refused")["why"]["stopping"])


def _not_yet(committed: Committed) -> frozenset[str]:
    """Files that were still being written, to be looked at again without their state changing."""
    from models.reader.inbox import STILL_WRITTEN

    return frozenset(file["file"] for file in committed.files if file["why"] == STILL_WRITTEN)
