"""What a named person decides about rows in quarantine, one by one or alike ones together.

A confirmed proposal becomes a log of its own, the row as a log would write it with the mended cells, and
goes the way of every other log: archived, judged, settled. The row as it came stays readable and is
superseded. A rejected row stays out, and waits for nobody.
"""

from __future__ import annotations

import csv
import hashlib
import io
import json
from collections.abc import Sequence
from dataclasses import dataclass, fields
from datetime import datetime
from typing import TYPE_CHECKING, Any, Literal

import pandas as pd

from models.judging.proposals import as_text
from models.logbook import TABLES
from models.reader import reading
from models.storage import raw, store
from models.texts import texts

if TYPE_CHECKING:
    import duckdb

    from models.plant import Plant

EXTRA = ("corrected_by", "corrected_at", "corrects")


class DecisionError(ValueError):
    """The decision cannot be recorded. `str()` is one line."""


@dataclass(frozen=True)
class Waiting:
    """A row that waits for a person. seq names it; cells: what would mend it, column to text, empty where nothing does."""

    seq: int
    kind: str
    file: str
    row: int
    column: str
    value: str
    rule: str
    why: str
    proposal: str | None
    cells: dict[str, str]
    weight: int
    shift_date: str | None
    shift: str | None


Verdict = Literal["confirmed", "rejected"]


@dataclass(frozen=True)
class Decision:
    """One verdict on one row. done_at: naive UTC; sha256: of the correction, None where rejected."""

    seq: int
    verdict: Verdict
    who: str
    done_at: datetime
    because: str
    sha256: str | None = None


def waiting(con: duckdb.DuckDBPyConnection) -> list[Waiting]:
    """What waits, by consequence (a cooling record before a slip of the pen), then by arrival."""
    parts = []
    for kind, table in TABLES.items():
        date, shift = ("CAST(r.shift_date AS VARCHAR)", "r.shift") if "shift" in table.by_name else ("NULL", "NULL")
        parts.append(f"""SELECT r.seq, '{kind}', f.path, r.row, s."column", s.value, s.rule, s.why, s.proposal, s.cells, s.weight, {date}, {shift}
            FROM log_{kind} r JOIN file f ON r.file_id = f.file_id
            JOIN (SELECT * FROM slip QUALIFY row_number() OVER (PARTITION BY seq ORDER BY weight, place) = 1) s ON r.seq = s.seq
            WHERE r.status = 'quarantined' AND r.seq NOT IN (SELECT seq FROM decision)""")
    rows = con.execute(f"SELECT * FROM ({' UNION ALL '.join(parts)}) ORDER BY 11, 1").fetchall()
    names = [field.name for field in fields(Waiting)]
    return [Waiting(**dict(zip(names, row, strict=True)) | {"cells": json.loads(row[9] or "{}")}) for row in rows]


def _no(why: str, **filled: object) -> DecisionError:
    return DecisionError(texts("acts")["decision"][why].format(**filled))


def chosen(rows: Sequence[Waiting], names: Sequence[int], alike: str | None) -> list[Waiting]:
    """The rows a person means: by number, or all that break one rule. Raises DecisionError for a number or rule that does not wait."""
    by_seq = {row.seq: row for row in rows}
    missing = [str(name) for name in names if name not in by_seq]
    if missing:
        raise _no("no_such", rows=", ".join(missing))
    found = [by_seq[name] for name in dict.fromkeys(names)]
    if alike:
        found += [row for row in rows if row.rule == alike and row not in found]
    if not found:
        raise _no("none_alike", rule=alike) if alike else _no("which")
    return found


