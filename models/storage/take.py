"""One file into the store: raw rows, typed rows, why a row cannot be true, which lines are no rows."""

from __future__ import annotations

import json
from bisect import bisect_right
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

from models.judging import checks
from models.logbook import TABLES
from models.storage import account, replacing, store, wrongyear

if TYPE_CHECKING:
    import duckdb
    import numpy as np
    import pandas as pd

    from models.plant import Plant
    from models.reader.intake import Sheet
    from models.reader.reading import Slip, Typed

SLIP_COLUMNS = ("seq", "kind", "place", "column", "value", "rule", "why", "proposal", "cells", "weight")
SHAPE = ".shape"  # ending of the reason that a row's cells do not stand where they belong
SAFETY = 2  # reasons of this weight or less are about food safety
SLIP_TYPES = {"proposal": "str", "cells": "str"}


@dataclass(frozen=True)
class Doubt:
    """One reason why a row cannot be true, and the cells that would mend it (as a log writes them)."""

    column: str
    value: str
    rule: str
    why: str
    cells: dict[str, str]
    weight: int
    of_one_cell: bool


@dataclass(frozen=True)
class Pending:
    """A file that was read and typed and waits to be judged with the others of its kind."""

    file_id: int
    sheet: Sheet
    typed: Typed
    first_seq: int
    in_bulk: bool = False  # of its rows only those that need a look are here; each line is one

    @property
    def n(self) -> int:
        """Rows that are here."""
        return len(self.sheet.rows)

    @property
    def seqs(self) -> np.ndarray:
        """The place of each row among all that ever arrived."""
        import numpy as np

        return self.first_seq + (self._lines if self.in_bulk else np.arange(self.n))

    def seq(self, row: int) -> int:
        """The place of one row, by its position here."""
        return self.first_seq + int(self._lines[row] if self.in_bulk else row)

    @property
    def _lines(self) -> np.ndarray:
        return self.sheet.row_numbers - self.sheet.header_row - 1


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
    import pandas as pd

    return pd.DataFrame(
        {
            "seq": file.seqs,
            "kind": file.sheet.kind,
            "file_id": file.file_id,
            "row": file.sheet.row_numbers,
        }
    )


def put_typed(con: duckdb.DuckDBPyConnection, kind: str, files: list[Pending], plant: Plant) -> pd.DataFrame:
    """Judge the new rows of one log together and keep them; returns outcomes by rule and production day."""
    import pandas as pd

    files = [file for file in files if file.n]
    if not files:
        return pd.DataFrame()
    frame = pd.concat([file.typed.frame for file in files], ignore_index=True)
    places = pd.concat([_places(file) for file in files], ignore_index=True)
    found = checks.judge_truth(kind, frame, replacing.apart(con, places["seq"], places["file_id"]), plant)
    unseen = [file.file_id for file in files if not wrongyear.SEEN.intersection(file.sheet.columns)]
    of_unseen = places["file_id"].isin(unseen)
    off = wrongyear.files_off(con, kind, frame[of_unseen], places.loc[of_unseen, "file_id"])
    nobodys = replacing.nobodys(con, kind, files, plant)
    slips = pd.DataFrame(slips_of(kind, files, found, plant, off, nobodys), columns=list(SLIP_COLUMNS))
    _put_rows(con, kind, frame, places, set(slips["seq"]), _unread_texts(files))
    store.insert(con, "slip", slips.astype(SLIP_TYPES))
    return outcomes(found)


def _unread_texts(files: list[Pending]) -> pd.Series:
    """What stands in the cells of each row that could not be read, missing where all could; of a row whose cells do not stand
    where they belong, in all of them. As `migrate` finds it again."""
    import pandas as pd

    texts: list[str | None] = []
    for file in files:
        of_row: dict[int, list[str]] = {}
        for cell in file.typed.slips:
            if cell.value:
                of_row.setdefault(cell.row, []).append(f"{cell.column}={cell.value}")
        for row in {cell.row for cell in file.typed.slips if SHAPE.endswith(cell.rule)}:
            of_row[row] = [text for text in of_row.get(row, []) if text.startswith("=")] + _as_they_stand(file.sheet, row)
        texts += ["\n".join(of_row[row]) if row in of_row else None for row in range(file.n)]
    return pd.Series(texts, dtype="str")


def _as_they_stand(sheet: Sheet, row: int) -> list[str]:
    cells = sheet.rows.iloc[row].dropna()
    return [f"{column.name}={cells[column.name]}" for column in TABLES[sheet.kind].columns if column.name in cells]


