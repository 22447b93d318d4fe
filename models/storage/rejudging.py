"""Rows taken earlier, held against a plant file that changed since."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING

from models.judging import checks, derive
from models.logbook import TABLES
from models.storage import account, raw, replacing, store, wrongyear
from models.storage.take import SLIP_COLUMNS, SLIP_TYPES, Doubt, ask_rules, slips_in_order

if TYPE_CHECKING:
    import duckdb

    from models.plant import Plant

# rows held in memory at once when a plant file changed
AT_ONCE = 100_000


def judge_again(con: duckdb.DuckDBPyConnection, kind: str, plant: Plant, before: int) -> None:
    """Hold rows taken earlier (seq below `before`) against a plant file that changed since, file by file as then.

    Cells that could not be read stay as they were; only the rules are asked again. A stretch at a time, so that years of
    logs need no more memory than a day's.
    """
    for first, end in _stretches(con, kind, before):
        _judge_stretch(con, kind, plant, first, end)


def _stretches(con: duckdb.DuckDBPyConnection, kind: str, before: int) -> list[tuple[int, int]]:
    """First seq and the one after the last of stretches of about `AT_ONCE` rows; a file that is measured by itself is whole."""
    files = con.execute(
        f"SELECT min(seq), max(seq) + 1, count(*) FROM log_{kind} WHERE seq < {before} GROUP BY file_id ORDER BY 1"
    ).fetchall()
    parts: list[tuple[int, int, int]] = []
    for first, end, rows in files:
        if kind in derive.OF_THE_FILE or rows <= AT_ONCE:
            parts.append((first, end, rows))
        else:
            parts += [(cut, min(cut + AT_ONCE, end), AT_ONCE) for cut in range(first, end, AT_ONCE)]
    found: list[tuple[int, int]] = []
    held = 0
    for first, end, rows in parts:
        if found and held + rows <= AT_ONCE:
            found[-1], held = (found[-1][0], end), held + rows
        else:
            found.append((first, end))
            held = rows
    return found


def _judge_stretch(con: duckdb.DuckDBPyConnection, kind: str, plant: Plant, first: int, end: int) -> None:
    import pandas as pd

    columns = store.typed_columns(TABLES[kind].columns) | {"seq": "number", "file_id": "number"}
    names = ", ".join(f'"{name}"' for name in columns)
    mine = f"seq >= {first} AND seq < {end}"
    rows = store.frame(con, f"SELECT {names} FROM log_{kind} WHERE {mine} ORDER BY seq", columns)
    if rows.empty:
        return
    file = replacing.apart(con, rows["seq"], rows["file_id"])
    found = checks.judge_truth(kind, rows.drop(columns=["seq", "file_id"]), file, plant)
    seqs = rows["seq"].astype("int64").tolist()
    codes = {outcome.rule.code for outcome in found.outcomes}
    doubts = _unread(con, kind, {seq: i for i, seq in enumerate(seqs)}, codes, mine)
    ask_rules(found, doubts, plant, lambda position, column: _written_before(con, seqs[position], column))
    asked = f"kind = '{kind}' AND rule <> '{kind}.{account.TWO_FIT}' AND {mine}"
    con.execute(f"DELETE FROM slip WHERE {asked}")
    slips = [slip for position, of_row in sorted(doubts.items()) for slip in slips_in_order(seqs[position], kind, of_row)]
    store.insert(con, "slip", pd.DataFrame(slips, columns=list(SLIP_COLUMNS)).astype(SLIP_TYPES))
    con.execute(f"UPDATE log_{kind} SET credible = seq NOT IN (SELECT seq FROM slip WHERE {asked}) WHERE {mine}")


def _unread(
    con: duckdb.DuckDBPyConnection, kind: str, place: dict[int, int], codes: set[str], mine: str
) -> dict[int, list[Doubt]]:
    """Cells that could not be read when their file was taken: they stay as they were."""
    doubts: dict[int, list[Doubt]] = {}
    stored = con.execute(
        f"SELECT seq, \"column\", value, rule, why, weight, cells FROM slip WHERE kind = '{kind}' AND {mine}"
    ).fetchall()
    for seq, column, value, rule, why, weight, cells in stored:
        if rule not in codes and seq in place and not rule.endswith(account.TWO_FIT):
            whole = rule.endswith((wrongyear.RULE, replacing.RULE))
            mend = {name: text for name, text in json.loads(cells or "{}").items() if whole or name == column}
            doubts.setdefault(place[seq], []).append(Doubt(column, value, rule, why, mend, weight, not whole))
    return doubts


def _written_before(con: duckdb.DuckDBPyConnection, seq: int, column: str) -> str:
    return raw.cells(con, seq).get(column) or ""
