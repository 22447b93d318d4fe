"""What people and alerts did with holds: held, released, disposed, left the house. Kept for good, in order.

Nothing here changes or deletes a row. Who may do what is asked of the person at the moment of writing.
"""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime
from typing import TYPE_CHECKING

from models.floor.holds import Act, Hold, HoldEvent, Key, holds_of, not_yet_kept
from models.storage import gather, ledger, store, wide
from models.texts import texts

if TYPE_CHECKING:
    import duckdb

    from models.fixed import Role
    from models.people import Person
    from models.shapes import Alert

NEEDS: dict[Act, Role] = {"held": "floor", "left the house": "supervisor", "released": "QA", "disposed": "QA"}


class HoldError(ValueError):
    """The act cannot be recorded. `str()` is one line."""


def events(con: duckdb.DuckDBPyConnection) -> list[HoldEvent]:
    """Every act, in the order they were recorded."""
    rows = con.execute(
        "SELECT hold, done_at, who, act, because, pastes, doughs, ground, role, alert FROM hold_event ORDER BY rowid"
    ).fetchall()
    return [
        HoldEvent(hold, at, who, act, because, tuple(pastes), tuple(doughs), ground, role, alert)
        for hold, at, who, act, because, pastes, doughs, ground, role, alert in rows
    ]


def holds(con: duckdb.DuckDBPyConnection, now: datetime) -> tuple[Hold, ...]:
    """Every hold as it stands at `now` (naive UTC), ended ones too, the oldest first."""
    return _holds(con, ledger.stored_alerts(con), now)


def _holds(con: duckdb.DuckDBPyConnection, alerts: Sequence[Alert], now: datetime) -> tuple[Hold, ...]:
    acts, raised = events(con), [alert for alert in alerts if alert.urgency == "hold"]
    keys = {key for event in acts for _, key in event.keys}
    keys |= {key for alert in raised for key in (*alert.batches, alert.began_at_batch)}
    return holds_of(raised, acts, wide.load(con, "batches", CONCERNED, [sorted(keys)]), gather.log(con, "output"), now)


# doughs that these batches are or went into, and those of the same shifts
CONCERNED = """(line, product, shift_date, shift) IN (SELECT (line, product, shift_date, shift)
    FROM batches b, (SELECT ?::VARCHAR[] AS keys)
    WHERE list_contains(keys, b.batch_key) OR list_contains(keys, b.paste_key) OR list_contains(keys, b.paste_key_2))"""


def keep_raised(con: duckdb.DuckDBPyConnection, alerts: Sequence[Alert], now: datetime) -> list[HoldEvent]:
    """Write down what alerts hold by now and what held pastes went into; returns what is new. Call inside a transaction."""
    new = not_yet_kept(_holds(con, alerts, now), alerts)
    keep(con, new)
    return new


def keep(con: duckdb.DuckDBPyConnection, new: Sequence[HoldEvent]) -> None:
    """Write down acts that no person is asked for: what alerts hold, and what an earlier version decided."""
    for event in new:
        _insert(con, event)


def record(con: duckdb.DuckDBPyConnection, event: HoldEvent, by: Person) -> HoldEvent:
    """Record an act of a person, and return it as it was kept: with its hold's name, and the batches it covers.

    event.hold "" with act "held" begins a hold; no batches with any other act means all that are held under it. What
    holds them is written down before the act.
    Raises HoldError where the person may not, gives no name or no reason, or the hold or a batch is not there.
    """
    event = replace(
        event,
        who=(by.initials or event.who).strip(),
        role="" if by.alone else by.role,
        because=" ".join(event.because.split()),
    )
    _allowed(event, by)
    known = {hold.hold: hold for hold in holds(con, event.at)}
    event = _begun(con, event, known) if event.act == "held" else _of_one(event, known)
    if event.act != "held":
        keep(con, not_yet_kept([known[event.hold]], ledger.stored_alerts(con)))
    _insert(con, event)
    return event


def _allowed(event: HoldEvent, by: Person) -> None:
    if not event.who:
        raise _no("who")
    if not by.may(NEEDS[event.act]):
        raise _no("may_not", who=event.who, role=by.role, act=texts("acts")["hold"]["may"][event.act])
    if not event.because:
        raise _no("why")


