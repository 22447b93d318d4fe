"""The clerk's process: `python -m flows.floor.records PLANT LOGS STORE OUT [--prefect]`; told of commits on its standard input.

With --prefect it starts a Prefect server (or uses the one PREFECT_API_URL names), serves the schedules there and runs
the writing of pages as a flow; without, it only writes pages. It ends with its standard input.
"""

from __future__ import annotations

import json
import logging
import os
import signal
import sys
import threading
from collections.abc import Callable
from contextvars import copy_context
from pathlib import Path
from queue import Empty, SimpleQueue
from typing import Any

from flows.quiet import quiet

log = logging.getLogger("loaftrace.records")
PULL_EVERY = "*/15 * * * *"


def main(argv: list[str]) -> int:
    """Serve until standard input ends."""
    quiet()
    logging.basicConfig(level=logging.WARNING, format="%(name)s: %(message)s")  # the service puts the time before it
    if hasattr(os, "nice"):
        os.nice(10)  # the board goes first
    with_prefect = "--prefect" in argv
    places = [Path(part) for part in argv if part != "--prefect"]
    told: SimpleQueue[dict[str, Any] | None] = SimpleQueue()
    events: SimpleQueue[dict[str, Any]] = SimpleQueue()
    threading.Thread(target=_listen, args=(told, events if with_prefect else None), daemon=True).start()
    try:
        if not with_prefect:
            _write(told, places, recorded=False)
            return 0
        return _with_prefect(told, events, places)
    except KeyboardInterrupt:
        return 0


def _listen(told: SimpleQueue[dict[str, Any] | None], events: SimpleQueue[dict[str, Any]] | None) -> None:
    """Commits, of which the newest counts, apart from events, each of which does. events: None where nobody hears them."""
    for line in sys.stdin:
        said = json.loads(line)
        if "event" not in said:
            told.put(said)
        elif events is not None:
            events.put(said)
    told.put(None)


def _emit(events: SimpleQueue[dict[str, Any]]) -> None:
    from flows.telling import notifying

    while True:
        said = events.get()
        notifying.emit(said["event"], said["alert"], said["payload"])


def _with_prefect(
    told: SimpleQueue[dict[str, Any] | None], events: SimpleQueue[dict[str, Any]], places: list[Path]
) -> int:
    """The server's life: begun here unless one is configured, ended with standard input."""
    from contextlib import nullcontext

    from flows import pipeline

    plant, logs, store, out = places
    home = store.with_name(store.name + ".prefect")
    server = nullcontext() if os.environ.get("PREFECT_API_URL") else pipeline.local_server(log.info, home)
    with server:
        _try(pipeline.reach_server)  # before there are two threads that would each start one
        here = copy_context()  # a thread of its own would know nothing of this server
        writer = threading.Thread(target=lambda: here.run(_write_and_end, told, places), daemon=True)
        writer.start()
        speaker = copy_context()
        threading.Thread(target=lambda: speaker.run(_emit, events), daemon=True).start()
        _try(lambda: pipeline.serve(plant, logs, store, out, PULL_EVERY))
        writer.join()  # where Prefect does not work, pages are written all the same
    return 0


def _try(doing: Callable[[], None]) -> None:
    try:
        doing()
    except Exception as error:
        log.error("Prefect does not work: %s", " ".join(str(error).split()) or type(error).__name__)


def _write_and_end(told: SimpleQueue[dict[str, Any] | None], places: list[Path]) -> None:
    try:
        _write(told, places, recorded=True)
    finally:
        os.kill(os.getpid(), signal.SIGINT)  # what serves the schedules waits in the main thread


def _write(told: SimpleQueue[dict[str, Any] | None], places: list[Path], recorded: bool) -> None:
    """Write what is due whenever a commit is told, the last of several at once."""
    while (said := _latest(told)) is not None:
        try:
            _one(said, places, recorded)
        except Exception as error:
            log.error("pages wait for the next commit: %s", " ".join(str(error).split()))


def _one(said: dict[str, Any], places: list[Path], recorded: bool) -> None:
    from flows import work
    from flows.job import read_job

    plant, logs, store, out = places
    job = read_job(plant, logs, store, out)
    if not recorded:
        work.print_due(job)
        return
    from flows import pipeline

    try:
        pipeline.record(job, said)
    except Exception as error:
        log.error("Prefect did not record this: %s", " ".join(str(error).split()))
        work.print_due(job)


def _latest(told: SimpleQueue[dict[str, Any] | None]) -> dict[str, Any] | None:
    """The newest that was told; waits for one. None: standard input has ended, and nothing is left to write."""
    said = told.get()
    while said is not None:
        try:
            newer = told.get_nowait()
        except Empty:
            break
        if newer is None:
            told.put(None)
            break
        said = newer
    return said


if __name__ == "__main__":
    raise SystemExit(main(sys.argv[1:]))
