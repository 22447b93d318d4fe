"""What is held: made by an alert of safety, law or allergens, or by hand; ended by QA alone, batch by batch.

A hold is worked out from alerts, what people did and the wide rows; nothing in it is forgotten because a signal ended,
a row was corrected or a case was closed. A held paste holds every dough it went into, as first or second tub.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import TYPE_CHECKING, Any, Literal

from models.alarms.alerts import BAKED_AFTER
from models.fixed import GROUNDS, Ground
from models.floor.heldloaves import Loaves, loaves_of
from models.floor.holdbook import Book, book, concerned, shift_of, tubs
from models.pages import words
from models.texts import texts

if TYPE_CHECKING:
    import pandas as pd

    from models.shapes import Alert

Act = Literal["held", "released", "disposed", "left the house"]
Kind = Literal["paste", "dough"]
Key = tuple[Kind, str]
# what ends the hold of a batch; a batch that left the house is held on until QA has decided on it
ENDS: tuple[Act, ...] = ("released", "disposed")
GROUND_OF: dict[str, Ground] = {
    "allergen": "allergen",
    "paste recipe": "allergen",
    "cooling": "cooling",
    "paste age": "cooling",
    "net weight": "short weight",
}
"""What an alert's hold rests on, by its characteristic; of one ground the graver first."""


@dataclass(frozen=True)
class HoldEvent:
    """One act on one hold. at: naive UTC; who, role: empty where the alert itself held; alert: empty where held by hand."""

    hold: str
    at: datetime
    who: str
    act: Act
    because: str
    pastes: tuple[str, ...] = ()
    doughs: tuple[str, ...] = ()
    ground: Ground = "other"
    role: str = ""
    alert: str = ""

    @property
    def keys(self) -> tuple[Key, ...]:
        """The batches it covers, pastes first."""
        return *(("paste", key) for key in self.pastes), *(("dough", key) for key in self.doughs)


@dataclass(frozen=True)
class Held:
    """One batch of a hold. of: the held pastes it got, by key; baked: "" for a paste or a dough no log knows."""

    kind: Kind
    key: str
    name: str
    since: datetime
    state: Act
    of: tuple[str, ...] = ()
    baked: Literal["", "baked", "baked by now, not recorded", "may not be in the oven yet"] = ""

    @property
    def stands(self) -> bool:
        """Whether QA has yet to decide on it."""
        return self.state not in ENDS


@dataclass(frozen=True)
class Hold:
    """What is held together, and why. batches: those ended, too; ended: when QA decided on the last of them.

    characteristic: of its alert, "" where it was made by hand; loaves: of the doughs that still stand. Instants are naive UTC.
    """

    hold: str
    alert: str
    ground: Ground
    why: str
    where: str
    since: datetime
    by: str
    batches: tuple[Held, ...]
    loaves: Loaves
    history: tuple[HoldEvent, ...] = ()
    ended: datetime | None = None
    characteristic: str = ""

    @property
    def stands(self) -> bool:
        """Whether anything of it is still held."""
        return any(batch.stands for batch in self.batches)

    def standing(self, kind: Kind) -> tuple[Held, ...]:
        """Its pastes or doughs that are still held."""
        return tuple(batch for batch in self.batches if batch.kind == kind and batch.stands)


def holds_of(
    alerts: Sequence[Alert],
    events: Sequence[HoldEvent],
    batches: pd.DataFrame,
    output: pd.DataFrame,
    now: datetime,
) -> tuple[Hold, ...]:
    """Every hold, ended ones too, the oldest first. now: naive UTC; frames as `batchbook` and the logbook declare them.

    events: in the order of their writing, what holds a batch before what ends its hold.
    """
    raised = {name_of(alert.alert): alert for alert in alerts if alert.urgency == "hold"}
    acts: dict[str, list[HoldEvent]] = {name: [] for name in raised}
    for event in events:
        acts.setdefault(event.hold, []).append(event)
    keys = {key for event in events for _, key in event.keys}
    keys |= {key for alert in raised.values() for key in (*alert.batches, alert.began_at_batch)}
    known = book(*concerned(batches, output, keys), now)
    found = [_hold(name, raised.get(name), mine, known) for name, mine in acts.items()]
    return tuple(sorted(found, key=lambda hold: (hold.since, hold.hold)))


