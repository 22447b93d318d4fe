"""The row account: what became of every row, settled over the rows that new ones touch.

received = accepted + waiting + quarantined + duplicate + superseded, for every log, always: each row
has exactly one status. Statuses follow from the rows and their order of arrival alone, so that taking
the same files in one run or in many gives the same account.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager, nullcontext
from dataclasses import dataclass, field
from datetime import date
from typing import TYPE_CHECKING

from models.fixed import STATUSES
from models.logbook import KINDS, TABLES, Column
from models.storage import store
from models.storage.store import OF_DOUGH

if TYPE_CHECKING:
    import duckdb
    import pandas as pd

    from models.plant import Plant

TWO_FIT = "two-batches-fit"


@dataclass
class Touched:
    """Batches whose rows changed: what has to be worked out again. days: of rows that wait no longer."""

    batches: set[str] = field(default_factory=set)
    pastes: set[str] = field(default_factory=set)
    yeast_lots: set[str] = field(default_factory=set)
    days: set[str] = field(default_factory=set)


def own_identity(kind: str) -> str:
    """SQL of a row's identity from its own columns; a row that lacks one stands for itself."""
    parts = {"dough": ["shift_date", "line", "dough_batch"], "paste": ["shift_date", "kettle", "paste_batch"]}.get(
        kind, list(TABLES[kind].identity)
    )
    texts = [_text(TABLES[kind].by_name[name]) for name in parts]
    joined = " || '/' || ".join(texts)
    return f"coalesce({joined}, '? ' || digest)"


def _text(column: Column) -> str:
    if column.name == "operator":
        return "coalesce(operator, '')"
    return (
        f"CAST(CAST({column.name} AS DATE) AS VARCHAR)" if column.type == "date" else f"CAST({column.name} AS VARCHAR)"
    )


def digest(kind: str) -> str:
    """SQL of a fingerprint of a row's values, compared as typed."""
    return f"hash({', '.join(c.name for c in TABLES[kind].columns)})"


def rows(kind: str, which: str = "true") -> str:
    """SQL of a log's rows, as FROM takes it, each with its identity and its fingerprint. which: SQL that is true of those wanted.

    A row that belongs to a dough changes its identity with its dough, so keeps none; one that went straight from its file
    into the store keeps no fingerprint either.
    """
    if kind not in OF_DOUGH:
        return f"(SELECT * FROM log_{kind} WHERE {which})"
    known = f"* REPLACE ({_fingerprint(kind)} AS digest), {_linked_identity(kind)} AS identity"
    return f"(SELECT {known} FROM log_{kind} WHERE {which})"


def _fingerprint(kind: str) -> str:
    return f"coalesce(digest, {digest(kind)})"


def digest_of_unread(kind: str) -> str:
    """SQL of the same, of rows with a column `unread`: what stands in cells that could not be read, NULL where all could.

    Two texts that cannot be read are not one value.
    """
    return f"CASE WHEN unread IS NULL THEN {digest(kind)} ELSE hash({digest(kind)}, unread) END"


def settle(
    con: duckdb.DuckDBPyConnection, plant: Plant, first_new: int, in_bulk: dict[str, str] | None = None
) -> Touched:
    """Give every row touched by the rows from seq `first_new` on its links and its status.

    in_bulk: kind to SQL of rows that come straight from their files, with the columns of an arriving row.
    """
    touched = Touched()
    for kind in ("paste", "output", "change", "check"):
        _touch(con, f"SELECT identity FROM log_{kind} WHERE seq >= {first_new}")
        _apply_status(con, kind)
        if kind == "paste":
            touched.pastes |= _names(con)
    _settle_doughs(con, plant, first_new, touched)
    for kind in OF_DOUGH:
        _settle_of_dough(con, kind, first_new, touched, (in_bulk or {}).get(kind, ""))
    for kind in KINDS:
        touched.days |= _let_go(con, kind)
    return touched


