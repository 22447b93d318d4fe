"""Rows whose cells are parted by another mark than the header's: pasted in, or written by another computer than the header."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from models.logbook import TABLES
from models.reader.headers import Header
from models.reader.sheet import Refused

MARKS = {",": "commas", ";": "semicolons", "\t": "tabs", "|": "bars"}
_BETWEEN = "\x1f"  # stands in no cell: what lies on each side of it stays two cells


def mark_of(cells: Sequence[str | None], kind: str, contract: Sequence[str | None]) -> str | None:
    """The mark by which one row is parted, where it is another than its file's; else None.

    cells: of one row as the file's own mark parts them. Under the other mark every required cell is filled, numbers, dates
    and times with a digit in them; under the file's own there is none that is filled and does not hold that other mark, but
    for what a decimal mark leaves over at the end of the row.
    """
    table = TABLES[kind]
    places = [contract.index(name) for name in table.required]
    last = max((place for place, cell in enumerate(cells) if cell), default=0)
    own = [cells[place] for place in places if place < len(cells) and (place < last or not last)]
    for mark in MARKS:
        if any(cell and mark not in cell for cell in own):
            continue
        parts = _BETWEEN.join(cell or "" for cell in cells).split(mark)
        if len(parts) > max(places) and all(
            _filled(parts[place], table.by_name[name].type) for place, name in zip(places, table.required, strict=True)
        ):
            return mark
    return None


def _filled(part: str, type_: str) -> bool:
    bare = part.strip(' "' + _BETWEEN)
    return bool(bare) if type_ == "text" else any(letter.isdigit() for letter in bare)


def refuse(header: Header, own: str, filled: int, rows: Iterable[tuple[int, Sequence[str]]]) -> None:
    """Raises Refused where no fewer rows of a file are parted otherwise than as its header is.

    own: the header's mark; filled: how many lines under it hold anything; rows: those that may be parted otherwise, with
    their numbers.
    """
    found = [(number, mark) for number, cells in rows if (mark := mark_of(cells, header.kind, header.contract))]
    if found and 2 * len(found) >= filled:
        first, mark = found[0]
        raise Refused(
            f"the column names in row {header.index + 1} are parted by {MARKS[own]}, but {len(found)} of {filled} rows under them by "
            f"{MARKS[mark]} (the first is row {first}): give all rows one and the same mark and save it as CSV again, or save it as XLSX"
        )
