"""A store of an earlier version brought up to this one, inside the transaction that opens it.

New tables come from their own files and new columns from their declarations; rows that were there before have
not recorded them. A change that neither covers (a column renamed, a value re-coded) needs a step of its own here.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from models.logbook import KINDS, TABLES, Column
from models.storage import account, gather, ledger, store

if TYPE_CHECKING:
    import duckdb


def bring_up(con: duckdb.DuckDBPyConnection) -> None:
    """Make every table, column and view that is declared and not there yet."""
    for name in store.FIXED:
        con.execute(store.sql(name))
    con.execute("ALTER TABLE replaced ADD COLUMN IF NOT EXISTS who VARCHAR")
    con.execute("ALTER TABLE replaced ADD COLUMN IF NOT EXISTS done_at TIMESTAMP")
    for statement in store.derived_tables():
        con.execute(statement)
    for kind in store.OF_DOUGH:
        con.execute(f"ALTER TABLE log_{kind} DROP COLUMN IF EXISTS identity")
        con.execute(f"ALTER TABLE log_{kind} ALTER COLUMN digest DROP NOT NULL")
    for kind in KINDS:
        if _add_columns(con, f"log_{kind}", TABLES[kind].columns):
            _fingerprint_again(con, kind)
    for name, columns in store.WIDE.items():
        _add_columns(con, name, columns)
    con.execute(store.sql("views"))
    if ledger.fact(con, "version") == "1":
        _releases_of_closed_cases(con)


def _releases_of_closed_cases(con: duckdb.DuckDBPyConnection) -> None:
    """In version 1 a hold ended with the closing of its case: what was decided then stays decided, and says how."""
    from models.floor.holds import HoldEvent, name_of, utc
    from models.storage import cases, holds

    closed = {act.alert: act for act in cases.events(con) if act.act == "closed"}
    there = {hold.alert: hold for hold in holds.holds(con, gather.newest(con))}
    for alert in (alert for alert in ledger.stored_alerts(con) if alert.alert in closed and alert.alert in there):
        act, hold = closed[alert.alert], there[alert.alert]
        pastes, doughs = (tuple(b.key for b in hold.batches if b.kind == kind) for kind in ("paste", "dough"))
        because = f"its case was closed as {act.found}, before releases were kept{f': {act.note}' if act.note else ''}"
        held = HoldEvent(
            name_of(alert.alert), utc(alert.signalled_at), "", "held", alert.says, pastes, doughs, hold.ground
        )
        held = replace(held, alert=alert.alert)
        holds.keep(con, [held, replace(held, at=act.at, who=act.who, act="released", because=because)])


def _add_columns(con: duckdb.DuckDBPyConnection, table: str, columns: tuple[Column, ...]) -> list[str]:
    """Add the declared columns that a table lacks; returns their names."""
    there = {
        name
        for (name,) in con.execute("SELECT column_name FROM duckdb_columns() WHERE table_name = ?", [table]).fetchall()
    }
    new = [column for column in columns if column.name not in there]
    for column in new:
        con.execute(f'ALTER TABLE {table} ADD COLUMN "{column.name}" {store.SQL_TYPE[column.type]}')
    return [column.name for column in new]


def _fingerprint_again(con: duckdb.DuckDBPyConnection, kind: str) -> None:
    """A row's fingerprint is of all its columns: without this a row sent again after the change would pass for another.

    Dates are fingerprinted as the instants they arrive as.
    """
    dates = "".join(f', CAST("{name}" AS TIMESTAMP) AS "{name}"' for name in TABLES[kind].of_type("date"))
    kept = f" EXCLUDE ({', '.join(TABLES[kind].of_type('date'))})" if dates else ""
    con.execute(f"""CREATE OR REPLACE TEMP TABLE fingerprint AS
        SELECT seq, {account.digest(kind)} AS digest FROM (SELECT *{kept}{dates} FROM log_{kind})""")
    itself = f"CASE WHEN identity = '? ' || log_{kind}.digest THEN '? ' || f.digest ELSE identity END"
    named = "" if kind in store.OF_DOUGH else f", identity = {itself}"
    con.execute(f"UPDATE log_{kind} SET digest = f.digest{named} FROM fingerprint f WHERE log_{kind}.seq = f.seq")
    con.execute("DROP TABLE fingerprint")
