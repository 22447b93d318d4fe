"""The steps of the main job as plain functions; each returns what it did. Prefect only wraps them."""

from __future__ import annotations

import gc
import hashlib
import json
import os
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import timedelta
from functools import cache, partial
from pathlib import Path
from typing import TYPE_CHECKING, Any

from flows import ahead
from models.sharing import Share, one_by_one

if TYPE_CHECKING:
    import duckdb
    import pandas as pd

    from flows.baselines import ChosenBaseline
    from models.alarms.charting import Gone
    from models.alarms.kept import Kept
    from models.alarms.raising import Found
    from models.alarms.short_weight import Load
    from models.plant import Plant
    from models.shapes import Baseline, Charted, Stream
    from models.snapshot import Snapshot
    from models.storage.account import Touched
    from models.storage.bulk import Taken
    from models.storage.cases import CaseEvent
    from models.storage.decisions import Decision
    from models.storage.take import Pending
    from reports.pages import Printed


@dataclass(frozen=True)
class Job:
    """What one run is told: where the plant file, the logs, the store and the reports are."""

    plant: Plant
    plant_text: str
    logs: Path
    store: Path
    out: Path
    single_file: bool = False
    decisions: tuple[Decision, ...] = ()
    only: frozenset[str] | None = None  # names below `logs`, where not all that lies there is looked at

    def is_ours(self, path: Path) -> bool:
        """Whether a file or folder is the store, lies beside it under its name, or holds the reports: never a log.

        So a store kept among the logs takes in neither itself nor its archive.
        """
        if path.name != self.out.name and not f"{path.name}.".startswith(f"{self.store.name}."):
            return False  # most files, at once: a plant's logs of years are asked about in every run
        path, store_file, out = path.absolute(), self.store.absolute(), self.out.absolute()
        if path.parent == store_file.parent and (f"{path.name}.".startswith(f"{store_file.name}.")):
            return True
        return path == out


@dataclass
class Pulled:
    """Files of this run (contract's `files`), and whether anything in the store changed."""

    files: list[dict[str, Any]] = field(default_factory=list)
    run: int = 0
    touched: Touched | None = None
    shift_dates: set[str] = field(default_factory=set)
    replanned: bool = False


def read_job(plant_file: Path, logs: Path, store_file: Path, out: Path, single_file: bool = False) -> Job:
    """Check what a run is told before anything is touched. Raises PlantFileError or FileNotFoundError, one line each."""
    from models import plant

    loaded = plant.load(plant_file)
    if not logs.is_dir():
        raise FileNotFoundError(f"{logs}: there is no such folder of logs")
    there = next(place for place in (out, *out.absolute().parents) if place.exists())
    if not there.is_dir() or not os.access(there, os.W_OK):
        raise FileNotFoundError(
            f"{there}: no folder that reports may be written to; name another with --out (nothing was changed)"
        )
    return Job(loaded, plant_file.read_text(encoding="utf-8-sig"), logs, store_file, out, single_file)


Expect = Callable[[int], None]


def nobody(rows: int) -> None:
    """Nobody is to be told how many rows are new."""


