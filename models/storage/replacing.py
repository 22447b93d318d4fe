"""Rows of a workbook written for correcting rows in quarantine: each names the row in whose place it stands.

So a corrected date, line or batch number, which makes it another row, leaves no old one waiting. The name holds a
fingerprint of the row as it arrived: a workbook of another store replaces nothing.
"""

from __future__ import annotations

import hashlib
import json
import re
from collections.abc import Sequence
from typing import TYPE_CHECKING

from models.storage import raw

if TYPE_CHECKING:
    import duckdb

    from models.storage.take import Pending

COLUMN = "corrects"
"""The workbook's column that names the row."""
_NAME = re.compile(r"(\d{1,18})-([0-9a-f]{12})")


def name_of(con: duckdb.DuckDBPyConnection, seq: int) -> str:
    """What a workbook calls a row. Raises KeyError for a row that never arrived."""
    as_it_came = json.dumps(raw.cells(con, seq), sort_keys=True, ensure_ascii=False)
    return f"{seq}-{hashlib.sha256(as_it_came.encode()).hexdigest()[:12]}"


def keep(con: duckdb.DuckDBPyConnection, files: Sequence[Pending]) -> None:
    """Note which rows those of these files replace. Call once their raw rows are kept."""
    import pandas as pd

    from models.storage import store

    found = [
        (seq, int(by_seq))
        for file in files
        if COLUMN in file.sheet.rows
        for text, by_seq in zip(file.sheet.rows[COLUMN].fillna(""), file.seqs, strict=True)
        if (seq := _named(con, text)) is not None
    ]
    store.insert(con, "replaced", pd.DataFrame(found, columns=["seq", "by_seq"]))


def _named(con: duckdb.DuckDBPyConnection, text: str) -> int | None:
    """The row that a name means; None where it is no name, or no row of this store is called so."""
    named = _NAME.fullmatch(text.strip())
    if named is None:
        return None
    try:
        return int(named[1]) if name_of(con, int(named[1])) == text.strip() else None
    except KeyError:
        return None
