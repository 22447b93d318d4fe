"""Small facts of the store: which run this is, baselines, alerts, pages. Each function one query or one write."""

from __future__ import annotations

import json
from dataclasses import asdict
from datetime import datetime
from typing import TYPE_CHECKING

from models.alarms import alerts
from models.shapes import Baseline, Stream

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    import duckdb

    from models.shapes import Alert


def fact(con: duckdb.DuckDBPyConnection, key: str) -> str | None:
    """One fact of the store; None where it was never set."""
    found = con.execute("SELECT value FROM meta WHERE key = ?", [key]).fetchone()
    return found[0] if found else None


def set_fact(con: duckdb.DuckDBPyConnection, key: str, value: str) -> None:
    """Set one fact of the store."""
    con.execute("INSERT OR REPLACE INTO meta VALUES (?, ?)", [key, value])


def last_run(con: duckdb.DuckDBPyConnection) -> int:
    """Number of the last run that changed the store; 0 before the first."""
    return int(fact(con, "run") or 0)


def how_read(con: duckdb.DuckDBPyConnection, shas: set[str]) -> dict[str, tuple[str, list[dict[str, object]]]]:
    """Of files in the store, by sha256: how they were read, and their lines that are no rows, each with why."""
    if not shas:
        return {}
    found = con.execute("""SELECT f.sha256, f.notes, p.row, p.why FROM file f LEFT JOIN passed_over p USING (file_id)
        WHERE f.outcome = 'taken' ORDER BY f.file_id, p.row""").fetchall()
    said: dict[str, tuple[str, list[dict[str, object]]]] = {}
    for sha, notes, row, why in found:
        if sha in shas:
            lines = said.setdefault(sha, (notes, []))[1]
            lines += [{"row": row, "why": why}] if row is not None else []
    return said


def stream_text(stream: Stream) -> str:
    """A stream's name for the store."""
    return json.dumps(asdict(stream), sort_keys=True, ensure_ascii=False)


def stream_of(text: str) -> Stream:
    """The stream whose name `stream_text` wrote."""
    return Stream(**json.loads(text))


def baselines(con: duckdb.DuckDBPyConnection) -> dict[Stream, tuple[Baseline, float]]:
    """Frozen baselines in force, each with the in-control run length (points) its limits were set for."""
    rows = con.execute("SELECT stream, baseline FROM baseline WHERE frozen ORDER BY run").fetchall()
    return {Stream(**json.loads(stream)): _baseline(text) for stream, text in rows}


def _baseline(text: str) -> tuple[Baseline, float]:
    body = json.loads(text)
    arl0 = body.pop("arl0")
    for name in SET_BY:
        body.pop(name, None)
    for name in ("first_at", "last_at"):
        body[name] = datetime.fromisoformat(body[name])
    body["excluded"] = tuple((key, why) for key, why in body["excluded"])
    return Baseline(**body), arl0


SET_BY = ("set_by", "because")


def keep_baseline(
    con: duckdb.DuckDBPyConnection,
    stream: Stream,
    baseline: Baseline,
    arl0: float,
    run: int,
    set_by: str = "",
    because: str = "",
) -> None:
    """Freeze a baseline: one that has learned enough, or one that a person set, with who and why. Earlier ones stay readable."""
    text = json.dumps(
        asdict(baseline) | {"arl0": arl0, "set_by": set_by, "because": because},
        default=lambda v: v.isoformat(),
        sort_keys=True,
        ensure_ascii=False,
    )
    con.execute("INSERT INTO baseline VALUES (?, ?, true, ?)", [stream_text(stream), run, text])


def baseline_history(con: duckdb.DuckDBPyConnection) -> list[dict]:
    """Every baseline ever frozen, oldest first: stream, run, first_key, last_key, batches, set_by, because."""
    rows = con.execute("SELECT stream, run, baseline FROM baseline ORDER BY run, rowid").fetchall()
    names = ("first_key", "last_key", "batches", *SET_BY)
    return [
        {"stream": Stream(**json.loads(stream)), "run": run} | {name: json.loads(text).get(name, "") for name in names}
        for stream, run, text in rows
    ]


def stored_alerts(con: duckdb.DuckDBPyConnection) -> list[Alert]:
    """Every alert ever raised, in order of its signal."""
    rows = con.execute("SELECT body FROM alert ORDER BY signalled_at, alert").fetchall()
    return [alerts.from_text(body) for (body,) in rows]


def keep_alerts(con: duckdb.DuckDBPyConnection, current: Sequence[Alert], run: int) -> list[Alert]:
    """Write alerts that are new or changed; returns those."""
    before = dict(con.execute("SELECT alert, body FROM alert").fetchall())
    changed = [alert for alert in current if before.get(alert.alert) != alerts.to_text(alert)]
    for alert in changed:
        con.execute(
            "INSERT INTO alert VALUES (?, ?, ?, ?, ?) ON CONFLICT (alert) DO UPDATE SET body = excluded.body, last_run = excluded.last_run",
            [alert.alert, alert.signalled_at, alerts.to_text(alert), run, run],
        )
    return changed


def pages(con: duckdb.DuckDBPyConnection) -> dict[str, int]:
    """Page -> the run its figures last changed in."""
    return dict(con.execute("SELECT page, last_run FROM page ORDER BY page").fetchall())


def keep_pages(con: duckdb.DuckDBPyConnection, names: Iterable[str], run: int) -> None:
    """These pages are to be written with the figures of this run."""
    for name in sorted(names):
        con.execute(
            "INSERT INTO page VALUES (?, ?, ?) ON CONFLICT (page) DO UPDATE SET last_run = excluded.last_run",
            [name, run, run],
        )
