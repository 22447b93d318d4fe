"""The candidates of one episode: unrecorded steps of its lots, its line, its shared equipment, its plant."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from models.causes.field import Field, episode_keys
from models.causes.hypotheses import Candidate
from models.causes.response import Design, lot_age, lots_of
from models.plant import Plant
from models.shapes import Episode, Points, Stream

LOT_SD, STEP_SD = 0.12, 0.06
AGEING_SD = 0.03
CHANCE_LOT, CHANCE_AGEING, CHANCE_FLOUR = 0.06, 0.02, 0.04
UNSEEN_PART = 0.3
RATE_LINE, RATE_PLANT = 0.014, 0.012
HANDLING_PART = 0.35
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


def _sharing(plant: Plant, field: Field, kind: str) -> np.ndarray | None:
    """Rows of the lines that share a piece of equipment with the traced one; None where no other line does."""
    line = field.streams[field.own][0]
    if kind == "volumeter":
        used = set(field.text["volumeter"][field.episode]) - {""}
        rows = np.isin(field.text["volumeter"].astype(str), list(used)) if used else np.zeros(len(field), dtype=bool)
        return rows if len(set(field.text["line"][rows])) > 1 else None
    name = getattr(plant.lines[line], kind) if line in plant.lines else None
    lines = {n for n, x in plant.lines.items() if name and getattr(x, kind) == name}
    return np.isin(field.text["line"].astype(str), list(lines)) if len(lines) > 1 else None


def _lot_suspects(field: Field, model: Design) -> list[Candidate]:
    lots = lots_of(field)
    gain = model.gain[:len(field)]
    age = lot_age(field, lots)
    found = []
    for lot in _lots(field, "yeast_lot"):
        rows = (lots == lot).astype(float)
        found.append(Candidate(f"yeast lot {lot}", "yeast", f"yeast lot {lot}", model.column(rows * gain, rows, lot), LOT_SD,
                               CHANCE_LOT))
        found.append(Candidate(f"ageing {lot}", "yeast", f"yeast lot {lot} ageing", model.column(rows * gain * age, rows * age),
                               AGEING_SD, CHANCE_AGEING))
    for lot in _lots(field, "flour_lot"):
        rows = (field.text["flour_lot"] == lot).astype(float)
        found.append(Candidate(f"flour lot {lot}", "unexplained", f"flour lot {lot}", model.column(rows), STEP_SD, CHANCE_FLOUR))
    return found


def _line_suspects(plant: Plant, field: Field, episode: Episode, model: Design) -> list[Candidate]:
    own = field.episode.astype(float)
    rate = RATE_LINE * _starts(episode)
    found = [Candidate("line", "unexplained", "something on this line that nobody recorded", model.column(own), STEP_SD,
                       min(0.3, rate)),
             Candidate("handling", "handling", "gas kept", model.column(own), STEP_SD, min(0.2, HANDLING_PART * rate))]
    missing = ~np.isfinite(field.num["proof_minutes"][field.episode]) | ~np.isfinite(field.num["proof_temp_c"][field.episode])
    if missing.mean() > 0.5:
        sharing = _sharing(plant, field, "proofer")
        rows = (_since(field) & sharing).astype(float) if sharing is not None else own
        gain = model.gain[:len(field)]
        found.append(Candidate("proof", "yeast", "the proof, not recorded", model.column(rows * gain, rows), LOT_SD,
                               min(0.2, UNSEEN_PART * rate)))
    return found


def _shared_suspects(plant: Plant, field: Field, episode: Episode, model: Design) -> list[Candidate]:
    since, seen = _since(field), []
    chance = min(0.2, RATE_PLANT * _starts(episode))
    found = []
    everyone = np.ones(len(field), dtype=bool) if len({s for s, _ in field.streams}) > 1 else None
    for kind, says in (("plant", "something on all lines"), ("volumeter", "something of the shared volumeter"),
                       ("oven", "something of the shared oven"), ("mixer", "something of the shared mixer"),
                       ("proofer", "something of the shared proofer"), ("kettle", "something of the shared kettle")):
        sharing = everyone if kind == "plant" else _sharing(plant, field, kind)
        if sharing is None or any((sharing == s).all() for s in seen):
            continue
        seen.append(sharing)
        found.append(Candidate(kind, "unexplained", says, model.column((since & sharing).astype(float)), STEP_SD,
                               chance if kind == "plant" else chance / 2))
    return found


def suspects(plant: Plant, field: Field, episode: Episode, elsewhere: Sequence[Candidate], model: Design) -> tuple[Candidate, ...]:
    """Everything unrecorded that may lie behind the episode; `elsewhere`: other lines' own episodes, nuisances."""
    return tuple(_line_suspects(plant, field, episode, model) + _lot_suspects(field, model)
                 + _shared_suspects(plant, field, episode, model) + list(elsewhere))


def elsewhere(field: Field, others: Sequence[Other], model: Design) -> tuple[Candidate, ...]:
    """Other lines' own episodes: at most four, the latest."""
    found = []
    for stream, episode, points in others:
        keys = set(episode_keys(episode, points))
        rows = np.array([k in keys for k in field.text["batch_key"]], dtype=bool)
        if rows.any() and not (rows & field.episode).any():
            found.append((field.hours[rows].max(), Candidate(
                f"other {stream.line}", "unexplained", f"line {stream.line} on its own", model.column(rows.astype(float)), STEP_SD,
                0.05, inside=False)))
    return tuple(c for _, c in sorted(found, key=lambda x: -x[0])[:4])


def nuisances(field: Field, others: Sequence[Other], model: Design) -> np.ndarray:
    """Steps that must not teach the model how much lots and days usually differ: rows by steps."""
    columns = [model.column(field.episode.astype(float))] + [c.column for c in elsewhere(field, others, model)]
    if len({s for s, _ in field.streams}) > 1:
        columns.append(model.column(_since(field).astype(float)))
    return np.column_stack(columns)