def correction(
    con: duckdb.DuckDBPyConnection, plant: Plant, rows: Sequence[Waiting], who: str, at: datetime
) -> dict[str, bytes]:
    """The mended rows as logs, one a kind: file name -> content. Raises DecisionError for a row nothing is proposed for, or not
    for all of its cells that cannot be read or are missing."""
    without = [f"{row.seq} ({row.file} row {row.row})" for row in rows if not row.cells]
    if without:
        raise _no("nothing_proposed", rows=", ".join(without))
    for row in rows:
        if still := _left_open(con, row):
            raise _no("leaves_open", row=f"{row.seq} ({row.file} row {row.row})", columns=", ".join(still))
    logs = {}
    for kind in dict.fromkeys(row.kind for row in rows):
        text = io.StringIO()
        names = [c.name for c in TABLES[kind].columns]
        writer = csv.writer(text, lineterminator="\n")
        writer.writerow([*names, *EXTRA])
        for row in (r for r in rows if r.kind == kind):
            cells = as_typed(con, plant, row.kind, row.seq) | row.cells
            writer.writerow([*(cells[name] for name in names), who, at.isoformat(), f"{row.file} row {row.row}"])
        content = text.getvalue().encode()
        logs[f"{kind}-{hashlib.sha256(content).hexdigest()[:12]}.csv"] = content
    return logs


def _left_open(con: duckdb.DuckDBPyConnection, row: Waiting) -> list[str]:
    """The cells of a row that could not be read, or are needed and empty, and that nothing is proposed for: what stands in
    them would be lost, and the row would wait again."""
    cannot = [f"{row.kind}.{rule}" for rule in reading.UNREAD] + [f"{row.kind}.{c}.required" for c in TABLES[row.kind].required]
    found = con.execute(
        'SELECT DISTINCT "column", value FROM slip WHERE seq = ? AND rule IN (SELECT unnest(?)) ORDER BY ALL', [row.seq, cannot]
    ).fetchall()
    return [f"{column} {value!r}" if value else column for column, value in found if column and column not in row.cells]


def as_typed(con: duckdb.DuckDBPyConnection, plant: Plant, kind: str, seq: int) -> dict[str, str]:
    """A row as it was understood, written as a log in the contract's own form."""
    columns = store.typed_columns(TABLES[kind].columns)
    names = ", ".join(f'"{name}"' for name in columns)
    frame = store.frame(con, f"SELECT {names} FROM log_{kind} WHERE seq = {seq}", columns)
    return as_logged(kind, frame.iloc[0], plant)


def as_it_stands(con: duckdb.DuckDBPyConnection, plant: Plant, kind: str, seq: int) -> dict[str, str]:
    """A row as it was understood, and as it was written where it could not be: nothing that stands there is left out.

    What stands beyond the last heading stands behind a bar in the last column.
    """
    cells = as_typed(con, plant, kind, seq)
    rules = [f"{kind}.{rule}" for rule in reading.UNREAD]
    unread = con.execute(
        'SELECT "column", value FROM slip WHERE seq = ? AND rule IN (SELECT unnest(?)) ORDER BY place', [seq, rules]
    ).fetchall()
    cells |= {column: value for column, value in unread if column in cells}
    if beyond := [value for column, value in unread if not column]:
        came = {name: text or "" for name, text in raw.cells(con, seq).items() if name in cells}
        whole, last = ", ".join(filter(None, came.values())), [*came][-1]
        cells |= came | {last: " | ".join([came[last], *(text for text in beyond if text != whole)])}
    return cells


def as_logged(kind: str, row: pd.Series, plant: Plant) -> dict[str, str]:
    """A typed row as a log writes it."""
    return {column.name: _cell(row[column.name], column.type, plant) for column in TABLES[kind].columns}


def _cell(value: Any, kind: str, plant: Plant) -> str:
    if pd.isna(value):
        return ""
    return value.strftime("%Y-%m-%d") if kind == "date" else as_text(value, plant)


def record(con: duckdb.DuckDBPyConnection, decisions: Sequence[Decision]) -> None:
    """Keep verdicts. Raises DecisionError where no name is given, a rejection has no reason, or a row is decided already."""
    for one in decisions:
        if not one.who.strip():
            raise _no("who")
        if one.verdict == "rejected" and not one.because.strip():
            raise _no("why")
    for one in decisions:
        found = con.execute("SELECT verdict, who FROM decision WHERE seq = ?", [one.seq]).fetchone()
        if found:
            raise _no("decided", row=one.seq, verdict=found[0], who=found[1])
        con.execute(
            "INSERT INTO decision VALUES (?, ?, ?, ?, ?, ?)",
            [one.seq, one.verdict, one.who.strip(), one.done_at, one.because.strip(), one.sha256],
        )
