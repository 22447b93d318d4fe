"""A store of an earlier version brought up to this one, inside the transaction that opens it.

New tables come from their own files and new columns from their declarations; rows that were there before have
not recorded them. A change that neither covers (a column renamed, a value re-coded) needs a step of its own here.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from models.logbook import KINDS, TABLES, Column
from models.reader import reading
from models.storage import account, gather, ledger, store
from models.storage.take import SHAPE

if TYPE_CHECKING:
    import duckdb


# before this version rows with cells that could not be read were one value, and counted as one row sent twice
APART_SINCE = 5


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
    apart = int(ledger.fact(con, "version") or APART_SINCE) < APART_SINCE
    for kind in KINDS:
        added = _add_columns(con, f"log_{kind}", TABLES[kind].columns)
        if added or apart:
            _find_unread(con, kind)
            con.execute(f"CREATE OR REPLACE TEMP TABLE taken_for AS {_identities_of_unread(kind)}")
            _fingerprint_again(con, kind, "true" if added else "unread IS NOT NULL")
        if apart:
            account.settle_doubtful(con, kind, f"FROM taken_for UNION {_identities_of_unread(kind)}")
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


def _find_unread(con: duckdb.DuckDBPyConnection, kind: str) -> None:
    """What stands in cells that could not be read, by row: temporary table `unread`, as a row that arrives is fingerprinted.

    It is among the reasons why a row waits. Of a row whose cells do not stand where they belong that is not said cell by cell:
    they are read from the row as it came; where a row came in bulk, what is said has to do.
    """
    names = [column.name for column in TABLES[kind].columns]
    order = " ".join(f"WHEN '{name}' THEN {place}" for place, name in enumerate(names, 1))
    told = ", ".join(f"'{kind}.{rule}'" for rule in reading.UNREAD)
    cells = ", ".join(f"'{name}=' || nullif(r.cells->>'{name}', '')" for name in names)
    con.execute(f"""CREATE OR REPLACE TEMP TABLE unread AS
        WITH said AS (SELECT seq, "column" || '=' || value AS text, CASE "column" {order} ELSE 0 END AS heading, place,
                ends_with(rule, '{SHAPE}') AS of_shape
            FROM slip WHERE kind = '{kind}' AND value <> '' AND (rule IN ({told}) OR ends_with(rule, '.required'))),
        joined AS (SELECT seq, string_agg(text, chr(10) ORDER BY heading, place) AS texts,
            string_agg(text, chr(10) ORDER BY place) FILTER (of_shape) AS beyond FROM said GROUP BY seq)
        SELECT j.seq, CASE WHEN beyond IS NULL THEN texts
            ELSE concat_ws(chr(10), beyond, nullif(array_to_string([{cells}], chr(10)), '')) END AS unread
        FROM joined j LEFT JOIN raw_row r USING (seq)""")


def _identities_of_unread(kind: str) -> str:
    return f"SELECT identity FROM {account.rows(kind, 'seq IN (SELECT seq FROM unread)')}"


def _fingerprint_again(con: duckdb.DuckDBPyConnection, kind: str, which: str) -> None:
    """A row's fingerprint is of all its columns and of what could not be read: a row sent again is known by it.

    Dates are fingerprinted as the instants they arrive as. which: SQL that is true of the rows meant.
    """
    dates = "".join(f', CAST("{name}" AS TIMESTAMP) AS "{name}"' for name in TABLES[kind].of_type("date"))
    kept = f" EXCLUDE ({', '.join(TABLES[kind].of_type('date'))})" if dates else ""
    con.execute(f"""CREATE OR REPLACE TEMP TABLE fingerprint AS SELECT seq, {account.digest_of_unread(kind)} AS digest
        FROM (SELECT *{kept}{dates} FROM log_{kind} LEFT JOIN unread USING (seq)) WHERE digest IS NOT NULL AND {which}""")
    itself = f"CASE WHEN identity = '? ' || log_{kind}.digest THEN '? ' || f.digest ELSE identity END"
    named = "" if kind in store.OF_DOUGH else f", identity = {itself}"
    con.execute(f"UPDATE log_{kind} SET digest = f.digest{named} FROM fingerprint f WHERE log_{kind}.seq = f.seq")
    con.execute("DROP TABLE fingerprint")
