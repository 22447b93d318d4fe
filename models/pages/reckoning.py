"""What the charts of a day are worth and whether they were believed, in sentences with their n."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from typing import TYPE_CHECKING

import numpy as np

from models.charts.believed import Closing, believed
from models.charts.counts import counted
from models.charts.worth import worth
from models.pages import words
from models.pages.production_day import end
from models.pages.shown import Tallies, Tally
from models.shapes import Charted, Points

if TYPE_CHECKING:
    import pandas as pd

    from models.snapshot import Snapshot

DAYS = 28
LEAST_DAYS = 10
MOST_DAYS = 60
# these counts raise no alert, so they spend nothing of the false-alarm budget: limits for one day in this many
ONE_DAY_IN = 200.0


def _until(snapshot: Snapshot, on: date) -> datetime:
    """End of the production day, naive UTC as the points are."""
    return end(on, snapshot.plant).astimezone(UTC).replace(tzinfo=None)


def worth_of(snapshot: Snapshot, line: str, on: date) -> tuple[str, ...]:
    """Loaves per 1000 outside each product's window over four weeks up to the day: one sentence a product."""
    until = _until(snapshot, on)
    said = []
    for charted in snapshot.charted:
        stream = charted.stream
        if stream.characteristic == "specific volume" and stream.line == line and stream.product:
            window = snapshot.plant.products[stream.product].specific_volume
            found = worth(_upto(charted, until), window, np.datetime64(until - timedelta(days=DAYS)))
            said.append(f"{stream.product}, {DAYS} days up to here: {found.says}")
    return tuple(said)


def _upto(charted: Charted, until: datetime) -> Charted:
    """The chart as it stood at an instant."""
    p = charted.points
    n = int(np.searchsorted(p.at, np.datetime64(until)))
    points = Points(p.keys[:n], p.at[:n], p.value[:n], p.n[:n], p.sd_within[:n], p.lot[:n], p.day[:n])
    return replace(charted, points=points, episodes=tuple(e for e in charted.episodes if e.signalled < n))


def outside_of(snapshot: Snapshot, line: str, on: date) -> tuple[Tallies, ...]:
    """The day's loaves outside the window against what is usual, with limits made for counts: one chart a product."""
    import pandas as pd

    if snapshot.plant.lines[line].lidded:
        return ()
    rows = snapshot.counted.outside
    rows = rows[(rows["line"] == line) & (rows["shift_date"] <= pd.Timestamp(on))]
    said = []
    for product, days in rows.groupby("product", sort=True):
        window = snapshot.plant.products[str(product)].specific_volume
        if window and (days["shift_date"] == pd.Timestamp(on)).any():
            said.append(
                _against(
                    f"{product}: loaves outside {window[0]:g} to {window[1]:g} mL/g", days.set_index("shift_date"), line
                )
            )
    return tuple(said)


def quarantined_of(snapshot: Snapshot, on: date) -> Tallies | None:
    """The day's rows in quarantine against what is usual; None where no row came that day."""
    import pandas as pd

    rows = snapshot.account.dropna(subset=["shift_date"])
    rows = rows[rows["shift_date"] <= pd.Timestamp(on)]
    days = rows.groupby("shift_date")[["quarantined", "received"]].sum()
    days = days[days["received"] > 0]
    if pd.Timestamp(on) not in days.index:
        return None
    return _against("Rows in quarantine", days.set_axis(["sum", "count"], axis=1))


def _against(what: str, days: pd.DataFrame, line: str = "plant") -> Tallies:
    """days: one row a day, the last one this day; sum of count. No chart, only its sentence, from too few days."""
    name = words.slug(f"counts-{line}-{what.split(':')[0]}")
    today, size = int(days["sum"].iloc[-1]), int(days["count"].iloc[-1])
    before = days.iloc[:-1].tail(MOST_DAYS)
    if len(before) < LEAST_DAYS:
        says = f"{what}: {today} of {size}; too few days before ({len(before)} of {LEAST_DAYS}) to say what is usual."
        return Tallies(name, what, 0.0, (), says)
    both = days.tail(len(before) + 1)
    chart = counted(
        both["sum"].to_numpy(float),
        both["count"].to_numpy(float),
        proportion=True,
        arl0=ONE_DAY_IN,
        baseline=len(before),
    )
    low, high = int(chart.lower[-1]), int(chart.upper[-1])
    word = "more than usual" if today > high else "fewer than usual" if today < low else "not out of the usual"
    says = (
        f"{what}: {today} of {size}, {word} (usually {1000 * chart.level:.0f} in 1000, {len(before)} days before; "
        f"limits for {size}: {low} to {high}, one day in {ONE_DAY_IN:.0f} beyond by chance)."
    )
    rows = zip(both.index, both["sum"], both["count"], chart.lower, chart.upper, strict=True)
    tallies = [Tally(f"{day:%Y-%m-%d}", *map(int, numbers)) for day, *numbers in rows]
    return Tallies(name, what, 1000 * chart.level, tuple(tallies[-DAYS:]), says)


def believed_of(snapshot: Snapshot, on: date) -> str:
    """What people found when they closed the charts' alarms of the last 60 days."""
    closings = [
        Closing(a.alert, a.signalled_at, a.finding if a.case == "closed" else None)
        for a in snapshot.alerts
        if a.kind == "chart"
    ]
    first = snapshot.batches["shift_date"].min()
    recorded = None if words.missing(first) else max((on - first.date()).days + 1, 1)
    return believed(closings, _until(snapshot, on), recorded=recorded).says
