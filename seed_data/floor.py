"""The rest of the shift's paper: pieces made, and changes that somebody made."""

from __future__ import annotations

from datetime import date, datetime, timedelta

from seed_data.chance import Chance
from seed_data.doughs import DoughMade
from seed_data.faults import MOULDER
from seed_data.lots import Flour, Yeast
from seed_data.plan import instant, plant
from seed_data.sheets import Row


def outputs(seed: int, doughs: list[DoughMade]) -> list[Row]:
    """One row a line, product and shift."""
    made: dict[tuple, float] = {}
    for dough in doughs:
        key = (dough.slot.line, dough.slot.product, dough.slot.day, dough.slot.shift)
        pieces = 1000.0 * dough.weight_kg / (plant().products[dough.slot.product].scaled_g * dough.piece)
        made[key] = made.get(key, 0.0) + pieces
    return [_output(Chance(seed, "output", *key), key, pieces) for key, pieces in made.items()]


def _output(chance: Chance, key: tuple, pieces: float) -> Row:
    line, product, day, shift = key
    return {
        "line": line,
        "product": product,
        "shift_date": day,
        "shift": shift,
        "pieces_made": int(pieces),
        "pieces_wasted": round(pieces * chance.uniform(0.004, 0.012)),
        "stopped_minutes": round(chance.uniform(8, 35)) if chance.happens(0.3) else 0,
    }


_CHANGES = (
    (date(2026, 10, 7), "10:30", "line", "L4", "new set of tins"),
    (date(2026, 10, 13), "05:20", "line", "L3", "lid rail greased"),
    (date(2026, 10, 16), "09:15", "instrument", "V1", "seed sieved and topped up"),
    (date(2026, 10, 20), "14:10", "plant", "P2", "humidity nozzle cleaned"),
)

_MOULDER = (
    (MOULDER.since, "moulder taken apart and cleaned, pressure board set by eye"),
    (MOULDER.until, "moulder: pressure board set back to the mark"),
)


def changes(yeasts: list[Yeast], flours: list[Flour]) -> list[Row]:
    """Every change that was written down; the cold oven was not."""
    found = [_change(instant(day, clock), scope, name, what, "M") for day, clock, scope, name, what in _CHANGES]
    found += [_change(at, "line", "L2", what, "M") for at, what in _MOULDER]
    found += [_change(_to_minute(lot.opened), "lot", lot.lot, "yeast lot opened", "B") for lot in yeasts]
    found += [_change(lot.delivered, "lot", lot.lot, "flour lot into the silo", "B") for lot in flours]
    return sorted(found, key=lambda row: (row["changed_at"], row["name"]))


def _change(at: datetime, scope: str, name: str, what: str, who: str) -> Row:
    return {"changed_at": at, "scope": scope, "name": name, "what": what, "operator": who}


def _to_minute(at: datetime) -> datetime:
    return at - timedelta(seconds=at.second, microseconds=at.microsecond)
