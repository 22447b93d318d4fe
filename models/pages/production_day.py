"""A production day: from the first shift's start on its date to the same clock time on the next."""

from __future__ import annotations

from datetime import date, datetime, time, timedelta
from typing import TYPE_CHECKING

from models.pages import words
from models.plant import Plant
from models.shapes import Alert

if TYPE_CHECKING:
    import pandas as pd


def start(day: date, plant: Plant) -> datetime:
    """The instant at which a production day begins, in the plant's zone."""
    first = min(plant.shift_starts.values(), default=time(0))
    return datetime.combine(day, first, tzinfo=plant.zone)


def end(day: date, plant: Plant) -> datetime:
    """The instant at which the next production day begins."""
    return start(day + timedelta(days=1), plant)


def day_of(at: datetime, plant: Plant) -> date:
    """The production day that an instant belongs to."""
    local = words.local(at, plant.zone)
    if local is None:
        raise ValueError("an instant is needed")
    return local.date() if local >= start(local.date(), plant) else local.date() - timedelta(days=1)


def of_day(frame: pd.DataFrame, day: date) -> pd.DataFrame:
    """The rows of a frame whose shift_date is the day, in the frame's order."""
    import pandas as pd

    return frame[frame["shift_date"] == pd.Timestamp(day)]


def of_days(frame: pd.DataFrame, first: date, last: date) -> pd.DataFrame:
    """The rows of a frame whose shift_date lies between two days, both among them, in the frame's order."""
    return frame[frame["shift_date"].between(str(first), str(last))]


def on_during(alert: Alert, first: date, last: date, plant: Plant) -> bool:
    """Whether an alert had signalled by the end of `last` and was not over before `first`."""
    signalled, until = words.instant(alert.signalled_at), words.instant(alert.until_at)
    if signalled is None or until is None or signalled >= end(last, plant):
        return False
    return alert.signal == "on" or until >= start(first, plant)
