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
from models.texts import in_number, texts

if TYPE_CHECKING:
    from collections.abc import Iterable
    from zoneinfo import ZoneInfo

    from models.pages.curves import Seen
    from models.shapes import Charted
    from models.snapshot import Snapshot

_DAYS_BEFORE = 13
_SAID = texts("notice")


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
    titled: str
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
        state_means=texts("alert")["means"][alert.urgency],
        case=_SAID["case"][alert.case],
        where=where(alert),
        what=what(alert, changes.loaf_g(alert, snapshot)),
        since=since(alert, zone),
        titled=titled(alert, hold, zone),
        last_good=told.last_good,
        check_first=alert.check_first,
        who=who(alert),
        batches=batch_names(alert),
        went_into=_went_into(alert, hold, snapshot),
        signalled_at=signalled.isoformat() if signalled else "",
        signalled=_SAID["signalled"].format(
            batch=words.batch(alert.signalled_at_batch), when=words.when(alert.signalled_at, zone)
        ),
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
    if not more:
        return ()
    said = _SAID["held_with_one" if len(more) == 1 else "held_with"]
    return (said.format(n=_figure(len(more)), names=words.join(one.name for one in more)),)


def _figure(many: int) -> str:
    return number(float(many), "", 0)


def _decided(hold: Hold | None, snapshot: Snapshot) -> str:
    """What QA has decided on the hold; "" where nothing is decided."""
    decided = ended(hold, snapshot.plant) if hold else ""
    if not hold or not decided:
        return ""
    return _SAID["rest_held" if hold.stands else "none_held"].format(decided=decided)


def what(alert: Alert, loaf_g: float) -> str:
    """What changed, in one sentence. loaf_g: what a loaf of its product weighs."""
    if alert.kind == "limit" and alert.says and alert.characteristic != "specific volume":
        return words.sentence(alert.says)
    said, big = _SAID["what"], words.how_big(alert.characteristic, alert.change, alert.level, alert.unit)
    if alert.characteristic == "specific volume":
        return said["loaves"].format(big=big, on_a_loaf=words.on_a_loaf(alert.change, loaf_g))
    title = words.characteristic(alert.characteristic).title
    if not alert.level:
        return said["change"].format(title=title, big=big)
    return said["from_level"].format(title=title, big=big, level=number(alert.level, alert.unit))


def since(alert: Alert, zone: ZoneInfo) -> str:
    """Since which batch and when, and whether it goes on."""
    until = words.local(alert.until_at, zone)
    on = until.date() if until else None
    first = words.local(alert.began_at, zone)
    said = "still_on" if alert.signal == "on" else "over_after"
    if alert.urgency == "hold" and alert.signal == "over":  # what is held is not over
        said = "held_alone" if alert.began_at_batch == alert.until_batch else "held"
    return _SAID["since"][said].format(
        began=words.when(alert.began_at, zone),
        first=words.batch(alert.began_at_batch, first.date() if first else None),
        last=words.batch(alert.until_batch, on),
        until=words.when(alert.until_at, zone, first.date() if first else None),
    )


def titled(alert: Alert, hold: Hold | None, zone: ZoneInfo) -> str:
    """From when to when, and what state it is in: nothing that is over is listed as if it went on."""
    said = _SAID["titled"]
    state = alert.signal if hold is None else "held" if hold.stands else "decided"
    state = said["state"][state]
    if alert.case == "closed":
        state = said["closed"].format(state=state)
    alone = alert.began_at_batch == alert.until_batch
    which = "on" if alert.signal == "on" else "alone" if alone else "over"
    span = words.from_to(alert.began_at, alert.until_at, zone)
    return said[which].format(began=words.when(alert.began_at, zone), span=span, state=state)


def who(alert: Alert) -> str:
    """Who acts on an alert of this urgency."""
    said, now = _SAID["who"], alert.urgency == "now"
    if alert.urgency == "hold":
        return said["hold"]
    if alert.kettle:
        return said["cook_now" if now else "cook"]
    return said["mixer" if now else "review"]


def batch_names(alert: Alert) -> str:
    """How many doughs or pastes, and which; long lists cut in the middle."""
    keys = alert.batches or tuple(dict.fromkeys((alert.began_at_batch, alert.until_batch)))
    said, kind = _SAID["batches"], "paste" if alert.kettle else "dough"
    names = [words.batch(key) for key in keys]
    if len(names) > 6:
        names = [*names[:2], said["left_out"].format(n=len(names) - 4), *names[-2:]]
    return in_number(said[kind], len(keys)).format(n=_figure(len(keys)), names=words.join(names))


CHART_OF = {"net weight": "weight", "cooling": "paste at 2 h"}
"""The chart that follows what a limit of another name is about."""


def _is_of(alert: Alert, charted: Charted) -> bool:
    """Whether a chart is of the alert's line and product, or of its kettle and the recipe that signalled."""
    stream = charted.stream
    if (stream.line, stream.kettle) != (alert.line, alert.kettle):
        return False
    if alert.kettle and not alert.recipe:
        return alert.signalled_at_batch in charted.points.keys
    return stream.product in (alert.product or alert.recipe, None)


def curves_of(alert: Alert, snapshot: Snapshot | Seen, charted: Iterable[Charted]) -> tuple[Curve, ...]:
    """The stream that signalled, and its companions on the same line and product or kettle; none where no chart follows it."""
    last = day_of(alert.until_at, snapshot.plant)
    first = day_of(alert.began_at, snapshot.plant) - timedelta(days=_DAYS_BEFORE)
    own = CHART_OF.get(alert.characteristic, alert.characteristic)
    same = [c for c in charted if _is_of(alert, c)]
    if own not in {c.stream.characteristic for c in same}:
        return ()
    same.sort(key=lambda c: (c.stream.characteristic != own, in_order(c)))
    drawn = (curve(c, snapshot, first, last, today=last) for c in same)
    return tuple(c for c in drawn if c.dots)
