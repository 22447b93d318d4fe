"""What the owner of the store does with it: each is one transaction, and gives the board's view after it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Any

from flows import pulling, steps, work

if TYPE_CHECKING:
    import duckdb

    from flows.job import Job
    from models.floor.view import View
    from models.shapes import Charted

Act = Callable[["duckdb.DuckDBPyConnection", "Job", int], Any]


@dataclass(frozen=True)
class Committed:
    """What one transaction gave. files: of the contract's result, of a take; answer: of an act; charted: None where it is as before.

    unpublished: why readers have not been given it yet, "" where they have.
    """

    view: View
    files: tuple[dict[str, Any], ...] = ()
    answer: Any = None
    charted: tuple[Charted, ...] | None = None
    acted: bool = False
    unpublished: str = ""


Shown = Callable[[Committed], None]


def _nobody(_: Committed) -> None:
    """Nobody waits for it."""


def utc_now() -> datetime:
    """Now, naive UTC as everywhere in the program."""
    return datetime.now(UTC).replace(tzinfo=None)


def take(job: Job, version: int, charted: tuple[Charted, ...], shown: Shown = _nobody) -> Committed:
    """Take what is new in the folder (`job.only`), judge, chart and raise alerts. charted: as it was before.

    shown: called as soon as it is committed, before the store is published to readers.
    """
    from models.storage import ledger, store, viewing

    con = store.open_for_writing(job.store)
    try:
        run = ledger.last_run(con) + 1
        with store.transaction(con):
            pulled = pulling.pull(con, job, run)
            worked, _ = work.work_out(con, job, pulled, work.plainly)
            new = None if worked is None else worked.charted
        view = viewing.view(con, job.plant, version, utc_now(), charted if new is None else new)
        committed = Committed(view, tuple(pulled.files), None, new)
        shown(committed)
        return replace(committed, unpublished=_published(con, job))
    finally:
        con.close()


def act(job: Job, version: int, charted: tuple[Charted, ...], doing: Act, shown: Shown = _nobody) -> Committed:
    """What a person did: recorded in one transaction. doing: called with the store, the job and the number of the last run."""
    from models.storage import ledger, store, viewing

    con = store.open_for_writing(job.store)
    try:
        with store.transaction(con):
            answer = doing(con, job, ledger.last_run(con) + 1)
        view = viewing.view(con, job.plant, version, utc_now(), charted)
        committed = Committed(view, answer=answer, acted=True)
        shown(committed)
        return replace(committed, unpublished=_published(con, job))
    finally:
        con.close()


def publish_again(job: Job) -> str:
    """What a full disk kept from readers; gives what is still in the way, "" where nothing is."""
    from models.storage import store

    con = store.open_for_writing(job.store)
    try:
        return _published(con, job)
    finally:
        con.close()


def _published(con: duckdb.DuckDBPyConnection, job: Job) -> str:
    """Close the store and give readers its copy. What is in the way undoes no commit: it is said, and tried again."""
    from models.storage import store

    try:
        store.close(con)
        steps.publish(job)
    except (OSError, store.StoreError) as error:
        return f"reports wait: {' '.join(str(error).split())}"
    return ""


def first(job: Job, version: int) -> Committed:
    """The store as it is, charted from its baselines: what a service that was away begins with."""
    from models.alarms.charting import chart_plant
    from models.charts.parted import of_pages
    from models.storage import ledger, store, viewing

    con = store.open_for_writing(job.store, wait_s=10)
    try:
        rows = steps.rows(con)
        charts = chart_plant(job.plant, rows.pastes, rows.batches, ledger.baselines(con))
        charted = of_pages(one for one, _ in charts)
        view = viewing.view(con, job.plant, version, utc_now(), charted)
    finally:
        con.close()
    return Committed(view, charted=charted)
