"""The snapshot reports are made from, read out of the store."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING

from models.logbook import FRAME_TYPE, KINDS, TABLES
from models.snapshot import FRAMES, Snapshot, frame
from models.storage import account, restating, store, waitsfor, wide

if TYPE_CHECKING:
    import duckdb
    import pandas as pd

    from models.plant import Plant
    from models.shapes import Alert, Charted


def snapshot(
    con: duckdb.DuckDBPyConnection,
    plant: Plant,
    version: str,
    rows: wide.Wide,
    charted: tuple[Charted, ...],
    alerts: tuple[Alert, ...],
    left_out: pd.DataFrame,
    days: Iterable[str] = (),
    months: Iterable[str] = (),
) -> Snapshot:
    """Everything in force, everything left out and why, everything found; of loaves what pages of these days and months ask.

    rows: its wide rows; left_out: as `excluded`. months: looked at for repeated patterns, too.
    """
    from models.judging.independence import BY_HAND, look
    from models.pages.reckoning import MOST_DAYS
    from models.storage import counted, holds, weighings

    days, months = sorted(set(days)), sorted(set(months))
    return Snapshot(
        plant=plant,
        version=version,
        pastes=rows.pastes,
        batches=rows.batches,
        loaves=weighings.of_days(con, plant, days),
        output=_log(con, "output"),
        changes=_log(con, "change"),
        checks=_log(con, "check"),
        account=account.by_day(con),
        excluded=left_out,
        passed_over=_passed_over(con),
        findings=findings(con),
        rules=_rules(con, days),
        restated=restating.restated(con),
        files=_files(con),
        brought=restating.brought(con, days),
        charted=charted,
        alerts=alerts,
        hold_events=tuple(holds.events(con)),
        looked=tuple(look(month, of_month(con, plant, month, BY_HAND), plant, rows.batches) for month in months),
        counted=counted.counted(con, plant, days, months, MOST_DAYS),
    )


def _shape(con: duckdb.DuckDBPyConnection, name: str, query: str) -> pd.DataFrame:
    return store.frame(con, query, store.typed_columns(FRAMES[name]))


def log(con: duckdb.DuckDBPyConnection, kind: str, more: tuple[str, ...] = ()) -> pd.DataFrame:
    """Accepted rows of one log, typed, in order of its clock."""
    return _log(con, kind, more)


def of_month(con: duckdb.DuckDBPyConnection, plant: Plant, month: str, at_most: int) -> dict[str, pd.DataFrame]:
    """Accepted rows of a calendar month ("2026-05", the plant's clock) of every log that has a clock: typed, in its order.

    at_most: rows; a log with more in the month is left out. Logs that belong to a dough have its product beside their own columns.
    """
    first = datetime.fromisoformat(f"{month}-01").replace(tzinfo=plant.zone)
    after = (first + timedelta(days=32)).replace(day=1)
    bounds = [at.astimezone(UTC).replace(tzinfo=None) for at in (first, after)]
    found = {}
    for kind in (kind for kind in KINDS if TABLES[kind].by_name[TABLES[kind].at].type == "time"):
        at, columns = TABLES[kind].at, store.typed_columns(TABLES[kind].columns)
        names = ", ".join(f'r."{name}"' for name in columns)
        product, join = "", ""
        if "product" not in columns and TABLES[kind].refers and kind != "paste":
            columns, product, join = (
                columns | {"product": "text"},
                ", b.product",
                "LEFT JOIN batches b USING (batch_key)",
            )
        source = f"{account.rows(kind)} r {join} WHERE r.status = 'accepted' AND r.{at} >= ? AND r.{at} < ?"
        if (con.execute(f"SELECT count(*) FROM {source}", bounds).fetchone() or (0,))[0] <= at_most:
            query = f"SELECT {names}{product} FROM {source} ORDER BY r.{at}, r.identity"
            found[kind] = store.frame(con, query, columns, bounds)
    return found


def _log(con: duckdb.DuckDBPyConnection, kind: str, more: tuple[str, ...] = (), where: str = "true") -> pd.DataFrame:
    table = TABLES[kind]
    columns = dict.fromkeys(more, "text") | store.typed_columns(table.columns)
    names = ", ".join(f'"{name}"' for name in columns)
    accepted = account.rows(kind, f"status = 'accepted' AND {where}")
    return store.frame(con, f"SELECT {names} FROM {accepted} ORDER BY {table.at}, identity", columns)


def output_of(con: duckdb.DuckDBPyConnection, days: list[str]) -> pd.DataFrame:
    """Accepted rows of the output log of these production days."""
    return _log(con, "output", where=f"shift_date IN ({store.dates(days)})")


OF_A_LOAF = ("batch_key", "line", "measured_at", "baked_g", "volume_ml", "cooled_minutes", "reason", "scale")


def digests(con: duckdb.DuckDBPyConnection) -> dict[str, dict[str, str]]:
    """Table -> day -> digest of its rows of that day in force: pastes, batches, loaves, output, change, check, weight check.

    Each row is hashed whole, so that two rows which trade a value are other rows.
    """
    in_force = "log_{0} WHERE status = 'accepted'".format
    tables = {
        "pastes": ("shift_date", "pastes"),
        "batches": ("shift_date", "batches"),
        "loaves": ("shift_date", _loaves_by_day()),
        "output": ("shift_date", in_force("output")),
        "change": ("CAST(changed_at AS DATE)", in_force("change")),
        "check": ("CAST(checked_at AS DATE)", in_force("check")),
        "weight check": ("CAST(checked_at AS DATE)", f"{in_force('check')} AND quantity = 'weight'"),
    }
    found = {}
    for name, (day, source) in tables.items():
        query = f"SELECT {day}, count(*), sum(hash(r)) FROM (SELECT * FROM {source}) r GROUP BY 1"
        rows = con.execute(query).fetchall()
        found[name] = {str(on): "/".join(map(str, sums)) for on, *sums in rows}
    return found


def _loaves_by_day() -> str:
    """SQL of what pages and alerts ask of the accepted loaves, with the production day of their dough, as FROM takes it."""
    columns = ", ".join(f'l."{name}"' for name in OF_A_LOAF)
    return (
        f"(SELECT b.shift_date, {columns} FROM log_loaf l JOIN batches b USING (batch_key) WHERE l.status = 'accepted')"
    )


ALONE_FOR = timedelta(days=3)


def newest(con: duckdb.DuckDBPyConnection) -> datetime:
    """The newest instant anything in force was recorded; alerts are aged against it, not against a clock.

    One row alone, days after all others, is a slip of the pen (a wrong year) until a second one stands beside it.
    """
    parts = [
        f"SELECT {TABLES[kind].at}::TIMESTAMP AS noted FROM log_{kind} WHERE status IN ('accepted', 'waiting')"
        for kind in KINDS
        if TABLES[kind].by_name[TABLES[kind].at].type == "time"
    ]
    instants = " UNION ALL ".join(parts)
    (top,) = con.execute(f"SELECT max(noted) FROM ({instants})").fetchone() or (None,)
    latest = top
    while latest is not None:
        beside, before = con.execute(
            f"SELECT count(*) FILTER (noted > $at - $alone), max(noted) FILTER (noted <= $at - $alone) FROM ({instants}) WHERE noted <= $at",
            {"at": latest, "alone": ALONE_FOR},
        ).fetchone() or (0, None)
        if beside > 1:
            return latest
        latest = before
    return top or datetime(1970, 1, 1)


def excluded(con: duckdb.DuckDBPyConnection) -> pd.DataFrame:
    """Every row that is not in force, with its main reason: columns as `snapshot.EXCLUDED`."""
    parts = []
    for kind in account.having(con, "status <> 'accepted'"):
        wait = f"{waitsfor.to(kind)}_batch"
        parts.append(f"""
        SELECT r.seq, '{kind}' AS kind, f.path AS file, r.row, r.status,
            CASE r.status WHEN 'quarantined' THEN s."column" WHEN 'waiting' THEN '{wait}' END AS "column",
            CASE r.status WHEN 'quarantined' THEN s.value WHEN 'waiting' THEN {waitsfor.value(kind)} END AS value,
            CASE r.status WHEN 'quarantined' THEN s.rule END AS rule,
            CASE r.status
                WHEN 'quarantined' THEN s.why
                WHEN 'waiting' THEN {waitsfor.why(kind)}
                WHEN 'duplicate' THEN 'the same row with the same values came before; counted once'
                ELSE {_by_whom()} || '; both stay readable' END AS why,
            CASE r.status WHEN 'quarantined' THEN s.proposal END AS proposal,
            CASE WHEN r.status = 'quarantined' AND n.verdict = 'rejected' THEN 'rejected by ' || n.who || ': ' || n.because END AS decided,
            {account.shift_date_sql(kind)} AS shift_date,
            CASE r.status WHEN 'quarantined' THEN s.weight ELSE 9 END AS weight
        FROM log_{kind} r JOIN file f ON r.file_id = f.file_id
            LEFT JOIN (SELECT * FROM slip QUALIFY row_number() OVER (PARTITION BY seq ORDER BY weight, place) = 1) s
                ON r.seq = s.seq AND r.status = 'quarantined'
            LEFT JOIN decision n ON r.seq = n.seq
            LEFT JOIN (SELECT p.seq, max_by(coalesce(p.who, ''), p.by_seq) AS who FROM replaced p JOIN log_{kind} b ON p.by_seq = b.seq
                WHERE b.credible AND NOT b.asks GROUP BY 1) w ON r.seq = w.seq
            {waitsfor.join(kind)}
            {account.dough_join(kind)}
        WHERE r.status <> 'accepted'""")
    if not parts:
        return frame("excluded")
    return _shape(
        con, "excluded", f"SELECT * EXCLUDE (weight) FROM ({' UNION ALL '.join(parts)}) ORDER BY status, weight, seq"
    )


def _by_whom() -> str:
    """SQL of what took a superseded row's place: `w` its workbook's row, `n` the decision on it."""
    return """CASE WHEN w.who <> '' THEN 'corrected in a workbook by ' || w.who
        WHEN w.seq IS NOT NULL THEN 'a row of a workbook written for correcting it took its place'
        WHEN n.verdict = 'confirmed' THEN 'corrected as proposed, confirmed by ' || n.who
        ELSE 'a newer row of the same batch came with other values' END"""


def findings(con: duckdb.DuckDBPyConnection) -> pd.DataFrame:
    """Where the process was out of its limits: columns as `snapshot.FINDINGS`, and the product."""
    return _shape(con, "findings", "SELECT * FROM finding ORDER BY shift_date, kind, key, rule")


def _passed_over(con: duckdb.DuckDBPyConnection) -> pd.DataFrame:
    return _shape(
        con,
        "passed_over",
        """SELECT f.path AS file, p.row, p.why FROM passed_over p JOIN file f USING (file_id)
        ORDER BY f.file_id, p.row""",
    )


def _files(con: duckdb.DuckDBPyConnection) -> pd.DataFrame:
    return _shape(
        con, "files", "SELECT path AS file, sha256, kind, outcome, why, notes, run FROM file ORDER BY file_id"
    )


def _rules(con: duckdb.DuckDBPyConnection, days: list[str]) -> pd.DataFrame:
    """Each rule by production day: how much it judged, how much broke it, and its outcome.

    Of these days, and the last that each rule was asked on: which rules there are, whatever the day.
    """
    from models.judging.checks import BROKEN, COULD_NOT_RUN, NOTHING, PASSED, required_rules
    from models.judging.rules import GOOD, truth_rules

    says = {rule.code: rule.says for kind in KINDS for rule in (*required_rules(kind), *truth_rules(kind))}
    says |= {rule.code: rule.says for rule in GOOD}
    found = con.execute(f"""WITH every AS (SELECT rule, kind, shift_date, judged, broken, could_run FROM judged UNION ALL
            SELECT rule, kind, shift_date, 1, broken::INTEGER, could_run FROM judged_batch),
        last AS (SELECT rule, max(shift_date) AS shift_date FROM every GROUP BY 1)
        SELECT rule, kind, shift_date, sum(judged)::DOUBLE AS judged, sum(broken)::DOUBLE AS broken,
            CASE WHEN NOT bool_and(could_run) THEN '{COULD_NOT_RUN}' WHEN sum(judged) = 0 THEN '{NOTHING}'
                 WHEN sum(broken) > 0 THEN '{BROKEN}' ELSE '{PASSED}' END AS outcome
        FROM every WHERE shift_date IS NULL OR shift_date IN ({store.dates(days)})
            OR EXISTS (SELECT 1 FROM last WHERE last.rule = every.rule AND last.shift_date = every.shift_date)
        GROUP BY ALL ORDER BY rule, shift_date""").df()
    found["says"] = found["rule"].map(says)
    return found.astype({c.name: FRAME_TYPE[c.type] for c in FRAMES["rules"]} | {"shift_date": "datetime64[us]"})


def quarantine(rows: pd.DataFrame) -> list[dict]:
    """The contract's `quarantine`: what still waits for a person, most serious first. rows: as `excluded`."""
    waiting = rows[(rows["status"] == "quarantined") & rows["decided"].isna()]
    names = ["kind", "file", "row", "column", "value", "rule", "why", "proposal"]
    return [
        {
            name: (
                int(value) if name == "row" else value if isinstance(value, str) else None if name == "proposal" else ""
            )
            for name, value in zip(names, values, strict=True)
        }
        for values in waiting[names].itertuples(index=False)
    ]
