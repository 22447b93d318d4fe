"""A row as it arrived: out of the store, or out of the archived file it stands in."""

from __future__ import annotations

import json
from functools import lru_cache
from pathlib import Path
from typing import TYPE_CHECKING

from models.storage import store

if TYPE_CHECKING:
    import duckdb


def cells(con: duckdb.DuckDBPyConnection, seq: int) -> dict[str, str | None]:
    """The cells of one row, heading to text; None where a cell is empty. Raises KeyError for a row that never arrived."""
    kept = con.execute("SELECT cells FROM raw_row WHERE seq = ?", [seq]).fetchall()
    if kept:
        return json.loads(kept[0][0])
    found = con.execute(
        """SELECT f.sha256, r.columns, r.delimiter, r.first_seq FROM raw_file r JOIN file f USING (file_id)
        WHERE ? >= r.first_seq AND ? < r.first_seq + r.rows""",
        [seq, seq],
    ).fetchall()
    if not found:
        raise KeyError(seq)
    sha, columns, delimiter, first = found[0]
    line = _lines(_archived(con, sha))[seq - first + 1].decode("ascii")
    return {name: text or None for name, text in zip(json.loads(columns), line.split(delimiter), strict=True)}


def next_seq(con: duckdb.DuckDBPyConnection) -> int:
    """The place of the next row to arrive."""
    found = con.execute("""SELECT greatest((SELECT coalesce(max(seq), -1) + 1 FROM raw_row),
        (SELECT coalesce(max(first_seq + rows), 0) FROM raw_file))""").fetchone()
    return found[0] if found else 0


def _archived(con: duckdb.DuckDBPyConnection, sha256: str) -> Path:
    ((path,),) = con.execute("SELECT path FROM duckdb_databases() WHERE database_name = current_database()").fetchall()
    written = Path(path.removesuffix(".read"))
    return store.archived(store.archive_folder(written), sha256)


@lru_cache(maxsize=2)
def _lines(path: Path) -> list[bytes]:
    """An archived file never changes: its lines are kept for the next row that is asked for."""
    return path.read_bytes().split(b"\n")
