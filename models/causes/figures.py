"""The numbers behind a call, to be worked out again by whoever doubts it: what a part is the sum of, and each level."""

from __future__ import annotations

import numpy as np

from models.causes.drivers import Shift
from models.causes.effects import BY_NAME
from models.causes.story import Story
from models.shapes import GROUPS
from models.texts import texts


def made_of(story: Story, group: str) -> dict[str, float]:
    """What a group's contribution is the sum of, in the stream's unit.

    Recorded drivers by their quantity, lots, days and steps; what is as likely another group's, given or taken; and the
    group's part of what chance did to the episode's mean.
    """
    asked, said, unit = story.known.questions, texts("causes")["made_of"], story.unit
    parts: dict[str, float] = {}
    for name, of in zip(asked.names, asked.groups, strict=True):
        if of == group:
            effect = BY_NAME.get("water" if name == "water_curve" else name)
            label = str(effect.quantity if effect else said["steps"] if name in GROUPS else said[name])
            parts[label] = parts.get(label, 0.0) + story.found.terms[name] * unit
    centre = float(story.found.mean[GROUPS.index(group)]) * unit
    parts[str(said["shared_out"])] = centre - sum(parts.values())
    parts[str(said["chance"])] = story.part(group) - centre
    return {label: part for label, part in sorted(parts.items()) if part}


def levels(story: Story, group: str) -> dict[str, dict[str, float | str | bool]]:
    """Every recorded driver of a group as its own limits judge it, by its quantity."""
    moves = story.known.shifts.values()
    known = [move for move in moves if move.effect.group == group and np.isfinite(move.z)]
    return {str(move.effect.quantity): _level(story, move) for move in sorted(known, key=lambda m: m.effect.quantity)}


def _level(story: Story, move: Shift) -> dict[str, float | str | bool]:
    found: dict[str, float | str | bool] = {
        "unit": move.effect.unit,
        "before": move.before,
        "after": move.after,
        "sd_before": move.sd,
        "n_before": move.n_before,
        "n_after": move.n_after,
        "standard_errors": move.z,
        "outside": move.outside,
    }
    usual = story.field.usual[move.effect.column][story.field.episode]
    if move.effect.of_usual and np.isfinite(usual).any():
        found["against_usual"] = float(usual[np.isfinite(usual)][0])
    return dict(sorted(found.items()))
