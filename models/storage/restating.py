"""What of a day is another than it was: values that were corrected, and rows that came when its page had been printed."""

from __future__ import annotations

from typing import TYPE_CHECKING

from models.logbook import FRAME_TYPE, KINDS, TABLES
from models.snapshot import FRAMES, frame
from models.storage import account, store

if TYPE_CHECKING:
    import duckdb
    import pandas as pd

# pages of days so long after are looked at for when a day was over: a wrong year closes nothing
CLOSED_WITHIN_D = 9


def brought(con: duckdb.DuckDBPyConnection, days: list[str]) -> pd.DataFrame:
    """What each file brought to these days: columns as `snapshot.BROUGHT`."""
    if not days:
        return frame("brought")
    dates = ", ".join(f"DATE '{day}'" for day in days)
    parts = []
    for kind in KINDS:
        day = account.shift_date_sql(kind)
        parts.append(f"""SELECT '{kind}' AS kind, CAST({day} AS DATE) AS shift_date, r.file_id, r.status
            FROM log_{kind} r {account.dough_join(kind)} WHERE CAST({day} AS DATE) IN ({dates})""")
    return store.frame(
        con,
        f"""WITH closed AS (SELECT p.page, min(q.first_run) AS run FROM page p JOIN page q
                ON q.page BETWEEN 'day:' || CAST(TRY_CAST(p.page[5:] AS DATE) + 2 AS DATE)
                    AND 'day:' || CAST(TRY_CAST(p.page[5:] AS DATE) + {CLOSED_WITHIN_D} AS DATE)
            WHERE p.page LIKE 'day:%' GROUP BY 1)
        SELECT b.kind, b.shift_date, f.path AS file, count(*)::DOUBLE AS rows,
            (count(*) FILTER (b.status IN ('accepted', 'waiting')))::DOUBLE AS in_force,
            CASE WHEN f.run > any_value(p.first_run) AND f.run > any_value(c.run) THEN 'yes' ELSE 'no' END AS late
        FROM ({" UNION ALL ".join(parts)}) b JOIN file f USING (file_id)
            LEFT JOIN page p ON p.page = 'day:' || CAST(b.shift_date AS VARCHAR) LEFT JOIN closed c ON c.page = p.page
        GROUP BY b.kind, b.shift_date, b.file_id, f.path, f.run ORDER BY b.shift_date, f.path, b.kind""",
        store.typed_columns(FRAMES["brought"]),
    )


def restated(con: duckdb.DuckDBPyConnection) -> pd.DataFrame:
    """What corrected rows changed, column by column: columns as `snapshot.RESTATED`."""
    parts = [_restated_of(con, kind) for kind in account.having(con, "status = 'superseded'")]
    if not parts:
        return frame("restated")
    import pandas as pd

    every = pd.concat([part for part in parts if not part.empty] or parts[:1], ignore_index=True)
    return every.astype({c.name: FRAME_TYPE[c.type] for c in FRAMES["restated"]})


def _restated_of(con: duckdb.DuckDBPyConnection, kind: str) -> pd.DataFrame:
    """Rows of one log that a newer credible one superseded, beside the row that did; what could not be read is as written."""
    columns = [c.name for c in TABLES[kind].columns if not c.personal]
    pairs = ", ".join(
        f"{{'name': '{name}', 'before': CAST(o.\"{name}\" AS VARCHAR), 'after': CAST(n.\"{name}\" AS VARCHAR)}}"
        for name in columns
    )
    rows = account.rows(kind)
    return con.execute(f"""
        WITH touched AS (SELECT * FROM {rows} WHERE NOT asks AND status IN ('accepted', 'waiting', 'superseded')
                   AND identity IN (SELECT identity FROM {account.rows(kind, "status = 'superseded'")})),
        instead AS (SELECT o.seq, min(n.seq) AS by_seq FROM touched o JOIN touched n
                   ON n.identity = o.identity AND n.credible AND n.seq > o.seq WHERE o.status = 'superseded' GROUP BY 1
                   UNION SELECT p.seq, max(p.by_seq) FROM replaced p JOIN {rows} n ON p.by_seq = n.seq JOIN {rows} o
                   ON p.seq = o.seq AND o.identity <> n.identity WHERE n.credible AND NOT n.asks GROUP BY 1),
        r AS (SELECT o.*, i.by_seq FROM log_{kind} o JOIN instead i USING (seq)),
        pair AS (SELECT '{kind}' AS kind, n.identity AS key, n.row, n.file_id, n.seq, o.seq AS was_seq,
                    {account.shift_date_sql(kind).replace("r.", "n.").replace("d.", "d.")} AS shift_date, unnest([{pairs}]) AS c
                 FROM r o JOIN {rows} n ON o.by_seq = n.seq {account.dough_join(kind).replace("r.batch_key", "n.batch_key")}
                 WHERE o.status = 'superseded')
        SELECT p.kind, p.key, p.shift_date, p.c.name AS "column", coalesce(p.c.before, s.value) AS before, p.c.after AS after,
            f.path AS file, p.row, nullif(coalesce(d.who, w.who), '') AS by,
            CASE WHEN g.first_run < f.run THEN 'yes' ELSE 'no' END AS printed
        FROM pair p JOIN file f ON p.file_id = f.file_id
            LEFT JOIN (SELECT seq, "column", nullif(any_value(value), '') AS value FROM slip GROUP BY ALL) s
                ON s.seq = p.was_seq AND s."column" = p.c.name
            LEFT JOIN (SELECT sha256, any_value(who) AS who FROM decision GROUP BY 1) d ON d.sha256 = f.sha256
            LEFT JOIN (SELECT by_seq, any_value(who) AS who FROM replaced GROUP BY 1) w ON w.by_seq = p.seq
            LEFT JOIN page g ON g.page = 'day:' || CAST(p.shift_date AS VARCHAR)
        WHERE p.c.before IS DISTINCT FROM p.c.after ORDER BY p.seq, p.c.name""").df()
