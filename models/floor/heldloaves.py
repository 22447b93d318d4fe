"""How many loaves are held: those measured, and the pieces that the output log says were made of the held doughs."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass
from typing import TYPE_CHECKING

from models.batchbook import LOAF_COUNTS
from models.floor.holdbook import shift_of

if TYPE_CHECKING:
    from models.floor.holdbook import Book


@dataclass(frozen=True)
class Loaves:
    """Of held doughs. measured: loaves on record; pieces: made and not wasted, None where no output row speaks of any of them.

    exact: every dough of those shifts is held, so that the pieces are all of theirs; else each dough counts for its
    equal part of the shift. unknown: doughs whose shift has no output row.
    """

    doughs: int
    measured: int
    pieces: float | None
    exact: bool
    unknown: int


def loaves_of(doughs: Iterable[str], book: Book) -> Loaves:
    """Loaves of these doughs, by batch_key."""
    wanted = dict.fromkeys(doughs)
    rows = [book.doughs[key] for key in wanted if key in book.doughs]
    shifts: dict[tuple, int] = {}
    for row in rows:
        shifts[shift_of(row)] = shifts.get(shift_of(row), 0) + 1
    known = {shift: held for shift, held in shifts.items() if shift in book.made}
    pieces = sum(book.made[shift] * held / len(book.of_shift[shift]) for shift, held in known.items())
    return Loaves(
        doughs=len(wanted),
        measured=int(sum(row[name] for row in rows for name in LOAF_COUNTS if math.isfinite(row[name]))),
        pieces=pieces if known else None,
        exact=all(held == len(book.of_shift[shift]) for shift, held in known.items()),
        unknown=len(wanted) - sum(known.values()),
    )
