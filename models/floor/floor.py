"""The floor on one screen: every line and kettle with its state, since when, its last batch, and what to check first.

A place says "no change seen" only where the chart that answers for it watches. Silence is shown as silence.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import TYPE_CHECKING, Any, Literal

from models.floor import urgency
from models.floor.holds import gravest_first
from models.pages import words
from models.pages.changes import loaf_g_of
from models.pages.curves import ORDER as CHARTS
from models.pages.held import each_once, headline
from models.pages.notice import what

if TYPE_CHECKING:
    from models.floor.view import Chart, LastSeen, View
    from models.shapes import Alert

Kind = Literal["line", "kettle", "plant"]
PlaceState = Literal["hold", "now", "silent", "review", "known", "unseen", "uncharted", "scarce", "learning", "steady"]
STATES: tuple[PlaceState, ...] = (
    "hold", "now", "silent", "review", "known", "unseen", "uncharted", "scarce", "learning", "steady",
)  # fmt: skip
"""In the order in which they stand on the screen."""
SILENT_AFTER_INTERVALS = 3
SILENT_AFTER_MIN = 45.0
TALL = 1.5
# a review whose change is over is the QA lead's; the floor is shown it for a day. Common practice, no source
OVER_SHOWN = timedelta(hours=24)


@dataclass(frozen=True)
class Last:
    """The newest batch of a place. minutes: since then; None: its time lies ahead of this clock."""

    batch: str
    when: str
    minutes: int | None
    product: str
    usual_min: int | None


@dataclass(frozen=True)
class Told:
    """The alert, or the hold without an open alert, that a place is shown with. alert: "" for a hold made by hand or whose
    case is closed; check: the first step, "" where none is named; handed_over: to this shift, by its note."""

    alert: str
    what: str
    check: str
    case: str
    on: bool
    handed_over: bool


@dataclass(frozen=True)
class Place:
    """One line or kettle. since: on the plant's clock, "" where there is none to name; more: further open alerts.

    watched: what is charted, as words; learning: what is not yet; n: points the chart that answers for it has.
    """

    name: str
    kind: Kind
    state: PlaceState
    since: str
    silent: bool
    last: Last | None
    told: Told | None
    more: int
    watched: tuple[str, ...]
    learning: tuple[str, ...]
    n: int


@dataclass(frozen=True)
class Beside:
    """What stands small beside the places. newest_min: age of the newest row, None where there is none.

    waiting: rows in quarantine; unsent: messages; unheard: alerts nobody was told of; older: open reviews that are over.
    """

    waiting: int
    unsent: int
    unheard: tuple[str, ...]
    older: int
    newest: str
    newest_min: int | None


@dataclass(frozen=True)
class FloorScreen:
    """The floor at one moment. clock: the plant's; columns: the places in order, as a wide screen shows them side by side."""

    clock: str
    columns: tuple[tuple[Place, ...], ...]
    beside: Beside

    @property
    def places(self) -> tuple[Place, ...]:
        """All of them, in order."""
        return tuple(place for column in self.columns for place in column)


def floor(view: View, now: datetime) -> FloorScreen:
    """Every line and kettle of the plant file, and the plant where an alert is of no one place. now: naive UTC."""
    alerts = urgency.open_alerts(view, now)
    shown = [a for a in alerts if not of_before(a, now)]
    places = [_place(view, now, "line", name, shown) for name in view.plant.lines]
    places += [_place(view, now, "kettle", name, shown) for name in view.plant.kettles]
    if of_plant := [a for a in shown if _kind(a, view) == "plant"]:
        places.append(_whole(view, now, of_plant))
    places.sort(key=lambda place: STATES.index(place.state))
    return FloorScreen(
        clock=words.clock(now, view.plant.zone),
        columns=side_by_side(places),
        beside=_beside(view, now, len(alerts) - len(shown)),
    )


def side_by_side(places: Sequence[Place]) -> tuple[tuple[Place, ...], ...]:
    """The places in one to three columns of about one height; what has an alert to tell is half as tall again."""
    many = 1 if len(places) <= 9 else 2 if len(places) <= 20 else 3
    tall = [TALL if place.told else 1.0 for place in places]
    columns: list[list[Place]] = [[] for _ in range(many)]
    above = 0.0
    for place, height in zip(places, tall, strict=True):
        columns[min(int(many * (above + height / 2) / sum(tall)), many - 1)].append(place)
        above += height
    return tuple(tuple(column) for column in columns)