def _put_rows(
    con: duckdb.DuckDBPyConnection,
    kind: str,
    frame: pd.DataFrame,
    places: pd.DataFrame,
    doubtful: set[int],
    unread: pd.Series | None = None,
) -> None:
    import pandas as pd

    rows = pd.concat([places[["seq", "file_id", "row"]], frame], axis=1)
    rows["credible"] = ~rows["seq"].isin(doubtful)
    names = ", ".join(f'"{name}"' for name in rows.columns)
    rows["unread"] = pd.Series([None] * len(rows), dtype="str") if unread is None else unread
    digest = account.digest_of_unread(kind)
    own = {"paste": "paste_key", "dough": "batch_key"}.get(kind)
    identity = account.own_identity(kind)
    con.register("incoming", rows)
    if kind in account.OF_DOUGH:
        account.make_arriving(con, kind)
        con.execute(
            f"INSERT INTO arriving_{kind} ({names}, digest) SELECT {names}, {digest} FROM incoming"
        )
    else:
        con.execute(f"""INSERT INTO log_{kind} ({names}, asks, digest, identity{f", {own}" if own else ""})
            SELECT {names}, false, digest, identity{", CASE WHEN identity NOT LIKE '? %' THEN identity END" if own else ""}
            FROM (SELECT *, {identity} AS identity FROM (SELECT *, {digest} AS digest FROM incoming))""")
    con.unregister("incoming")


def slips_of(
    kind: str,
    files: list[Pending],
    found: checks.Judged,
    plant: Plant,
    off: Mapping[int, int] | None = None,
    nobodys: Mapping[int, dict[str, str]] | None = None,
) -> list[tuple[Any, ...]]:
    """Every reason why rows of these files cannot be true, main reason first: one tuple a reason, as `slip` has it.

    off: files that look a year off, file_id -> years to add. nobodys: corrections that name nobody, position among all rows -> the cells they change.
    """
    doubts: dict[int, list[Doubt]] = {}
    starts, start = [], 0
    for file in files:
        starts.append(start)
        for cell in file.typed.slips:
            if cell.rule != "required":
                doubts.setdefault(start + cell.row, []).append(_unreadable(kind, cell))
        start += file.n
    for position in _misshapen(doubts):  # which value belongs to which column is not known: nothing else is said of it
        doubts[position] = [doubt for doubt in doubts[position] if doubt.rule.endswith(SHAPE)]

    def place(position: int) -> tuple[Pending, int]:
        of_file = bisect_right(starts, position) - 1
        return files[of_file], position - starts[of_file]

    ask_rules(found, doubts, plant, lambda position, column: _as_written(*place(position), column))
    for start, file in zip(starts, files, strict=True):
        if by := (off or {}).get(file.file_id):
            _ask_the_year(kind, found.rows.iloc[start : start + file.n], by, doubts, plant)
    for position, changed in (nobodys or {}).items():
        doubts.setdefault(position, []).append(_nobodys(kind, changed))
    seqs = {position: file.seq(row) for position in doubts for file, row in [place(position)]}
    return [slip for position, of_row in sorted(doubts.items()) for slip in slips_in_order(seqs[position], kind, of_row)]


def _ask_the_year(kind: str, rows: pd.DataFrame, by: int, doubts: dict[int, list[Doubt]], plant: Plant) -> None:
    """Put every row of a file that looks a year off, with its dates in the year that is meant. rows: at their positions."""
    from models.judging.proposals import other_year

    days = rows["shift_date"].dropna()
    first, last = f"{days.min():%Y-%m-%d}", f"{days.max():%Y-%m-%d}"
    why = wrongyear.why(first if first == last else f"{first} to {last}", by)
    for position, row in rows.iterrows():
        text = f"{row['shift_date']:%Y-%m-%d}" if row["shift_date"] == row["shift_date"] else ""
        doubt = Doubt("shift_date", text, f"{kind}.{wrongyear.RULE}", why, other_year(kind, row, by, plant), 4, False)
        doubts.setdefault(int(str(position)), []).append(doubt)


def _nobodys(kind: str, changed: dict[str, str]) -> Doubt:
    return Doubt(replacing.BY, "", f"{kind}.{replacing.RULE}", replacing.WHY, changed, 5, False)


def _unreadable(kind: str, cell: Slip) -> Doubt:
    cells = {cell.column: cell.proposal} if cell.proposal else {}
    return Doubt(cell.column, cell.value, f"{kind}.{cell.rule}", cell.why, cells, 4, True)


