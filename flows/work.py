"""One run of the main job, step by step; the same for a plain run and for one under Prefect.

All that changes the store happens in one transaction: an interrupted run leaves it as it was. Pages are
written afterwards, from the published copy of what was committed; those an interrupted run did not reach are
written by the next. A service takes first, tells of the alerts, and prints the pages that are due later.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from flows import printing, pulling, steps
from flows.mate import Mate
from models.sharing import Share, one_by_one

if TYPE_CHECKING:
    import duckdb

    from flows.baselines import ChosenBaseline
    from flows.job import Job
    from flows.pulling import Pulled
    from models.storage.cases import CaseEvent

Step = Callable[..., Any]
Wrap = Callable[[Step], Step]


@dataclass(frozen=True)
class Taken:
    """What a run took in and committed. result: the contract's, no page written yet (`reports` is empty).

    changed: names of the alerts that are new or changed; due: page -> run, all that wait to be written; worked:
    batches and charts as committed, so that pages printed at once need not draw on the store for them (None: nothing was new).
    """

    result: dict[str, Any]
    changed: frozenset[str]
    due: dict[str, int]
    worked: steps.Worked | None = None


def plainly(step: Step) -> Step:
    """Run a step as it is."""
    return step


def work(job: Job, do: Wrap = plainly) -> dict[str, Any]:
    """Take what is new, work it out, write the pages; returns the contract's result. `do` wraps each step."""
    with Mate() as mate:
        taken = take(job, do, mate)
        return taken.result | {"reports": print_due(job, taken.worked, do, mate.shared)}


def take(job: Job, do: Wrap = plainly, mate: Mate | None = None) -> Taken:
    """Take what is new, chart it, raise its alerts, commit, and publish the store to readers; writes no page.

    mate: a process that does half of it where very much is new.
    """
    from models.storage import ledger, store

    con = store.open_for_writing(job.store)
    try:
        run = ledger.last_run(con) + 1
        with store.transaction(con):
            pulled = do(pulling.pull)(con, job, run, mate.expect if mate else pulling.nobody)
            worked, changed = work_out(con, job, pulled, do, mate.shared if mate else one_by_one)
        taken = Taken(steps.summary(con, job, pulled, worked), frozenset(changed), printing.pages_due(con, job), worked)
        con.execute("CHECKPOINT")
    finally:
        con.close()
    steps.publish(job)
    return taken


def print_due(job: Job, worked: steps.Worked | None = None, do: Wrap = plainly, share: Share = one_by_one) -> list[str]:
    """Write every page that is due, from the published copy of the store; returns their paths.

    worked: batches and charts of that very commit, where they are at hand; None: read from the store. share: who makes which. Needs no lock on the
    store: the next run may take in logs meanwhile, and leaves what it changes due again.
    """
    from models.storage import store

    con = store.open_for_reading(job.store)
    try:
        due = printing.pages_due(con, job)
        picture = do(printing.picture)(con, job, worked, tuple(due)) if due else None
    finally:
        con.close()
    return do(printing.write_pages)(job, picture, due, share) if picture is not None else []


def record_case(job: Job, event: CaseEvent) -> list[str]:
    """Record what a person did with an alert, and print the pages that show it; returns their paths."""
    from models.storage import ledger, store

    con = store.open_for_writing(job.store)
    try:
        with store.transaction(con):
            steps.note_case(con, event, ledger.last_run(con) + 1)
        con.execute("CHECKPOINT")
    finally:
        con.close()
    steps.publish(job)
    return print_due(job)


def set_baseline(job: Job, chosen: ChosenBaseline) -> list[str]:
    """Freeze a baseline that a person chose, chart anew from it, and print the pages that change; returns their paths."""
    from models.storage import gather, ledger, store

    con = store.open_for_writing(job.store)
    try:
        with store.transaction(con):
            run = ledger.last_run(con) + 1
            steps.keep_baseline(con, job, chosen, run)
            rows = steps.rows(con)
            charted = steps.chart(con, job, rows, run)
            printing.show_again(con, steps.alert(con, job, rows, charted, run), run)
            worked = steps.Worked(rows, charted, gather.excluded(con))
        con.execute("CHECKPOINT")
    finally:
        con.close()
    steps.publish(job)
    return print_due(job, worked)


def work_out(
    con: duckdb.DuckDBPyConnection, job: Job, pulled: Pulled, do: Wrap, share: Share = one_by_one
) -> tuple[steps.Worked | None, set[str]]:
    """What the new rows change: batches, findings, charts, alerts, and which pages show it."""
    from models.storage import gather

    if pulled.touched is None:
        return None, set()
    pulled.shift_dates |= do(steps.judge)(con, job, pulled.touched)
    rows = steps.rows(con)
    charted = do(steps.chart)(con, job, rows, pulled.run, share)
    changed = do(steps.alert)(con, job, rows, charted, pulled.run)
    printing.list_pages(con, pulled, changed)
    return steps.Worked(rows, charted, gather.excluded(con)), changed