def _begun(con: duckdb.DuckDBPyConnection, event: HoldEvent, known: dict[str, Hold]) -> HoldEvent:
    """A hold by hand, or more batches under one."""
    if not event.keys:
        raise _no("which")
    for table, kind, keys in (("pastes", "paste", event.pastes), ("batches", "dough", event.doughs)):
        there = {key for (key,) in con.execute(f"SELECT {store.WIDE_KEY[table]} FROM {table}").fetchall()}
        for key in keys:
            if key not in there:
                raise _no("not_there", kind, key=key)
    if event.hold:
        if event.hold not in known:
            raise _no("no_such", hold=event.hold)
        return event
    text = "\x1f".join((event.at.isoformat(), event.who, *event.pastes, "", *event.doughs))
    name = f"M{hashlib.sha256(text.encode()).hexdigest()[:10]}"
    if name in known:
        raise _no("twice", hold=name, who=event.who)
    return replace(event, hold=name)


def _of_one(event: HoldEvent, known: dict[str, Hold]) -> HoldEvent:
    """An act on a hold that stands, with the batches it covers written out."""
    hold = known.get(event.hold)
    if hold is None:
        raise _no("no_such", hold=event.hold)
    standing: list[Key] = [(batch.kind, batch.key) for batch in hold.batches if batch.stands]
    if not standing:
        raise _no("over", hold=event.hold)
    for kind, key in event.keys:
        if (kind, key) not in standing:
            raise _no("not_held", kind, key=key, hold=event.hold)
    covered = event.keys or standing
    return replace(
        event,
        pastes=tuple(key for kind, key in covered if kind == "paste"),
        doughs=tuple(key for kind, key in covered if kind == "dough"),
        ground=hold.ground,
        alert=hold.alert,
    )


def _no(why: str, kind: str = "", **filled: str) -> HoldError:
    said = texts("acts")["hold"][why]
    return HoldError((said[kind] if kind else said).format(**filled))


def _insert(con: duckdb.DuckDBPyConnection, event: HoldEvent) -> None:
    con.execute(
        "INSERT INTO hold_event VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
        [
            event.hold,
            event.at,
            event.who,
            event.role,
            event.act,
            event.ground,
            event.because,
            list(event.pastes),
            list(event.doughs),
            event.alert,
        ],
    )


def named(
    wanted: Sequence[str], pastes: Sequence[str], doughs: Sequence[str]
) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """Batches a person means: by key, or as on the sheet ("K1/03": the latest of that name), or a stretch of one line or kettle
    ("L1/03..L1/09", "L1/03..": to the newest). Returns pastes and doughs.

    pastes, doughs: every key, in order of production. Raises HoldError for a name that fits nothing, or both kinds.
    """
    found: dict[Key, None] = {}
    for name in wanted:
        first, dots, last = name.partition("..")
        begins = _named(first.strip(), pastes, doughs)
        found |= dict.fromkeys(_stretch(begins, last.strip(), pastes, doughs) if dots else [begins])
    return tuple(key for kind, key in found if kind == "paste"), tuple(key for kind, key in found if kind == "dough")


def _named(name: str, pastes: Sequence[str], doughs: Sequence[str]) -> Key:
    if len(name.replace("/", " ").split()) < 2:
        raise _no("no_place", name=name) if name else _no("no_name")
    tail = "/" + "/".join(name.split("/") if "/" in name else name.split())
    fits = [[key for key in keys if key == name or key.endswith(tail)][-1:] for keys in (pastes, doughs)]
    if all(fits):
        raise _no("both", name=name)
    if not any(fits):
        raise _no("no_such_batch", name=name)
    return ("paste", fits[0][0]) if fits[0] else ("dough", fits[1][0])


def _stretch(begins: Key, last: str, pastes: Sequence[str], doughs: Sequence[str]) -> list[Key]:
    """From one batch to another of the same line or kettle, all that were made between them; "": to the newest."""
    kind, first = begins
    place = first.split("/", 2)[1]
    keys = [key for key in (pastes if kind == "paste" else doughs) if key.split("/", 2)[1] == place]
    ends = _named(last, pastes, doughs) if last else (kind, keys[-1])
    if ends[0] != kind or ends[1] not in keys or keys.index(ends[1]) < keys.index(first):
        raise _no("backwards", first=first, last=last)
    return [(kind, key) for key in keys[keys.index(first) : keys.index(ends[1]) + 1]]
