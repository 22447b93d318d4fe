"""What a row waits for: a batch that has not come, one that waits in quarantine itself, or one that is written otherwise there."""

from __future__ import annotations

from models.logbook import TABLES

REACH_D = {"paste": 3, "dough": 1}  # how many dates before its own a batch may have that a row names


def to(kind: str) -> str:
    """The log of the batch that rows of a log name."""
    return "paste" if kind == "dough" else "dough"


def value(kind: str) -> str:
    """SQL of the number of the batch that a row `r` waits for."""
    if kind == "dough":
        return "CASE WHEN r.paste_batch IS NOT NULL AND r.paste_key IS NULL THEN r.paste_batch ELSE r.paste_batch_2 END"
    return "r.dough_batch" if TABLES[kind].refers else "NULL"


def why(kind: str) -> str:
    """SQL of the sentence; goes with `join`."""
    what = to(kind)
    two = ""
    if kind == "dough":
        two = f"""WHEN regexp_full_match({value(kind)}, '[^+&/,;]+[+&/,;][^+&/,;]+') THEN 'the paste it names has not come yet; the row is '
            || 'taken up when it does. If two are meant, write paste_batch and paste_batch_2, each with its kg'"""
    return f"""CASE
        WHEN x.held IS NOT NULL THEN 'the {what} it names waits in quarantine (' || x.held || '); the row is taken up when that is decided'
        WHEN x.alike IS NOT NULL THEN 'the {what} it names has not come yet, but ' || x.alike || ' has: if that is meant, write it like '
            || 'that (a spreadsheet takes zeros away)'
        {two}
        ELSE 'the {what} it names has not come yet; the row is taken up when it does' END"""


def join(kind: str) -> str:
    """SQL that joins a waiting row `r` to what is known of the batch it names, as `x`; "" for a log that names none.

    By dates: it is a hint to a person, and decides nothing.
    """
    if not TABLES[kind].refers:
        return "LEFT JOIN (SELECT NULL AS held, NULL AS alike) x ON false"
    what, keys = to(kind), _keys(kind)
    of_line = "AND o.line = w.line" if kind != "dough" else ""
    number = f"o.{what}_batch"
    return f"""LEFT JOIN (
            SELECT w.*, min(q.path || ' row ' || o.row) FILTER (o.status = 'quarantined' AND {number} = w.named) AS held,
                max({number}) FILTER (o.status <> 'quarantined' AND {number} <> w.named) AS alike
            FROM (SELECT DISTINCT {keys} FROM log_{kind} r WHERE r.status = 'waiting') w
            JOIN log_{what} o ON {bare(number)} = {bare("w.named")} {of_line}
                AND CAST(o.shift_date AS DATE) BETWEEN w.day - {REACH_D[what]} AND w.day
            JOIN file q ON o.file_id = q.file_id GROUP BY ALL) x
        ON r.status = 'waiting' AND {value(kind)} = x.named AND CAST(r.{TABLES[kind].at} AS DATE) = x.day
            {"AND r.line = x.line" if kind != "dough" else ""}"""


def _keys(kind: str) -> str:
    line = ", r.line AS line" if kind != "dough" else ""
    return f"{value(kind)} AS named, CAST(r.{TABLES[kind].at} AS DATE) AS day{line}"


def bare(number: str) -> str:
    """A batch number without what a spreadsheet or a hand leaves out: case, blanks, hyphens, zeros before a number."""
    plain = rf"regexp_replace(lower({number}), '[\s_-]', '', 'g')"
    return rf"regexp_replace({plain}, '(^|[^0-9])0+([0-9])', '\1\2', 'g')"
