"""A dough warm or cold, its paste never measured: what brought it, by the lines that share kettle or mixer."""

from __future__ import annotations

import numpy as np

from models.causes.drivers import ALIKE, Shift
from models.causes.field import Field
from models.plant import Plant

WARM = {"kettle": 0.25, "mixer": 0.6, "plant": 0.15}
COLD = {"kettle": 0.07, "mixer": 0.68, "plant": 0.25}
"""Chance that a warm or cold dough had it from the paste of its kettle, from its own mixer's water, or from what all lines
have (room, flour, water plant), before other lines are looked at. Common practice, no source."""
FEWEST = 3
MUCH_ALIKE, LITTLE = 0.5, 0.25
"""How far a line that has it too may differ from the traced one, and one that has not from none, as a share."""
FOR_ITSELF, WIDELY = 0.1, 2.0
"""Chance that another line does as it likes, and how widely, as a share."""
READ_TO = 0.1
"""°C that a probe reads to: readings that are all the same, copied down or written as wanted, are not known better."""
UNHEARD_OF = 1e-300
"""Density of what no reason gives: a line far off beside one that did not move."""


def _line_moved(field: Field, gap: np.ndarray, stream: int) -> tuple[float, float] | None:
    """°C that another line's doughs moved since the episode began, and the standard error."""
    first = field.at[field.episode][0]
    known = np.isfinite(gap) & (field.stream == stream)
    before, after = gap[known & (field.at < first)], gap[known & field.since()]
    if min(len(before), len(after)) < FEWEST:
        return None
    alike = (1 + ALIKE * (len(after) - 1)) / len(after) + (1 + 4 * ALIKE) / len(before)
    spread = max(float(before.std(ddof=1)), READ_TO)
    return float(after.mean() - before.mean()), spread * float(np.sqrt(alike))


def _log(x: float, mean: float, error: float, width: float, move: float) -> float:
    """Log density of another line's move, which may have reasons of its own."""

    def density(at: float, share: float) -> float:
        sd = float(np.hypot(error, share * move))
        return float(np.exp(-0.5 * ((x - at) / sd) ** 2) / sd)

    return float(np.log(max((1 - FOR_ITSELF) * density(mean, width) + FOR_ITSELF * density(0.0, WIDELY), UNHEARD_OF)))


def of_the_paste(plant: Plant, field: Field, dough: Shift, gap: np.ndarray) -> float:
    """Chance that the dough's odd temperature came with a paste nobody measured.

    dough: the traced line's move; gap: °C of every dough against its usual. The paste travels with its kettle to all of its
    lines; what a mixer's water does, its own lines have; room and flour, all of them.
    """
    chance = WARM if dough.size > 0 else COLD
    own = plant.lines.get(field.line)
    if own is None:
        return chance["kettle"]
    logs = {name: np.log(p) for name, p in chance.items()}
    for stream, (name, _) in enumerate(field.streams):
        line, moved = plant.lines.get(name), _line_moved(field, gap, stream)
        if name == field.line or line is None or moved is None:
            continue
        size, error = moved
        for of in logs:
            shared = getattr(own, of) if of != "plant" else None  # what the plant file does not name is nobody else's
            has_it = of == "plant" or (shared is not None and getattr(line, of) == shared)
            mean, width = (dough.size, MUCH_ALIKE) if has_it else (0.0, LITTLE)
            logs[of] += _log(size, mean, error, width, dough.size)
    most = max(logs.values())
    weight = {of: np.exp(log - most) for of, log in logs.items()}
    return float(weight["kettle"] / sum(weight.values()))
