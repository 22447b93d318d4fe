"""Very large plain logs straight from the archive into the store.

DuckDB reads the archived bytes and types them; the rules are asked in SQL. Rows that fail one, or that hold a cell
which is not certain, go through frames and the suite like those of any other file.
"""

from __future__ import annotations

import json
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import timedelta
from itertools import accumulate, groupby
from pathlib import Path
from typing import TYPE_CHECKING, Any

from models.judging import as_sql, ranges
from models.judging.checks import required_rules
from models.judging.derive import codes
from models.judging.rules import DERIVED, Rule, truth_rules
from models.logbook import TABLES, Column, Table
from models.reader import bulk, clock, reading, spelling
from models.reader.numbers import DITTO
from models.storage import store

if TYPE_CHECKING:
    import duckdb
    import pandas as pd

    from models.plant import Plant
    from models.reader.bulk import Layout
    from models.reader.sheet import Sheet

_AS = {"number": "DOUBLE", "time": "TIMESTAMP"}
_WRITTEN = "%Y-%m-%dT%H:%M:%S"
_STANDARD = r"\d{4}-\d\d-\d\d[T ]([01]\d|2[0-3]):[0-5]\d(:[0-5]\d)?"


# a log that goes from line to line more often is looked at row by row
_MOST_CHANGES = 1_000


@dataclass(frozen=True)
class Checked:
    """A file that holds what its layout promises. suspects: rows that need a second look, typed; the others are sure.

    offset: of its local times from UTC.
    """

    path: Path
    layout: Layout
    offset: timedelta
    suspects: Sheet
    typed: reading.Typed


@dataclass(frozen=True)
class Taken:
    """A checked file in its place among the others of a run."""

    file_id: int
    first_seq: int
    checked: Checked

    @property
    def end(self) -> int:
        """The seq after its last row's."""
        return self.first_seq + self.checked.layout.rows


def check(
    con: duckdb.DuckDBPyConnection, path: Path, content: bytes, layout: Layout, plant: Plant
) -> Checked | None:
    """Hold an archived file against its layout; None where the ordinary reader has to see it. content: what lies at the path."""
    if any(sign in str(path) for sign in "*?["):
        return None
    typed, most = _typed([path], layout, plant), bulk.most_suspect(layout.rows)
    at, line = TABLES[layout.kind].at, _cell(layout, "line")
    found = con.execute(f"""SELECT count(*), count(*) FILTER (suspect), min("{at}"), max("{at}"),
            count(*) FILTER (back), count(*) FILTER (back AND same), count(*) FILTER (NOT same),
            CASE WHEN count(*) FILTER (NOT same) <= {_MOST_CHANGES} THEN list({line}) FILTER (NOT same) END,
            count(*) FILTER ("{at}" IS NULL), CASE WHEN count(*) FILTER (suspect) <= {most} THEN list(n) FILTER (suspect) END
        FROM (SELECT *, coalesce("{at}" < lag("{at}") OVER (), false) AS back,
            coalesce({line} = lag({line}) OVER (), false) AS same FROM ({typed}))""").fetchone()
    assert found is not None
    rows, suspects, first, last, back, back_on_line, changes, lines, unknown, numbers = found
    if rows != layout.rows or first is None or suspects > most:
        return None
    offset = bulk.offset(first, last, plant.zone)
    if offset is None:
        return None
    in_order = not unknown and (not back or (not back_on_line and len({*(lines or ())}) == changes))
    if not in_order and not _runs_on(con, typed, at, line):
        return None
    seen = _suspects(content, layout, sorted({1, *(numbers or ())}), offset, plant)
    return None if seen is None else Checked(path, layout, offset, *seen)


def _runs_on(con: duckdb.DuckDBPyConnection, typed: str, at: str, line: str) -> bool:
    import pandas as pd

    rows = con.execute(f'SELECT "{at}" AS at, {line} AS line FROM ({typed}) ORDER BY n').df()
    return bulk.runs_on(rows["at"].to_numpy().astype("datetime64[us]"), pd.factorize(rows["line"])[0] + 1)


