"""Which yeast and which flour lot each batch was of, and what stands in for a lot that nobody wrote down."""

from __future__ import annotations

import numpy as np

from models.causes.field import Field

UNRECORDED = "unrecorded "
YEAST_DAYS, FLOUR_DAYS = 2, 3
"""Plant days that stand in for one lot: yeast lasts two to four, flour three to seven. Common practice, no source."""


def _by_days(field: Field, name: str, days: int) -> np.ndarray:
    day = (field.day - field.day.min()).astype(int) // days
    return np.array([lot or f"{UNRECORDED}{d}" for lot, d in zip(field.text[name], day, strict=True)], dtype=object)


def lots_of(field: Field) -> np.ndarray:
    """Yeast lot of each batch; where none was recorded, some plant days stand in for one."""
    return _by_days(field, "yeast_lot", YEAST_DAYS)


def flours_of(field: Field) -> np.ndarray:
    """Flour lot of each batch, likewise: flour that nobody wrote down differs as much as flour that somebody did."""
    return _by_days(field, "flour_lot", FLOUR_DAYS)


def lot_age(field: Field, lots: np.ndarray) -> np.ndarray:
    """Days since each batch's yeast lot was first used in the plant; 0 where lots were not recorded."""
    age = np.zeros(len(field))
    for lot in set(lots):
        rows = lots == lot
        if not lot.startswith(UNRECORDED):
            age[rows] = (field.hours[rows] - field.hours[rows].min()) / 24
    return age
