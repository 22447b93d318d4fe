"""Rows whose year is not the one of the other rows of their file: typed from habit in January, or on one line of a sheet.

Only said where the file itself is of one short stretch, so that a log kept over years, a month delivered late and the
night of New Year are left alone. Common practice, no source.
"""

from __future__ import annotations

import numpy as np
import pandas as pd

from models.logbook import TABLES

ENOUGH_AT_HOME = 3  # rows of the file's own stretch
STRETCH_D = 45  # how far from its middle day a file's own rows lie at most
YEAR_D = (350, 380)  # a year off, by a day that may itself be some days off the middle
NEAR_D = 3  # a year later or earlier, the row lies among the file's own or so near
FEW = 0.1  # of a file's rows; one is always few


def beside_their_file(kind: str, rows: pd.DataFrame) -> pd.DataFrame:
    """`usual_date` (middle day of the row's file; missing where the file is of no one stretch) and `year_off`.

    rows: typed rows of one log with their `file`.
    """
    names = dated(kind)
    days = pd.DataFrame({name: _day_number(rows[name]) for name in names}, index=rows.index)
    file, own = rows["file"], days[names[0]]
    usual = own.groupby(file).transform("median")
    away = days.sub(usual, axis=0)
    off = away.abs().ge(YEAR_D[0]) & away.abs().le(YEAR_D[1])
    is_off, is_home = off.any(axis=1), away[names[0]].abs().le(STRETCH_D) & ~off.any(axis=1)
    home, n_off, n = (_count(part, file) for part in (is_home, is_off, own.notna()))
    whole = (home >= ENOUGH_AT_HOME) & (home + n_off == n) & (n_off <= (FEW * n).clip(lower=1))
    at_home = own.where(is_home)
    low, high = at_home.groupby(file).transform("min") - NEAR_D, at_home.groupby(file).transform("max") + NEAR_D
    meant = days - 365 * np.sign(away) * off
    near = (meant.ge(low - 1, axis=0) & meant.le(high + 1, axis=0) | ~off).all(axis=1)
    middle = pd.to_datetime(usual.floordiv(1), unit="D").astype("datetime64[us]")
    return pd.DataFrame({"usual_date": middle.where(whole), "year_off": is_off & near & whole}, index=rows.index)


def dated(kind: str) -> list[str]:
    """The columns of a log that hold a date or a time, the one that names its day first."""
    table = TABLES[kind]
    names = table.of_type("date", "time")
    first = "shift_date" if "shift_date" in names else table.at
    return [first, *(name for name in names if name != first)]


def is_off(day: pd.Timestamp, usual: pd.Timestamp) -> bool:
    """Whether a date or an instant is a year off the usual one."""
    return YEAR_D[0] <= abs((day.normalize() - usual).days) <= YEAR_D[1]


def _day_number(times: pd.Series) -> pd.Series:
    return (times.dt.normalize() - pd.Timestamp(0)).dt.days.astype(float)


def _count(which: pd.Series, file: pd.Series) -> pd.Series:
    return which.groupby(file).transform("sum").astype(float)
