"""Very large plain logs: what is settled for the whole file without its cells in a frame.

A file of the contract's simplest form (one header in the first line, ASCII, no quotes, nothing to trim) needs no
reader but the database's. Whatever is not certain here goes through the ordinary reader, the file as a whole.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd

from models.logbook import TABLES
from models.plant import Plant
from models.reader import clock, headers, instants, intake, nolog, numbers, spelling, textfile
from models.reader.headers import Header
from models.reader.sheet import Decisions, Refused, Sheet

# logs that may come with every loaf in them; one time column, nothing that is judged by the rest of its file
KINDS = ("loaf",)
# a smaller file goes through the ordinary reader
FEWEST_BYTES = 1 << 20
# more rows than this share that need a second look, and the ordinary reader looks at them all; but some always may
SHARE_SUSPECT, SOME_SUSPECT, MOST_SUSPECT = 0.05, 1_000, 50_000
# 1e5, 1E5 and 1_000 are numbers to a database; to a person perhaps
OF_A_NUMBER = "eE_"
_LONGEST_SPAN = timedelta(days=70)
_STRETCH = 4096


@dataclass(frozen=True)
class Layout:
    """A plain log file before its rows are read.

    columns: names of its columns, as a sheet has them; rows: lines below the header; letters: those in the file that a
    database takes for part of a number.
    """

    header: Header
    columns: tuple[str, ...]
    delimiter: str
    rows: int
    letters: str

    @property
    def kind(self) -> str:
        """Which log."""
        return self.header.kind


def most_suspect(rows: int) -> int:
    """How many rows of so many may need a second look."""
    return min(max(SOME_SUSPECT, int(SHARE_SUSPECT * rows)), MOST_SUSPECT)


def look(content: bytes, plant: Plant) -> Layout | None:
    """The layout of a file that may be read in bulk; None where the ordinary reader has to see it."""
    if len(content) < FEWEST_BYTES or not content.isascii() or b"\r" in content:
        return None
    try:
        text = textfile.decode(content)
        if not (text.plain and text.tidy and text.encoding == "UTF-8"):
            return None
        delimiter = textfile.delimiter_of(text, plant)
        header = headers.find(textfile.head(text, delimiter), plant)
    except Refused:
        return None
    if header.kind not in KINDS or delimiter != "," or header.index or header.units_below or not all(header.cells):
        return None
    _, columns = intake.columns_of(header, pd.DataFrame())
    below = content.find(b"\n")
    letters = "".join(letter for letter in OF_A_NUMBER if content.find(letter.encode(), below) >= 0)
    return Layout(header, columns, delimiter, content.count(b"\n") - content.endswith(b"\n"), letters)


def lines(content: bytes, numbers: Iterable[int]) -> Iterator[bytes]:
    """Lines of a file by their number, from 0, in rising order: a few of very many, which are passed over uncut."""
    at, passed = 0, 0
    for number in numbers:
        while passed + (here := content.count(b"\n", at, at + _STRETCH)) < number:
            at, passed = at + _STRETCH, passed + here
        first = at
        for _ in range(number - passed):
            first = content.index(b"\n", first) + 1
        last = content.find(b"\n", first)
        yield content[first : last if last >= 0 else None]


def sheet_of(layout: Layout, cells: pd.DataFrame, row_numbers: np.ndarray) -> Sheet | None:
    """Some rows of such a file as a sheet; None where one of them may be no row, or a date may be read two ways.

    cells: str, one column a heading; row_numbers: the file's line of each.
    """
    header, table = layout.header, TABLES[layout.kind]
    lines = cells.set_axis(range(len(layout.columns)), axis=1)
    lines[len(layout.columns)] = pd.Series([None] * len(lines), dtype="str")
    numeric = table.of_type("number")
    other = [place for place, name in enumerate(header.contract) if name not in numeric]
    if lines[other].isna().all(axis=1).any() or nolog.below(header, lines):
        return None
    required = header.contract.index(table.required[0])
    if lines[[0, required]].isin(headers.spellings(tuple(header.cells))).to_numpy().any():
        return None  # another table may begin there
    sheet = Sheet(
        layout.kind, 1, layout.columns, cells.set_axis(list(layout.columns), axis=1), row_numbers,
        decisions=Decisions(),
    )  # fmt: skip
    dated = [name for name in table.of_type("date", "time") if name in layout.columns]
    try:
        if clock.decide((text for name in dated for text in sheet.coded(name)[1]), ()) != (None, ""):
            return None
    except numbers.Undecidable:
        return None
    return sheet


def offset(first: datetime, last: datetime, zone: ZoneInfo) -> timedelta | None:
    """The one offset from UTC that all local times from first to last have; None where the clock changes between them."""
    if last - first > _LONGEST_SPAN:
        return None
    hours = int((last - first) / timedelta(hours=1)) + 1
    moments = [*(first + timedelta(hours=n) for n in range(hours)), last]
    found = {moment.replace(tzinfo=zone, fold=fold).utcoffset() for moment in moments for fold in (0, 1)}
    return found.pop() if len(found) == 1 else None


def runs_on(local: np.ndarray, group: np.ndarray) -> bool:
    """Whether no time of a sheet is after midnight under the evening's date. As `instants.after_midnight` takes them."""
    return not instants.after_midnight(local, group).any()


def unsure_texts() -> tuple[str, ...]:
    """Texts, in small letters, that stand for nothing written or for the cell above."""
    return tuple(sorted(text for text in spelling.UNWRITTEN | spelling.UNKNOWN | spelling.DITTO_TEXT if text.isascii()))
