"""A second process that does half of the work where a run has very much of it: it is given plain data and answers with plain data.

It reads and writes no file and no store, and ends with its standard input: a run that is killed leaves nothing of it
behind. Where it cannot be started, ends before its time or hangs, its part is done here; the answers are the same.
"""

from __future__ import annotations

import contextlib
import os
import pickle
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterable, Iterator
from pathlib import Path
from typing import Any

from flows.quiet import quiet
from models.sharing import as_it_is, one_by_one

# new rows from which on a second process is worth the second or two of its start
WORTH_ROWS = 100_000
# how long its last item is waited for once the run has done its own half: so many times what that half took. At least the
# seconds beside it, in which a busy machine has it ready for its first; one that is given up costs its item twice, no more
PATIENCE, LEAST_WAIT_S = 5, 30.0


class Mate:
    """The second process, from the moment it is worth it to the end of the run."""

    def __init__(self) -> None:
        self._process: subprocess.Popen[bytes] | None = None

    def __enter__(self) -> Mate:
        return self

    def __exit__(self, *_: object) -> None:
        self.stop()

    def expect(self, rows: int) -> None:
        """So many rows are new: the process is started where that makes it worth it."""
        if rows >= WORTH_ROWS and self._process is None:
            self.start()

    def start(self) -> None:
        """Start it; it makes itself ready while this process goes on."""
        paths = [str(Path(__file__).parents[1]), *filter(None, [os.environ.get("PYTHONPATH")])]
        with contextlib.suppress(OSError):  # no process to be had: the run does without
            self._process = subprocess.Popen(
                [sys.executable, "-P", "-m", "flows.mate"],
                stdin=subprocess.PIPE,
                stdout=subprocess.PIPE,
                stderr=subprocess.DEVNULL,
                env={**os.environ, "PYTHONPATH": os.pathsep.join(paths)},
            )

    @property
    def pid(self) -> int | None:
        """Of the process, while there is one."""
        return self._process.pid if self._process else None

    def stop(self) -> None:
        """End it at once: nothing that was asked of it is waited for any more."""
        process, self._process = self._process, None
        if process is None:
            return
        process.kill()
        for pipe in (process.stdin, process.stdout):
            with contextlib.suppress(OSError):  # what it did not take cannot be flushed
                pipe.close()  # type: ignore[union-attr]
        process.wait()

    def shared(
        self, work: Callable[[Any], Any], items: Iterable[Any], then: Callable[[Any], Any] = as_it_is
    ) -> list[Any]:
        """As `models.sharing.Share`: each of the two takes the next item as soon as it has done one."""
        if self._process is None:
            return one_by_one(work, items, then)
        queue, found = _Queue(items), dict[int, Any]()
        told = _packed(WORK, work)
        beside = threading.Thread(target=self._its_part, args=(told, queue, found, then), name="mate")
        beside.start()
        began = time.monotonic()
        try:
            for place, item in queue:
                found[place] = then(work(item))
        finally:
            queue.close()
            self._wait_for(beside, PATIENCE * (time.monotonic() - began))
        if queue.failed is not None:
            raise queue.failed
        for place, item in queue.given_back:
            found[place] = then(work(item))
        return [found[place] for place in range(len(found))]

    def _wait_for(self, beside: threading.Thread, seconds: float) -> None:
        """Its last item, as long as is reasonable: one that hangs is killed, which gives back what it was asked."""
        beside.join(max(LEAST_WAIT_S, seconds))
        process = self._process
        if beside.is_alive() and process is not None:
            process.kill()
        beside.join()

    def _its_part(self, told: bytes, queue: _Queue, found: dict[int, Any], then: Callable[[Any], Any]) -> None:
        """Hand items over until none is left or the process is gone. told: the work, as it is sent."""
        try:
            for place, item in queue:
                done, answer = self._asked(told, item)
                if done:
                    found[place] = then(answer)
                else:  # it is tried here, where it fails as it should
                    queue.given_back.append((place, item))
                if self._process is None:
                    return
                told = b""
        except BaseException as error:
            queue.fail(error)

    def _asked(self, told: bytes, item: Any) -> tuple[bool, Any]:
        """Whether it was done, and the answer. told: the work, where it was not sent before."""
        process = self._process
        assert process is not None and process.stdin is not None and process.stdout is not None
        message = _packed(ITEM, item)
        try:
            process.stdin.write(told)
            process.stdin.write(message)
            process.stdin.flush()
            return pickle.load(process.stdout)
        except (OSError, EOFError, pickle.UnpicklingError):
            self.stop()
            return False, None


class _Queue(Iterator[tuple[int, Any]]):
    """Items with their place, for two who take them; given_back: those that one of them could not do."""

    def __init__(self, items: Iterable[Any]) -> None:
        self._items = enumerate(items)
        self._lock = threading.Lock()
        self._closed = False
        self.given_back: list[tuple[int, Any]] = []
        self.failed: BaseException | None = None

    def __next__(self) -> tuple[int, Any]:
        with self._lock:
            if self._closed:
                raise StopIteration
            try:
                return next(self._items)
            except StopIteration:
                raise
            except BaseException as error:
                self.fail(error)
                raise StopIteration from None

    def close(self) -> None:
        """Nobody takes one any more."""
        self._closed = True

    def fail(self, error: BaseException) -> None:
        """Something beside the work itself went wrong; it is raised in the thread that shares."""
        self.failed, self._closed = self.failed or error, True


WORK, ITEM = "work", "item"


def _packed(kind: str, thing: Any) -> bytes:
    return pickle.dumps((kind, thing), pickle.HIGHEST_PROTOCOL)


def main() -> int:
    """The process's life: a function, then items for it, the next function; ends with standard input."""
    quiet()
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # the run that began it ends it
    answers = os.fdopen(os.dup(1), "wb")
    os.dup2(2, 1)  # what a library prints is no answer
    _make_ready()
    work: Callable[[Any], Any] = as_it_is
    while True:
        try:
            kind, thing = pickle.load(sys.stdin.buffer)
        except EOFError:
            return 0
        if kind == WORK:
            work = thing
            continue
        pickle.dump(_done(work, thing), answers, pickle.HIGHEST_PROTOCOL)
        answers.flush()


def _done(work: Callable[[Any], Any], item: Any) -> tuple[bool, Any]:
    try:
        return True, work(item)
    except Exception:  # whoever asked does it again, and says what is wrong
        return False, None


def _make_ready() -> None:
    """Import what it will be asked for, and the libraries that this uses, while the run reads the logs."""
    import numpy as np

    from flows import printing  # noqa: F401
    from models.alarms import charting, short_weight  # noqa: F401
    from models.charts.counts import counted
    from models.pages import day, month, notice  # noqa: F401
    from models.trade.netweight import mean_limit
    from reports import pages

    mean_limit(400.0, 5.0, 80)
    counted(np.ones(8), np.full(8, 9.0), proportion=True, arl0=100.0)
    pages.make_ready()


if __name__ == "__main__":
    raise SystemExit(main())
