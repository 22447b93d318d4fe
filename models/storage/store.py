"""The store: one DuckDB file, written by one run at a time, read from a copy published after each commit.

Every table's grain stands in the head of its file under `models/storage/sql`; the tables of the logs and of
the wide rows are derived from `models.logbook` and `models.batchbook`.
"""

from __future__ import annotations

import os
import re
import shutil
import time
from collections.abc import Iterable, Iterator, Mapping
from contextlib import contextmanager
from importlib import resources
from pathlib import Path
from typing import TYPE_CHECKING, Any

from models.batchbook import BATCHES, PASTES
from models.logbook import FRAME_TYPE, KINDS, TABLES, Column

if TYPE_CHECKING:
    import duckdb
    import pandas as pd

VERSION = 5
# what the database may hold in memory at once; more goes to a folder beside the store while a run lasts
MEMORY = "768MB"
FIXED = (
    "meta",
    "file",
    "raw_row",
    "raw_file",
    "passed_over",
    "slip",
    "finding",
    "judged",
    "judged_batch",
    "baseline",
    "alert",
    "page",
    "case_event",
    "decision",
    "replaced",
    "hold_event",
)
WIDE: dict[str, tuple[Column, ...]] = {"pastes": PASTES, "batches": BATCHES}
WIDE_KEY = {"pastes": "paste_key", "batches": "batch_key"}
# logs whose rows belong to a dough: who a row is follows from its dough and its columns, see `account.rows`
OF_DOUGH = ("proof", "gas", "loaf")
LINKS = {"dough": ("batch_key", "paste_key", "paste_key_2"), "paste": ("paste_key",)}
SQL_TYPE = {"text": "VARCHAR", "number": "DOUBLE", "time": "TIMESTAMP", "date": "DATE"}
SETTINGS: dict[str, Any] = {
    "python_enable_replacements": "false",
    # a file that is no store never makes the database look for an extension on the internet
    "autoinstall_known_extensions": "false",
    "autoload_known_extensions": "false",
}


class StoreError(RuntimeError):
    """The store cannot be used now. `str()` is one line that says why and what to do."""


class NoStoreError(StoreError):
    """There is no store at that place."""


def links(kind: str) -> tuple[str, ...]:
    """Columns of a log's table that name the batches its row belongs to."""
    if kind in LINKS:
        return LINKS[kind]
    refers = TABLES[kind].refers
    return ("batch_key",) if refers else ()


def sql(name: str) -> str:
    """The text of one file under models/storage/sql."""
    return resources.files("models.storage").joinpath("sql", f"{name}.sql").read_text(encoding="utf-8")


def open_for_writing(path: Path, wait_s: float = 60.0) -> duckdb.DuckDBPyConnection:
    """The store, ready to be written; waits up to `wait_s` for another run to finish.

    Raises StoreError where a service or another program holds it, it is no store, or it is newer than this program.
    """
    from models.storage import owned

    path.parent.mkdir(parents=True, exist_ok=True)
    owned.refuse_if_served(path)
    con = _connect(path, wait_s)
    try:
        _migrate(con, path)
    except BaseException:
        con.close()
        raise
    return con


def _connect(path: Path, wait_s: float) -> duckdb.DuckDBPyConnection:
    import duckdb

    _refuse_other(path)
    until = time.monotonic() + wait_s
    while True:
        try:
            return duckdb.connect(str(path), config=SETTINGS | {"memory_limit": MEMORY})
        except duckdb.IOException as error:
            if (no := refused_by_system(error)) is not None:
                raise StoreError(
                    f"{path}: cannot be written ({no[1]}); let this account write there, or name another store (nothing was changed)"
                ) from None
            if "lock" not in str(error).lower():
                raise StoreError(f"{path}: {_first_line(error)}") from None
            if time.monotonic() >= until:
                raise StoreError(
                    f"{path}: the store is held by {_holder(str(error))}; wait for it to finish, "
                    "then run again (nothing was changed)"
                ) from None
        except duckdb.Error as error:
            raise StoreError(f"{path}: is not a store of this program ({_first_line(error)})") from None
        time.sleep(0.2)


# a DuckDB file says so in these bytes: https://duckdb.org/docs/stable/internals/storage
MARK, MARK_AT = b"DUCK", 8


def _refuse_other(path: Path) -> None:
    """Raises StoreError for a file that is there and no database of this kind: it is never opened, let alone written."""
    try:
        with path.open("rb") as file:
            head = file.read(MARK_AT + len(MARK))
    except FileNotFoundError:
        return
    except OSError as error:
        raise StoreError(f"{path}: cannot be read as a store ({error.strerror}); name another file") from None
    if head and head[MARK_AT:] != MARK:
        raise StoreError(f"{path}: is not a store of this program; name another file (nothing was changed)")


