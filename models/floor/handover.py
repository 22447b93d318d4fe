"""The note from one shift to the next, made from what is open at this moment; printed or read on the board."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import TYPE_CHECKING, Any

from models.calls import shift_at
from models.floor import urgency
from models.floor.alertscreen import Past, past
from models.floor.floor import is_silent, minutes, of_before, short
from models.floor.holds import gravest_first
from models.pages import words
from models.pages.held import headline
from models.pages.production_day import day_of
from models.trade.kettle import WEIGHING

if TYPE_CHECKING:
    from models.fixed import Urgency
    from models.floor.view import Paste, View
    from models.plant import Plant
    from models.shapes import Alert

# a paste older than this is the next day's; common practice, no source
OWED_SHOWN = timedelta(hours=24)


@dataclass(frozen=True)
class Open:
    """One open alert. handed: the act that handed it over, None where nobody did; last: what was done last."""

    alert: str
    urgency: Urgency
    what: str
    since: str
    until: str
    check: tuple[str, ...]
    case: str
    on: bool
    handed: Past | None
    last: Past | None


@dataclass(frozen=True)
class Held:
    """One hold that stands. alert: "" where it was made by hand; batches: what is still held."""

    alert: str
    why: str
    since: str
    by: str
    batches: tuple[str, ...]


@dataclass(frozen=True)
class Owed:
    """A paste that lost more than usual. kg: to put back by its ledger; put: recorded as put back, "" where nothing is recorded."""

    name: str
    cooked: str
    kg: str
    put: str
    none_put: bool
    doughs: tuple[str, ...]


@dataclass(frozen=True)
class Waits:
    """Rows in quarantine that break one rule."""

    rule: str
    why: str
    rows: int


@dataclass(frozen=True)
class Quiet:
    """A place no batch comes from. minutes: since the last; None: none ever came."""

    name: str
    kind: str
    minutes: int | None


@dataclass(frozen=True)
class HandoverScreen:
    """The note. shift, day: its code and production day; began, clock: the plant's; alerts: neither handed over, nor said by a hold, nor older.

    older: reviews whose change has been over for a day; held: whether any batch is, as far as holds or alerts tell.
    """

    shift: str
    began: str
    day: str
    clock: str
    holds: tuple[Held, ...]
    handed: tuple[Open, ...]
    alerts: tuple[Open, ...]
    older: tuple[Open, ...]
    held: bool
    owed: tuple[Owed, ...]
    quiet: tuple[Quiet, ...]
    waiting: tuple[Waits, ...]
    unsent: int
    newest: str

    @property
    def empty(self) -> bool:
        """Whether nothing at all is open."""
        open_ones = (*self.holds, *self.handed, *self.alerts, *self.older)
        return not (open_ones or self.owed or self.quiet or self.waiting or self.unsent)


def handover(view: View, now: datetime) -> HandoverScreen:
    """What the shift of `now` (naive UTC) leaves open."""
    zone = view.plant.zone
    code, began = shift_at(view.plant, now)
    told = [(alert, _open(alert, view, now)) for alert in urgency.open_alerts(view, now)]
    holds = gravest_first(hold for hold in view.holds if hold.stands)
    said = {hold.alert for hold in holds}
    rest = [(alert, one) for alert, one in told if not one.handed and alert.alert not in said]
    return HandoverScreen(
        shift=code,
        began=short(view, began, now),
        day=words.long_day(day_of(now, view.plant)),
        clock=words.clock(now, zone),
        holds=tuple(_held(hold, view, now) for hold in holds),
        handed=tuple(one for _, one in told if one.handed),
        alerts=tuple(one for alert, one in rest if not of_before(alert, now)),
        older=tuple(one for alert, one in rest if of_before(alert, now)),
        held=bool(holds) or any(alert.urgency == "hold" for alert, _ in told),
        owed=tuple(_owed(paste, view, now) for paste in view.pastes if owes(paste, view.plant, now)),
        quiet=tuple(_quiet(view, now)),
        waiting=tuple(_waiting(view.quarantine)),
        unsent=len(view.unsent),
        newest=short(view, view.newest, now) if view.newest else "",
    )


def owes(paste: Paste, plant: Plant, now: datetime) -> bool:
    """Whether a paste of the last day lost more than usual and was not mended.

    Within the recipe's warning limit of points, or within what two weighings can be wrong, no water is owed; where the points
    are not known, the weighings decide alone.
    """
    if paste.excess_kg is None or paste.cooked_at is None or now - paste.cooked_at > OWED_SHOWN:
        return False
    recipe = plant.pastes.get(paste.recipe)
    within = recipe is not None and paste.points is not None and paste.points <= recipe.hydration_points.warn
    return not within and paste.excess_kg > WEIGHING * (paste.weight_kg or 0.0)


def _open(alert: Alert, view: View, now: datetime) -> Open:
    acts = [past(act, view, now) for act in view.acts if act.alert == alert.alert]
    return Open(
        alert=alert.alert,
        urgency=alert.urgency,
        what=headline(alert),
        since=short(view, alert.began_at, now),
        until=short(view, alert.until_at, now),
        check=alert.check_first[:3],
        case=alert.case,
        on=alert.signal == "on",
        handed=acts[-1] if acts and acts[-1].act == "handed over" else None,
        last=acts[-1] if acts else None,
    )


def _held(hold: Any, view: View, now: datetime) -> Held:
    names = tuple(words.batch(batch.key) for batch in hold.batches if batch.stands)
    return Held(hold.alert, hold.why, short(view, hold.since, now), hold.by, names)


def _owed(paste: Paste, view: View, now: datetime) -> Owed:
    return Owed(
        name=words.batch(paste.paste_key),
        cooked=short(view, paste.cooked_at, now) if paste.cooked_at else words.NOT_RECORDED,
        kg=words.number(paste.excess_kg, "kg", 1),
        put="" if paste.water_added_kg is None else words.number(paste.water_added_kg, "kg", 1),
        none_put=paste.water_added_kg == 0,
        doughs=tuple(words.batch(key) for key in paste.doughs),
    )


def _quiet(view: View, now: datetime) -> Iterable[Quiet]:
    for kind, names, seen in (("line", view.plant.lines, view.lines), ("kettle", view.plant.kettles, view.kettles)):
        for name in names:
            last = seen.get(name)
            if last is None:
                yield Quiet(name, kind, None)
            elif is_silent(last, now):
                yield Quiet(name, kind, minutes(last.at, now))


def _waiting(rows: Iterable[dict[str, Any]]) -> Iterable[Waits]:
    groups: dict[str, list[dict[str, Any]]] = {}
    for row in rows:
        groups.setdefault(row["rule"], []).append(row)
    return (
        Waits(f"{rows[0]['kind']}: {words.rule(rule)}", words.sentence(rows[0]["why"]), len(rows))
        for rule, rows in groups.items()
    )
