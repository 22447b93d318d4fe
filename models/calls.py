"""Who is told of which alert now: pure, from what was told before, the people file and the hour.

*Hold* and *now* go at once to the first in the list who is on duty for the line; again when nobody has seen it after the
plant's minutes; then to the next. *Review* waits for the morning: the first shift of the plant file that begins after it
was noted, all of one person's in one message. A hold is never kept back by quiet hours. A hold made by hand is somebody's own
act: all who get holds are told of it at once and once, but for the one who made it.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING, Literal

from models.alarms.alerts import local
from models.texts import texts

if TYPE_CHECKING:
    from models.floor.holds import Hold
    from models.people import People, Person
    from models.plant import Plant
    from models.shapes import Alert

Why = Literal["first", "again", "next", "held"]
URGENT = frozenset({"hold", "now"})


@dataclass(frozen=True)
class Telling:
    """One person was told once of one alert. at: naive UTC; sent: some way took the message."""

    to: str
    at: datetime
    urgent: bool
    sent: bool


@dataclass(frozen=True)
class Heard:
    """What is known of one alert. noted_at: naive UTC; history: it was old when it came, and messages nobody."""

    noted_at: datetime
    history: bool
    tellings: tuple[Telling, ...] = ()


@dataclass(frozen=True)
class Message:
    """One message to one person. name: the same for the same message whenever it is made; at: naive UTC."""

    name: str
    to: str
    why: Why
    urgent: bool
    alerts: tuple[str, ...]
    at: datetime
    title: str
    body: str


def noted(
    alerts: Iterable[Alert], heard: Mapping[str, Heard], people: People | None, now: datetime, beginning: bool
) -> dict[str, Heard]:
    """Alerts not known before. What is there at the beginning, and what ended long before it came, is history."""
    hours = people.messages.not_older_than_h if people else 48.0
    oldest = now - timedelta(hours=hours)
    return {
        alert.alert: Heard(now, beginning or max(alert.signalled_at, alert.until_at) < oldest)
        for alert in alerts
        if alert.alert not in heard
    }


def decide(
    alerts: Sequence[Alert], heard: Mapping[str, Heard], people: People, plant: Plant, now: datetime
) -> list[Message]:
    """The messages that are due at `now` (naive UTC), urgent ones first. An alert that somebody has seen makes none."""
    waiting = [(alert, heard[alert.alert]) for alert in alerts if _unseen(alert, heard)]
    waiting.sort(key=lambda pair: (pair[0].urgency != "hold", pair[0].signalled_at, pair[0].alert))
    urgent = [_urgent(alert, known, people, plant, now) for alert, known in waiting if alert.urgency in URGENT]
    reviews = [(alert, known) for alert, known in waiting if alert.urgency not in URGENT]
    return [*filter(None, urgent), *_morning(reviews, people, plant, now)]


def noted_holds(
    holds: Iterable[Hold], heard: Mapping[str, Heard], people: People | None, now: datetime, beginning: bool
) -> dict[str, Heard]:
    """Holds made by hand that were not known before; what was held before the beginning, or long ago, is history."""
    hours = people.messages.not_older_than_h if people else 48.0
    return {
        hold.hold: Heard(now, beginning or hold.history[0].at < now - timedelta(hours=hours))
        for hold in holds
        if not hold.alert and hold.history and hold.hold not in heard
    }


def of_holds(
    holds: Iterable[Hold], heard: Mapping[str, Heard], people: People, plant: Plant, now: datetime
) -> list[Message]:
    """The messages of holds made by hand that still stand: one to each person who gets holds and is on duty."""
    shift = shift_at(plant, now)[0]
    due = []
    for hold in holds:
        known = heard.get(hold.hold)
        if hold.alert or known is None or known.history or known.tellings or not hold.stands:
            continue
        due += [
            _of_hold(person.initials, hold, people, plant, now)
            for person in people.people.values()
            if "hold" in person.urgencies
            and person.initials != hold.by
            and _reachable(person, people)
            and (not person.shifts or shift in person.shifts)
        ]
    return due


def _of_hold(to: str, hold: Hold, people: People, plant: Plant, now: datetime) -> Message:
    name = "M" + hashlib.sha256("\x1f".join((to, "held", hold.hold)).encode()).hexdigest()[:10]
    batches, t = ", ".join(f"{batch.kind} {batch.key}" for batch in hold.batches if batch.stands), texts("message")
    held_by = t["held_by"].format(who=hold.by, at=local(hold.history[0].at, plant), why=hold.why)
    lines = [plain(held_by), plain(batches)]
    if people.messages.board:
        lines.append(f"{people.messages.board}/holds")
    title = t["title"].format(title=plain(t["hold"].format(where=hold.where)), plant=plain(plant.plant))
    body = "\n".join([*lines, "", t["name"].format(name=name)])
    return Message(name, to, "held", True, (hold.hold,), now, title, body)


def unheard(
    alerts: Sequence[Alert], heard: Mapping[str, Heard], people: People | None, plant: Plant, now: datetime
) -> list[str]:
    """Urgent alerts that nobody has seen, and of which there is nobody (left) to tell now."""
    names = []
    for alert in alerts:
        if alert.urgency not in URGENT or not _unseen(alert, heard):
            continue
        told = {telling.to for telling in heard[alert.alert].tellings if telling.urgent}
        if people is None or not {person.initials for person in listed(alert, people, plant, now)} - told:
            names.append(alert.alert)
    return names


def listed(alert: Alert, people: People, plant: Plant, now: datetime) -> list[Person]:
    """Who could be told of an alert now, in the order of the people file."""
    clock = now.replace(tzinfo=UTC).astimezone(plant.zone).time()
    shift = shift_at(plant, now)[0]
    return [
        person
        for person in people.people.values()
        if alert.urgency in person.urgencies
        and _reachable(person, people)
        and (not person.shifts or shift in person.shifts)
        and (alert.urgency == "hold" or not person.is_quiet(clock))
        and _minds(person, alert, plant)
    ]


def shift_at(plant: Plant, now: datetime) -> tuple[str, datetime]:
    """The shift of an instant and when it began, both from the plant's clock; instants are naive UTC."""
    here = now.replace(tzinfo=UTC).astimezone(plant.zone)
    starts = [
        (datetime.combine(day, start, tzinfo=plant.zone).astimezone(UTC).replace(tzinfo=None), code)
        for day in (here.date() - timedelta(days=1), here.date())
        for code, start in plant.shift_starts.items()
    ]
    began, code = max((start, code) for start, code in starts if start <= now)
    return code, began