def _suspects(
    content: bytes, layout: Layout, numbers: list[int], offset: timedelta, plant: Plant
) -> tuple[Sheet, reading.Typed] | None:
    """The rows that need a second look, read by the ordinary reader; the first row is one: the suite sees every file.

    numbers: of the rows in the file, from 1. A time of the standard form stays as the whole file has it, whatever order the
    suspects alone are in.
    """
    import numpy as np
    import pandas as pd

    rows = [
        [text or None for text in line.decode("ascii").split(layout.delimiter)]
        for line in bulk.lines(content, numbers)
    ]
    if any(cell is not None and cell.strip().casefold() in DITTO for row in rows for cell in row):
        return None  # what a ditto mark stands for is in a row above, which may be a sure one
    cells = pd.DataFrame(rows, columns=_names(layout), dtype="str")
    sheet = bulk.sheet_of(layout, cells, np.array(numbers, dtype=np.int64) + 1)
    if sheet is None:
        return None
    read, at = reading.typed(sheet, plant), TABLES[layout.kind].at
    sure = clock.standard(sheet.rows[at].fillna("").to_numpy(dtype=object)) - np.timedelta64(offset)
    read.frame[at] = pd.Series(np.where(np.isnat(sure), read.frame[at].to_numpy(), sure))
    return sheet, read


# --- SQL of a plain file's rows -----------------------------------------------------------------


def _names(layout: Layout) -> list[str]:
    return [f"c{place}" for place in range(len(layout.columns))]


def _cell(layout: Layout, name: str) -> str:
    """SQL of a contract column's cell as text."""
    return f"c{layout.header.contract.index(name)}" if name in layout.columns else "CAST(NULL AS VARCHAR)"


def _cells(paths: list[Path], layout: Layout) -> str:
    """SQL of the rows of files of one layout, all cells text, numbered through from 1 in order; f: which file, from 0."""
    files = ", ".join("'" + str(path).replace("'", "''") + "'" for path in paths)
    columns = ", ".join(f"'{name}': 'VARCHAR'" for name in _names(layout))
    return f"""SELECT *, CAST(file_index AS BIGINT) AS f, row_number() OVER () AS n FROM read_csv([{files}], delim = '{layout.delimiter}',
        quote = '', escape = '', header = false, skip = 1, auto_detect = false, columns = {{{columns}}}, nullstr = '',
        compression = 'none', ignore_errors = true)"""


def _typed(paths: list[Path], layout: Layout, plant: Plant) -> str:
    """SQL of such rows with the contract's columns beside their cells (times local), and whether a row is suspect."""
    table = TABLES[layout.kind]
    sure = "".join(f', {_sure(column)} AS "{column.name}"' for column in table.columns)
    with_values = f"SELECT *{sure} FROM ({_read(paths, layout)})"
    worked_out = f"SELECT *{as_sql.worked_out(DERIVED.get(table.kind, {}))} FROM ({with_values})"
    return f"SELECT *, ({_suspect(table, layout, plant)}) AS suspect FROM ({worked_out})"


def _read(paths: list[Path], layout: Layout) -> str:
    """SQL of such rows with what the database makes of each cell beside it; sure only where nothing about a row is suspect."""
    values = "".join(
        f", {_cast(column, _cell(layout, column.name))} AS read_{column.name}, {_cell(layout, column.name)} AS cell_{column.name}"
        for column in TABLES[layout.kind].columns
    )
    return f"SELECT *{values} FROM ({_cells(paths, layout)})"


def _cast(column: Column, cell: str) -> str:
    return f"TRY_CAST({cell} AS {_AS[column.type]})" if column.type in _AS else cell


def _sure(column: Column) -> str:
    read, cell = f"read_{column.name}", f"cell_{column.name}"
    if column.type == "number":
        return f"CASE WHEN isfinite({read}) THEN {read} END"
    if column.type == "time":
        sane = f"{read} >= TIMESTAMP '1990-01-01' AND {read} < TIMESTAMP '2201-01-01'"
        # nearly all are written as the database writes them, which is quicker to see than the form
        usual = f"WHEN {sane} AND strftime({read}, '{_WRITTEN}') = {cell} THEN {read}"
        return f"CASE {usual} WHEN {sane} AND regexp_full_match({cell}, '{_STANDARD}') THEN {read} END"
    return read


