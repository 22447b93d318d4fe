"""The first step: every log that is new, archived, read, judged and settled; nothing of it is worked out here."""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, field
from datetime import timedelta
from typing import TYPE_CHECKING, Any

from flows import ahead

if TYPE_CHECKING:
    import duckdb

    from flows.job import Job
    from models.plant import Plant
    from models.reader.sheet import Sheet
    from models.storage.account import Touched
    from models.storage.bulk import Taken
    from models.storage.decisions import Decision
    from models.storage.take import Pending


@dataclass
class Pulled:
    """Files of this run (contract's `files`), and whether anything in the store changed."""

    files: list[dict[str, Any]] = field(default_factory=list)
    run: int = 0
    touched: Touched | None = None
    shift_dates: set[str] = field(default_factory=set)
    replanned: bool = False


Expect = Callable[[int], None]


def nobody(rows: int) -> None:
    """Nobody is to be told how many rows are new."""


def pull(con: duckdb.DuckDBPyConnection, job: Job, run: int, expect: Expect = nobody) -> Pulled:
    """Take every log that is new: archived, read, judged, settled. Call inside a transaction.

    expect: is told how many rows are new, before they are judged.
    """
    from models.storage import account, between, bulk, gather, ledger, names, raw, replacing, store, take

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
        first = 0 if pulled.replanned else first_new
        pulled.touched = account.settle(con, job.plant, first, straight)
        between.propose(con, first)
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

    book = _Book(con, pulled)
    found, cannot = intake.find(job.logs, job.only, job.is_ours)
    pulled.files += [_said(name, "", None, "refused", why) for name, why in cannot.items()]
    pending: dict[str, list[Pending]] = {}
    first = seq
    for came in ahead.arrivals(con, found, book.taken, store.archive_folder(job.store), job.plant):
        if came.refused or came.sha256 in book.taken:
            book.passed_by(came)
            continue
        checked = came.checked()
        read = _read_one(came.name, came.content, job.plant) if checked is None else (checked.suspects, checked.typed)
        if isinstance(read, str):
            book.refused(came, read)
            continue
        sheet, typed = read
        file_id = book.takes(came, sheet, typed.notes)
        alike = pending.setdefault(sheet.kind, [])
        alike.append(take.Pending(file_id, sheet, typed, seq, checked is not None))
        if checked is not None:
            in_bulk.setdefault(sheet.kind, []).append(bulk.Taken(file_id, seq, checked))
        seq += alike[-1].n if checked is None else checked.layout.rows
        if sum(file.n for file in alike) >= TOGETHER:
            book.keep()
            yield pending.pop(sheet.kind)
    book.keep()
    expect(seq - first)
    yield from pending.values()


class _Book:
    """What becomes of each file of a run, as it is said and as it is kept. taken: hash -> log of the files ever taken."""

    def __init__(self, con: duckdb.DuckDBPyConnection, pulled: Pulled) -> None:
        self._con, self._pulled = con, pulled
        known = con.execute("SELECT sha256, kind, outcome FROM file").fetchall()
        ((self._last_id,),) = con.execute("SELECT coalesce(max(file_id), 0) FROM file").fetchall()
        self.taken = {sha: kind for sha, kind, outcome in known if outcome == "taken"}
        self._refused = {sha for sha, _, outcome in known if outcome == "refused"}
        self._new: dict[str, tuple[Any, ...]] = {}

    def passed_by(self, came: ahead.Arrived) -> None:
        """It cannot be fetched, or was taken before."""
        if came.refused:
            said = _said(came.name, "", None, "refused", came.refused)
        else:
            why = "the same content was taken before"
            said = _said(came.name, came.sha256, self.taken[came.sha256], "already taken", why)
        self._pulled.files.append(said)

    def refused(self, came: ahead.Arrived, why: str) -> None:
        """It is no log; said every time, kept once."""
        new = came.sha256 not in self._refused
        self._pulled.files.append(_said(came.name, came.sha256, None, "refused", why) | {"new": new})
        if new:
            self._refused.add(came.sha256)
            self._note(came, None, "refused", why, "")

    def takes(self, came: ahead.Arrived, sheet: Sheet, notes: Iterable[str]) -> int:
        """It is a log, and refused no more; returns its number. notes: of how its cells were read."""
        if came.sha256 in self._refused:
            self._con.execute("DELETE FROM file WHERE sha256 = ?", [came.sha256])
        noted = "; ".join(dict.fromkeys((*sheet.notes, *notes)))
        passed_over = [{"row": line.row, "why": line.why} for line in sheet.passed_over]
        said = _said(came.name, came.sha256, sheet.kind, "taken", "")
        self._pulled.files.append(said | {"notes": noted, "passed_over": passed_over})
        self.taken[came.sha256] = sheet.kind
        return self._note(came, sheet.kind, "taken", "", noted)

    def _note(self, came: ahead.Arrived, kind: str | None, outcome: str, why: str, notes: str) -> int:
        self._last_id += 1
        self._new[came.sha256] = (self._last_id, came.name, came.sha256, kind, outcome, why, notes, self._pulled.run)
        return self._last_id

    def keep(self) -> None:
        """All in one statement: one each costs more than the reading of a small file."""
        import pandas as pd

        from models.storage import store

        texts = dict.fromkeys(("path", "sha256", "kind", "outcome", "why", "notes"), "str")
        types = {"file_id": "int64"} | texts | {"run": "int64"}
        store.insert(self._con, "file", pd.DataFrame(self._new.values(), columns=[*types]).astype(types))
        self._new = {}


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
    from models.storage import rejudging

    for kind in KINDS:
        rejudging.judge_again(con, kind, plant, before)


def _days_of(con: duckdb.DuckDBPyConnection, touched: Touched, first_new: int, decided: Iterable[Decision]) -> set[str]:
    """Production days whose figures a run may have changed."""
    from models.logbook import KINDS
    from models.storage import account

    rejected = ", ".join(str(one.seq) for one in decided if one.verdict == "rejected") or "NULL"
    days = {name.split("/", 1)[0] for name in touched.batches | touched.pastes if not name.startswith("?")}
    for kind in KINDS:
        # a new row whose dough is known is of its day, and the dough stands among the batches touched
        new = f"r.seq >= {first_new}" + (" AND r.batch_key IS NULL" if kind in account.OF_DOUGH else "")
        days |= account.days_of(con, kind, f"({new}) OR r.seq IN ({rejected})")
    return days | touched.days