def _holder(message: str) -> str:
    found = re.search(r"PID (\d+)", message)
    return f"another program (process {found[1]})" if found else "another program"


def _first_line(error: BaseException) -> str:
    return " ".join(str(error).split("\n")[0].split())


def refused_by_system(error: BaseException) -> tuple[str, str] | None:
    """The file and the reason where it was the file system that refused; None of a lock, and of every other error."""
    found = re.search(r'file "([^"]+)": (.+)$', _first_line(error))
    return (found[1], found[2]) if found and "lock" not in found[2].lower() else None


def _migrate(con: duckdb.DuckDBPyConnection, path: Path) -> None:
    con.execute("SET preserve_insertion_order = true")
    there = {name for (name,) in con.execute("SELECT table_name FROM duckdb_tables()").fetchall()}
    if there and not {"meta", "raw_row"} <= there:
        raise StoreError(f"{path}: is a database of something else; name another file (nothing was changed)")
    con.execute(sql("meta"))
    found = con.execute("SELECT value FROM meta WHERE key = 'version'").fetchone()
    if found and int(found[0]) > VERSION:
        raise StoreError(
            f"{path}: was written by a newer loaftrace (store version {found[0]}, this one knows {VERSION}); "
            "install the newer version, or restore an older copy of the store"
        )
    if found and int(found[0]) == VERSION:
        return
    from models.storage.migrate import bring_up

    with transaction(con):
        bring_up(con)
        con.execute("INSERT OR REPLACE INTO meta VALUES ('version', ?)", [str(VERSION)])


def derived_tables() -> list[str]:
    """DDL of the logs' typed tables and of the wide rows, from their declarations."""
    statements = []
    for kind in KINDS:
        columns = "".join(f'"{c.name}" {SQL_TYPE[c.type]}, ' for c in TABLES[kind].columns)
        keys = "".join(f"{name} VARCHAR, " for name in links(kind))
        own = "digest UBIGINT" if kind in OF_DOUGH else "digest UBIGINT NOT NULL, identity VARCHAR NOT NULL"
        statements.append(
            f"CREATE TABLE IF NOT EXISTS log_{kind} (seq BIGINT NOT NULL, file_id INTEGER NOT NULL, row BIGINT NOT NULL, "
            f"{columns}{keys}credible BOOLEAN NOT NULL, asks BOOLEAN NOT NULL, {own}, status VARCHAR)"
        )
    for name, columns_of in WIDE.items():
        columns = ", ".join(f'"{c.name}" {SQL_TYPE[c.type]}' for c in columns_of)
        statements.append(f"CREATE TABLE IF NOT EXISTS {name} ({columns})")
    return statements


@contextmanager
def transaction(con: duckdb.DuckDBPyConnection) -> Iterator[None]:
    """All or nothing."""
    con.execute("BEGIN")
    try:
        yield
    except BaseException:
        con.execute("ROLLBACK")
        raise
    con.execute("COMMIT")


def frame(
    con: duckdb.DuckDBPyConnection, query: str, columns: dict[str, str], args: list[Any] | None = None
) -> pd.DataFrame:
    """A query's result with the contract's dtypes, whatever DuckDB made of it. columns: name -> Column type."""
    return _typed(con.execute(query, args or []).df(), {name: FRAME_TYPE[kind] for name, kind in columns.items()})


def _typed(found: pd.DataFrame, wanted: Mapping[str, Any]) -> pd.DataFrame:
    """A frame of its own with these dtypes; columns that have them already, most of them, are left alone: that costs time."""
    for name, dtype in found.dtypes.items():
        if str(name) in wanted and dtype != wanted[str(name)]:
            found[name] = found[name].astype(wanted[str(name)])
    return found


# more different texts than this in a column are fetched one by one
FEW_TEXTS = 50_000


def dates(days: list[str]) -> str:
    """SQL of a list of production days; of none, a list that holds no day."""
    return ", ".join(f"DATE '{day}'" for day in days) or "NULL"


def many(con: duckdb.DuckDBPyConnection, source: str, order: str, columns: dict[str, str]) -> pd.DataFrame:
    """Like `frame`, for very many rows: equal texts of a column are one object in memory.

    source: what stands after FROM, a WHERE with it.
    """
    import numpy as np
    import pandas as pd

    wanted = [
        _as_codes(name, _texts(con, name, source)) if kind == "text" else f'"{name}"' for name, kind in columns.items()
    ]
    found = con.execute(f"SELECT {', '.join(wanted)} FROM {source} ORDER BY {order}").df()
    for name in columns:
        if isinstance(found[name].dtype, pd.CategoricalDtype):
            texts = np.array([*found[name].cat.categories, None], dtype=object)
            found[name] = texts[found[name].cat.codes]
    return _typed(found, {name: FRAME_TYPE[kind] for name, kind in columns.items()})