def _suspect(table: Table, layout: Layout, plant: Plant) -> str:
    """SQL that is true of a row which needs a second look: a cell only the ordinary reader can read, or a rule that it breaks."""
    rules = (*required_rules(table.kind), *truth_rules(table.kind))
    unsure = [_unsure(column, layout, plant) for column in table.columns if column.name in layout.columns]
    broken = [broken_sql(rule, plant) for rule in rules]
    return f"CASE WHEN {_plain(table, layout, plant)} THEN false ELSE {' OR '.join(part for part in (*unsure, *broken) if part)} END"


def _plain(table: Table, layout: Layout, plant: Plant) -> str:
    """SQL that is true only of rows which are not suspect, and of nearly all that are not: quicker to ask than every rule.

    Every number of the file lies where no rule can fail, every code is known, every other text begins with a digit.
    """
    given = [column for column in table.columns if column.name in layout.columns]
    unbroken = ranges.unbroken(
        rule.fails for rule in truth_rules(table.kind) if not rule.code.partition(".unknown-")[2]
    )
    names = [*(column.name for column in given if column.type == "number"), *_worked_out_of(table.kind, layout)]
    if not unbroken or any(rule.column not in layout.columns for rule in required_rules(table.kind)):
        return "false"
    numbers = [
        f'"{name}" > {unbroken[name][0]!r}e0 AND "{name}" < {unbroken[name][1]!r}e0'
        for name in names
        if name in unbroken
    ]
    filled = [f'"{name}" IS NOT NULL' for name in names if name not in unbroken]
    letters = [f"NOT ({said})" for column in given if (said := _letters(column, layout))]
    return " AND ".join(
        [
            *numbers,
            *filled,
            *letters,
            *(_plain_text(column, layout, plant) for column in given if column.type != "number"),
        ]
    )


def _worked_out_of(kind: str, layout: Layout) -> list[str]:
    return [name for name, said in DERIVED.get(kind, {}).items() if as_sql.names(said) <= {*layout.columns}]


def _plain_text(column: Column, layout: Layout, plant: Plant) -> str:
    cell = _cell(layout, column.name)
    if column.type == "time":
        return f'"{column.name}" IS NOT NULL'
    if known := _known(column, plant):
        return f"{cell} IN ({_listed(known)})"
    return "true" if column.name in spelling.FREE else f"{cell} >= '0' AND {cell} < ':'"


def _known(column: Column, plant: Plant) -> tuple[str, ...]:
    """What a text of a column may be, where that is known."""
    return () if column.name in spelling.FREE else tuple(column.choices or spelling.plant_codes(column, plant))


def _letters(column: Column, layout: Layout) -> str:
    """SQL that is true of a number's cell with a letter in it that the database takes for part of a number."""
    cell = _cell(layout, column.name)
    return " OR ".join(f"contains({cell}, '{letter}')" for letter in layout.letters) if column.type == "number" else ""


def _unsure(column: Column, layout: Layout, plant: Plant) -> str:
    """SQL that is true of a cell which only the ordinary reader can read."""
    cell = _cell(layout, column.name)
    if column.type in ("number", "time"):
        unread = " OR ".join(part for part in (f'"{column.name}" IS NULL', _letters(column, layout)) if part)
        return f"({cell} IS NOT NULL AND ({unread}))"
    if column.name in spelling.FREE:
        return ""
    known = _known(column, plant)
    wrong = f"{cell} NOT IN ({_listed(known)})" if known else f"lower({cell}) IN ({_listed(bulk.unsure_texts())})"
    return f"({cell} IS NOT NULL AND {wrong})"


def _listed(texts: tuple[str, ...] | list[str]) -> str:
    return ", ".join("'" + text.replace("'", "''") + "'" for text in texts) or "NULL"


def broken_sql(rule: Rule, plant: Plant) -> str:
    """SQL that is true of a row which breaks a rule, and never missing; over the log's columns and those of `DERIVED`."""
    if rule.code.endswith(".required"):
        return f'("{rule.column}" IS NULL)'
    known = codes(plant).get(rule.code.partition(".unknown-")[2])
    fails = as_sql.condition(rule.fails) if known is None else f'"{rule.column}" NOT IN ({_listed(known)})'
    return f"({_filled(rule.needs)} AND coalesce({fails}, true))"


def _filled(names: tuple[str, ...]) -> str:
    return " AND ".join(f'"{name}" IS NOT NULL' for name in names) or "true"


