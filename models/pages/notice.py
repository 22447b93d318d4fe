"""An alert as the supervisor reads it on a phone: five lines in plain words, the figures for experts below."""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import timedelta
from typing import TYPE_CHECKING

from models.floor.holds import Hold, holds_of, name_of, utc
from models.floor.holdsays import ended
from models.pages import changes, words
from models.pages.curves import curve, in_order
from models.pages.footing import footing
from models.pages.held import went_into, where
from models.pages.production_day import day_of
from models.pages.shown import Bars, Curve, Footing, State
from models.pages.words import number
from models.shapes import Alert

if TYPE_CHECKING:
    from collections.abc import Iterable
    from zoneinfo import ZoneInfo

    from models.pages.curves import Seen
    from models.shapes import Charted
    from models.snapshot import Snapshot

_DAYS_BEFORE = 13
_MEANS: dict[str, str] = {
    "now": "It can still be saved: act before the paste is used or the dough is baked.",
    "hold": "Safety, law or allergens: nothing of it leaves before QA has decided.",
    "review": "These batches are baked; the next ones need not be like them.",
}


@dataclass(frozen=True)
class Notice:
    """One alert. what, since, who and batches are the lines; check_first the steps, in order."""

    alert: str
    plant: str
    state: State
    state_means: str
    case: str
    where: str
    what: str
    since: str
    since_when: str
    last_good: str
    check_first: tuple[str, ...]
    who: str
    batches: str
    went_into: tuple[str, ...]
    signalled_at: str
    signalled: str
    size: str
    began: str
    call: str
    bars: Bars | None
    story: tuple[tuple[str, tuple[str, ...]], ...]
    curves: tuple[Curve, ...]
    cautions: tuple[str, ...]
    footing: Footing
    decided: str = ""


def notice(snapshot: Snapshot, alert: Alert) -> Notice:
    """The alert's page, told from the snapshot alone."""
    zone = snapshot.plant.zone
    told = changes.change(alert, snapshot)
    signalled = words.local(alert.signalled_at, zone)
    hold = _hold(alert, snapshot)
    return Notice(
        alert=alert.alert,
        plant=snapshot.plant.plant,
        state=alert.urgency,
        state_means=_MEANS[alert.urgency],
        case=_case(alert),
        where=where(alert),
        what=what(alert, changes.loaf_g(alert, snapshot)),
        since=since(alert, zone),
        since_when=words.when(alert.began_at, zone),
        last_good=told.last_good,
        check_first=alert.check_first,
        who=who(alert),
        batches=batch_names(alert),
        went_into=_went_into(alert, hold, snapshot),
        signalled_at=signalled.isoformat() if signalled else "",
        signalled=f"Signalled by {words.batch(alert.signalled_at_batch)}, {words.when(alert.signalled_at, zone)}",
        size=told.size if math.isfinite(alert.change) else "",
        began=told.since,
        call=told.call,
        bars=told.bars,
        story=told.story,
        curves=curves_of(alert, snapshot, snapshot.charted),
        cautions=told.cautions,
        footing=footing(snapshot),
        decided=_decided(hold, snapshot),
    )


def _hold(alert: Alert, snapshot: Snapshot) -> Hold | None:
    """The hold that this alert made; None where it made none."""
    if alert.urgency != "hold":
        return None
    acts = [event for event in snapshot.hold_events if event.hold == name_of(alert.alert)]
    return holds_of([alert], acts, snapshot.batches, snapshot.output, utc(alert.until_at))[0]


def _went_into(alert: Alert, hold: Hold | None, snapshot: Snapshot) -> tuple[str, ...]:
    """Where a paste went; of short weight all that was made with what was weighed."""
    if alert.kettle:
        return went_into(alert, snapshot)
    more = [one for one in hold.standing("dough") if one.key not in alert.batches] if hold else []
    names = words.join(one.name for one in more)
    return (f"Held with them, made in the same shifts: {words.count(len(more), 'dough')}: {names}.",) if more else ()


def _decided(hold: Hold | None, snapshot: Snapshot) -> str:
    """What QA has decided on the hold; "" where nothing is decided."""
    decided = ended(hold, snapshot.plant) if hold else ""
    if not hold or not decided:
        return ""
    return f"{decided}. {'The rest is held on.' if hold.stands else 'Nothing of it is held any more.'}"


def what(alert: Alert, loaf_g: float) -> str:
    """What changed, in one sentence. loaf_g: what a loaf of its product weighs."""
    if alert.kind == "limit" and alert.says and alert.characteristic != "specific volume":
        return words.sentence(alert.says)
    big = words.how_big(alert.characteristic, alert.change, alert.level, alert.unit)
    if alert.characteristic == "specific volume":
        return f"Loaves {big}, {words.on_a_loaf(alert.change, loaf_g)}."
    title = words.characteristic(alert.characteristic).title
    return f"{title} {big}" + (f", at a level of {number(alert.level, alert.unit)}." if alert.level else ".")


def since(alert: Alert, zone: ZoneInfo) -> str:
    """Since which batch and when, and whether it goes on."""
    until = words.local(alert.until_at, zone)
    on = until.date() if until else None
    going = "still on at" if alert.signal == "on" else "over after"
    first = words.local(alert.began_at, zone)
    began = f"{words.when(alert.began_at, zone)}, {words.batch(alert.began_at_batch, first.date() if first else None)}"
    return f"{began}; {going} {words.batch(alert.until_batch, on)}, {words.when(alert.until_at, zone, on)}."


def _case(alert: Alert) -> str:
    return {"open": "Nobody has seen it yet.", "seen": "Seen, not closed.", "closed": "Closed."}[alert.case]


def who(alert: Alert) -> str:
    """Who acts on an alert of this urgency."""
    if alert.urgency == "hold":
        return "The shift supervisor holds it; only QA releases."
    if alert.kettle:
        cook = "The shift supervisor with the paste cook"
        return f"{cook}; the mixer waits for their word." if alert.urgency == "now" else f"{cook}."
    if alert.urgency == "now":
        return "The shift supervisor with the mixer operator."
    return "The shift supervisor; the QA lead reads it in the morning."


def batch_names(alert: Alert) -> str:
    """How many doughs or pastes, and which; long lists cut in the middle."""
    keys = alert.batches or tuple(dict.fromkeys((alert.began_at_batch, alert.until_batch)))
    one, more = ("paste", "pastes") if alert.kettle else ("dough", "doughs")
    names = [words.batch(key) for key in keys]
    if len(names) > 6:
        names = [*names[:2], f"{len(names) - 4} more", *names[-2:]]
    return f"{words.count(len(keys), one, more)}: {words.join(names)}."


def curves_of(alert: Alert, snapshot: Snapshot | Seen, charted: Iterable[Charted]) -> tuple[Curve, ...]:
    """The stream that signalled, and its companions on the same line and product or kettle."""
    last = day_of(alert.until_at, snapshot.plant)
    first = day_of(alert.began_at, snapshot.plant) - timedelta(days=_DAYS_BEFORE)
    same = [
        c
        for c in charted
        if (c.stream.line, c.stream.kettle) == (alert.line, alert.kettle)
        and c.stream.product in (alert.product or alert.recipe, None)
    ]
    same.sort(key=lambda c: (c.stream.characteristic != alert.characteristic, in_order(c)))
    drawn = (curve(c, snapshot, first, last, today=last) for c in same)
    return tuple(c for c in drawn if c.dots)
