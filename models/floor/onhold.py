"""What must not be poured: pastes on hold, and flour lots that are in what somebody held, as the mixer is told before it pours.

Nothing here releases: only QA ends a hold, batch by batch.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING

from models.floor.asking import Question
from models.floor.holds import Ground, gravest_first

if TYPE_CHECKING:
    from models.floor.view import View

# doubts that may come in with the flour; the others are of the cook, the cold store and the scale
OF_FLOUR: frozenset[Ground] = frozenset({"foreign body", "allergen", "other"})


@dataclass(frozen=True)
class OnHold:
    """One paste that is held. key: paste_key; name: like K1 03; why: of its gravest hold that stands; since: naive UTC."""

    key: str
    name: str
    why: str
    since: datetime


def pastes(view: View) -> Mapping[str, OnHold]:
    """Held pastes by key, each by its gravest hold that stands."""
    found: dict[str, OnHold] = {}
    for hold in gravest_first(one for one in view.holds if one.stands):
        for batch in hold.batches:
            if batch.stands and batch.kind == "paste":
                name = " ".join(batch.key.split("/", 2)[1:])
                found.setdefault(batch.key, OnHold(batch.key, name, hold.why, batch.since))
    return found


def flour_question(lot: str, view: View) -> list[Question]:
    """What is asked of somebody who means to use a flour lot that is in what is held; nothing of every other."""
    why = flour_of(view).get(lot)
    return [Question("flour-on-hold", "flour_lot", values={"value": lot, "why": why})] if why else []


def flour_of(view: View) -> Mapping[str, str]:
    """Flour lots of batches that somebody held for what may be in the flour: why, by lot.

    A hold that an alert made knows its own cause (a swapped tub, a cooling missed), and that is never the flour.
    """
    found: dict[str, str] = {}
    for hold in view.holds:
        if hold.stands and not hold.alert and hold.ground in OF_FLOUR:
            for batch in hold.batches:
                lot = view.flour_lots.get(batch.key)
                if batch.stands and lot:
                    name = " ".join(batch.key.split("/", 2)[1:])
                    found.setdefault(lot, f"{name}, {hold.why}")
    return found
