"""The steps between taking logs in and printing pages, as plain functions; each returns what it did. Prefect only wraps them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from flows import pulling
from flows.job import version
from models.sharing import Share, one_by_one

if TYPE_CHECKING:
    import duckdb
    import pandas as pd

    from flows.baselines import ChosenBaseline
    from flows.job import Job
    from flows.pulling import Pulled
    from models.alarms.charting import Gone
    from models.alarms.kept import Kept
    from models.alarms.raising import Found
    from models.alarms.short_weight import Load
    from models.plant import Plant
    from models.shapes import Alert, Baseline, Charted, Stream
    from models.storage.account import Touched
    from models.storage.cases import CaseEvent
    from models.storage.wide import Wide


@dataclass(frozen=True)
class Worked:
    """Batches, charts and rows left out as a run leaves them: what its pages need, and it has at hand."""

    rows: Wide
    charted: tuple[Charted, ...]
    excluded: pd.DataFrame


def judge(con: duckdb.DuckDBPyConnection, job: Job, touched: Touched) -> set[str]:
    """Work touched batches out again and hold them against *is this good?*. Call inside the same transaction.

    Returns the production days of batches that no row touched and of which something else is said all the same.
    """
    from models.judging import findings
    from models.storage import awaited, wide

    before = awaited.days_in_doubt(con)
    pastes, batches = wide.refresh(con, job.plant, touched)
    findings.replace(con, "pastes", awaited.beside(con, pastes, touched), job.plant)
    findings.replace(con, "batches", batches, job.plant)
    return {day for day, _ in before ^ awaited.days_in_doubt(con)}


def rows(con: duckdb.DuckDBPyConnection) -> Wide:
    """All wide rows as they are now."""
    from models.storage import wide

    return wide.whole(con)


def chart(
    con: duckdb.DuckDBPyConnection, job: Job, wide: Wide, run: int, share: Share = one_by_one
) -> tuple[Charted, ...]:
    """Chart every stream from where it had come; freeze the baselines that have learned enough. share: who charts which."""
    from models.charts import past
    from models.charts.parted import of_pages
    from models.storage import ledger, memo

    frozen = ledger.baselines(con)
    kept = memo.load(con, "chart")
    gone = charts(job, wide, frozen, kept, share)
    for one in gone:
        base = one.charted.baseline
        if one.charted.stream not in frozen and base is not None and not base.learning:
            ledger.keep_baseline(con, one.charted.stream, base, one.arl0, run)
    mine = memo.made_by(version())
    pieces = {ledger.stream_text(one.charted.stream): (mine, past.to_text(one.last)) for one in gone}
    memo.keep(con, "chart", pieces, kept)
    return of_pages(one.charted for one in gone)


def charts(
    job: Job,
    wide: Wide,
    frozen: dict[Stream, tuple[Baseline, float]],
    kept: dict[str, tuple[str, str]],
    share: Share = one_by_one,
) -> list[Gone]:
    """Every stream charted, going on from what is kept."""
    from models.alarms.charting import go_on
    from models.charts import past
    from models.storage import ledger, memo

    mine = memo.made_by(version())
    lasts = {ledger.stream_of(name): past.from_text(body) for name, (key, body) in kept.items() if key == mine}
    return go_on(job.plant, wide.pastes, wide.batches, frozen, lasts, share)


def alert(
    con: duckdb.DuckDBPyConnection,
    job: Job,
    wide: Wide,
    charted: tuple[Charted, ...],
    run: int,
) -> set[str]:
    """Raise, go on with or end alerts; returns the names of those that are new or changed."""
    from models.alarms.alerts import reconcile
    from models.alarms.kept import Kept
    from models.alarms.raising import raise_alerts
    from models.storage import cases, gather, holds, ledger, memo

    traces, weights = memo.load(con, "trace"), memo.load(con, "weight")
    made_by = f"{memo.made_by(version())} {ledger.fact(con, 'plant_sha256')}"
    kept = Kept(made_by, gather.digests(con), traces, weights)
    found = _found(con, job, wide, charted, kept)
    raised = raise_alerts(job.plant, found, kept)
    memo.keep(con, "trace", kept.traces_now, traces)
    memo.keep(con, "weight", kept.weights_now, weights)
    current = cases.applied(reconcile(raised, ledger.stored_alerts(con)), cases.events(con))
    holds.keep_raised(con, current, found.newest)
    return {one.alert for one in ledger.keep_alerts(con, current, run)}


def _found(
    con: duckdb.DuckDBPyConnection, job: Job, wide: Wide, charted: tuple[Charted, ...], kept: Kept
) -> Found:
    """What alerts are raised from; loaves are read of the days that have to be weighed again only."""
    from models.alarms.raising import Found
    from models.alarms.short_weight import weigh_kept
    from models.storage import gather

    checks = gather.log(con, "check")
    weighed = weigh_kept(job.plant, wide.batches, checks, _to_weigh(con, job.plant), kept)
    return Found(
        pastes=wide.pastes,
        batches=wide.batches,
        findings=gather.findings(con),
        changes=gather.log(con, "change"),
        checks=checks,
        charted=charted,
        newest=gather.newest(con),
        weighed=tuple(weighed),
    )


def _to_weigh(con: duckdb.DuckDBPyConnection, plant: Plant) -> Load:
    """Loads what is weighed of some production days: their loaves and output."""
    from models.storage import gather, weighings

    def load(days: list[str]) -> tuple[pd.DataFrame, pd.DataFrame]:
        return weighings.of_days(con, plant, days), gather.output_of(con, days)

    return load


def note_case(con: duckdb.DuckDBPyConnection, event: CaseEvent, run: int) -> None:
    """Record what a person did with an alert; the pages that show it are due again. Call inside a transaction."""
    from models.storage import cases, ledger

    before = ledger.stored_alerts(con)
    cases.record(con, event, before)
    changed = ledger.keep_alerts(con, cases.applied(before, cases.events(con)), run)
    printed = ledger.pages(con)
    newest = max((page for page in printed if page.startswith("day:")), default="")
    shown = _shown(changed, event) | {newest}
    ledger.keep_pages(con, {f"alert:{event.alert}"} | (shown & set(printed)), run)
    pulling.store_changed(con, run)


def _shown(changed: Sequence[Alert], event: CaseEvent) -> set[str]:
    """Pages that show an act: of its alert, of those that tell its finding as the last time; the month of what was closed.

    How often calls of a group were right changes beside every open one: those pages are not printed for that alone.
    """
    telling = [one for one in changed if one.alert == event.alert or any(event.alert in said for said in one.last_time)]
    days = {at.date() for one in telling for at in (one.began_at, one.until_at)}
    months = {f"month:{day:%Y-%m}" for day in days} if event.found else set()
    return {f"alert:{one.alert}" for one in telling} | {f"day:{day}" for day in days} | months


def keep_baseline(con: duckdb.DuckDBPyConnection, job: Job, chosen: ChosenBaseline, run: int) -> None:
    """Freeze a baseline a person chose for one chart. Call inside a transaction. Raises ValueError for a stretch that cannot be one.

    A line's new usual volume is one for what every line is beside it, too: those begin anew with the same days.
    """
    from models.alarms.charting import chart_plant
    from models.charts import beside
    from models.charts.baseline import chosen as fitted
    from models.storage import ledger

    frozen, wide = ledger.baselines(con), rows(con)
    charted = chart_plant(job.plant, wide.pastes, wide.batches, frozen)
    one, arl0 = next((one, arl0) for one, arl0 in charted if one.stream == chosen.stream)
    baseline = fitted(chosen.stream, one.points, chosen.first_key, chosen.last_key)
    found = [(chosen.stream, baseline, arl0)]
    if chosen.stream.characteristic == beside.OF:
        found += beside.anew(charted, baseline)
    for stream, of_it, length in found:
        ledger.keep_baseline(con, stream, of_it, length, run, chosen.who, chosen.because)
    pulling.store_changed(con, run)


def publish(job: Job) -> None:
    """Give readers the committed store, unless they have it."""
    from models.storage import store

    copy = store.reading_copy(job.store)
    if not copy.exists() or copy.stat().st_mtime_ns < job.store.stat().st_mtime_ns:
        store.publish(job.store)


def summary(con: duckdb.DuckDBPyConnection, job: Job, pulled: Pulled, worked: Worked | None = None) -> dict[str, Any]:
    """The contract's result, without the reports of this run. worked: what was worked out, where anything was."""
    from models.alarms import alerts
    from models.floor.holdsays import to_json
    from models.storage import account, gather, holds, ledger

    newest = gather.newest(con)
    return {
        "rows": account.count(con),
        "files": pulled.files,
        "quarantine": gather.quarantine(worked.excluded if worked else gather.excluded(con)),
        "alerts": [alerts.to_json(one, job.plant) for one in ledger.stored_alerts(con)],
        "holds": [to_json(one, job.plant, newest) for one in holds.holds(con, newest)],
        "reports": [],
    }
