"""A hold in plain words and as JSON: why, which batches, how many loaves, how long, whether it is still in the house."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, datetime, timedelta
from typing import TYPE_CHECKING, Any

from models.floor.holds import UNBAKED, Held, Hold, how_long
from models.pages import words

if TYPE_CHECKING:
    from models.floor.heldloaves import Loaves
    from models.plant import Plant

IN_WORDS = {
    "cooling": "paste cooled too slowly or too old",
    "under-baked": "perhaps under-baked",
    "foreign body": "foreign body",
    "allergen": "another paste or allergen than the recipe's",
    "short weight": "short weight",
    "other": "held",
}


def title(hold: Hold) -> str:
    """ "K1, L1: 26.4 °C two hours after cooking"."""
    why = hold.why if hold.alert else f"{IN_WORDS[hold.ground]}: {hold.why}"
    return f"{hold.where}: {why}" if hold.where else why


def batches(hold: Hold, on: date | None = None) -> tuple[str, ...]:
    """What is held, a line for the pastes and one for the doughs; on: the day of the page, left out of the names."""
    pastes, doughs = hold.standing("paste"), hold.standing("dough")
    said = [f"Held: {words.count(len(pastes), 'paste')}: {_names(pastes, on)}."] if pastes else []
    if pastes and not doughs:
        return *said, "No dough names this paste yet."
    if not doughs:
        return tuple(said)
    first = "Went into" if pastes else "Held:"
    return *said, f"{first} {words.count(len(doughs), 'dough')}: {_names(doughs, on)}.{_repair(pastes, doughs)}"


def _repair(pastes: Sequence[Held], doughs: Sequence[Held]) -> str:
    repair = " Baked ones too: baking does not repair it." if pastes else ""
    early = [dough for dough in doughs if dough.baked == UNBAKED]
    return repair + (f" {words.join(dough.name for dough in early)}: may not be in the oven yet." if early else "")


def _names(held: Sequence[Held], on: date | None) -> str:
    return words.join(
        words.batch(one.key, on) + (" (left the house)" if one.state == "left the house" else "") for one in held
    )


def loaves(found: Loaves) -> str:
    """ "Loaves: 4 measured; about 200 pieces made; pieces of 1 dough not recorded."."""
    if not found.doughs:
        return "Loaves: none that the logs know of."
    parts = [f"{found.measured or 'none'} measured"]
    if found.pieces is None:
        parts.append("pieces made not recorded")
    else:
        much = words.number(round(found.pieces), "pieces")
        share = "made" if found.exact else "made, each dough counted for an equal part of its shift"
        parts.append(f"{'' if found.exact else 'about '}{much} {share}")
        if found.unknown:
            parts.append(f"pieces of {words.count(found.unknown, 'dough')} not recorded")
    return f"Loaves: {'; '.join(parts)}."


def in_house(hold: Hold) -> str:
    """What is known of where it is: no log says what was dispatched, only a person can."""
    stand = [batch for batch in hold.batches if batch.stands]
    left = [batch for batch in stand if batch.state == "left the house"]
    if not left:
        return "Still in the house: not known; no log says what was dispatched. Look, and count."
    many = f"{len(left)} of {words.count(len(stand), 'batch', 'batches')}"
    return f"Still in the house: {many} recorded as having left it: {words.join(b.name for b in left)}."


def lasted(long: timedelta) -> str:
    """ "35 min", "7 h", "3 days"."""
    minutes = int(long.total_seconds() // 60)
    if minutes < 120:
        return words.number(minutes, "min")
    if minutes < 48 * 60:
        return words.number(minutes // 60, "h", 0)
    return words.count(minutes // (24 * 60), "day")


def ended(hold: Hold, plant: Plant, on: date | None = None) -> str:
    """What was decided, by whom and why: the last decision on it; "" while it stands whole."""
    ends = [event for event in hold.history if event.act in ("released", "disposed")]
    if not ends:
        return ""
    last = ends[-1]
    what = "Released" if last.act == "released" else "Disposed of"
    part = "" if hold.ended else f" ({words.count(len(last.keys), 'batch', 'batches')} of it)"
    return f"{what}{part} by {signed(last.who, last.role)}, {words.when(last.at, plant.zone, on)}: {last.because}"


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