def settle_doubtful(con: duckdb.DuckDBPyConnection, kind: str, identities: str) -> None:
    """Settle anew those of some rows that cannot be true; what becomes of the others never hangs on them. identities: a query."""
    _touch(con, identities)
    con.execute(f"""UPDATE log_{kind} SET status = s.status FROM ({store.sql("settle").format(rows=rows(kind))}) s
        WHERE log_{kind}.seq = s.seq AND NOT (log_{kind}.credible AND NOT log_{kind}.asks)""")
    _let_go(con, kind)


def _let_go(con: duckdb.DuckDBPyConnection, kind: str) -> set[str]:
    """A row whose correction a person confirmed, or came in a workbook written for it, is superseded by it, even where the
    correction changed its identity; and so is an earlier try at the same. Returns the production days of the rows it lets go."""
    gone = con.execute(f"""WITH sound AS (SELECT p.seq, p.by_seq FROM replaced p JOIN log_{kind} n ON p.by_seq = n.seq
            WHERE n.credible AND NOT n.asks),
        confirmed AS (SELECT seq FROM decision WHERE verdict = 'confirmed')
        SELECT seq FROM log_{kind} WHERE status = 'quarantined' AND seq IN (
            SELECT seq FROM confirmed UNION SELECT seq FROM sound
            UNION SELECT p.seq FROM replaced p JOIN confirmed c ON p.by_seq = c.seq
            UNION SELECT p.by_seq FROM replaced p JOIN sound s ON p.seq = s.seq AND p.by_seq < s.by_seq)""").fetchall()
    if not gone:
        return set()
    rows = f"seq IN ({', '.join(str(seq) for (seq,) in gone)})"
    days = days_of(con, kind, f"r.{rows}")
    con.execute(f"UPDATE log_{kind} SET status = 'superseded' WHERE {rows}")
    return days


def days_of(con: duckdb.DuckDBPyConnection, kind: str, rows: str) -> set[str]:
    """Production days that rows `r` of a log speak of. rows: SQL that is true of them."""
    found = con.execute(f"""SELECT DISTINCT CAST({shift_date_sql(kind)} AS VARCHAR)
        FROM log_{kind} r {dough_join(kind)} WHERE {rows}""").fetchall()
    return {day for (day,) in found if day}


def _touch(con: duckdb.DuckDBPyConnection, query: str) -> None:
    con.execute(f"CREATE OR REPLACE TEMP TABLE touched AS SELECT DISTINCT identity FROM ({query})")


def _names(con: duckdb.DuckDBPyConnection) -> set[str]:
    return {name for (name,) in con.execute("SELECT identity FROM touched").fetchall()}


def _apply_status(con: duckdb.DuckDBPyConnection, kind: str, near: str = "true") -> None:
    """Settle the rows of the identities in `touched`. near: SQL that is true of all of them, and spares a look at most others."""
    con.execute(f"CREATE OR REPLACE TEMP TABLE settled AS {store.sql('settle').format(rows=rows(kind, near))}")
    con.execute(
        f"UPDATE log_{kind} SET status = settled.status FROM settled WHERE log_{kind}.seq = settled.seq "
        f"AND log_{kind}.status IS DISTINCT FROM settled.status"
    )


def _settle_doughs(con: duckdb.DuckDBPyConnection, plant: Plant, first_new: int, touched: Touched) -> None:
    """Doughs that are new, or that name a paste that is new or changed."""
    store.list_names(con, "touched_pastes", touched.pastes)
    within = TABLES["dough"].refers
    assert within is not None
    con.execute(f"""
        CREATE OR REPLACE TEMP TABLE again AS
        SELECT d.seq, d.identity FROM log_dough d WHERE d.seq >= {first_new}
            OR d.paste_key IN (SELECT name FROM touched_pastes) OR d.paste_key_2 IN (SELECT name FROM touched_pastes)
        UNION
        SELECT d.seq, d.identity FROM log_dough d JOIN log_paste p
            ON (p.paste_batch = d.paste_batch OR p.paste_batch = d.paste_batch_2)
            AND d.mixed_at >= p.cook_end AND d.mixed_at <= p.cook_end + to_hours({within.within_h:.0f})
        WHERE p.identity IN (SELECT name FROM touched_pastes)""")
    touched.pastes |= _link_pastes(con, plant, within.within_h)
    _touch(con, "SELECT identity FROM again")
    _apply_status(con, "dough")
    con.execute("""UPDATE log_dough SET status = 'waiting' WHERE status = 'accepted' AND identity IN (SELECT identity FROM touched)
        AND ((paste_batch IS NOT NULL AND paste_key IS NULL) OR (paste_batch_2 IS NOT NULL AND paste_key_2 IS NULL))""")
    touched.batches |= _names(con)