def pull(con: duckdb.DuckDBPyConnection, job: Job, run: int, expect: Expect = nobody) -> Pulled:
    """Take every log that is new: archived, read, judged, settled. Call inside a transaction.

    expect: is told how many rows are new, before they are judged.
    """
    from models.storage import account, bulk, gather, ledger, names, raw, replacing, store, take

    pulled = Pulled(run=run)
    first_new = raw.next_seq(con)
    taken = False
    in_bulk: dict[str, list[Taken]] = {}
    could_not_run: set[str] = set()
    for group in _read_new(con, job, pulled, first_new, in_bulk, expect):
        taken = True
        take.put_raw(con, group)
        replacing.keep(con, group)
        could_not_run |= _put(con, group[0].sheet.kind, group, job.plant)
    plan = hashlib.sha256(job.plant_text.encode()).hexdigest()
    pulled.replanned = ledger.fact(con, "plant_sha256") not in (None, plan)
    if pulled.replanned:
        _judge_again(con, job.plant, first_new)
    if job.decisions:
        _keep_decisions(con, job)
    if taken or pulled.replanned or job.decisions:
        straight = {kind: bulk.rows(con, files) for kind, files in in_bulk.items()}
        pulled.touched = account.settle(con, job.plant, 0 if pulled.replanned else first_new, straight)
        for kind, files in in_bulk.items():
            bulk.keep_layouts(con, files)
            store.insert(con, "judged", bulk.outcomes(con, kind, files, could_not_run))
        pulled.shift_dates = _days_of(con, pulled.touched, first_new, job.decisions)
        ledger.set_fact(con, "plant_sha256", plan)
        store_changed(con, run)
    elif any(f["outcome"] == "refused" and f.pop("new", False) for f in pulled.files):
        ledger.set_fact(con, "plant_sha256", plan)
        store_changed(con, run)
    if taken:
        replacing.date(con)
    if pulled.touched is not None and job.plant.names.kept_days is not None:
        names.forget(con, gather.newest(con) - timedelta(days=job.plant.names.kept_days))
    _say_how_read(con, pulled.files)
    return pulled


def _say_how_read(con: duckdb.DuckDBPyConnection, files: list[dict[str, Any]]) -> None:
    """How each file was read and which of its lines are no rows, also of files that an earlier run took."""
    from models.storage import ledger

    said = ledger.how_read(con, {file["sha256"] for file in files if "notes" not in file})
    for file in files:
        file.pop("new", None)
        notes, passed_over = said.get(file["sha256"], ("", []))
        file.setdefault("notes", notes)
        file.setdefault("passed_over", passed_over)


def _keep_decisions(con: duckdb.DuckDBPyConnection, job: Job) -> None:
    from models.storage import decisions

    decisions.record(con, job.decisions)


def store_changed(con: duckdb.DuckDBPyConnection, run: int) -> None:
    """This run changed the store."""
    from models.storage import ledger

    ledger.set_fact(con, "run", str(run))


# rows that are held in memory and judged together; a file is never parted
TOGETHER = 200_000


def _read_new(
    con: duckdb.DuckDBPyConnection,
    job: Job,
    pulled: Pulled,
    seq: int,
    in_bulk: dict[str, list[Taken]],
    expect: Expect,
) -> Iterator[list[Pending]]:
    """The new files, read and typed, those of one log together up to about `TOGETHER` rows; seq: of the first row.

    in_bulk: takes the files, by log, whose sure rows go from the archive into the store as they stand.
    """
    from models.reader import intake
    from models.storage import bulk, store, take

    known = _known(con)
    was_taken = {sha: kind for sha, (kind, outcome) in known.items() if outcome == "taken"}
    file_id = (con.execute("SELECT coalesce(max(file_id), 0) FROM file").fetchone() or (0,))[0]
    found, cannot = intake.find(job.logs, job.only, job.is_ours)
    pulled.files += [_said(name, "", None, "refused", why) for name, why in cannot.items()]
    pending: dict[str, list[Pending]] = {}
    first = seq
    for came in ahead.arrivals(con, found, was_taken, store.archive_folder(job.store), job.plant):
        name, sha = came.name, came.sha256
        if came.refused:
            pulled.files.append(_said(name, "", None, "refused", came.refused))
            continue
        if sha in was_taken:
            pulled.files.append(_said(name, sha, was_taken[sha], "already taken", "the same content was taken before"))
            continue
        checked = came.checked()
        read = _read_one(name, came.content, job.plant) if checked is None else (checked.suspects, checked.typed)
        new = sha not in known
        if isinstance(read, str):
            pulled.files.append(_said(name, sha, None, "refused", read) | {"new": new})
            if new:
                file_id += 1
                _keep_file(con, file_id, name, sha, None, "refused", read, "", pulled.run)
                known[sha] = (None, "refused")
            continue
        file_id += 1
        sheet, typed = read
        notes = "; ".join(dict.fromkeys((*sheet.notes, *typed.notes)))
        if not new:
            con.execute("DELETE FROM file WHERE sha256 = ?", [sha])
        _keep_file(con, file_id, name, sha, sheet.kind, "taken", "", notes, pulled.run)
        was_taken[sha] = sheet.kind
        alike = pending.setdefault(sheet.kind, [])
        alike.append(take.Pending(file_id, sheet, typed, seq, checked is not None))
        if checked is not None:
            in_bulk.setdefault(sheet.kind, []).append(bulk.Taken(file_id, seq, checked))
        seq += alike[-1].n if checked is None else checked.layout.rows
        pulled.files.append(
            _said(name, sha, sheet.kind, "taken", "")
            | {"notes": notes, "passed_over": [{"row": line.row, "why": line.why} for line in sheet.passed_over]}
        )
        if sum(file.n for file in alike) >= TOGETHER:
            yield pending.pop(sheet.kind)
    expect(seq - first)
    yield from pending.values()


