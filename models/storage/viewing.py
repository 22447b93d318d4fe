"""What the board shows, read from the store in a few queries after each commit."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import asdict, replace
from datetime import datetime
from typing import TYPE_CHECKING, Any

from models.floor.view import Chart, LastSeen, Paste, View
from models.logbook import PASTE_REACH_H, TABLES
from models.storage import account, cases, decisions, gather, holds, ledger, store

if TYPE_CHECKING:
    import duckdb
    import pandas as pd

    from models.plant import Plant
    from models.shapes import Charted

CHANGES_D = 400
SAID_OF_A_CHANGE = ("changed_at", "scope", "name", "what")


def view(
    con: duckdb.DuckDBPyConnection, plant: Plant, version: int, as_of: datetime, charted: Iterable[Charted]
) -> View:
    """The board's view of a store. as_of: naive UTC, when it was read."""
    newest = gather.newest(con)
    charted, held = tuple(charted), holds.holds(con, as_of)
    return View(
        plant=plant,
        version=version,
        as_of=as_of,
        newest=newest if newest.year > 1970 else None,
        alerts=tuple(ledger.stored_alerts(con)),
        acts=tuple(cases.events(con)),
        lines=_last(con, "batches", "line", "mixed_at", "batch_key", "dough_batch", "product"),
        kettles=_last(con, "pastes", "kettle", "cook_end", "paste_key", "paste_batch", "recipe"),
        charts=tuple(_chart(one) for one in charted),
        charted=charted,
        changes=_changes(con, newest),
        pastes=_pastes(con, newest),
        holds=held,
        flour_lots=_flour_lots(con, [batch.key for hold in held for batch in hold.batches if batch.stands]),
        rows=account.count(con),
        quarantine=tuple(_waiting(con)),
        refused=tuple(
            con.execute("""SELECT path, why FROM file WHERE outcome = 'refused'
            AND path NOT IN (SELECT path FROM file WHERE outcome = 'taken') ORDER BY file_id""").fetchall()
        ),
    )


def _flour_lots(con: duckdb.DuckDBPyConnection, keys: list[str]) -> dict[str, str]:
    if not keys:
        return {}
    query = "SELECT {0}_key, flour_lot FROM {1} WHERE list_contains(?, {0}_key) AND flour_lot IS NOT NULL"
    rows = [con.execute(query.format(*of), [keys]).fetchall() for of in (("paste", "pastes"), ("batch", "batches"))]
    return dict(sorted(row for found in rows for row in found))


def _changes(con: duckdb.DuckDBPyConnection, newest: datetime) -> pd.DataFrame:
    """What somebody changed in the time that the board's charts reach back to, without who did."""
    columns = store.typed_columns(tuple(TABLES["change"].by_name[name] for name in SAID_OF_A_CHANGE))
    query = f"""SELECT {", ".join(columns)} FROM log_change WHERE status = 'accepted'
        AND changed_at >= CAST('{newest}' AS TIMESTAMP) - INTERVAL {CHANGES_D} DAY ORDER BY changed_at, identity"""
    return store.frame(con, query, columns)


def _waiting(con: duckdb.DuckDBPyConnection) -> Iterable[dict[str, Any]]:
    return (asdict(row) for row in decisions.waiting(con))


def _last(
    con: duckdb.DuckDBPyConnection, table: str, place: str, at: str, key: str, name: str, product: str
) -> dict[str, LastSeen]:
    """The newest batch of each place, and the usual time between two there over the week before it."""
    rows = con.execute(f"""
        WITH seen AS (SELECT {place} AS place, {key} AS key, {name} AS name, {at} AS seen_at, {product} AS product,
                date_diff('second', lag({at}) OVER (PARTITION BY {place} ORDER BY {at}, {key}), {at}) / 60.0 AS gap,
                max({at}) OVER (PARTITION BY {place}) AS newest,
                row_number() OVER (PARTITION BY {place} ORDER BY {at} DESC, {key} DESC) AS nth
            FROM {table} WHERE {at} IS NOT NULL AND {place} IS NOT NULL)
        SELECT place, max(key) FILTER (nth = 1), max(name) FILTER (nth = 1), max(seen_at), max(product) FILTER (nth = 1),
            CASE WHEN count(gap) >= 5 THEN median(gap) END
        FROM seen WHERE seen_at >= newest - INTERVAL 7 DAY GROUP BY place ORDER BY place""").fetchall()
    return {place: LastSeen(key, name, at, product, usual) for place, key, name, at, product, usual in rows}


def _pastes(con: duckdb.DuckDBPyConnection, newest: datetime) -> tuple[Paste, ...]:
    rows = con.execute(
        f"""SELECT p.paste_key, p.paste_batch, p.kettle, p.recipe, p.cook_end, coalesce(p.cold_kg, p.after_kg), p.loss_pct,
            p.excess_kg, p.kettle_water_kg, list(b.batch_key ORDER BY b.mixed_at) FILTER (b.batch_key IS NOT NULL),
            p.points_lost, p.temp_2h_c, p.temp_6h_c
        FROM pastes p LEFT JOIN batches b ON p.paste_key IN (b.paste_key, b.paste_key_2)
        WHERE p.cook_end >= CAST(? AS TIMESTAMP) - INTERVAL {PASTE_REACH_H:.0f} HOUR GROUP BY ALL ORDER BY p.cook_end DESC, p.paste_key""",
        [newest],
    ).fetchall()
    return tuple(
        replace(Paste(*row[:9]), doughs=tuple(row[9] or ()), points=row[10], temp_2h_c=row[11], temp_6h_c=row[12])
        for row in rows
    )


def _chart(one: Charted) -> Chart:
    stream, baseline = one.stream, one.baseline
    return Chart(
        characteristic=stream.characteristic,
        unit=stream.unit,
        line=stream.line,
        kettle=stream.kettle,
        product=stream.product,
        state=one.state,
        value=float(one.points.value[-1]) if len(one.points) else None,
        level=baseline.level if baseline else None,
        lower=one.lower,
        upper=one.upper,
        n=len(one.points),
        promise=one.promise,
    )