def _link_pastes(con: duckdb.DuckDBPyConnection, plant: Plant, within_h: float) -> set[str]:
    """Look for the pastes of the doughs in `again`; returns the pastes that doughs were traced to before and are no more."""
    con.execute("""CREATE OR REPLACE TEMP TABLE linked_before AS
        SELECT seq, unnest([paste_key, paste_key_2]) AS name FROM log_dough WHERE seq IN (SELECT seq FROM again)""")
    con.execute("CREATE OR REPLACE TEMP TABLE own_kettle (line VARCHAR, kettle VARCHAR)")
    con.executemany("INSERT INTO own_kettle VALUES (?, ?)", [[name, line.kettle] for name, line in plant.lines.items()])
    query = store.sql("link_paste").format(within_s=within_h * 3600)
    for named, key in (("paste_batch", "paste_key"), ("paste_batch_2", "paste_key_2")):
        con.execute(f"""CREATE OR REPLACE TEMP TABLE linking AS
            SELECT d.seq, d.{named} AS paste_batch, k.kettle, d.mixed_at AS at
            FROM log_dough d LEFT JOIN own_kettle k ON d.line = k.line WHERE d.seq IN (SELECT seq FROM again)""")
        con.execute(f"CREATE OR REPLACE TEMP TABLE linked_{named} AS {query}")
        con.execute(f"UPDATE log_dough SET {key} = l.paste_key FROM linked_{named} l WHERE log_dough.seq = l.seq")
    con.execute("""UPDATE log_dough SET asks = a.asks OR b.asks FROM linked_paste_batch a, linked_paste_batch_2 b
        WHERE log_dough.seq = a.seq AND log_dough.seq = b.seq""")
    _ask(
        con,
        "dough",
        "paste_batch",
        "two kettles cooked a paste of this number at the same time: "
        "write which one was used (its number is not enough)",
    )
    left = con.execute("""SELECT DISTINCT b.name FROM linked_before b JOIN log_dough d USING (seq)
        WHERE b.name NOT IN (coalesce(d.paste_key, ''), coalesce(d.paste_key_2, ''))""").fetchall()
    return {name for (name,) in left}


def make_arriving(con: duckdb.DuckDBPyConnection, kind: str) -> None:
    """The table in which new rows of a log wait for their dough to be looked for; gone once they are settled."""
    con.execute(f"""CREATE TEMP TABLE IF NOT EXISTS arriving_{kind} AS
        SELECT * EXCLUDE (status, batch_key, asks) FROM log_{kind} LIMIT 0""")


def _settle_of_dough(
    con: duckdb.DuckDBPyConnection, kind: str, first_new: int, touched: Touched, in_bulk: str = ""
) -> None:
    """Proofs, gas tests and loaves that are new, or whose dough is new or changed."""
    _list_again(con, kind, first_new, touched)
    old = _linked_now(con, kind)
    make_arriving(con, kind)
    _find_reach(con, kind, _when(con, kind) if not in_bulk else EVER)
    again = rows(kind, "seq IN (SELECT seq FROM again)")
    con.execute(f"""CREATE OR REPLACE TEMP TABLE linked AS SELECT r.seq, h.batch_key, coalesce(h.asks, false) AS asks
        FROM {_linked(kind, again)}""")
    con.execute(
        f"UPDATE log_{kind} SET batch_key = l.batch_key, asks = l.asks FROM linked l WHERE log_{kind}.seq = l.seq"
    )
    _let_in(con, kind, first_new, touched, in_bulk)
    _ask(con, kind, "dough_batch", "two doughs of this number were mixed at the same time: write which one it was")
    _touch(con, f"SELECT identity FROM again UNION SELECT identity FROM {again}")
    batches = old | _linked_now(con, kind)
    store.list_names(con, "near_batches", batches)
    # rows of one identity are of one dough, but a gas test keeps its number whatever dough it names
    of_these = "batch_key IS NULL OR batch_key IN (SELECT name FROM near_batches)"
    _apply_status(con, kind, "true" if kind == "gas" else of_these)
    con.execute(f"""UPDATE log_{kind} SET status = 'waiting' WHERE status = 'accepted' AND batch_key IS NULL
        AND dough_batch IS NOT NULL AND seq IN (SELECT seq FROM settled)""")
    touched.batches |= batches
    if kind == "gas":
        lots = con.execute(
            "SELECT DISTINCT yeast_lot FROM log_gas WHERE yeast_lot IS NOT NULL AND seq IN (SELECT seq FROM again)"
        )
        touched.yeast_lots |= {name for (name,) in lots.fetchall()}


