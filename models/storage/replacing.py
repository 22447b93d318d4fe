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
    import pandas as pd

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
    writes them; none where the row they name is of another store."""
    found, start = {}, 0
    for file in files:
        for row, (name, who) in enumerate(_written(file)):
            if _NAME.fullmatch(name) and not who:
                found[start + row] = _changed(con, kind, _named(con, name), file.typed.frame.iloc[row], plant)
        start += file.n
    return found


def apart(con: duckdb.DuckDBPyConnection, seqs: pd.Series, file: pd.Series) -> pd.Series:
    """Which file each row is judged with: a correcting workbook gathers rows of many sheets, so each of its rows is alone.

    seqs: of the rows; file: which file each came in.
    """
    mine = [seq for (seq,) in con.execute("SELECT DISTINCT by_seq FROM replaced").fetchall()]
    return file.mask(seqs.isin(mine), -1 - seqs) if mine else file


def _changed(
    con: duckdb.DuckDBPyConnection, kind: str, named: int | None, row: pd.Series, plant: Plant
) -> dict[str, str]:
    from models.storage import decisions

    if named is None:
        return {}
    was, now = decisions.as_typed(con, plant, kind, named), decisions.as_logged(kind, row, plant)
    return {name: text for name, text in now.items() if text != was[name]}


def date(con: duckdb.DuckDBPyConnection) -> None:
    """Put a time to what has none yet, so that names go when they are old enough. Call once the new rows are settled."""
    from models.storage import gather

    if con.execute("SELECT 1 FROM replaced WHERE done_at IS NULL LIMIT 1").fetchall():
        con.execute("UPDATE replaced SET done_at = ? WHERE done_at IS NULL", [gather.newest(con)])


def _naming(con: duckdb.DuckDBPyConnection, files: Sequence[Pending]) -> Iterator[tuple[int, int, str]]:
    for file in files:
        for (name, who), by_seq in zip(_written(file), file.seqs, strict=False):
            if (seq := _named(con, name)) is not None:
                yield seq, int(by_seq), who


def _written(file: Pending) -> Iterator[tuple[str, str]]:
    """The name of the row that each row corrects, and the person; nothing where the file corrects none."""
    if COLUMN in file.sheet.rows:
        names = file.sheet.rows[COLUMN].fillna("")
        people = file.sheet.rows[BY].fillna("") if BY in file.sheet.rows else [""] * len(names)
        for name, who in zip(names, people, strict=True):
            yield name.strip(), _person(who)


def _person(text: str) -> str:
    """Initials or a role; "" for what names nobody, such as a dash, a question mark or a ditto mark."""
    who = " ".join(text.split())
    names = any(c.isalpha() for c in who) and who.casefold() not in NOBODY
    return who if names and who.isprintable() and len(who) <= LONGEST_NAME else ""


def _stands_for(con: duckdb.DuckDBPyConnection, seq: int) -> list[int]:
    """The rows that a row of an earlier workbook was to replace."""
    return [named for (named,) in con.execute("SELECT seq FROM replaced WHERE by_seq = ?", [seq]).fetchall()]


def _named(con: duckdb.DuckDBPyConnection, name: str) -> int | None:
    """The row that a name means; None where it is no name, or no row of this store is called so."""
    named = _NAME.fullmatch(name)
    if named is None:
        return None
    try:
        return int(named[1]) if name_of(con, int(named[1])) == name else None
    except KeyError:
        return None
