"""One file into the store: raw rows, typed rows, why a row cannot be true, which lines are no rows."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from models import account, checks, store
from models.logbook import TABLES

if TYPE_CHECKING:
    import duckdb
    import pandas as pd

    from models.intake import Sheet
    from models.plant import Plant
    from models.reading import Slip, Typed

SLIP_COLUMNS = ("seq", "kind", "place", "column", "value", "rule", "why", "proposal", "weight")


@dataclass(frozen=True)
class Pending:
    """A file that was read and typed and waits to be judged with the others of its kind."""

    file_id: int
    sheet: Sheet
    typed: Typed
    first_seq: int

    @property
    def n(self) -> int:
        """Rows received."""
        return len(self.sheet.rows)


def put_raw(con: duckdb.DuckDBPyConnection, files: list[Pending]) -> None:
    """Keep the rows of files as they came, and say which of their lines are no rows."""
    import pandas as pd

    lines = [(file.file_id, line.row, line.why) for file in files for line in file.sheet.passed_over]
    store.insert(con, "passed_over", pd.DataFrame(lines, columns=["file_id", "row", "why"]))
    layouts: dict[tuple[str, ...], list[Pending]] = {}
    for file in files:
        if file.n:
            layouts.setdefault(file.sheet.columns, []).append(file)
    for alike in layouts.values():
        _put_raw_alike(con, alike)


def _put_raw_alike(con: duckdb.DuckDBPyConnection, files: list[Pending]) -> None:
    """Files of one layout at once: the cells become one JSON object a row, inside the store."""
    import pandas as pd

    con.register("cells", pd.concat([file.sheet.rows for file in files], ignore_index=True))
    con.register("places", pd.concat([_places(file) for file in files], ignore_index=True))
    con.execute("""INSERT INTO raw_row SELECT p.seq, p.kind, p.file_id, p.row, c.cells
        FROM (SELECT to_json(cells) AS cells FROM cells) c POSITIONAL JOIN places p""")
    con.unregister("cells")
    con.unregister("places")


def _places(file: Pending) -> pd.DataFrame:
    """Where each row of a file stands: seq, kind, file_id, row."""
    import numpy as np
    import pandas as pd

    return pd.DataFrame({"seq": np.arange(file.first_seq, file.first_seq + file.n), "kind": file.sheet.kind,
                         "file_id": file.file_id, "row": file.sheet.row_numbers})


def put_typed(con: duckdb.DuckDBPyConnection, kind: str, files: list[Pending], plant: Plant) -> pd.DataFrame:
    """Judge the new rows of one log together and keep them; returns outcomes by rule and production day."""
    import pandas as pd

    files = [file for file in files if file.n]
    if not files:
        return pd.DataFrame()
    frame = pd.concat([file.typed.frame for file in files], ignore_index=True)
    places = pd.concat([_places(file) for file in files], ignore_index=True)
    found = checks.judge_truth(kind, frame, places["file_id"], plant)
    slips = pd.DataFrame(slips_of(kind, files, found, plant), columns=SLIP_COLUMNS)
    _put_rows(con, kind, frame, places, set(slips["seq"]))
    store.insert(con, "slip", slips.astype({"proposal": "str"}))
    return outcomes(found)


def _put_rows(con: duckdb.DuckDBPyConnection, kind: str, frame: pd.DataFrame, places: pd.DataFrame, doubtful: set[int]) -> None:
    import pandas as pd

    rows = pd.concat([places[["seq", "file_id", "row"]], frame], axis=1)
    rows["credible"] = ~rows["seq"].isin(doubtful)
    names = ", ".join(f'"{name}"' for name in rows.columns)
    own = {"paste": "paste_key", "dough": "batch_key"}.get(kind)
    identity = account.own_identity(kind) if TABLES[kind].identity and kind != "loaf" else "'? ' || digest"
    con.register("incoming", rows)
    con.execute(f"""INSERT INTO log_{kind} ({names}, asks, digest, identity{f', {own}' if own else ''})
        SELECT {names}, false, digest, identity{f", CASE WHEN identity NOT LIKE '? %' THEN identity END" if own else ''}
        FROM (SELECT *, {identity} AS identity FROM (SELECT *, {account.digest(kind)} AS digest FROM incoming))""")
    con.unregister("incoming")


def slips_of(kind: str, files: list[Pending], found: checks.Judged, plant: Plant) -> list[tuple[Any, ...]]:
    """Every reason why rows of these files cannot be true, main reason first: one tuple a reason, as `slip` has it."""
    from models.proposals import propose

    place = [(file, row) for file in files for row in range(file.n)]
    of_row: dict[int, list[tuple[Any, ...]]] = {}
    start = 0
    for file in files:
        for cell in file.typed.slips:
            if cell.rule != "required":
                of_row.setdefault(start + cell.row, []).append(_unreadable(kind, cell))
        start += file.n
    for outcome in found.outcomes:
        rule = outcome.rule
        for position in outcome.rows:
            slips = of_row.setdefault(position, [])
            if rule.code.endswith(".required") and any(slip[0] == rule.column for slip in slips):
                continue  # the cell could not be read: it is not empty
            values = found.rows.iloc[position]
            slips.append((rule.column, _as_written(*place[position], rule.column), rule.code,
                          checks.explain(rule, values, plant), propose(rule, values, plant), rule.weight))
    return [
        (place[position][0].first_seq + place[position][1], kind, i, *slip)
        for position, slips in sorted(of_row.items())
        for i, slip in enumerate(sorted(slips, key=lambda slip: slip[5]))
    ]


def _unreadable(kind: str, cell: Slip) -> tuple[Any, ...]:
    return (cell.column, cell.value, f"{kind}.{cell.rule}", cell.why, cell.proposal, 4)


def _as_written(file: Pending, row: int, column: str) -> str:
    if column not in file.sheet.rows.columns:
        return ""
    text = file.sheet.rows[column].iloc[row]
    return text if isinstance(text, str) else ""


def outcomes(found: checks.Judged) -> pd.DataFrame:
    """How much each rule judged and broke, by production day: rule, kind, shift_date, judged, broken, could_run."""
    import numpy as np
    import pandas as pd

    rows = found.rows
    day = rows["shift_date"] if "shift_date" in rows else _clock_day(rows)
    parts = []
    for outcome in found.outcomes:
        broken = np.zeros(len(rows), dtype=bool)
        broken[list(outcome.rows)] = True
        can = rows[list(outcome.rule.needs)].notna().all(axis=1) if outcome.rule.needs else np.ones(len(rows), dtype=bool)
        part = pd.DataFrame({"shift_date": day, "judged": np.asarray(can, dtype="int64"), "broken": broken.astype("int64")})
        part = part.groupby("shift_date", dropna=False, as_index=False).sum()
        parts.append(part.assign(rule=outcome.rule.code, kind=outcome.rule.kind, could_run=outcome.outcome != checks.COULD_NOT_RUN))
    return pd.concat(parts) if parts else pd.DataFrame(columns=["shift_date", "judged", "broken", "rule", "kind", "could_run"])


def _clock_day(rows: pd.DataFrame) -> pd.Series:
    at = next(name for name in ("mixed_at", "proof_in", "tested_at", "measured_at", "changed_at", "checked_at") if name in rows)
    return rows[at].dt.normalize()


def judge_again(con: duckdb.DuckDBPyConnection, kind: str, plant: Plant, before: int) -> None:
    """Hold rows taken earlier (seq below `before`) against a plant file that changed since, file by file as then.

    Cells that could not be read stay as they were; only the rules are asked again.
    """
    import pandas as pd

    columns = store.typed_columns(TABLES[kind].columns) | {"seq": "number", "file_id": "number"}
    names = ", ".join(f'"{name}"' for name in columns)
    rows = store.frame(con, f"SELECT {names} FROM log_{kind} WHERE seq < {before} ORDER BY seq", columns)
    if rows.empty:
        return
    found = checks.judge_truth(kind, rows.drop(columns=["seq", "file_id"]), rows["file_id"], plant)
    seqs = rows["seq"].astype("int64").tolist()
    codes = {outcome.rule.code for outcome in found.outcomes}
    unread = {(seq, column) for seq, column, rule in con.execute(
        f"SELECT seq, \"column\", rule FROM slip WHERE kind = '{kind}'").fetchall() if rule not in codes}
    con.execute(f"DELETE FROM slip WHERE kind = '{kind}' AND seq < {before} AND rule IN (SELECT unnest(?))", [sorted(codes)])
    store.insert(con, "slip", pd.DataFrame(_slips_again(kind, con, found, seqs, unread, plant), columns=SLIP_COLUMNS).astype({"proposal": "str"}))
    con.execute(f"UPDATE log_{kind} SET credible = seq NOT IN (SELECT seq FROM slip WHERE kind = '{kind}' AND rule <> '{kind}.{account.TWO_FIT}') "
                f"WHERE seq < {before}")


def _slips_again(kind: str, con: duckdb.DuckDBPyConnection, found: checks.Judged, seqs: list[int], unread: set[tuple[int, str]],
                 plant: Plant) -> list[tuple[Any, ...]]:
    from models.proposals import propose

    slips: list[tuple[Any, ...]] = []
    for outcome in found.outcomes:
        rule = outcome.rule
        for position in outcome.rows:
            seq = seqs[position]
            if rule.code.endswith(".required") and (seq, rule.column) in unread:
                continue
            row = con.execute("SELECT json_extract_string(cells, ?) FROM raw_row WHERE seq = ?", [f'$."{rule.column}"', seq]).fetchall()
            values = found.rows.iloc[position]
            slips.append((seq, kind, len(slips), rule.column, (row[0][0] if row else None) or "", rule.code,
                          checks.explain(rule, values, plant), propose(rule, values, plant), rule.weight))
    return slips