def gravest_first(holds: Iterable[Hold]) -> list[Hold]:
    """Holds as they are told: an undeclared allergen before a short weight, however old; the oldest of a kind first."""
    return sorted(holds, key=lambda hold: (gravity(hold.characteristic, hold.ground), hold.since, hold.hold))


def gravity(characteristic: str, ground: Ground | None = None) -> tuple[int, int]:
    """How grave a hold is, the lowest the gravest. ground: left out, that of the characteristic."""
    kinds = tuple(GROUND_OF)
    place = kinds.index(characteristic) if characteristic in kinds else len(kinds)
    return GROUNDS.index(ground or GROUND_OF.get(characteristic, "other")), place


def name_of(alert: str) -> str:
    """The name of the hold that an alert makes."""
    return f"H{alert.removeprefix('A')}"


def raised_event(alert: Alert, at: datetime, pastes: Iterable[str], doughs: Iterable[str]) -> HoldEvent:
    """The act by which an alert holds these batches."""
    ground = GROUND_OF.get(alert.characteristic, "other")
    return HoldEvent(
        name_of(alert.alert), at, "", "held", alert.says, tuple(pastes), tuple(doughs), ground, "", alert.alert
    )


def not_yet_kept(holds: Sequence[Hold], alerts: Sequence[Alert]) -> list[HoldEvent]:
    """What must be written down so that no correction of a row can take a batch out of its hold."""
    by_hold = {name_of(alert.alert): alert for alert in alerts if alert.urgency == "hold"}
    found = []
    for hold in holds:
        kept = {key for event in hold.history if event.act == "held" for key in event.keys}
        new = [batch for batch in hold.batches if batch.stands and (batch.kind, batch.key) not in kept]
        if not new:
            continue
        pastes = tuple(batch.key for batch in new if batch.kind == "paste")
        doughs = tuple(batch.key for batch in new if batch.kind == "dough")
        at = min(batch.since for batch in new)
        alert = by_hold.get(hold.hold)
        found.append(
            raised_event(alert, at, pastes, doughs)
            if alert
            else HoldEvent(hold.hold, at, "", "held", GOT, pastes, doughs, hold.ground, "", hold.alert)
        )
    return found


GOT: str = texts("holds")["told"]["got"]


def scope_of(alert: Alert, book: Book) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """Pastes and doughs that an alert speaks of; short weight speaks of all the line made of the product in those shifts."""
    keys = alert.batches or (alert.began_at_batch,)
    if alert.kettle:
        return keys, ()
    if GROUND_OF.get(alert.characteristic) != "short weight":
        return (), keys
    shifts = dict.fromkeys(shift_of(book.doughs[key]) for key in keys if key in book.doughs)
    return (), tuple(dict.fromkeys((*keys, *(key for shift in shifts for key in book.of_shift[shift]))))


@dataclass(frozen=True)
class _Claim:
    """What holds a batch: since when, and before which of the hold's acts it was written down."""

    at: datetime
    turn: int


Claims = Mapping[Key, Sequence[_Claim]]
Ends = Mapping[Key, tuple[int, HoldEvent]]


def _hold(name: str, alert: Alert | None, acts: Sequence[HoldEvent], book: Book) -> Hold:
    batches = _batches(alert, acts, book)
    first = next((event for event in acts if event.act == "held"), None)
    stand = [batch for batch in batches if batch.stands]
    ends = [event.at for event in acts if event.act in ENDS]
    return Hold(
        hold=name,
        alert=alert.alert if alert else first.alert if first else "",
        ground=GROUND_OF.get(alert.characteristic, "other") if alert else first.ground if first else "other",
        why=alert.says if alert else first.because if first else "",
        where=_where(stand or batches),
        since=min((batch.since for batch in stand or batches), default=book.now),
        by=f"{first.who} ({first.role})" if first and first.role not in ("", first.who) else first.who if first else "",
        batches=batches,
        loaves=loaves_of((batch.key for batch in stand if batch.kind == "dough"), book),
        history=tuple(acts),
        ended=None if stand else max(ends, default=None),
        characteristic=alert.characteristic if alert else "",
    )


