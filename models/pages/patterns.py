"""Readings of the month that do not stand for themselves, as the QA lead is told: of which log and shift, never of whom."""

from __future__ import annotations

from typing import TYPE_CHECKING

from models.pages import words
from models.pages.shown import Item

if TYPE_CHECKING:
    from models.judging.independence import Note
    from models.snapshot import Snapshot


def patterns(snapshot: Snapshot, month: str) -> tuple[tuple[Item, ...], str]:
    """The patterns of a month ("2026-05"), and the sentence that stands where there are none."""
    looked = next((one for one in snapshot.looked if one.month == month), None)
    if looked is None:
        return (), "Not looked at."
    if not looked.places:
        return (), "Too few readings this month to tell a pattern from chance."
    return tuple(map(_item, looked.notes)), f"Looked for in {looked.places} places; none stands out beyond chance."


def _item(note: Note) -> Item:
    title = f"{note.kind} log, shift {note.shift}, {note.column}: {note.pattern}"
    return Item(
        "note",
        words.sentence(title),
        f"{note.says}.",
        (f"{words.count(note.n, 'row')}; {_by_chance(note.probability)}.",),
    )


def _by_chance(probability: float) -> str:
    """How likely chance alone makes such a pattern anywhere it was looked for."""
    if probability < 1e-6:
        return "by chance anywhere in the month: less than once in a million months"
    return f"by chance anywhere in the month: about once in {float(f'{1 / probability:.1g}'):,.0f} months".replace(
        ",", "\u202f"
    )