def rows(con: duckdb.DuckDBPyConnection, taken: list[Taken]) -> str:
    """SQL of the sure rows of taken files of one log, as an arriving row is. Empty where there are none.

    In as many parts as there are threads: rows are numbered one after the other within a part, and the parts at once.
    """
    import pandas as pd

    seqs = [seq for file in taken for seq in (file.first_seq + file.checked.suspects.row_numbers - 2).tolist()]
    con.execute("CREATE OR REPLACE TEMP TABLE suspect (seq BIGINT)")
    store.insert(con, "suspect", pd.DataFrame({"seq": seqs}))
    layouts: dict[tuple[Any, ...], list[Taken]] = {}
    for file in taken:
        layouts.setdefault((file.checked.layout.header.contract, file.checked.layout.columns), []).append(file)
    (threads,) = con.execute("SELECT current_setting('threads')").fetchone() or (1,)
    return " UNION ALL BY NAME ".join(
        _rows_alike(part) for alike in layouts.values() for part in _shared_out(alike, threads)
    )


def _shared_out(taken: list[Taken], parts: int) -> Iterator[list[Taken]]:
    """The files in order, in at most so many parts of about as many rows."""
    ends = list(accumulate(file.checked.layout.rows for file in taken))
    for _, part in groupby(zip(taken, ends, strict=True), key=lambda file: (file[1] - 1) * parts // ends[-1]):
        yield [file for file, _ in part]


def _rows_alike(alike: list[Taken]) -> str:
    layout = alike[0].checked.layout
    table = TABLES[layout.kind]
    before, starts = 0, []
    for file in alike:
        starts.append(file.first_seq - before - 1)
        before += file.checked.layout.rows
    shifts = [file.checked.offset // timedelta(microseconds=1) for file in alike]
    values = "".join(
        f', read_{c.name}{f" - to_microseconds({_of_file(shifts)})" if c.type == "time" else ""} AS "{c.name}"'
        for c in table.columns
    )
    ids, firsts = _of_file([file.file_id for file in alike]), _of_file([file.first_seq for file in alike])
    read = _read([file.checked.path for file in alike], layout)
    return f"""SELECT seq, CAST({ids} AS INTEGER) AS file_id, seq - {firsts} + 2 AS row, true AS credible{values}
        FROM (SELECT *, n + {_of_file(starts)} AS seq FROM ({read})) WHERE seq NOT IN (SELECT seq FROM suspect)"""


def _of_file(values: list[int]) -> str:
    """SQL of what a row's file has, from the values of the files."""
    return f"list_extract(CAST({values} AS BIGINT[]), f + 1)"


# --- what is kept of a taken file ---------------------------------------------------------------


def keep_layouts(con: duckdb.DuckDBPyConnection, taken: list[Taken]) -> None:
    """Say where the raw rows of these files are."""
    for file in taken:
        layout = file.checked.layout
        con.execute(
            "INSERT INTO raw_file VALUES (?, ?, ?, ?, ?, ?)",
            [file.file_id, layout.kind, file.first_seq, layout.rows, json.dumps(layout.columns), layout.delimiter],
        )


def outcomes(con: duckdb.DuckDBPyConnection, kind: str, taken: list[Taken], could_not_run: set[str]) -> pd.DataFrame:
    """How much each rule judged of the sure rows of taken files, by production day; none of them broke one.

    Call once they are settled. Columns as `take.outcomes`.
    """
    import pandas as pd

    rules = (*required_rules(kind), *truth_rules(kind))
    needed = list(dict.fromkeys(rule.needs for rule in rules))
    counts = ", ".join(f"count(*) FILTER ({_filled(needs)})" for needs in needed)
    ranges = " OR ".join(f"seq >= {file.first_seq} AND seq < {file.end}" for file in taken)
    found = con.execute(f"""SELECT CAST({TABLES[kind].at} AS DATE), {counts} FROM log_{kind}
        WHERE ({ranges}) AND seq NOT IN (SELECT seq FROM suspect) GROUP BY 1 ORDER BY 1""").fetchall()
    lines = [
        (rule.code, kind, day, judged[needed.index(rule.needs)], 0, rule.code not in could_not_run)
        for rule in rules
        for day, *judged in found
    ]
    return pd.DataFrame(lines, columns=["rule", "kind", "shift_date", "judged", "broken", "could_run"])
