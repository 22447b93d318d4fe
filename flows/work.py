"""One run of the main job, step by step; the same for a plain run and for one under Prefect.

All that changes the store happens in one transaction: an interrupted run leaves it as it was. Pages are
written afterwards, from what was committed; those an interrupted run did not reach are written by the next.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING, Any

from flows import steps

if TYPE_CHECKING:
    import duckdb

    from flows.baselines import ChosenBaseline
    from flows.steps import Job, Pulled
    from models.shapes import Charted
    from models.storage.cases import CaseEvent

Step = Callable[..., Any]
Wrap = Callable[[Step], Step]


def plainly(step: Step) -> Step:
    """Run a step as it is."""
    return step


def work(job: Job, do: Wrap = plainly) -> dict[str, Any]:
    """Take what is new, work it out, write the pages; returns the contract's result. `do` wraps each step."""
    from models.storage import ledger, store

    con = store.open_for_writing(job.store)
    try:
        run = ledger.last_run(con) + 1
        with store.transaction(con):
            pulled = do(steps.pull)(con, job, run)
            charted = _work_out(con, job, pulled, do)
        due, picture = _picture(con, job, charted, do)
        result = steps.summary(con, job, pulled)
    finally:
        con.close()
    result["reports"] = _print(job, due, picture, do)
    return result


def record_case(job: Job, event: CaseEvent) -> list[str]:
    """Record what a person did with an alert, and print the pages that show it; returns their paths."""
    from models.storage import ledger, store

    con = store.open_for_writing(job.store)
    try:
        with store.transaction(con):
            steps.note_case(con, job, event, ledger.last_run(con) + 1)
        due, picture = _picture(con, job, None, plainly)
    finally:
        con.close()
    return _print(job, due, picture, plainly)


def set_baseline(job: Job, chosen: ChosenBaseline) -> list[str]:
    """Freeze a baseline that a person chose, chart anew from it, and print the pages that change; returns their paths."""
    from models.storage import ledger, store

    con = store.open_for_writing(job.store)
    try:
        with store.transaction(con):
            run = ledger.last_run(con) + 1
            steps.keep_baseline(con, job, chosen, run)
            charted = steps.chart(con, job, run)
            steps.show_again(con, steps.alert(con, job, charted, run), run)
        due, picture = _picture(con, job, charted, plainly)
    finally:
        con.close()
    return _print(job, due, picture, plainly)


def _picture(
    con: duckdb.DuckDBPyConnection, job: Job, charted: tuple[Charted, ...] | None, do: Wrap
) -> tuple[dict[str, int], Any]:
    """Which pages are due, and what they are made from; the store is whole on disk after this."""
    due = steps.pages_due(con, job)
    picture = do(steps.picture)(con, job, charted, tuple(due)) if due else None
    con.execute("CHECKPOINT")
    return due, picture


def _print(job: Job, due: dict[str, int], picture: Any, do: Wrap) -> list[str]:
    steps.publish(job)
    return do(steps.write_pages)(job, picture, due) if picture is not None else []


def _work_out(con: duckdb.DuckDBPyConnection, job: Job, pulled: Pulled, do: Wrap) -> tuple[Charted, ...] | None:
    """What the new rows change: batches, findings, charts, alerts, and which pages show it."""
    if pulled.touched is None:
        return None
    do(steps.judge)(con, job, pulled.touched)
    charted = do(steps.chart)(con, job, pulled.run)
    changed = do(steps.alert)(con, job, charted, pulled.run)
    steps.list_pages(con, job, pulled, changed)
    return charted
