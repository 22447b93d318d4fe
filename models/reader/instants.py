"""From local times to instants: the shift's date, the hour the clock shows twice, the one it never shows."""

from __future__ import annotations

from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd

OVERTIME = np.timedelta64(4 * 3600, "s")
DAY = np.timedelta64(86_400, "s")
HOUR = np.timedelta64(3600, "s")
NAT = np.datetime64("NaT", "us")


def complete(clock: np.ndarray, date: np.ndarray, start: np.ndarray, length: np.ndarray) -> np.ndarray:
    """Clock times with their date: the day on which they lie in the shift, or nearest to it.

    All per row: clock timedelta64[us]; date of the shift, datetime64[us]; start and length timedelta64[s]. NaT where
    the clock is further than `OVERTIME` from the shift.
    """
    begins, ends = date + start, date + start + length
    best = np.full(len(clock), NAT)
    off = np.full(len(clock), OVERTIME + np.timedelta64(1, "s")).astype("timedelta64[us]")
    for day in (0, 1, -1):
        at = date + clock + day * DAY
        away = np.maximum(np.maximum(begins - at, at - ends), np.timedelta64(0, "us"))
        nearer = away < off
        best[nearer], off[nearer] = at[nearer], away[nearer]
    return best


def after_midnight(local: np.ndarray, group: np.ndarray) -> np.ndarray:
    """Rows dated by the evening before: True where a day has to be added.

    local: datetime64[us] in sheet order, NaT where unknown; group: what keeps its own sheet order (a line, a kettle).
    Told only where a group steps back by 18 to 24 h within one date and runs in order once its rows after midnight
    are moved to the next day; a sheet that is in no order anyway is left alone.
    """
    moved = np.zeros(len(local), dtype=bool)
    known = np.flatnonzero(~np.isnat(local))
    order = known[np.argsort(group[known], kind="stable")]
    codes = group[order]
    back = (np.diff(codes) == 0) & (np.diff(local[order]) < np.timedelta64(0, "us"))
    for code in np.unique(codes[1:][back]):
        rows = order[np.searchsorted(codes, code) : np.searchsorted(codes, code, "right")]
        moved[rows] = _moved(local[rows])
    return moved


def _moved(times: np.ndarray) -> np.ndarray:
    moved = np.zeros(len(times), dtype=bool)
    date = times.astype("datetime64[D]")
    for place in np.flatnonzero(np.diff(times) < np.timedelta64(0, "us")) + 1:
        back = times[place - 1] - times[place]
        if not 18 * HOUR <= back < DAY or date[place] != date[place - 1]:
            return np.zeros(len(times), dtype=bool)
        end = place
        while end < len(times) and date[end] == date[place] and times[end] - date[end] < 12 * HOUR:
            end += 1
        moved[place:end] = True
    return moved if (np.diff(np.where(moved, times + DAY, times)) >= np.timedelta64(0, "us")).all() else moved & False


def end_after_midnight(start: np.ndarray, end: np.ndarray) -> np.ndarray:
    """True where an end is dated by the evening its start stands on: a day later it follows within 6 h."""
    back = start - end
    return (back >= 18 * HOUR) & (back < DAY) & (start.astype("datetime64[D]") == end.astype("datetime64[D]"))


def to_utc(local: np.ndarray, zone: ZoneInfo) -> tuple[np.ndarray, np.ndarray]:
    """Local times to naive UTC, (first, second): they differ where the clock showed the time twice that night.

    Both NaT where it never showed it. datetime64[us].
    """
    index = pd.DatetimeIndex(local)
    both = []
    for summer in (True, False):
        aware = index.tz_localize(zone, ambiguous=np.full(len(local), summer), nonexistent="NaT")
        both.append(aware.tz_convert("UTC").tz_localize(None).to_numpy().astype("datetime64[us]"))
    return both[0], both[1]


def told_apart(first: np.ndarray, second: np.ndarray, group: np.ndarray) -> np.ndarray:
    """The instants of one or two time columns, settled where the clock showed a time twice.

    first, second: rows x columns, datetime64[us]; a second column is the end of the first. group: int, per row.
    The sheet runs forward within a group, an end follows its start, and the shorter span is meant; where nothing
    tells, the first of the two.
    """
    settled = first.copy()
    twice = np.flatnonzero(((first != second) & ~np.isnat(first)).any(axis=1))
    if not len(twice):
        return settled
    last = np.full(int(group.max()) + 1, NAT)
    begun = np.flatnonzero(~np.isnat(first[: twice[0], 0]))
    last[group[begun]] = first[begun, 0]
    repeated = set(twice.tolist())
    for row in range(int(twice[0]), int(twice[-1]) + 1):
        if row in repeated:
            settled[row] = _settled(first[row], second[row], last[group[row]])
        if not np.isnat(settled[row, 0]):
            last[group[row]] = settled[row, 0]
    return settled


def _settled(first: np.ndarray, second: np.ndarray, before: np.datetime64) -> np.ndarray:
    zero = np.timedelta64(0, "us")
    choices = [first, second] if len(first) == 1 else [
        np.array([a, b]) for a in dict.fromkeys((first[0], second[0])) for b in dict.fromkeys((first[1], second[1]))
    ]  # fmt: skip

    def cost(choice: np.ndarray) -> tuple[bool, bool, np.timedelta64, np.datetime64]:
        back = not np.isnat(before) and bool(choice[0] < before)
        span = choice[-1] - choice[0]
        known = not np.isnat(span)
        return (
            known and bool(span < zero),
            back,
            span if known else zero,
            choice[0] if not np.isnat(choice[0]) else choice[-1],
        )

    return min(choices, key=cost)
