"""Readings of the month that do not stand for themselves, as the QA lead is told: of which log and shift, never of whom."""

from __future__ import annotations

from typing import TYPE_CHECKING

from models.pages import words
from models.pages.shown import Item
from models.texts import texts

if TYPE_CHECKING:
    from models.judging.independence import Note
    from models.snapshot import Snapshot


def patterns(snapshot: Snapshot, month: str) -> tuple[tuple[Item, ...], str]:
    """The patterns of a month ("2026-05"), and the sentence that stands where there are none."""
    t = texts("month")["patterns"]
    looked = next((one for one in snapshot.looked if one.month == month), None)
    if looked is None:
        return (), t["not_looked"]
    if not looked.places:
        return (), t["too_few"]
    return tuple(map(_item, looked.notes)), t["none"].format(places=words.number(float(looked.places), "", 0))


def _item(note: Note) -> Item:
    pattern = texts("month")["pattern"][note.pattern]
    title = texts("month")["patterns"]["title"].format(
        log=note.kind, shift=note.shift, column=note.column, pattern=pattern
    )
    return Item("note", words.sentence(title), f"{note.says}.", (_how_likely(note),))


def _how_likely(note: Note) -> str:
    """Of how many rows, and how likely chance alone makes such a pattern anywhere it was looked for."""
    t, rows = texts("month")["patterns"], words.count(note.n, *texts("month")["counted"]["row"])
    if note.probability < 1e-6:
        return t["hardly_chance"].format(rows=rows)
    return t["by_chance"].format(rows=rows, months=words.number(float(f"{1 / note.probability:.1g}"), "", 0))
