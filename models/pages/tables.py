"""Tables of wide rows for a page: one row a batch, its numbers with what the findings say of them."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from typing import TYPE_CHECKING, Any, NamedTuple

from models.pages import words
from models.pages.production_day import of_day
from models.pages.shown import Cell, Level, Sheet
from models.pages.words import number
from models.snapshot import records

if TYPE_CHECKING:
    import pandas as pd

    from models.snapshot import Snapshot

Levels = dict[tuple[str, str], Level]
_NOT_KNOWN = (words.NOT_RECORDED, "not checked")
_ONE_DECIMAL = ("points", "°C", "%", "% of Wb")


class Head(NamedTuple):
    """A column of a wide row and its heading. kind: "number" (in `unit`), "text", "time" or "batch" (a key)."""

    column: str
    title: str
    unit: str = ""
    kind: str = "number"

    @property
    def says(self) -> str:
        """The heading with its unit."""
        return f"{self.title}, {self.unit}" if self.unit else self.title


def levels_of(snapshot: Snapshot, day: date) -> Levels:
    """(batch, column) -> the worse level that a finding of the day gives it."""
    levels: Levels = {}
    for row in records(of_day(snapshot.findings, day)):
        at = (row["key"], row["column"])
        if levels.get(at) != "action":
            levels[at] = row["level"]
    return levels


def of_batches(
    snapshot: Snapshot, day: date, name: str, says: str, heads: Sequence[Head], rows: pd.DataFrame, empty: str
) -> Sheet:
    """A table of paste or dough batches on their own day's page."""
    levels = levels_of(snapshot, day)
    key = "paste_key" if "cook_end" in rows.columns else "batch_key"
    cells = tuple(
        tuple(_cell(row[head.column], head, levels.get((row[key], head.column), ""), snapshot, day) for head in heads)
        for row in records(rows[list(dict.fromkeys((key, *(head.column for head in heads))))])
    )
    return Sheet(name, says, tuple(head.says for head in heads), cells, empty)


def _cell(value: Any, head: Head, level: Level, snapshot: Snapshot, day: date) -> Cell:
    if words.missing(value) or value in _NOT_KNOWN:
        says = value if isinstance(value, str) and value else words.NOT_RECORDED
        return Cell(says, "missing", number=head.kind == "number")
    if head.kind == "time":
        return Cell(words.clock(value, snapshot.plant.zone), level)
    if head.kind == "batch":
        return Cell(words.batch(value, day), level)
    if head.kind == "text":
        return Cell(str(value), "action" if value == "missed" else level)
    decimals = 1 if head.unit in _ONE_DECIMAL else words.decimals(head.unit)
    return Cell(number(value, "", decimals), level, number=True)