def _texts(con: duckdb.DuckDBPyConnection, name: str, source: str) -> list[str]:
    """The texts of a column, one more than are few at most."""
    found = con.execute(f'SELECT DISTINCT "{name}" FROM {source} LIMIT {FEW_TEXTS + 1}').fetchall()
    return [text for (text,) in found if text is not None]


def _as_codes(name: str, texts: list[str]) -> str:
    """SQL of a text column as numbers that stand for its texts."""
    if not texts or len(texts) > FEW_TEXTS:
        return f'"{name}"'
    listed = ", ".join("'" + text.replace("'", "''") + "'" for text in sorted(texts))
    return f'CAST("{name}" AS ENUM ({listed})) AS "{name}"'


def typed_columns(columns: tuple[Column, ...]) -> dict[str, str]:
    """Column name -> type of a declaration, as `frame` takes it."""
    return {c.name: c.type for c in columns}


def insert(con: duckdb.DuckDBPyConnection, table: str, rows: pd.DataFrame) -> None:
    """Append a frame to a table, by column name."""
    if rows.empty:
        return
    names = ", ".join(f'"{name}"' for name in rows.columns)
    con.register("incoming", rows)
    try:
        con.execute(f"INSERT INTO {table} ({names}) SELECT {names} FROM incoming")
    finally:
        con.unregister("incoming")


def list_names(con: duckdb.DuckDBPyConnection, table: str, names: Iterable[str]) -> None:
    """Names as a temporary table of one column, `name`, for queries to ask of."""
    import pandas as pd

    con.execute(f"CREATE OR REPLACE TEMP TABLE {table} (name VARCHAR)")
    insert(con, table, pd.DataFrame({"name": sorted(names)}, dtype="str"))


def close(con: duckdb.DuckDBPyConnection) -> None:
    """Bring what was committed into the file itself, and close it. Raises StoreError where the disk has no room for that."""
    import duckdb

    try:
        con.execute("CHECKPOINT")
        con.close()
    except duckdb.Error as error:
        where, why = refused_by_system(error) or ("the store", _first_line(error))
        raise StoreError(f"{where}: {why}; free or fix it, then run again (nothing was half-done)") from None


def reading_copy(path: Path) -> Path:
    """Where the copy for readers lies."""
    return path.with_name(path.name + ".read")


def publish(path: Path) -> None:
    """Put a copy of the closed store beside it for readers, whole at once; readers never meet the writer's lock."""
    copy = reading_copy(path)
    part = copy.with_name(f"{copy.name}.part")
    shutil.copyfile(path, part)
    with part.open("rb+") as handle:
        os.fsync(handle.fileno())
    part.replace(copy)


def open_for_reading(path: Path, older: bool = False) -> duckdb.DuckDBPyConnection:
    """The published copy, read-only. Raises StoreError where there is none yet, or it is newer than this program.

    older: take one that an older program wrote as well, whose tables may lack what this one reads.
    """
    import duckdb

    copy = reading_copy(path)
    if not copy.exists():
        _refuse_other(path)
        raise NoStoreError(f"{path}: there is no store here yet; `loaftrace run` makes one")
    try:
        con = duckdb.connect(str(copy), read_only=True, config=SETTINGS)
    except duckdb.Error as error:
        raise StoreError(f"{copy}: cannot be read ({_first_line(error)}); `loaftrace run` publishes it anew") from None
    found = con.execute("SELECT value FROM meta WHERE key = 'version'").fetchone()
    written = int(found[0]) if found else 0
    if written > VERSION or (written < VERSION and not older):
        con.close()
        raise StoreError(
            f"{copy}: was written by {_whose(written)} loaftrace (store version {written}, this one knows {VERSION}); "
            + ("install the newer version" if written > VERSION else "`loaftrace run` brings the store up to this one")
        )
    return con


def _whose(version: int) -> str:
    return "a newer" if version > VERSION else "an older"


def archive(folder: Path, sha256: str, content: bytes) -> None:
    """Keep a file whole under its hash; whole at once, never twice."""
    target = archived(folder, sha256)
    if target.exists() and target.stat().st_size == len(content):
        return
    target.parent.mkdir(parents=True, exist_ok=True)
    part = target.with_name(f"{sha256}.part")
    with part.open("wb") as handle:
        handle.write(content)
        handle.flush()
        os.fsync(handle.fileno())
    part.replace(target)


def archived(folder: Path, sha256: str) -> Path:
    """Where a file is kept in the archive."""
    return folder / sha256[:2] / sha256


def archive_folder(path: Path) -> Path:
    """Where the files taken into this store are kept."""
    return path.with_name(path.name + ".archive")