def minutes(since: datetime, now: datetime) -> int:
    """Whole minutes from one instant to another, both naive UTC; below 0 where it lies ahead."""
    return int((now - since).total_seconds() // 60)


def is_silent(last: LastSeen, now: datetime) -> bool:
    """Whether more than three usual intervals, and at least 45 minutes, went by without a batch.

    Where the usual interval is not known, 45 minutes: rather shown too often than not at all.
    """
    return minutes(last.at, now) > max(SILENT_AFTER_INTERVALS * (last.usual_min or 0.0), SILENT_AFTER_MIN)


def watch(charts: Sequence[Chart]) -> PlaceState:
    """What the chart that answers for a place says; `charts` in the order in which they answer."""
    if not charts:
        return "uncharted"
    by_state: dict[str, PlaceState] = {"in control": "steady", "signal": "known", "learning": "learning"}
    lead = by_state.get(charts[0].state, "scarce")
    return "known" if any(c.state == "signal" for c in charts) and lead == "steady" else lead


def of_before(alert: Alert, now: datetime) -> bool:
    """Whether an alert is a review whose change has been over for a day: still to be closed, but not the floor's."""
    return alert.urgency == "review" and alert.signal == "over" and now - alert.until_at > OVER_SHOWN


def _kind(alert: Alert, view: View) -> Kind:
    if alert.line in view.plant.lines:
        return "line"
    return "kettle" if alert.kettle in view.plant.kettles else "plant"


def _place(view: View, now: datetime, kind: Kind, name: str, alerts: Sequence[Alert]) -> Place:
    seen = (view.lines if kind == "line" else view.kettles).get(name)
    mine = [a for a in alerts if _kind(a, view) == kind and (a.line if kind == "line" else a.kettle) == name]
    mine = each_once(mine)
    holds = _holds(view, name, mine)
    charts = _charts(view, kind, name, seen)
    silent = seen is not None and is_silent(seen, now)
    state: PlaceState = "hold" if holds else _state(mine, seen, silent, charts)
    return Place(
        name=name,
        kind=kind,
        state=state,
        since=short(view, holds[0].since, now) if holds else _since(view, now, state, mine, seen),
        silent=silent,
        last=_last(view, now, seen),
        told=_of_hold(holds[0]) if holds else _told(view, mine),
        more=max(len(mine) + len(holds) - 1, 0),
        watched=_titles(c for c in charts if c.state in ("in control", "signal")),
        learning=_titles(c for c in charts if c.state not in ("in control", "signal")),
        n=charts[0].n if charts else 0,
    )


def _holds(view: View, name: str, mine: Sequence[Alert]) -> list[Any]:
    """Holds that stand here and that no open alert here speaks for: made by hand, or with their case closed.

    A hold is where its pastes are, or its doughs where it holds no paste.
    """
    if any(a.urgency == "hold" for a in mine):
        return []
    return gravest_first(hold for hold in view.holds if hold.stands and name in _places_of(hold))


def _places_of(hold: Any) -> set[str]:
    standing = [batch for batch in hold.batches if batch.stands]
    pastes = [batch for batch in standing if batch.kind == "paste"]
    return {batch.key.split("/", 2)[1] for batch in pastes or standing if batch.key.count("/") >= 2}


def _of_hold(hold: Any) -> Told:
    return Told("", hold.why, "", "seen", True, False)


def _state(mine: Sequence[Alert], seen: LastSeen | None, silent: bool, charts: Sequence[Chart]) -> PlaceState:
    gravest: PlaceState | None = mine[0].urgency if mine else None
    if gravest in ("hold", "now"):
        return gravest
    if silent:
        return "silent"
    if gravest:
        return gravest
    return "unseen" if seen is None else watch(charts)


def _whole(view: View, now: datetime, alerts: Sequence[Alert]) -> Place:
    """Alerts of no one line or kettle, such as a yeast lot's."""
    state: PlaceState = alerts[0].urgency
    since = _since(view, now, state, alerts, None)
    return Place(view.plant.plant, "plant", state, since, False, None, _told(view, alerts), len(alerts) - 1, (), (), 0)


def _charts(view: View, kind: Kind, name: str, seen: LastSeen | None) -> list[Chart]:
    """The charts of what is made there now, the one that answers for it first."""
    product = seen.product if seen else None
    mine = [c for c in view.charts if (c.line if kind == "line" else c.kettle) == name]
    if product is not None:
        mine = [c for c in mine if c.product in (product, None)]
    return sorted(mine, key=lambda c: (_rank(c), c.product or "", c.characteristic))


def _rank(chart: Chart) -> int:
    return CHARTS.index(chart.characteristic) if chart.characteristic in CHARTS else len(CHARTS)


def _titles(charts) -> tuple[str, ...]:
    return tuple(dict.fromkeys(words.characteristic(c.characteristic).title.lower() for c in charts))


def _since(view: View, now: datetime, state: PlaceState, mine: Sequence[Alert], seen: LastSeen | None) -> str:
    """Of a hold since when its first batch is held, as the holds screen and the day page have it; else since when it began."""
    if state == "silent" and seen:
        return short(view, seen.at, now)
    if not mine or state == "silent":
        return ""
    hold = urgency.hold_of(mine[0], view) if state == "hold" else None
    return short(view, hold.since if hold else mine[0].began_at, now)


def short(view: View, at: datetime, now: datetime) -> str:
    """A time on the plant's clock; with its day where that is not today's."""
    today = words.local(now, view.plant.zone)
    return words.when(at, view.plant.zone, today.date() if today else None)


def _last(view: View, now: datetime, seen: LastSeen | None) -> Last | None:
    if seen is None:
        return None
    ago = minutes(seen.at, now)
    usual = None if seen.usual_min is None else round(seen.usual_min)
    return Last(seen.name, short(view, seen.at, now), ago if ago >= 0 else None, seen.product or "", usual)


def _told(view: View, mine: Sequence[Alert]) -> Told | None:
    if not mine:
        return None
    alert = mine[0]
    acts = [a.act for a in view.acts if a.alert == alert.alert]
    return Told(
        alert=alert.alert,
        what=f"{alert.product or alert.recipe}: {what(alert, loaf_g_of(alert, view.plant))}"
        if alert.product or alert.recipe
        else headline(alert),
        check=alert.check_first[0] if alert.check_first else "",
        case=alert.case,
        on=alert.signal == "on",
        handed_over=bool(acts) and acts[-1] == "handed over",
    )


def _beside(view: View, now: datetime, older: int) -> Beside:
    return Beside(
        waiting=len(view.quarantine),
        unsent=len(view.unsent),
        unheard=view.unheard,
        older=older,
        newest=short(view, view.newest, now) if view.newest else "",
        newest_min=max(minutes(view.newest, now), 0) if view.newest else None,
    )