def _known(con: duckdb.DuckDBPyConnection) -> dict[str, tuple[str | None, str]]:
    """Log and outcome of every file that ever came, by its hash."""
    found = con.execute("SELECT sha256, kind, outcome FROM file").fetchall()
    return {sha: (kind, outcome) for sha, kind, outcome in found}


def _read_one(name: str, content: bytes, plant: Plant) -> Any:
    """The sheet and its typed rows, or the reason why the file is refused."""
    from models.reader import intake, reading

    try:
        sheet = intake.read(name, content, plant)
        return sheet, reading.typed(sheet, plant)
    except intake.Refused as refused:
        return str(refused)


def _said(name: str, sha: str, kind: str | None, outcome: str, why: str) -> dict[str, Any]:
    return {"file": name, "sha256": sha, "kind": kind, "outcome": outcome, "why": why}


def _keep_file(con: duckdb.DuckDBPyConnection, *values: Any) -> None:
    con.execute("INSERT INTO file VALUES (?, ?, ?, ?, ?, ?, ?, ?)", list(values))


def _put(con: duckdb.DuckDBPyConnection, kind: str, files: list[Pending], plant: Plant) -> set[str]:
    """Judge and keep rows of one log; returns the rules that could not run."""
    from models.storage import store, take

    outcomes = take.put_typed(con, kind, files, plant)
    if not len(outcomes):
        return set()
    store.insert(con, "judged", outcomes)
    return set(outcomes.loc[~outcomes["could_run"].astype(bool), "rule"])


def _judge_again(con: duckdb.DuckDBPyConnection, plant: Plant, before: int) -> None:
    """The plant file changed: rows taken earlier are held against it anew."""
    from models.logbook import KINDS
    from models.storage import take

    for kind in KINDS:
        take.judge_again(con, kind, plant, before)


def _days_of(con: duckdb.DuckDBPyConnection, touched: Touched, first_new: int, decided: Iterable[Decision]) -> set[str]:
    """Production days whose figures a run may have changed."""
    from models.logbook import KINDS
    from models.storage import account

    rejected = ", ".join(str(one.seq) for one in decided if one.verdict == "rejected")
    rows = f"r.seq >= {first_new}" + (f" OR r.seq IN ({rejected})" if rejected else "")
    days = {name.split("/", 1)[0] for name in touched.batches | touched.pastes if not name.startswith("?")}
    for kind in KINDS:
        days |= account.days_of(con, kind, rows)
    return days | touched.days


def judge(con: duckdb.DuckDBPyConnection, job: Job, touched: Touched) -> None:
    """Work touched batches out again and hold them against *is this good?*. Call inside the same transaction."""
    from models.judging import findings
    from models.storage import wide

    pastes, batches = wide.refresh(con, job.plant, touched)
    findings.replace(con, "pastes", pastes, job.plant)
    findings.replace(con, "batches", batches, job.plant)