# no bounds: a file that goes in as it stands is not read once more only to see when its rows are from
EVER = ("-infinity", "infinity")


def _when(con: duckdb.DuckDBPyConnection, kind: str) -> tuple[str, str]:
    """From when to when the rows are whose dough is looked for; where there are none, a time that no dough has."""
    at = TABLES[kind].at
    first, last = con.execute(f"""SELECT CAST(min(noted) AS VARCHAR), CAST(max(noted) AS VARCHAR) FROM (
        SELECT {at} AS noted FROM arriving_{kind} UNION ALL
        SELECT {at} FROM log_{kind} WHERE seq IN (SELECT seq FROM again))""").fetchone() or (None, None)
    return (first, last) if first is not None else ("infinity", "infinity")


def _find_reach(con: duckdb.DuckDBPyConnection, kind: str, when: tuple[str, str]) -> None:
    """The doughs that rows of a log may mean, and until when. when: the first and the last time of those rows."""
    refers = TABLES[kind].refers
    assert refers is not None
    query = store.sql("reach_of_dough").format(within_s=refers.within_h * 3600, first=when[0], last=when[1])
    con.execute(f"CREATE OR REPLACE TEMP TABLE reach AS {query}")


def _linked(kind: str, rows: str) -> str:
    """FROM clause of rows `r` of a log with the dough `h` that they mean, if any. rows: a table or a query in brackets."""
    at = f"r.{TABLES[kind].at}"
    return f"""{rows} r LEFT JOIN reach h ON r.dough_batch = h.dough_batch AND r.line = h.line AND CAST({at} AS DATE) = h.day
        AND {at} >= h.mixed_at AND {at} < h.next_at AND {at} <= h.last_at"""


def _let_in(con: duckdb.DuckDBPyConnection, kind: str, first_new: int, touched: Touched, in_bulk: str) -> None:
    """New rows go into their log with their dough. One that nothing speaks against and that is alone of its identity
    has its status at once; the others are settled with the rows they meet, and join `again`."""
    arriving = f"SELECT * FROM arriving_{kind}" + (f" UNION ALL BY NAME {in_bulk}" if in_bulk else "")
    with _at_once(con) if in_bulk else nullcontext():
        con.execute(f"""INSERT INTO log_{kind} BY NAME SELECT *, CASE WHEN credible AND NOT asks
            THEN CASE WHEN batch_key IS NULL AND dough_batch IS NOT NULL THEN 'waiting' ELSE 'accepted' END END AS status
        FROM (SELECT r.*, h.batch_key, coalesce(h.asks, false) AS asks FROM {_linked(kind, f"({arriving})")})""")
    keys = con.execute(
        f"SELECT DISTINCT batch_key FROM log_{kind} WHERE seq >= {first_new} AND batch_key IS NOT NULL"
    ).fetchall()
    touched.batches |= {name for (name,) in keys}
    con.execute(f"""CREATE OR REPLACE TEMP TABLE met AS SELECT {_meets_as(kind)} AS h FROM log_{kind}
        WHERE {_may_meet(kind, first_new, len(keys))} GROUP BY 1 HAVING count(*) > 1""")
    con.execute(f"""INSERT INTO again SELECT seq, {_linked_identity(kind)} FROM log_{kind} WHERE seq >= {first_new}
        AND (status IS NULL OR {_meets_as(kind)} IN (SELECT h FROM met)) AND seq NOT IN (SELECT seq FROM again)""")
    if kind == "gas":
        lots = con.execute(f"SELECT DISTINCT yeast_lot FROM log_gas WHERE yeast_lot IS NOT NULL AND seq >= {first_new}")
        touched.yeast_lots |= {name for (name,) in lots.fetchall()}
    con.execute(f"DROP TABLE arriving_{kind}; DROP TABLE reach; DROP TABLE met")


