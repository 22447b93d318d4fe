"""What the holds screen says: what stands, gravest first, what QA decided on lately, and what the one who looks may do."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import TYPE_CHECKING

from models.fixed import GROUNDS, Ground, Role
from models.floor import holdsays
from models.floor.heldloaves import Loaves
from models.floor.holds import UNBAKED, Act, Held, Hold, gravest_first, how_long
from models.pages import words
from models.people import MAY
from models.storage.holds import NEEDS
from models.trade import cautions

if TYPE_CHECKING:
    from models.floor.view import View
    from models.plant import Plant

# decisions stay on the screen this long
LATELY = timedelta(hours=72)


@dataclass(frozen=True)
class Batch:
    """One held batch as the screen names it. field: what its box in the form is called."""

    name: str
    field: str
    left: bool
    baked: str

    @property
    def unbaked(self) -> bool:
        """Whether it can perhaps still be kept out of the oven."""
        return self.baked == UNBAKED


@dataclass(frozen=True)
class Line:
    """One line of a hold's history. who: initials and role; "" where the alert itself held. many: batches it covers."""

    when: str
    who: str
    act: Act
    because: str
    many: int


@dataclass(frozen=True)
class Row:
    """One hold. since, long, ended: in words; pieces: "" where no output row speaks of them."""

    hold: str
    alert: str
    ground: Ground
    why: str
    where: str
    since: str
    long: str
    by: str
    pastes: tuple[Batch, ...]
    doughs: tuple[Batch, ...]
    loaves: Loaves
    pieces: str
    left: str
    history: tuple[Line, ...]
    caution: str
    ended: str = ""


@dataclass(frozen=True)
class HoldScreen:
    """Everything on the screen. names: batches of late, to choose from when one is held by hand."""

    standing: tuple[Row, ...]
    decided: tuple[Row, ...]
    may_hold: bool
    may_release: bool
    may_say_left: bool
    names: tuple[str, ...]
    grounds: tuple[Ground, ...]


def screen(view: View, now: datetime, role: Role, *, alone: bool = False) -> HoldScreen:
    """The screen at `now` (naive UTC) for somebody of this role. alone: no people file, one user who may do everything."""
    local = words.local(now, view.plant.zone)
    today = local.date() if local else None
    standing = gravest_first(hold for hold in view.holds if hold.stands)
    decided = [hold for hold in view.holds[::-1] if hold.ended is not None and now - hold.ended <= LATELY]
    return HoldScreen(
        standing=tuple(_row(hold, view.plant, now, today) for hold in standing),
        decided=tuple(_row(hold, view.plant, now, today) for hold in decided),
        may_hold=_may(role, "held", alone),
        may_release=_may(role, "released", alone),
        may_say_left=_may(role, "left the house", alone),
        names=_names(view),
        grounds=GROUNDS,
    )


def _may(role: Role, act: Act, alone: bool) -> bool:
    return alone or role in MAY[NEEDS[act]]


def _row(hold: Hold, plant: Plant, now: datetime, today: date | None) -> Row:
    stand = hold.batches if hold.ended else tuple(batch for batch in hold.batches if batch.stands)
    pastes, doughs = ([batch for batch in stand if batch.kind == kind] for kind in ("paste", "dough"))
    found = hold.loaves
    return Row(
        hold=hold.hold,
        alert=hold.alert,
        ground=hold.ground,
        why=hold.why,
        where=hold.where,
        since=words.when(hold.since, plant.zone, today),
        long=holdsays.lasted(how_long(hold, now)),
        by=hold.by,
        pastes=_batches(pastes, today),
        doughs=_batches(doughs, today),
        loaves=found,
        pieces="" if found.pieces is None else words.number(round(found.pieces), "pieces"),
        left=words.join(words.batch(batch.key, today) for batch in stand if batch.state == "left the house"),
        history=tuple(_line(hold, n, plant, today) for n in range(len(hold.history))),
        caution=cautions.of_hold(hold.ground, plant),
        ended=words.when(hold.ended, plant.zone, today) if hold.ended else "",
    )


def _batches(held: Sequence[Held], today: date | None) -> tuple[Batch, ...]:
    return tuple(
        Batch(words.batch(one.key, today), f"on:{one.kind}:{one.key}", one.state == "left the house", one.baked)
        for one in held
    )


def _line(hold: Hold, n: int, plant: Plant, today: date | None) -> Line:
    event = hold.history[n]
    who = holdsays.signed(event.who, event.role)
    return Line(words.when(event.at, plant.zone, today), who, event.act, event.because, len(event.keys))


def _names(view: View) -> tuple[str, ...]:
    """Pastes of late, what they went into, and the newest of each line, by key."""
    doughs = [key for paste in view.pastes for key in paste.doughs]
    newest = [seen.batch for seen in view.lines.values()]
    return tuple(dict.fromkeys((*newest, *(paste.paste_key for paste in view.pastes), *doughs)))
