"""The last steps: which pages are due, what they are made from, and that they are written."""

from __future__ import annotations

import json
from collections.abc import Iterable
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

from flows import steps
from flows.job import version
from models.collecting import nothing_collected
from models.sharing import Share, one_by_one

if TYPE_CHECKING:
    import duckdb

    from flows.job import Job
    from flows.pulling import Pulled
    from models.snapshot import Snapshot
    from reports.pages import Printed


def show_again(con: duckdb.DuckDBPyConnection, changed_alerts: set[str], run: int) -> None:
    """Pages printed before show charts and alerts as they are now."""
    from models.storage import ledger

    printed = {page for page in ledger.pages(con) if page.startswith(("day:", "month:"))}
    ledger.keep_pages(con, printed | {f"alert:{name}" for name in changed_alerts}, run)


# day pages that a run prints by itself: the newest days it touched, and any it touched that were printed before
NEWEST_DAYS = 7


def list_pages(con: duckdb.DuckDBPyConnection, pulled: Pulled, changed_alerts: set[str]) -> None:
    """Note which pages this run's rows change."""
    from models.storage import ledger

    days = sorted(pulled.shift_dates)
    printed = {page.removeprefix("day:") for page in ledger.pages(con) if page.startswith("day:")}
    names = {f"day:{day}" for day in days if day in printed or day in days[-NEWEST_DAYS:]}
    names |= {f"month:{day[:7]}" for day in days}
    names |= {f"alert:{name}" for name in changed_alerts}
    ledger.keep_pages(con, names, pulled.run)


def pages_due(con: duckdb.DuckDBPyConnection, job: Job) -> dict[str, int]:
    """Pages whose figures are newer than what lies in the reports folder: page -> run."""
    from models.storage import ledger

    written = _written(job.out)
    return {page: run for page, run in ledger.pages(con).items() if written.get(page, 0) < run}


def _written(out: Path) -> dict[str, int]:
    try:
        return json.loads((out / WRITTEN).read_text(encoding="utf-8"))
    except (FileNotFoundError, json.JSONDecodeError):
        return {}


WRITTEN = ".written.json"


def picture(
    con: duckdb.DuckDBPyConnection, job: Job, worked: steps.Worked | None, pages: Iterable[str] = ()
) -> Snapshot:
    """What these pages are made from; charts go on from where they had come where this run did not draw them (None)."""
    from models.charts.parted import of_pages
    from models.storage import gather, ledger, memo

    if worked is None:
        rows = steps.rows(con)
        charted = steps.charts(job, rows, ledger.baselines(con), memo.load(con, "chart"))
        worked = steps.Worked(rows, of_pages(one.charted for one in charted), gather.excluded(con))
    days, months = ([page.removeprefix(kind) for page in pages if page.startswith(kind)] for kind in ("day:", "month:"))
    return gather.snapshot(
        con,
        job.plant,
        version(),
        worked.rows,
        worked.charted,
        tuple(ledger.stored_alerts(con)),
        worked.excluded,
        days,
        months,
    )


def write_pages(job: Job, snapshot: Snapshot, due: dict[str, int], share: Share = one_by_one) -> list[str]:
    """Write the pages that are due, then note that they are; returns their paths. share: who makes which page."""
    from reports import pages

    for left in job.out.glob("*.part"):  # of a run that was interrupted while it wrote
        left.unlink(missing_ok=True)
    kept = share(partial(printed, snapshot, job.single_file), sorted(due), partial(pages.keep, folder=job.out))
    if not job.single_file:
        pages.write_index(job.out)
    part = job.out / f"{WRITTEN}.part"
    part.write_text(json.dumps(_written(job.out) | due, sort_keys=True), encoding="utf-8")
    part.replace(job.out / WRITTEN)
    return [str(path) for path in kept]


def print_page(snapshot: Snapshot, page: str, out: Path, single_file: bool) -> Path:
    """One page of the reports: day:2026-05-06, month:2026-05 or alert:<id>."""
    from reports import pages

    return pages.write(printed(snapshot, single_file, page), out)


def printed(snapshot: Snapshot, single_file: bool, page: str) -> Printed:
    """The same, before it lies in its folder."""
    from models.pages.day import day
    from models.pages.month import month
    from reports import pages

    what, _, name = page.partition(":")
    # a page is one large tree, needed whole until it is written
    with nothing_collected():
        if what == "day":
            return pages.day_page(day(snapshot, name), single_file=single_file)
        if what == "month":
            return pages.month_page(month(snapshot, name), single_file=single_file)
        return pages.alert_page(snapshot, name, single_file=single_file)
