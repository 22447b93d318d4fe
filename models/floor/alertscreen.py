"""An alert as it stands at this moment, with its case: what to do, why it is thought to be so, and what people did."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING

from models.floor import acting, urgency
from models.floor.acting import ActRefused
from models.floor.floor import minutes, short
from models.pages import changes, words
from models.pages.adding import printed
from models.pages.curves import Seen
from models.pages.held import where
from models.pages.notice import batch_names, curves_of, since, what, who
from models.texts import texts
from models.trade import cautions

if TYPE_CHECKING:
    from models.calls import Telling
    from models.fixed import Urgency
    from models.floor.urgency import Fallen
    from models.floor.view import View
    from models.pages.shown import Curve
    from models.people import Person
    from models.shapes import Alert
    from models.storage.cases import Act, CaseEvent


@dataclass(frozen=True)
class Part:
    """One group's part of the change as text: contribution, its 90 % bounds, its share."""

    group: str
    driver: str
    part: str
    bounds: str
    share: str
    evidence: tuple[str, ...]
    not_checked: tuple[str, ...]


@dataclass(frozen=True)
class Past:
    """One act as it was recorded. who: initials or a role; note: "" where none was written."""

    when: str
    who: str
    act: str
    found: str
    note: str


@dataclass(frozen=True)
class Called:
    """One person was told. to: initials; sent: whether some way took the message."""

    to: str
    when: str
    sent: bool


@dataclass(frozen=True)
class AlertScreen:
    """One alert. urgency: as it is now; stored: as it was raised; fallen: why it fell, None where it did not.

    parts together are `together`, of which `adds` says whether it is the change, `total`; no: per act why it is
    refused, acts that may be done are not in it; age_min: minutes since it was signalled;
    is_paste: it speaks of pastes; curves: the stream that signalled, then its companions; longest: characters of a note.
    """

    alert: str
    urgency: Urgency
    stored: Urgency
    fallen: Fallen | None
    on: bool
    case: str
    finding: str
    where: str
    what: str
    since: str
    last_good: str
    check_first: tuple[str, ...]
    who: str
    batches: str
    went_into: tuple[str, ...]
    size: str
    call: str
    unit: str
    parts: tuple[Part, ...]
    total: str
    together: str
    adds: bool
    story: tuple[tuple[str, tuple[str, ...]], ...]
    cautions: tuple[str, ...]
    signalled: str
    age_min: int
    history: tuple[Past, ...]
    told: tuple[Called, ...]
    handed_over: Past | None
    no: dict[Act, ActRefused]
    is_paste: bool
    curves: tuple[Curve, ...] = ()
    longest: int = acting.LONGEST_NOTE


def alert_screen(
    view: View,
    name: str,
    now: datetime,
    person: Person | None = None,
    who_is: str = "",
    told: Sequence[Telling] = (),
) -> AlertScreen | None:
    """The alert of this name at `now` (naive UTC); None where there is none. told: of the messenger."""
    stored = next((a for a in view.alerts if a.alert == name), None)
    if stored is None:
        return None
    alert, zone = urgency.at(stored, view, now), view.plant.zone
    acts = [a for a in view.acts if a.alert == name]
    together = sum(cause.contribution for cause in alert.causes)
    return AlertScreen(
        alert=name,
        urgency=alert.urgency,
        stored=stored.urgency,
        fallen=urgency.fallen(stored, view, now),
        on=alert.signal == "on",
        case=alert.case,
        finding=alert.finding or "",
        where=where(alert),
        what=what(alert, changes.loaf_g_of(alert, view.plant)),
        since=since(alert, zone),
        last_good=words.batch(alert.last_good_batch) if alert.last_good_batch else "",
        check_first=alert.check_first,
        who=who(alert),
        batches=batch_names(alert),
        went_into=went_into(alert, view),
        size=_size(alert, view),
        call=changes.call(alert),
        unit=alert.unit,
        parts=_parts(alert),
        total=words.number(alert.change, alert.unit, 2, signed=True),
        together=words.number(together, alert.unit, 2, signed=True),
        adds=bool(alert.causes) and abs(together - alert.change) < 0.005,
        story=tuple((key, getattr(alert, key)) for key in STORY if getattr(alert, key)),
        cautions=cautions.named(alert, view.plant, less_baked(alert, view)),
        signalled=f"{words.batch(alert.signalled_at_batch)}, {words.when(alert.signalled_at, zone)}",
        age_min=max(minutes(alert.signalled_at, now), 0),
        history=tuple(past(act, view, now) for act in acts),
        told=tuple(Called(t.to, short(view, t.at, now), t.sent) for t in told),
        handed_over=past(acts[-1], view, now) if acts and acts[-1].act == "handed over" else None,
        no={act: no for act in acting.ACTS if (no := acting.refused(stored, act, person, who_is))},
        is_paste=alert.kettle is not None,
        curves=curves(stored, view),
    )


def curves(alert: Alert, view: View) -> tuple[Curve, ...]:
    """The charts of the alert's page, without the story of each batch; none where the service has charted nothing yet."""
    if view.changes is None:
        return ()
    return curves_of(alert, Seen(view.plant, view.changes), view.charted)


STORY = ("joint", "began_then", "refuted_by", "next_measurement", "last_time")


def past(act: CaseEvent, view: View, now: datetime) -> Past:
    """An act as the plant's clock tells it."""
    return Past(short(view, act.at, now), act.who, act.act, act.found or "", act.note)


def went_into(alert: Alert, view: View) -> tuple[str, ...]:
    """The doughs that the alert's pastes went into, as far as they were made lately; of a line's alert none."""
    if not alert.kettle:
        return ()
    mine = {*alert.batches, alert.began_at_batch, alert.until_batch}
    keys = dict.fromkeys(dough for paste in view.pastes if paste.paste_key in mine for dough in paste.doughs)
    return tuple(words.batch(key) for key in sorted(keys))


def less_baked(alert: Alert, view: View) -> bool:
    """Whether the bake loss of the alert's line and product was down while it was on, as far as alerts tell."""
    return bool(alert.line) and any(
        other.characteristic == "bake loss"
        and other.direction == "low"
        and (other.line, other.product) == (alert.line, alert.product)
        and other.began_at <= alert.until_at
        and other.until_at >= alert.began_at
        for other in (*view.alerts, alert)
    )


def _size(alert: Alert, view: View) -> str:
    """How big in the alert's unit, and from what level or beyond what limit; "" where a limit was broken that has no number."""
    if alert.change == 0 and alert.level is None:
        return ""
    if limit := changes.of_limit(alert):
        return limit
    change = words.number(alert.change, alert.unit, signed=True)
    if not alert.level:
        return change
    return texts("alert")["size_from"].format(change=change, level=words.number(alert.level, alert.unit), bounds=changes.bounds(alert))


def _parts(alert: Alert) -> tuple[Part, ...]:
    return tuple(
        Part(
            group=cause.group,
            driver=cause.driver,
            part=text.part,
            bounds=text.bounds,
            share=text.share,
            evidence=cause.evidence,
            not_checked=cause.not_checked,
        )
        for cause, text in zip(alert.causes, printed(alert.causes, alert.change), strict=True)
    )
