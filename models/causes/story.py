"""What a call may name: drivers outside their own limits that fit, lots that are weak, what is likely though unseen."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from models.causes.borne import LIKELY, SURE, surely_off
from models.causes.doubt import SLOPE_ELSEWHERE, STRETCH, WIDER
from models.causes.drivers import Shift
from models.causes.effects import EFFECTS, Effect
from models.causes.field import Field
from models.causes.hypotheses import Candidate
from models.causes.positive import CHECK_OFF
from models.causes.suspects import Other
from models.plant import Plant
from models.shapes import GROUPS, Episode, Points, Stream
from models.texts import texts

if TYPE_CHECKING:
    from models.causes.attribute import Evidence, Parts

NAMED_FROM = 0.2
"""Share of the change from which a driver is named."""
STILL_IN_USE_H = 24.0


@dataclass(frozen=True)
class Story:
    """All that the words are made from. parts: the groups' contributions, in the stream's unit, as GROUPS."""

    plant: Plant
    stream: Stream
    known: Evidence
    found: Parts
    parts: np.ndarray
    change: float
    unit: float
    episode: Episode
    points: Points
    others: tuple[Other, ...]
    pastes: Any

    @property
    def field(self) -> Field:
        """The measured batches."""
        return self.known.field

    @property
    def sign(self) -> float:
        """-1 for a fall, 1 for a gain."""
        return float(np.sign(self.change)) or 1.0

    @property
    def leading(self) -> str:
        """The group that accounts for most."""
        return GROUPS[int(np.argmax(self.parts * self.sign))]

    def part(self, group: str) -> float:
        """A group's contribution, in the stream's unit."""
        return float(self.parts[GROUPS.index(group)])


@dataclass(frozen=True)
class Driver:
    """One driver that moved: its contribution and 90 % half-width in the stream's unit."""

    effect: Effect
    shift: Shift
    part: float
    half: float

    @property
    def words(self) -> str:
        """The move in the floor's words."""
        return self.effect.moved(self.shift.size)


def moved(story: Story, group: str) -> list[Driver]:
    """Recorded drivers of a group outside their own limits, the largest contribution first."""
    found = []
    for effect in EFFECTS:
        shift = story.known.shifts.get(effect.name)
        if effect.group == group and shift is not None and shift.outside:
            names = [effect.name, "water_curve"] if effect.name == "water" else [effect.name]
            part = sum(story.found.terms[n] for n in names) * story.unit
            own = WIDER**2 * sum(story.found.term_sds[n] ** 2 for n in names) * story.unit**2
            half = STRETCH * SURE * float(np.sqrt(own + (SLOPE_ELSEWHERE * part) ** 2))
            found.append(Driver(effect, shift, part, half))
    return sorted(found, key=lambda d: -abs(d.part))


def named(story: Story, group: str) -> list[Driver]:
    """Of these the ones that may be called a cause: the right sign and a fair part of the change."""
    enough = NAMED_FROM * abs(story.change) if group != "unexplained" else -np.inf
    return [d for d in moved(story, group) if group == "unexplained" or d.part * story.sign >= enough]


def against(story: Story, group: str) -> list[Driver]:
    """Drivers outside their limits that worked against the change (a compensation is one of them)."""
    return [
        d
        for d in moved(story, group)
        if group != "unexplained" and -d.part * story.sign >= NAMED_FROM / 2 * abs(story.change)
    ]


def likely(story: Story, *kinds: str) -> list[tuple[float, Candidate]]:
    """What of these kinds more likely than not happened unrecorded."""
    return [(p, c) for p, c in story.known.weighed.present if p >= LIKELY and c.kind in kinds]


def probability(story: Story, *kinds: str) -> float:
    """Largest probability of the candidates of these kinds; 0 where there are none."""
    return max((p for p, c in story.known.weighed.present if c.kind in kinds), default=0.0)


def odd_lots(story: Story) -> list[tuple[str, float, float]]:
    """Yeast lots of the episode whose gas is surely off, that way: lot, ln gas against the baseline, its sd."""
    lots = sum(story.found.terms[n] for n in ("lots", "ageing", "yeast")) * story.unit
    if lots * story.sign < NAMED_FROM * abs(story.change):
        return []
    return sorted(surely_off(story.found, story.sign), key=lambda x: -abs(x[1]))


def batch_ids(story: Story, rows: np.ndarray) -> str:
    """Batches, first and last, by their names everywhere. rows: of the field, at least one."""
    keys = story.field.text["batch_key"][rows]
    return str(keys[0]) if len(keys) == 1 else texts("causes")["batches"].format(first=keys[0], last=keys[-1])


def moved_back(story: Story) -> bool:
    """Is the change over, so that no batch still to be made can tell of it?"""
    return story.episode.over


def in_use(story: Story, lot: str) -> bool:
    """Does any line still use this yeast lot, by the newest day's doughs?"""
    newest = story.field.hours >= story.field.hours[-1] - STILL_IN_USE_H
    return lot in set(story.field.text["yeast_lot"][newest])


def tested(story: Story, lot: str) -> bool:
    """Has the laboratory tested this yeast lot, alone or in a dough?"""
    field = story.field
    known = (field.num["gas_produced_ml"] > 0) | (field.num["lot_gas_ml"] > 0)
    return bool(known[field.text["yeast_lot"] == lot].any())


def checked_right(story: Story) -> set[str]:
    """Volumeters whose check since the change began found them as they were."""
    known = [c for c in story.known.signs.volumeters if np.isfinite(c.after)]
    return {c.instrument for c in known if abs(c.moved) <= CHECK_OFF}


def local(plant: Plant, at: np.datetime64) -> str:
    """A UTC time by the plant's clock."""
    from datetime import UTC

    return at.astype("datetime64[s]").item().replace(tzinfo=UTC).astimezone(plant.zone).strftime("%Y-%m-%d %H:%M")