def _batches(alert: Alert | None, acts: Sequence[HoldEvent], book: Book) -> tuple[Held, ...]:
    """Every batch of a hold, pastes first, then in order of time."""
    claims = _claims(alert, acts, book)
    ends = {key: (turn, event) for turn, event in enumerate(acts) if event.act in ENDS for key in event.keys}
    left = {key for event in acts if event.act == "left the house" for key in event.keys}
    pastes = {key for kind, key in claims if kind == "paste"}
    reached = _reached(claims, ends, book.got(pastes))
    found = []
    for key in dict.fromkeys((*claims, *reached)):
        since, state = _state((*claims.get(key, ()), *reached.get(key, ())), ends.get(key), key in left)
        row = book.doughs.get(key[1], {}) if key[0] == "dough" else {}
        if row:  # what is written down of a paste's doughs carries the paste's instant
            since = max(since, utc(row["mixed_at"]))
        of = tuple(paste for paste in tubs(row) if paste in pastes) if row else ()
        found.append(Held(*key, words.batch(key[1]), since, state, of, _baked(row, book.now) if row else ""))
    return tuple(sorted(found, key=lambda batch: (batch.kind == "dough", batch.since, batch.key)))


def _claims(alert: Alert | None, acts: Sequence[HoldEvent], book: Book) -> dict[Key, list[_Claim]]:
    """Batches held by themselves: what was written down, and what the alert speaks of now beyond that."""
    found: dict[Key, list[_Claim]] = {}
    for turn, event in enumerate(acts):
        if event.act == "held":
            for key in event.keys:
                found.setdefault(key, []).append(_Claim(event.at, turn))
    if alert is not None:
        pastes, doughs = scope_of(alert, book)
        new = _Claim(utc(alert.until_at if found else alert.signalled_at), len(acts))
        for paste in pastes:
            found.setdefault(("paste", paste), [new])
        for dough in doughs:
            found.setdefault(("dough", dough), [new])
    return found


def _reached(claims: Claims, ends: Ends, doughs: Sequence[Mapping[str, Any]]) -> dict[Key, list[_Claim]]:
    """What holds each dough through its pastes. One mixed after QA had released the paste is free; of one mixed before that
    and not named in the release QA did not know."""
    found: dict[Key, list[_Claim]] = {}
    for row in doughs:
        mixed = utc(row["mixed_at"])
        for paste in tubs(row):
            _, end = ends.get(("paste", paste), (0, None))
            free = end is not None and end.act == "released" and mixed >= end.at
            if not free:
                mine = [_Claim(max(claim.at, mixed), claim.turn) for claim in claims.get(("paste", paste), ())]
                found.setdefault(("dough", row["batch_key"]), []).extend(mine)
    return {key: mine for key, mine in found.items() if mine}


def _state(claims: Sequence[_Claim], end: tuple[int, HoldEvent] | None, left: bool) -> tuple[datetime, Act]:
    """Since when a batch is held, and how it stands: what came up after QA had decided on it holds it anew."""
    new = [claim.at for claim in claims if end is None or claim.turn > end[0]]
    if end is not None and not new:
        return min(claim.at for claim in claims), end[1].act
    return min(new), "left the house" if left else "held"


def _baked(row: Mapping[str, Any], now: datetime) -> Any:
    if not words.missing(row["proof_out"]) or row["loaves"] > 0:
        return "baked"
    return "baked by now, not recorded" if now - utc(row["mixed_at"]) > BAKED_AFTER else UNBAKED


UNBAKED: Literal["may not be in the oven yet"] = "may not be in the oven yet"


def _where(batches: Sequence[Held]) -> str:
    """Kettles and lines of batches, "K1, L1, L2"."""
    return ", ".join(dict.fromkeys(batch.key.split("/", 2)[1] for batch in batches if batch.key.count("/") >= 2))


def utc(value: Any) -> datetime:
    """An instant of a frame or an alert as naive UTC."""
    return words.utc(datetime.fromisoformat(str(value)[:26]))


def how_long(hold: Hold, now: datetime) -> timedelta:
    """How long it has stood, or stood until QA decided on the last of it."""
    return max((hold.ended or now) - hold.since, timedelta(0))
