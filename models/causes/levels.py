"""A driver's level before and in the episode, in the unit it was written down in: a reader can look it up on the sheet."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from models.batchbook import BATCHES
from models.causes.effects import PLACE
from models.causes.story import Driver, Story

UNITS = {column.name: column.unit for column in BATCHES}
FINE = 0.05
"""A spread below this is not seen with one decimal."""
BROUGHT_C = 0.05


@dataclass(frozen=True)
class Level:
    """Mean before and in the episode and the spread before, as written down, each to `places` decimals."""

    quantity: str
    before: float
    after: float
    sd: float
    places: int
    unit: str


def level_of(story: Story, d: Driver) -> Level:
    """What is judged against the usual, with the usual put back; what is judged against a limit, as it is judged."""
    effect, shift = d.effect, d.shift
    usual = _usual(story, d)
    if not (effect.of_usual and np.isfinite(usual)):
        return Level(effect.quantity, shift.before, shift.after, shift.sd, 1, effect.unit)
    if effect.relative:
        before, after = (usual * (1 + x / 100) for x in (shift.before, shift.after))
        sd = usual * shift.sd / 100
    else:
        before, after, sd = usual + shift.before, usual + shift.after, shift.sd
    unit = UNITS[effect.column]
    return Level(_quantity(story, d), before, after, sd, 2 if sd < FINE else 1, unit)


def _usual(story: Story, d: Driver) -> float:
    known = story.field.usual[d.effect.column][story.field.episode]
    known = known[np.isfinite(known)]
    return float(known[0]) if len(known) else float("nan")


def _quantity(story: Story, d: Driver) -> str:
    """A dough's temperature is judged without what an odd paste brought, and says so."""
    brought = story.known.terms.x[story.field.episode, PLACE["paste_temp"]]
    less = d.effect.name == "dough_temp" and abs(float(brought.mean())) > BROUGHT_C
    return d.effect.quantity_less if less else d.effect.quantity
