"""A hold in plain words and as JSON: why, which batches, how many loaves, how long, whether it is still in the house."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date, datetime, timedelta
from typing import TYPE_CHECKING, Any

from models.floor.holds import UNBAKED, Held, Hold, how_long
from models.pages import words
from models.texts import Text, in_number, texts

if TYPE_CHECKING:
    from models.floor.heldloaves import Loaves
    from models.plant import Plant

_ON_SCREEN = texts("holds")
_TOLD = _ON_SCREEN["told"]


def title(hold: Hold) -> str:
    """ "K1, L1: 26.4 °C two hours after cooking"."""
    why = hold.why if hold.alert else _TOLD["because"].format(doubt=_TOLD["doubt"][hold.ground], why=hold.why)
    return _TOLD["at"].format(where=hold.where, why=why) if hold.where else why


def batches(hold: Hold, on: date | None = None) -> tuple[str, ...]:
    """What is held, a line for the pastes and one for the doughs; on: the day of the page, left out of the names."""
    pastes, doughs = hold.standing("paste"), hold.standing("dough")
    said = [_counted(_TOLD["pastes"], len(pastes), names=_names(pastes, on))] if pastes else []
    if pastes and not doughs:
        return *said, _ON_SCREEN["no_dough"]
    if not doughs:
        return tuple(said)
    into = _counted(_TOLD["went_into" if pastes else "doughs"], len(doughs), names=_names(doughs, on))
    return *said, " ".join((into, *_repair(pastes, doughs)))


def _counted(said: Mapping[str, Text], many: int, **filled: object) -> str:
    """The sentence of one or of many; many: never 0."""
    return in_number(said, many).format(n=words.number(float(many), "", 0), **filled)


def _repair(pastes: Sequence[Held], doughs: Sequence[Held]) -> tuple[str, ...]:
    repair = (_ON_SCREEN["repair"],) if pastes else ()
    early = [dough.name for dough in doughs if dough.baked == UNBAKED]
    return (*repair, _TOLD["early"].format(names=words.join(early))) if early else repair


def _names(held: Sequence[Held], on: date | None) -> str:
    named = ((words.batch(one.key, on), one.state) for one in held)
    return words.join(
        _TOLD["name_left"].format(name=name) if state == "left the house" else name for name, state in named
    )


def loaves(found: Loaves) -> str:
    """ "Loaves: 4 measured; about 200 pieces made; pieces of 1 dough not recorded."."""
    if not found.doughs:
        return _TOLD["loaves_none"]
    parts = [_ON_SCREEN["measured"].format(n=found.measured) if found.measured else _ON_SCREEN["none_measured"]]
    if found.pieces is None:
        parts.append(_ON_SCREEN["pieces_unknown"])
    else:
        made = _ON_SCREEN["pieces_exact"] if found.exact else _TOLD["pieces_about"]
        parts.append(made.format(pieces=words.number(round(found.pieces), "pieces")))
        if found.unknown:
            parts.append(_counted(_TOLD["pieces_unknown_of"], found.unknown))
    return _TOLD["loaves"].format(parts="; ".join(parts))


def in_house(hold: Hold) -> str:
    """What is known of where it is: no log says what was dispatched, only a person can."""
    stand = [batch for batch in hold.batches if batch.stands]
    left = [batch for batch in stand if batch.state == "left the house"]
    if not left:
        return _TOLD["house_unknown"]
    names = words.join(batch.name for batch in left)
    return _counted(_TOLD["house_left"], len(stand), left=len(left), names=names)


def lasted(long: timedelta) -> str:
    """ "35 min", "7 h", "3 days"."""
    minutes = int(long.total_seconds() // 60)
    if minutes < 120:
        return words.number(minutes, "min")
    if minutes < 48 * 60:
        return words.number(minutes // 60, "h", 0)
    return _TOLD["days"].format(n=words.number(float(minutes // (24 * 60)), "", 0))


def ended(hold: Hold, plant: Plant, on: date | None = None) -> str:
    """What was decided, by whom and why: the last decision on it; "" while it stands whole."""
    ends = [event for event in hold.history if event.act in ("released", "disposed")]
    if not ends:
        return ""
    last = ends[-1]
    said, who, when = _TOLD[last.act], signed(last.who, last.role), words.when(last.at, plant.zone, on)
    if hold.ended:
        return said["whole"].format(who=who, when=when, because=last.because)
    return _counted(said, len(last.keys), who=who, when=when, because=last.because)


def signed(who: str, role: str) -> str:
    """ "MK (QA)"; the role alone where that is the name given."""
    return f"{who} ({role})" if role not in ("", who) else who


def to_json(hold: Hold, plant: Plant, now: datetime) -> dict[str, Any]:
    """A hold as plain data; instants on the plant's clock with their offset. now: naive UTC."""
    return {
        "hold": hold.hold,
        "alert": hold.alert or None,
        "stands": hold.stands,
        "ground": hold.ground,
        "why": hold.why,
        "where": hold.where,
        "since": _iso(hold.since, plant),
        "ended": _iso(hold.ended, plant) if hold.ended else None,
        "hours": round(how_long(hold, now).total_seconds() / 3600, 2),
        "by": hold.by or None,
        "batches": [
            {"kind": one.kind, "batch": one.key, "state": one.state, "since": _iso(one.since, plant)}
            | {"of": list(one.of), "baked": one.baked or None}
            for one in hold.batches
        ],
        "loaves": vars(hold.loaves),
        "in_house": in_house(hold) if hold.stands else None,
        "history": [
            {"at": _iso(event.at, plant), "who": event.who or None, "role": event.role or None, "act": event.act}
            | {"because": event.because, "pastes": list(event.pastes), "doughs": list(event.doughs)}
            for event in hold.history
        ],
    }


def _iso(at: datetime, plant: Plant) -> str:
    found = words.local(at, plant.zone)
    return found.isoformat(timespec="seconds") if found else ""