def chart(con: duckdb.DuckDBPyConnection, job: Job, run: int, share: Share = one_by_one) -> tuple[Charted, ...]:
    """Chart every stream from where it had come; freeze the baselines that have learned enough. share: who charts which."""
    from models.charts import past
    from models.storage import ledger, memo

    frozen = ledger.baselines(con)
    kept = memo.load(con, "chart")
    gone = _charts(con, job, frozen, kept, share)
    for one in gone:
        base = one.charted.baseline
        if one.charted.stream not in frozen and base is not None and not base.learning:
            ledger.keep_baseline(con, one.charted.stream, base, one.arl0, run)
    mine = memo.made_by(version())
    pieces = {ledger.stream_text(one.charted.stream): (mine, past.to_text(one.last)) for one in gone}
    memo.keep(con, "chart", pieces, kept)
    return tuple(one.charted for one in gone)


def _charts(
    con: duckdb.DuckDBPyConnection,
    job: Job,
    frozen: dict[Stream, tuple[Baseline, float]],
    kept: dict[str, tuple[str, str]],
    share: Share = one_by_one,
) -> list[Gone]:
    """Every stream charted, going on from what is kept."""
    from models.alarms.charting import go_on
    from models.charts import past
    from models.charts.characteristics import charted_columns
    from models.storage import ledger, memo, wide

    mine = memo.made_by(version())
    lasts = {ledger.stream_of(name): past.from_text(body) for name, (key, body) in kept.items() if key == mine}
    frames = [wide.load(con, table, only=charted_columns(table)) for table in ("pastes", "batches")]
    return go_on(job.plant, frames[0], frames[1], frozen, lasts, share)


def alert(
    con: duckdb.DuckDBPyConnection, job: Job, charted: tuple[Charted, ...], run: int, share: Share = one_by_one
) -> set[str]:
    """Raise, go on with or end alerts; returns the names of those that are new or changed. share: who weighs which days."""
    from models.alarms.alerts import reconcile
    from models.alarms.kept import Kept
    from models.alarms.raising import raise_alerts
    from models.storage import cases, gather, holds, ledger, memo

    traces, weights = memo.load(con, "trace"), memo.load(con, "weight")
    made_by = f"{memo.made_by(version())} {ledger.fact(con, 'plant_sha256')}"
    kept = Kept(made_by, gather.digests(con), traces, weights)
    raised = raise_alerts(job.plant, _found(con, job, charted, kept, share), kept)
    memo.keep(con, "trace", kept.traces_now, traces)
    memo.keep(con, "weight", kept.weights_now, weights)
    current = cases.applied(reconcile(raised, ledger.stored_alerts(con)), cases.events(con))
    holds.keep_raised(con, current, gather.newest(con))
    return {one.alert for one in ledger.keep_alerts(con, current, run)}


def _found(con: duckdb.DuckDBPyConnection, job: Job, charted: tuple[Charted, ...], kept: Kept, share: Share) -> Found:
    """What alerts are raised from; loaves are read of the days that have to be weighed again only."""
    from models.alarms.raising import Found
    from models.alarms.short_weight import weigh_kept
    from models.storage import gather, wide

    batches, checks = wide.load(con, "batches"), gather.log(con, "check")
    weighed = weigh_kept(job.plant, batches, checks, _to_weigh(con), kept, share)
    return Found(
        pastes=wide.load(con, "pastes"),
        batches=batches,
        findings=gather.findings(con),
        changes=gather.log(con, "change"),
        checks=checks,
        charted=charted,
        newest=gather.newest(con),
        weighed=tuple(weighed),
    )


def _to_weigh(con: duckdb.DuckDBPyConnection) -> Load:
    """Loads what is weighed of some production days: their loaves and output."""
    from models.storage import gather
    from models.trade.netweight import OF_LOAVES

    within = cache(partial(gather.measured_within, con))

    def load(days: list[str]) -> tuple[pd.DataFrame, pd.DataFrame]:
        spans = [within().get(day) for day in days]
        known = [span for span in spans if span is not None]
        span = (min(first for first, _ in known), max(last for _, last in known)) if len(known) == len(days) else None
        return gather.loaves(con, days, OF_LOAVES, span), gather.output_of(con, days)

    return load


