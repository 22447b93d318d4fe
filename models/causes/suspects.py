"""The candidates of one episode: unrecorded steps of its lots, its line, its shared equipment, its plant."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from models.causes.field import Field, episode_keys
from models.causes.hypotheses import Candidate
from models.plant import Plant
from models.shapes import Episode, Points, Stream

LOT_SD, STEP_SD = 0.12, 0.06
CHANCE_LOT, CHANCE_FLOUR = 0.06, 0.04
RATE_LINE, RATE_PLANT = 0.006, 0.002
HANDLING_PART = 0.3
Other = tuple[Stream, Episode, Points]


def _lots(field: Field, name: str, least: int = 2) -> list[str]:
    values = field.text[name][field.episode]
    return [str(v) for v in dict.fromkeys(values) if v and (values == v).sum() >= min(least, len(values))][:4]


def _starts(episode: Episode) -> int:
    """How many batches the change may have begun at: an unrecorded step could have begun at each."""
    return max(1, episode.began_high - episode.began_low + 1)


def _since(field: Field) -> np.ndarray:
    rows = np.flatnonzero(field.episode)
    return (field.at >= field.at[rows[0]]) & (field.at <= field.at[rows[-1]])


def _shared(plant: Plant, field: Field, kind: str) -> np.ndarray | None:
    """Rows of lines that share a piece of equipment with the traced one; None where no other line does."""
    line = field.streams[field.own][0]
    name = getattr(plant.lines[line], kind) if line in plant.lines else None
    lines = {n for n, x in plant.lines.items() if name and getattr(x, kind) == name}
    if len(lines) < 2:
        return None
    return np.isin(field.text["line"].astype(str), list(lines))


def suspects(plant: Plant, field: Field, episode: Episode, others: Sequence[Other],
             elasticity: np.ndarray) -> tuple[Candidate, ...]:
    """Everything unrecorded that may lie behind the episode, and other lines' own episodes as nuisances."""
    own = field.episode.astype(float)
    found = [Candidate("line", "unexplained", "something on this line that nobody recorded", own, STEP_SD,
                       min(0.3, RATE_LINE * _starts(episode))),
             Candidate("handling", "handling", "gas kept", own, STEP_SD,
                       min(0.2, HANDLING_PART * RATE_LINE * _starts(episode)))]
    for lot in _lots(field, "yeast_lot"):
        rows = (field.text["yeast_lot"] == lot).astype(float)
        found.append(Candidate(f"yeast lot {lot}", "yeast", f"yeast lot {lot}", rows * elasticity, LOT_SD, CHANCE_LOT))
    for lot in _lots(field, "flour_lot"):
        rows = (field.text["flour_lot"] == lot).astype(float)
        found.append(Candidate(f"flour lot {lot}", "unexplained", f"flour lot {lot}", rows, STEP_SD, CHANCE_FLOUR))
    since = _since(field)
    if len({s for s, _ in field.streams}) > 1:
        found.append(Candidate("plant", "unexplained", "something on all lines", since.astype(float), STEP_SD,
                               min(0.1, RATE_PLANT * _starts(episode))))
    oven = _shared(plant, field, "oven")
    if oven is not None and not oven.all():
        found.append(Candidate("oven", "unexplained", "something of the shared oven", (since & oven).astype(float),
                               STEP_SD, min(0.1, RATE_PLANT * _starts(episode))))
    return tuple(found + _elsewhere(field, others)[:4])


def _elsewhere(field: Field, others: Sequence[Other]) -> list[Candidate]:
    found = []
    for stream, episode, points in others:
        keys = set(episode_keys(episode, points))
        rows = np.array([k in keys for k in field.text["batch_key"]], dtype=bool)
        if rows.any() and not (rows & field.episode).any():
            found.append(Candidate(f"other {stream.line}", "unexplained", f"line {stream.line} on its own",
                                   rows.astype(float), STEP_SD, 0.05, inside=False))
    return found
