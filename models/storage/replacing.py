"""Rows of a workbook written for correcting rows in quarantine: each names the row in whose place it stands, and who corrected it.

So a corrected date, line or batch number, which makes it another row, leaves no old one waiting. The name holds a
fingerprint of the row as it arrived: a workbook of another store replaces nothing. A row that names no person is nobody's
correction: it waits like the one it names.
"""

from __future__ import annotations

import hashlib
import json
import re
from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING

from models.fixed import LONGEST_NAME
from models.reader.numbers import DITTO
from models.storage import raw

if TYPE_CHECKING:
    import duckdb

    from models.plant import Plant
    from models.storage.take import Pending

COLUMN = "corrects"
"""The workbook's column that names the row."""
BY = "corrected_by"
"""The workbook's column that names the person; a confirmed correction has it, too."""
RULE = "corrected-by"
WHY = (
    f"nobody is named for this correction: write initials or a role in {BY} of this row and drop the workbook in again, or "
    "have the row confirmed by name"
)
NOBODY = DITTO | {"n/a", "n.a.", "none"}
_NAME = re.compile(r"(\d{1,18})-([0-9a-f]{12})")


def name_of(con: duckdb.DuckDBPyConnection, seq: int) -> str:
    """What a workbook calls a row. Raises KeyError for a row that never arrived."""
    as_it_came = json.dumps(raw.cells(con, seq), sort_keys=True, ensure_ascii=False)
    return f"{seq}-{hashlib.sha256(as_it_came.encode()).hexdigest()[:12]}"


def keep(con: duckdb.DuckDBPyConnection, files: Sequence[Pending]) -> None:
    """Note which rows those of these files replace, and who says so. Call once their raw rows are kept."""
    import pandas as pd

    from models.storage import store

    found = [
        (seq, by_seq, who)
        for named, by_seq, who in _naming(con, files)
        for seq in (named, *_stands_for(con, named))
        if seq != by_seq
    ]
    store.insert(con, "replaced", pd.DataFrame(found, columns=["seq", "by_seq", "who"]).astype({"who": "str"}))


def nobodys(
    con: duckdb.DuckDBPyConnection, kind: str, files: Sequence[Pending], plant: Plant
) -> dict[int, dict[str, str]]:
    """Rows of these files that correct another and name nobody: position among all of them -> the cells they change, as a log
    writes them. Call once `keep` has noted them."""
    from models.storage import decisions

    rows = con.execute("SELECT by_seq, min(seq) FROM replaced WHERE who = '' GROUP BY by_seq").fetchall()
    named, found, start = dict(rows), {}, 0
    for file in files:
        for row, seq in enumerate(file.seqs.tolist() if named and COLUMN in file.sheet.rows else ()):
            if seq in named:
                was = decisions.as_typed(con, plant, kind, named[seq])
                now = decisions.as_logged(kind, file.typed.frame.iloc[row], plant)
                found[start + row] = {name: text for name, text in now.items() if text != was[name]}
        start += file.n
    return found


def date(con: duckdb.DuckDBPyConnection) -> None:
    """Put a time to what has none yet, so that names go when they are old enough. Call once the new rows are settled."""
    from models.storage import gather

    if con.execute("SELECT 1 FROM replaced WHERE done_at IS NULL LIMIT 1").fetchall():
        con.execute("UPDATE replaced SET done_at = ? WHERE done_at IS NULL", [gather.newest(con)])


def _naming(con: duckdb.DuckDBPyConnection, files: Sequence[Pending]) -> Iterator[tuple[int, int, str]]:
    for file in files:
        if COLUMN not in file.sheet.rows:
            continue
        names = file.sheet.rows[COLUMN].fillna("")
        people = file.sheet.rows[BY].fillna("") if BY in file.sheet.rows else [""] * len(names)
        for text, who, by_seq in zip(names, people, file.seqs, strict=True):
            if (seq := _named(con, text)) is not None:
                yield seq, int(by_seq), _person(who)


def _person(text: str) -> str:
    """Initials or a role; "" for what names nobody, such as a dash, a question mark or a ditto mark."""
    who = " ".join(text.split())
    names = any(c.isalpha() for c in who) and who.casefold() not in NOBODY
    return who if names and who.isprintable() and len(who) <= LONGEST_NAME else ""


def _stands_for(con: duckdb.DuckDBPyConnection, seq: int) -> list[int]:
    """The rows that a row of an earlier workbook was to replace."""
    return [named for (named,) in con.execute("SELECT seq FROM replaced WHERE by_seq = ?", [seq]).fetchall()]


def _named(con: duckdb.DuckDBPyConnection, text: str) -> int | None:
    """The row that a name means; None where it is no name, or no row of this store is called so."""
    named = _NAME.fullmatch(text.strip())
    if named is None:
        return None
    try:
        return int(named[1]) if name_of(con, int(named[1])) == text.strip() else None
    except KeyError:
        return None
