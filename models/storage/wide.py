"""The wide rows kept true: one a paste batch, one a dough batch, worked out again where their rows changed.

The reduction itself is pure (`models.trade.batches.reduce`); here only what it needs is gathered: touched
doughs, the pastes they name, every dough that shares those pastes, and what was measured on them.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from models.logbook import TABLES
from models.storage import account, store

if TYPE_CHECKING:
    import duckdb
    import pandas as pd

    from models.plant import Plant
    from models.storage.account import Touched

IN_FORCE = {"dough": "status IN ('accepted', 'waiting')"}


@dataclass(frozen=True)
class Wide:
    """Both wide tables, whole, in order of production: read once a run, for its charts, its alerts and its pages."""

    pastes: pd.DataFrame
    batches: pd.DataFrame


def refresh(con: duckdb.DuckDBPyConnection, plant: Plant, touched: Touched) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Work out touched batches again and put them in the store; returns their wide rows (pastes, batches)."""
    from models.storage import measured
    from models.trade.batches import Logs, reduce

    _closure(con, touched)
    logs = Logs(
        **{kind: _rows(con, kind) for kind in ("paste", "dough", "proof", "gas")}, loaf=_rows(con, "loaf", "false")
    )
    wide = reduce(plant, logs, measured.loaves(con, plant))
    pastes = _keep(con, "pastes", wide.pastes, "again_pastes")
    batches = _keep(con, "batches", wide.batches, "again_batches")
    return pastes, batches


def _closure(con: duckdb.DuckDBPyConnection, touched: Touched) -> None:
    """again_*: what is worked out; need_*: what that takes to read (doughs that share a kettle)."""
    store.list_names(con, "touched_batches", touched.batches)
    store.list_names(con, "touched_pastes", touched.pastes)
    store.list_names(con, "touched_lots", touched.yeast_lots)
    con.execute(f"""
        CREATE OR REPLACE TEMP TABLE in_force AS SELECT batch_key, paste_key, paste_key_2, yeast_lot
            FROM log_dough WHERE {IN_FORCE["dough"]};
        CREATE OR REPLACE TEMP TABLE first_batches AS
            SELECT name FROM touched_batches UNION
            SELECT batch_key FROM in_force WHERE yeast_lot IN (SELECT name FROM touched_lots);
        CREATE OR REPLACE TEMP TABLE again_pastes AS
            SELECT name FROM touched_pastes UNION
            SELECT unnest([paste_key, paste_key_2]) FROM log_dough WHERE batch_key IN (SELECT name FROM first_batches);
        DELETE FROM again_pastes WHERE name IS NULL;
        CREATE OR REPLACE TEMP TABLE again_batches AS
            SELECT name FROM first_batches UNION
            SELECT batch_key FROM in_force WHERE paste_key IN (SELECT name FROM again_pastes)
                OR paste_key_2 IN (SELECT name FROM again_pastes);
        CREATE OR REPLACE TEMP TABLE need_pastes AS
            SELECT name FROM again_pastes UNION
            SELECT unnest([paste_key, paste_key_2]) FROM in_force WHERE batch_key IN (SELECT name FROM again_batches);
        CREATE OR REPLACE TEMP TABLE need_batches AS
            SELECT name FROM again_batches UNION
            SELECT batch_key FROM in_force WHERE paste_key IN (SELECT name FROM need_pastes)
                OR paste_key_2 IN (SELECT name FROM need_pastes);
    """)


def _rows(con: duckdb.DuckDBPyConnection, kind: str, where: str = "") -> pd.DataFrame:
    """A log's rows in force that the reduction needs, in order of production. where: instead of all that are needed."""
    table = TABLES[kind]
    wanted = {
        "paste": "paste_key IN (SELECT name FROM need_pastes)",
        "dough": "batch_key IN (SELECT name FROM need_batches)",
        "gas": """(batch_key IN (SELECT name FROM again_batches) OR (dough_batch IS NULL AND yeast_lot IN
            (SELECT yeast_lot FROM in_force WHERE batch_key IN (SELECT name FROM again_batches))))""",
    }.get(kind, "batch_key IN (SELECT name FROM again_batches)")
    wanted = where or wanted
    columns = store.typed_columns(table.columns) | dict.fromkeys(store.links(kind), "text")
    names = ", ".join(f'"{name}"' for name in columns)
    in_force = IN_FORCE.get(kind, "status = 'accepted'")
    return store.frame(
        con,
        f"SELECT {names} FROM {account.rows(kind, f'{in_force} AND {wanted}')} ORDER BY {table.at}, identity, seq",
        columns,
    )


def _keep(con: duckdb.DuckDBPyConnection, table: str, rows: pd.DataFrame, again: str) -> pd.DataFrame:
    """Replace the wide rows worked out again; a batch that is no longer in force goes."""
    key = store.WIDE_KEY[table]
    names = {name for (name,) in con.execute(f"SELECT name FROM {again}").fetchall()}
    kept = rows[rows[key].isin(names)].reset_index(drop=True)
    con.execute(f"DELETE FROM {table} WHERE {key} IN (SELECT name FROM {again})")
    store.insert(con, table, kept)
    return kept


def load(con: duckdb.DuckDBPyConnection, table: str, where: str = "true", args: list | None = None) -> pd.DataFrame:
    """Wide rows from the store, in order of production."""
    columns = store.typed_columns(store.WIDE[table])
    names = ", ".join(f'"{name}"' for name in columns)
    order = "cook_end, paste_key" if table == "pastes" else "mixed_at, batch_key"
    return store.frame(con, f"SELECT {names} FROM {table} WHERE {where} ORDER BY {order}", columns, args)


def whole(con: duckdb.DuckDBPyConnection) -> Wide:
    """All wide rows from the store."""
    return Wide(load(con, "pastes"), load(con, "batches"))
