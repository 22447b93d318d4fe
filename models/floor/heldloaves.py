"""How many loaves are held: those measured, and the pieces that the output log says were made of the held doughs."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import pandas as pd

SHIFT = ["line", "product", "shift_date", "shift"]


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


def loaves_of(doughs: Sequence[str], batches: pd.DataFrame, output: pd.DataFrame) -> Loaves:
    """Loaves of these doughs, by batch_key. Frames as `batchbook.BATCHES` and the output log declare them."""
    wanted = set(doughs)
    mine = batches[batches["batch_key"].isin(wanted)]
    measured = mine[["loaves", "loaves_suspicion", "loaves_hot"]].to_numpy(dtype=float)
    pieces, exact, known = 0.0, True, 0
    for shift, held in mine.groupby(SHIFT, sort=True)["batch_key"]:
        made = _made(shift, output)
        if made is None:
            continue
        every = int((batches[SHIFT] == list(shift)).all(axis=1).sum())
        pieces += made * len(held) / every
        exact = exact and len(held) == every
        known += len(held)
    return Loaves(
        doughs=len(wanted),
        measured=int(sum(n for n in measured.flat if math.isfinite(n))),
        pieces=pieces if known else None,
        exact=exact,
        unknown=len(wanted) - known,
    )


def _made(shift: tuple, output: pd.DataFrame) -> float | None:
    """Pieces made and not wasted in one shift of a line and product; None where the log has no row of it."""
    rows = output[(output[SHIFT] == list(shift)).all(axis=1)]
    if rows.empty:
        return None
    return max(0.0, float(rows["pieces_made"].sum() - rows["pieces_wasted"].fillna(0.0).sum()))