def note_case(con: duckdb.DuckDBPyConnection, event: CaseEvent, run: int) -> None:
    """Record what a person did with an alert; the pages that show it are due again. Call inside a transaction."""
    from models.storage import cases, ledger

    before = ledger.stored_alerts(con)
    cases.record(con, event, before)
    changed = ledger.keep_alerts(con, cases.applied(before, cases.events(con)), run)
    printed = ledger.pages(con)
    days = {f"day:{one.until_at.date()}" for one in changed} | {f"day:{one.began_at.date()}" for one in changed}
    newest = max((page for page in printed if page.startswith("day:")), default="")
    ledger.keep_pages(con, {f"alert:{event.alert}"} | ((days | {newest}) & set(printed)), run)
    store_changed(con, run)


def keep_baseline(con: duckdb.DuckDBPyConnection, job: Job, chosen: ChosenBaseline, run: int) -> None:
    """Freeze a baseline a person chose for one chart. Call inside a transaction. Raises ValueError for a stretch that cannot be one."""
    from models.alarms.charting import chart_plant
    from models.charts.baseline import chosen as fitted
    from models.storage import ledger, wide

    frozen = ledger.baselines(con)
    charted = chart_plant(job.plant, wide.load(con, "pastes"), wide.load(con, "batches"), frozen)
    one, arl0 = next((one, arl0) for one, arl0 in charted if one.stream == chosen.stream)
    baseline = fitted(chosen.stream, one.points, chosen.first_key, chosen.last_key)
    ledger.keep_baseline(con, chosen.stream, baseline, arl0, run, chosen.who, chosen.because)
    store_changed(con, run)


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
    con: duckdb.DuckDBPyConnection, job: Job, charted: tuple[Charted, ...] | None, pages: Iterable[str] = ()
) -> Snapshot:
    """What these pages are made from; charts go on from where they had come where this run did not draw them."""
    from models.storage import gather, ledger, memo

    if charted is None:
        charted = tuple(one.charted for one in _charts(con, job, ledger.baselines(con), memo.load(con, "chart")))
    days, months = ([page.removeprefix(kind) for page in pages if page.startswith(kind)] for kind in ("day:", "month:"))
    return gather.snapshot(con, job.plant, version(), charted, tuple(ledger.stored_alerts(con)), days, months)


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
    with _nothing_collected():
        if what == "day":
            return pages.day_page(day(snapshot, name), single_file=single_file)
        if what == "month":
            return pages.month_page(month(snapshot, name), single_file=single_file)
        return pages.alert_page(snapshot, name, single_file=single_file)


@contextmanager
def _nothing_collected() -> Iterator[None]:
    """A page is one large tree, needed whole until it is written: looking for garbage in it again and again finds none."""
    was = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if was:
            gc.enable()


def publish(job: Job) -> None:
    """Give readers the committed store, unless they have it."""
    from models.storage import store

    copy = store.reading_copy(job.store)
    if not copy.exists() or copy.stat().st_mtime_ns < job.store.stat().st_mtime_ns:
        store.publish(job.store)


def version() -> str:
    """The program's version."""
    from importlib.metadata import PackageNotFoundError
    from importlib.metadata import version as of

    try:
        return of("loaftrace")
    except PackageNotFoundError:
        return "not installed"


def summary(con: duckdb.DuckDBPyConnection, job: Job, pulled: Pulled) -> dict[str, Any]:
    """The contract's result, without the reports of this run."""
    from models.alarms import alerts
    from models.floor.holdsays import to_json
    from models.storage import account, gather, holds, ledger

    newest = gather.newest(con)
    return {
        "rows": account.count(con),
        "files": pulled.files,
        "quarantine": gather.quarantine(gather.excluded(con)),
        "alerts": [alerts.to_json(one, job.plant) for one in ledger.stored_alerts(con)],
        "holds": [to_json(one, job.plant, newest) for one in holds.holds(con, newest)],
        "reports": [],
    }
