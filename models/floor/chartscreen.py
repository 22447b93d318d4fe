"""The charts of every line and product at one look, for whoever follows them by the week: state, limits, the open alert.

Drawn from what the view holds; nothing is read from the store for it.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING

from models.floor import urgency
from models.floor.floor import PlaceState, of_before, short, watch
from models.pages import words
from models.pages.changes import loaf_g_of
from models.pages.curves import Seen, curve, in_order, weeks_before
from models.pages.notice import what
from models.pages.production_day import day_of

if TYPE_CHECKING:
    from models.floor.view import Chart, View
    from models.pages.shown import Curve
    from models.shapes import Alert, Charted


@dataclass(frozen=True)
class Followed:
    """One line and product, by the chart that answers for it. limits: of two batches in a row, "" while there are none; last:
    its newest value and when; alert, what: of the open alert on this chart, "" where there is none; curve: None where no
    batch lies in the weeks shown."""

    line: str
    product: str
    state: PlaceState
    title: str
    limits: str
    last: str
    alert: str
    what: str
    on: bool
    curve: Curve | None


@dataclass(frozen=True)
class ChartScreen:
    """All of them, in order of line and product. silent: lines and products of the plant file without any chart."""

    followed: tuple[Followed, ...]
    silent: tuple[str, ...]


def charts(view: View, now: datetime) -> ChartScreen:
    """What each line and product is followed by. now: naive UTC."""
    leads = _leads(view)
    alerts = urgency.open_alerts(view, now)
    planned = [(name, product) for name, line in view.plant.lines.items() for product in line.products]
    return ChartScreen(
        followed=tuple(_followed(view, now, n, alerts) for _, n in sorted(leads.items())),
        silent=tuple(f"{line}, {product}" for line, product in planned if (line, product) not in leads),
    )


def _leads(view: View) -> dict[tuple[str, str], int]:
    """By line and product, which of the view's charts answers for it."""
    order = sorted(range(len(view.charted)), key=lambda n: in_order(view.charted[n]))
    leads: dict[tuple[str, str], int] = {}
    for n in order:
        stream = view.charted[n].stream
        if stream.line and stream.product:
            leads.setdefault((stream.line, stream.product), n)
    return leads


def _followed(view: View, now: datetime, n: int, alerts: tuple[Alert, ...]) -> Followed:
    charted, chart = view.charted[n], view.charts[n]
    stream = charted.stream
    mine = [
        alert
        for alert in alerts
        if (alert.line, alert.product, alert.characteristic) == (stream.line, stream.product, stream.characteristic)
    ]
    pressing = [alert for alert in mine if not of_before(alert, now)]
    told = pressing[0] if pressing else mine[-1] if mine else None
    return Followed(
        line=stream.line or "",
        product=stream.product or "",
        state=pressing[0].urgency if pressing else watch([chart]),
        title=words.characteristic(stream.characteristic).title,
        limits=_limits(chart),
        last=_last(view, now, charted),
        alert=told.alert if told else "",
        what=what(told, loaf_g_of(told, view.plant)) if told else "",
        on=told is not None and told.signal == "on",
        curve=_curve(view, charted),
    )


def _limits(chart: Chart) -> str:
    if chart.lower is None or chart.upper is None:
        return ""
    return words.interval(chart.lower, chart.upper, chart.unit)


def _last(view: View, now: datetime, charted: Charted) -> str:
    if not len(charted.points):
        return ""
    at = charted.points.at[-1].astype(object)
    value = words.number(float(charted.points.value[-1]), charted.stream.unit)
    return f"{value}, {words.batch(str(charted.points.keys[-1]))}, {short(view, at, now)}"


def _curve(view: View, charted: Charted) -> Curve | None:
    if view.changes is None or view.newest is None:
        return None
    if not len(charted.points):
        return None
    newest, own = day_of(view.newest, view.plant), charted.points.day[-1].astype("datetime64[D]").astype(object)
    last = own if own < weeks_before(newest) else newest  # a line long silent is shown as it was last seen
    drawn = curve(charted, Seen(view.plant, view.changes), weeks_before(last), last)
    return drawn if drawn.dots else None