def _unseen(alert: Alert, heard: Mapping[str, Heard]) -> bool:
    known = heard.get(alert.alert)
    return alert.case == "open" and known is not None and not known.history


def _reachable(person: Person, people: People) -> bool:
    return bool(person.ways) or (person.email is not None and people.messages.mail is not None)


def _minds(person: Person, alert: Alert, plant: Plant) -> bool:
    """Whether the alert is of a line this person minds; a kettle's is of every line it feeds."""
    if not person.lines or (alert.line is None and alert.kettle is None):
        return True
    if alert.line is not None:
        return alert.line in person.lines
    return any(plant.lines[line].kettle == alert.kettle for line in person.lines if line in plant.lines)


def _urgent(alert: Alert, known: Heard, people: People, plant: Plant, now: datetime) -> Message | None:
    candidates = {person.initials: person for person in listed(alert, people, plant, now)}
    told = [telling for telling in known.tellings if telling.urgent]
    if told and now - told[-1].at < timedelta(minutes=people.messages.again_after_min):
        return None
    if len(told) == 1 and told[0].sent and told[0].to in candidates:
        return _message(told[0].to, "again", [alert], told, people, plant, now)
    left = [initials for initials in candidates if initials not in {telling.to for telling in told}]
    return _message(left[0], "next" if told else "first", [alert], told, people, plant, now) if left else None


def _morning(reviews: Sequence[tuple[Alert, Heard]], people: People, plant: Plant, now: datetime) -> list[Message]:
    """Reviews noted before this first shift began, once it has; one message a person."""
    shift, began = shift_at(plant, now)
    if shift != next(iter(plant.shifts)):
        return []
    due: dict[str, list[Alert]] = {}
    for alert, known in reviews:
        if known.tellings or known.noted_at > began:
            continue
        for person in listed(alert, people, plant, now)[:1]:
            due.setdefault(person.initials, []).append(alert)
    return [_message(initials, "first", of_one, (), people, plant, now) for initials, of_one in due.items()]


def _message(
    to: str,
    why: Why,
    alerts: Sequence[Alert],
    told: Sequence[Telling],
    people: People,
    plant: Plant,
    now: datetime,
) -> Message:
    names = tuple(alert.alert for alert in alerts)
    urgent = alerts[0].urgency in URGENT
    name = "M" + hashlib.sha256("\x1f".join((to, why, str(urgent), *names)).encode()).hexdigest()[:10]
    t = texts("message")
    head = _line(alerts[0], plant) if len(alerts) == 1 else t["reviews"].format(n=len(alerts))
    called = t[why].format(head=head) if why in ("again", "next") else head
    before = ", ".join(t["told"].format(who=telling.to, at=local(telling.at, plant)) for telling in told)
    lines = [t["told_before"].format(before=before)] if before else []
    for alert in alerts:
        lines += _told(alert, plant, people.messages.board, alone=len(alerts) == 1)
    lines.append(t["name"].format(name=name))
    title = t["title"].format(title=plain(called), plant=plain(plant.plant))
    return Message(name, to, why, urgent, names, now, title, "\n".join(lines))


def _told(alert: Alert, plant: Plant, board: str | None, alone: bool) -> list[str]:
    """What one alert says to somebody who is away from the board."""
    t = texts("message")
    since = t["since"].format(began=local(alert.began_at, plant), signalled=local(alert.signalled_at, plant))
    lines = [] if alone else [_line(alert, plant)]
    lines += [plain(alert.says), since] if alert.says else [since]
    lines += [t["check_first"].format(check=plain(check)) for check in alert.check_first[:1]]
    if board:
        lines.append(f"{board}/alerts/{alert.alert}")
    return [*lines, ""]


def _line(alert: Alert, plant: Plant) -> str:
    place = " ".join(part for part in (alert.kettle, alert.line, alert.product or alert.recipe) if part) or plant.plant
    return plain(texts("message")["alert"].format(urgency=alert.urgency.upper(), place=place, what=alert.called))


def plain(text: str) -> str:
    """One line without control characters: a name from a log starts no new line and no new header."""
    return " ".join("".join(letter if letter.isprintable() else " " for letter in text).split())[:300]
