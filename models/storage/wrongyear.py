"""Whole files whose year is a year off what the store holds. A file alone cannot tell: it is put to the QA lead, never changed.

A file is asked about where a year later or earlier its days lie among the store's, in a place that is empty there, and

- in the year it names nothing lies near it: a day of last year that nobody else wrote anything of; or
- it would supersede rows of a year ago, while a year later it would be the newest: the old year, typed in January.

A month delivered late stands by itself (its files are each other's neighbours), a new season finds its place of a year ago
taken, and New Year's night is a day from the day before. Rows in quarantine are no neighbours. Common practice, no source.
"""

from __future__ import annotations

from datetime import date, timedelta
from typing import TYPE_CHECKING

from models.judging.years import NEAR_D, STRETCH_D
from models.storage import account

if TYPE_CHECKING:
    import duckdb
    import pandas as pd

RULE = "file-a-year-off"
UNIT = {"paste": "kettle", "dough": "line", "output": "line"}  # whose day a row writes down
SHORT_D = 3  # a file of more days than these is no slip of one sheet
# columns of the workbooks that were made to be corrected, and of confirmed corrections: a person looked at these rows
SEEN = frozenset({"in question", "corrected_by"})
AT_HOME = 2  # days of the store that lie near, at least


def files_off(con: duckdb.DuckDBPyConnection, kind: str, frame: pd.DataFrame, file: pd.Series) -> dict[int, int]:
    """Files of one log that look a year off: file_id -> years to add (1 or -1).

    frame: their typed rows; file: which file each row came in.
    """
    if kind not in UNIT:
        return {}
    days = frame["shift_date"].dt.date.where(frame["shift_date"].notna())
    of_file: dict[int, set[date]] = {
        int(name): set(of.dropna()) for name, of in days.groupby(file.to_numpy(), sort=False)
    }
    known = _days(con)
    if len(known) < AT_HOME:
        return {}
    found = {}
    for name, mine in of_file.items():
        if not mine or (max(mine) - min(mine)).days > SHORT_D:
            continue
        others = known.union(*(theirs for other, theirs in of_file.items() if other != name))
        years = [by for by in (1, -1) if _at_home(mine, by, known)]
        rows = frame[file.to_numpy() == name] if years else frame.iloc[:0]
        for by in years:
            alone = not any(abs((day - other).days) <= STRETCH_D for day in mine for other in others)
            newest = by == 1 and abs((max(known) - _moved(max(mine), 1)).days) <= NEAR_D
            if (alone or (newest and _supersedes(con, kind, rows))) and _place_is_empty(con, kind, rows, by):
                found[name] = by
    return found


def why(days: str, by: int) -> str:
    """The sentence for a person."""
    return (
        f"the file is of {days}, and nothing else is near; a year {'later' if by > 0 else 'earlier'} its rows are missing: a wrong "
        "year? Confirm the proposed date. Where the date is right, drop in the workbook that `--slips` writes, with initials in corrected_by"
    )


def _days(con: duckdb.DuckDBPyConnection) -> set[date]:
    parts = [f"SELECT shift_date FROM log_{kind} WHERE credible AND shift_date IS NOT NULL" for kind in UNIT]
    rows = con.execute(f"SELECT DISTINCT CAST(shift_date AS DATE) FROM ({' UNION ALL '.join(parts)})").fetchall()
    return {day for (day,) in rows}


def _moved(day: date, by: int) -> date:
    last_of_february = day.month == 2 and day.day == 29
    return (day - timedelta(days=1) if last_of_february else day).replace(year=day.year + by)


def _at_home(mine: set[date], by: int, known: set[date]) -> bool:
    moved = [_moved(day, by) for day in mine]
    return all(sum(abs((day - other).days) <= NEAR_D for other in known) >= AT_HOME for day in moved)


def _place_is_empty(con: duckdb.DuckDBPyConnection, kind: str, rows: pd.DataFrame, by: int) -> bool:
    """Whether the store holds no row of these kettles or lines, in these shifts, on the days that are meant."""
    places = rows[["shift_date", "shift", UNIT[kind]]].dropna().drop_duplicates()
    for day, shift, unit in places.itertuples(index=False):
        taken = con.execute(
            f"SELECT 1 FROM log_{kind} WHERE CAST(shift_date AS DATE) = ? AND shift = ? AND {UNIT[kind]} = ? LIMIT 1",
            [_moved(day.date(), by), shift, unit],
        ).fetchall()
        if taken:
            return False
    return not places.empty


def _supersedes(con: duckdb.DuckDBPyConnection, kind: str, rows: pd.DataFrame) -> bool:
    """Whether most of a file's rows would displace rows of the same identity and other values."""
    con.register("of_file", rows)
    try:
        clashes = con.execute(f"""SELECT count(*) FROM (SELECT {account.own_identity(kind)} AS identity, digest FROM (
                SELECT *, {account.digest(kind)} AS digest FROM of_file)) f
            WHERE EXISTS (SELECT 1 FROM log_{kind} l WHERE l.identity = f.identity AND l.credible AND l.digest <> f.digest)""")
        ((many,),) = clashes.fetchall()
    finally:
        con.unregister("of_file")
    return bool(2 * many > len(rows))