@contextmanager
def _at_once(con: duckdb.DuckDBPyConnection) -> Iterator[None]:
    """Rows of several files go in at once; they are matched to the doughs, of which there are few, as they come.

    Left to itself the database puts the rows in order, one file after the other, and gathers them all before it looks at a
    dough: it cannot know how many there are.
    """
    con.execute("SET preserve_insertion_order = false; SET disabled_optimizers = 'build_side_probe_side'")
    yield
    # not where it failed: an aborted transaction takes no statement, and would hide what went wrong; its connection is closed
    con.execute("SET preserve_insertion_order = true; RESET disabled_optimizers")


def _meets_as(kind: str) -> str:
    """SQL of a number that rows of one identity have alike, and few others: quicker than the identity itself."""
    itself, own = f"hash({_linked_identity(kind)})", ", ".join(("batch_key", *TABLES[kind].identity))
    return itself if kind == "gas" else f"CASE WHEN batch_key IS NULL THEN {itself} ELSE hash({own}) END"


# doughs that are looked through for loaves of one number at a time, and the numbers that take part: half a kilobyte a dough
MANY_DOUGHS, NUMBERS = 100_000, 4096


def _may_meet(kind: str, first_new: int, doughs: int) -> str:
    """SQL that is true of every row that may be one and the same with a new one, and of few others. doughs: those of new rows."""
    if kind == "gas":
        return "true"  # a test keeps its number whatever dough it names
    of_the_same = f"batch_key IN (SELECT DISTINCT batch_key FROM log_{kind} WHERE seq >= {first_new})"
    if doughs > MANY_DOUGHS:
        return f"batch_key IS NULL OR {of_the_same}"
    numbers = [f"TRY_CAST({name} AS INTEGER)" for name in TABLES[kind].identity]
    each = "".join(  # of a dough none of whose loaves has such a number: no bits at all
        f"coalesce(bit_count(bitstring_agg(CASE WHEN {n} BETWEEN 0 AND {NUMBERS - 1} THEN {n} END, 0, {NUMBERS - 1})), 0)"
        for n in numbers
    )
    crowded = f"SELECT batch_key FROM log_{kind} WHERE {of_the_same} GROUP BY 1 HAVING count(*) > {each or 1}"
    return f"batch_key IS NULL OR batch_key IN ({crowded})"


def _list_again(con: duckdb.DuckDBPyConnection, kind: str, first_new: int, touched: Touched) -> None:
    """Rows taken before whose dough has to be looked for again, with the identity they had."""
    refers = TABLES[kind].refers
    assert refers is not None
    store.list_names(con, "touched_batches", touched.batches)
    con.execute(f"""
        CREATE OR REPLACE TEMP TABLE again AS
        SELECT seq, {_linked_identity(kind)} AS identity FROM log_{kind} WHERE seq >= {first_new}
            OR batch_key IN (SELECT name FROM touched_batches)
        UNION
        SELECT r.seq, r.identity FROM {rows(kind)} r JOIN log_dough d ON r.dough_batch = d.dough_batch AND r.line = d.line
            AND r.{refers.at} >= d.mixed_at AND r.{refers.at} <= d.mixed_at + to_hours({refers.within_h:.0f})
        WHERE d.identity IN (SELECT name FROM touched_batches)""")


def _linked_now(con: duckdb.DuckDBPyConnection, kind: str) -> set[str]:
    rows = con.execute(
        f"SELECT DISTINCT batch_key FROM log_{kind} WHERE batch_key IS NOT NULL AND seq IN (SELECT seq FROM again)"
    )
    return {name for (name,) in rows.fetchall()}