def _misshapen(doubts: Mapping[int, list[Doubt]]) -> set[int]:
    """Rows with more cells than headings, or fewer because the file ends there."""
    return {position for position, of_row in doubts.items() if any(doubt.rule.endswith(SHAPE) for doubt in of_row)}


def ask_rules(
    found: checks.Judged, doubts: dict[int, list[Doubt]], plant: Plant, written: Callable[[int, str], str]
) -> None:
    """Add what the rules found to the doubts of each row whose cells stand where they belong."""
    from models.judging.proposals import as_text, propose

    misshapen = _misshapen(doubts)
    for outcome in found.outcomes:
        rule = outcome.rule
        for position in outcome.rows:
            if position in misshapen:
                continue
            of_row = doubts.setdefault(position, [])
            if rule.code.endswith(".required") and any(doubt.column == rule.column for doubt in of_row):
                continue  # the cell could not be read: it is not empty
            values = found.rows.iloc[position]
            cells = {name: as_text(value, plant) for name, value in (propose(rule, values, plant) or {}).items()}
            text = written(position, rule.column)
            of_row.append(
                Doubt(
                    rule.column,
                    text,
                    rule.code,
                    checks.explain(rule, values, plant, text),
                    cells,
                    rule.weight,
                    len(rule.needs) == 1,
                )
            )


def slips_in_order(seq: int, kind: str, of_row: list[Doubt]) -> list[tuple[Any, ...]]:
    """A row's reasons in order; the main one carries the cells that would mend the whole row."""
    mended = _merged(of_row)
    ordered = sorted(_explained(of_row), key=lambda doubt: doubt.weight)
    units = TABLES[kind].by_name
    words = ", ".join(
        f"{name} = {text} {units[name].unit if units[name].type == 'number' else ''}".strip()
        if text
        else f"{name} empty"
        for name, text in mended.items()
    )
    alone = (doubt for doubt in of_row if doubt.of_one_cell or doubt.rule.endswith(".required"))
    left = dict.fromkeys(doubt.column for doubt in alone if doubt.column and doubt.column not in mended)
    words += f"; {', '.join(left)} still to be written" if words and left else ""
    return [
        (
            seq,
            kind,
            i,
            d.column,
            d.value,
            d.rule,
            d.why,
            words or None if i == 0 else None,
            json.dumps(mended, ensure_ascii=False) if i == 0 and mended else None,
            d.weight,
        )
        for i, d in enumerate(ordered)
    ]


def _explained(of_row: list[Doubt]) -> list[Doubt]:
    """A row's reasons; what columns say together comes last where a slip of one cell explains it. Safety keeps its place."""
    if not any(doubt.of_one_cell and doubt.cells for doubt in of_row):
        return of_row
    return [doubt if doubt.of_one_cell or doubt.weight <= SAFETY else replace(doubt, weight=9) for doubt in of_row]


def _merged(of_row: list[Doubt]) -> dict[str, str]:
    """One reading of the whole row: slips of single cells first; what columns say together only where none of those explains it."""
    single = {name: text for doubt in of_row if doubt.of_one_cell for name, text in doubt.cells.items()}
    return single or next((doubt.cells for doubt in of_row if doubt.cells), {})


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
    of_day, days = pd.factorize(rows["shift_date"] if "shift_date" in rows else _clock_day(rows), sort=True)
    if (of_day < 0).any():  # the row does not say: the last
        of_day, days = np.where(of_day < 0, len(days), of_day), days.append(pd.DatetimeIndex([pd.NaT]))
    n = len(days)
    counts = [
        (
            np.bincount(of_day[checks.can_judge(one.rule, rows)], minlength=n),
            np.bincount(of_day[list(one.rows)], minlength=n),
        )
        for one in found.outcomes
    ]
    return pd.DataFrame(
        {
            "shift_date": np.tile(days.to_numpy(), len(counts)),
            "judged": np.concatenate([judged for judged, _ in counts]),
            "broken": np.concatenate([broken for _, broken in counts]),
            "rule": np.repeat([one.rule.code for one in found.outcomes], n),
            "kind": np.repeat([one.rule.kind for one in found.outcomes], n),
            "could_run": np.repeat([one.outcome != checks.COULD_NOT_RUN for one in found.outcomes], n),
        }
    )


def _clock_day(rows: pd.DataFrame) -> pd.Series:
    at = next(
        name
        for name in ("mixed_at", "proof_in", "tested_at", "measured_at", "changed_at", "checked_at")
        if name in rows
    )
    return rows[at].dt.normalize()
