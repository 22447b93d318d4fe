"""What was worked out before, so that it need not be again: derived data, each piece with what it was made from.

A piece is used only where its key is that of what would be worked out now. The table may be emptied or missing at any
time, at the cost of working it out again; the answers are the same.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING

from models.storage import store
from models.texts import fingerprint

if TYPE_CHECKING:
    import duckdb

Pieces = dict[str, tuple[str, str]]
"""Name of a piece -> its key and its text."""


# raised with the form of a piece or with how it is worked out, where the program's version does not tell
FORM = 6


def made_by(version: str) -> str:
    """What every piece is made by: the program of that version, the form of its pieces, the texts it speaks in."""
    return f"{version}, form {FORM}, texts {fingerprint()}"


def load(con: duckdb.DuckDBPyConnection, what: str) -> Pieces:
    """All pieces of one sort: chart, trace or weight."""
    if not con.execute("SELECT 1 FROM duckdb_tables() WHERE table_name = 'memo'").fetchall():
        return {}
    rows = con.execute("SELECT name, key, body FROM memo WHERE what = ?", [what]).fetchall()
    return {name: (key, body) for name, key, body in rows}


def keep(con: duckdb.DuckDBPyConnection, what: str, now: Mapping[str, tuple[str, str]], before: Pieces) -> None:
    """Keep these pieces of one sort in place of those before. Call inside a transaction."""
    import pandas as pd

    con.execute(store.sql("memo"))
    changed = {name: piece for name, piece in now.items() if before.get(name) != piece}
    gone = [*changed, *(name for name in before if name not in now)]
    if not gone:
        return
    con.register("memo_gone", pd.DataFrame({"name": gone}, dtype="str"))
    con.execute("DELETE FROM memo WHERE what = ? AND name IN (SELECT name FROM memo_gone)", [what])
    con.unregister("memo_gone")
    rows = [(what, name, key, body) for name, (key, body) in sorted(changed.items())]
    store.insert(con, "memo", pd.DataFrame(rows, columns=["what", "name", "key", "body"], dtype="str"))