def _linked_identity(kind: str) -> str:
    """SQL of the identity of a row that belongs to a dough; while that has not come, by its own clock."""
    itself = f"'? ' || {_fingerprint(kind)}"
    if kind == "gas":
        return f"coalesce(gas_test, {itself})"
    at = TABLES[kind].at
    dough = f"coalesce(batch_key, '? ' || dough_batch || '/' || line || '/' || CAST({at} AS VARCHAR))"
    own = "".join(f" || '/' || {name}" for name in TABLES[kind].identity)
    return f"coalesce({dough}{own}, {itself})"


def _ask(con: duckdb.DuckDBPyConnection, kind: str, column: str, why: str) -> None:
    """Write or take back the question which of two batches a row means."""
    con.execute(f"DELETE FROM slip WHERE rule = '{kind}.{TWO_FIT}' AND seq IN (SELECT seq FROM again)")
    con.execute(
        f"""INSERT INTO slip SELECT seq, '{kind}', 0, '{column}', coalesce({column}, ''), '{kind}.{TWO_FIT}', ?, NULL, NULL, 4
        FROM log_{kind} WHERE asks AND seq IN (SELECT seq FROM again)""",
        [why],
    )


def count(con: duckdb.DuckDBPyConnection) -> dict[str, dict[str, int]]:
    """The contract's `rows`: kind -> received and each status, over the whole store."""
    found = {}
    for kind in KINDS:
        counts = dict(con.execute(f"SELECT status, count(*) FROM log_{kind} GROUP BY ALL").fetchall())
        found[kind] = {"received": sum(counts.values())} | {status: counts.get(status, 0) for status in STATUSES}
    return found


def having(con: duckdb.DuckDBPyConnection, status: str) -> list[str]:
    """The logs that hold a row of such a status. status: SQL that is true of it."""
    return [kind for kind in KINDS if con.execute(f"SELECT 1 FROM log_{kind} WHERE {status} LIMIT 1").fetchone()]


def by_day(con: duckdb.DuckDBPyConnection) -> pd.DataFrame:
    """The account by log and production day: kind, shift_date (missing: unknown), received and each status."""
    parts = [
        f"""SELECT '{kind}' AS kind, {shift_date_sql(kind)} AS shift_date, count(*)::DOUBLE AS received,
            {", ".join(f"(count(*) FILTER (r.status = '{status}'))::DOUBLE AS {status}" for status in STATUSES)}
            FROM log_{kind} r {dough_join(kind)} GROUP BY 1, 2"""
        for kind in KINDS
    ]
    found = con.execute(f"SELECT * FROM ({' UNION ALL '.join(parts)}) ORDER BY kind, shift_date").df()
    return found.astype({"kind": "str", "shift_date": "datetime64[us]"})


def days(con: duckdb.DuckDBPyConnection) -> list[date]:
    """The production days that any row speaks of that no other has taken the place of, oldest first."""
    parts = [
        f"SELECT DISTINCT {shift_date_sql(kind)} AS day FROM log_{kind} r {dough_join(kind)} WHERE r.status <> 'superseded'"
        for kind in KINDS
    ]
    found = con.execute(
        f"SELECT DISTINCT CAST(day AS DATE) AS day FROM ({' UNION '.join(parts)}) WHERE day IS NOT NULL ORDER BY 1"
    )
    return [day for (day,) in found.fetchall()]


def shift_date_sql(kind: str) -> str:
    """SQL of the production day a row `r` speaks of: its own, its dough's, else the date of its clock."""
    table = TABLES[kind]
    if "shift_date" in table.by_name:
        return "r.shift_date"
    at = f"CAST(r.{table.at} AS DATE)"
    return f"coalesce(d.shift_date, {at})" if table.refers else at


def dough_join(kind: str) -> str:
    """SQL that joins a row `r` to its dough `d`, for the logs that belong to one."""
    if not TABLES[kind].refers or kind == "dough":
        return ""
    return (
        "LEFT JOIN (SELECT batch_key, any_value(shift_date) AS shift_date FROM log_dough "
        "WHERE status IN ('accepted', 'waiting') GROUP BY 1) d ON r.batch_key = d.batch_key"
    )
