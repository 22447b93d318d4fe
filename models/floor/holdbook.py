"""The wide rows and the output log as holds are read against them: looked up by paste, by dough and by shift."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING, Any

from models.batchbook import LOAF_COUNTS
from models.pages import words
from models.snapshot import records

if TYPE_CHECKING:
    import pandas as pd

SHIFT = ("line", "product", "shift_date", "shift")
OF_DOUGH = (
    "batch_key", "paste_key", "paste_key_2", "mixed_at", "proof_out", *LOAF_COUNTS, *SHIFT,
)  # fmt: skip
Row = Mapping[str, Any]


@dataclass(frozen=True)
class Book:
    """doughs: rows by batch_key; of_paste: doughs that name a paste as first or second tub, by paste_key; of_shift: doughs by
    line, product, date and shift; made: pieces made and not wasted, likewise, where the output log has a row."""

    doughs: Mapping[str, Row]
    of_paste: Mapping[str, list[Row]]
    of_shift: Mapping[tuple, list[str]]
    made: Mapping[tuple, float]
    now: datetime

    def got(self, pastes: Iterable[str]) -> list[Row]:
        """Doughs that got one of these pastes, each once, in order of production."""
        found = {row["batch_key"]: row for paste in pastes for row in self.of_paste.get(paste, ())}
        return sorted(found.values(), key=lambda row: (row["mixed_at"], row["batch_key"]))


def concerned(batches: pd.DataFrame, output: pd.DataFrame, keys: Iterable[str]) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Of both frames the days on which these batches were made or went into a dough: all that a hold of them asks about."""
    named = batches[["batch_key", "paste_key", "paste_key_2"]].isin(set(keys)).any(axis=1)
    days = batches.loc[named, "shift_date"].unique()
    return batches[batches["shift_date"].isin(days)], output[output["shift_date"].isin(days)]


def book(batches: pd.DataFrame, output: pd.DataFrame, now: datetime) -> Book:
    """Frames as `batchbook.BATCHES` and the output log declare them; now: naive UTC."""
    rows = records(batches[list(OF_DOUGH)])
    of_paste: dict[str, list[Row]] = {}
    of_shift: dict[tuple, list[str]] = {}
    for row in rows:
        for paste in tubs(row):
            of_paste.setdefault(paste, []).append(row)
        of_shift.setdefault(shift_of(row), []).append(row["batch_key"])
    made: dict[tuple, float] = {}
    for row in records(output):
        wasted = 0.0 if words.missing(row["pieces_wasted"]) else row["pieces_wasted"]
        made[shift_of(row)] = made.get(shift_of(row), 0.0) + max(0.0, row["pieces_made"] - wasted)
    return Book({row["batch_key"]: row for row in rows}, of_paste, of_shift, made, now)


def tubs(row: Row) -> tuple[str, ...]:
    """The pastes a dough got, by key."""
    return tuple(row[name] for name in ("paste_key", "paste_key_2") if not words.missing(row[name]))


def shift_of(row: Row) -> tuple:
    """The shift of a line and product that a row belongs to."""
    return tuple(row[name] for name in SHIFT)
