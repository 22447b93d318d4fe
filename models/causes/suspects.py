"""The candidates of one episode: unrecorded steps of its lots, its line, its shared equipment, its plant."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from models.causes.field import Field, episode_keys
from models.causes.hypotheses import Candidate
from models.causes.lots import UNRECORDED, lot_age, lots_of
from models.causes.rows import Design
from models.plant import Plant
from models.shapes import Episode, Points, Stream
from models.texts import texts

LOT_SD, AGEING_SD, STEP_SD = 0.12, 0.03, 0.06
CHANCE_LOT, CHANCE_AGEING, CHANCE_FLOUR, CHANCE_ELSEWHERE = 0.05, 0.02, 0.04, 0.05
RATE_LINE, RATE_PLANT = 0.008, 0.008
"""Chance of an unrecorded fault for each batch that it may have begun at. Common practice, no source."""
HANDLING_PART, UNSEEN_PART = 0.65, 0.35
MOST_LINE, MOST_HANDLING, MOST_PLANT = 0.3, 0.2, 0.2
MOST_ELSEWHERE = 4
SHARED = ("volumeter", "oven", "mixer", "proofer", "kettle")
Other = tuple[Stream, Episode, Points]


def _in_use(values: np.ndarray, field: Field) -> list[str]:
    """Lots that at least two of the episode's batches name (one, where there is but one batch): at most four."""
    seen = values[field.episode]
    return [str(v) for v in dict.fromkeys(seen) if v and (seen == v).sum() >= min(2, len(seen))][:4]


def _starts(episode: Episode) -> int:
    """How many batches the change may have begun at: an unrecorded step could have begun at each."""
    return max(1, episode.began_high - episode.began_low + 1)


def sharing(plant: Plant, field: Field, kind: str) -> np.ndarray | None:
    """Rows of the lines that share a piece of equipment with the traced one and ran beside it; None: no other did."""
    if kind == "volumeter":
        used = set(field.text["volumeter"][field.episode]) - {""}
        rows = np.array([v in used for v in field.text["volumeter"]], dtype=bool)
    else:
        name = getattr(plant.lines[field.line], kind) if field.line in plant.lines else None
        lines = {n for n, x in plant.lines.items() if name and getattr(x, kind) == name}
        rows = np.array([v in lines for v in field.text["line"]], dtype=bool)
    return rows if len(set(field.text["line"][rows & field.since()])) > 1 else None


def _ageing(field: Field, lots: np.ndarray, used: list[str], model: Design) -> list[Candidate]:
    """A lot that grew weaker faster than yeast does, or all lots in use: the store was warm."""
    age, gain, found = lot_age(field, lots), model.gain[: len(field)], []
    for some in [*((lot,) for lot in used), *([tuple(used)] if len(used) > 1 else [])]:
        rows = np.isin(lots.astype(str), some) * age
        column = model.column(rows * gain, rows)
        found.append(Candidate("ageing", ", ".join(some), "yeast", "", column, AGEING_SD, CHANCE_AGEING, lots=some))
    return found


def _lots(field: Field, episode: Episode, model: Design) -> list[Candidate]:
    """Yeast and flour lots in use, and, for a fall, yeast lots that grew weaker (none grows stronger)."""
    lots, gain, found = lots_of(field), model.gain[: len(field)], []
    used = [lot for lot in _in_use(lots, field) if not lot.startswith(UNRECORDED)]
    for lot in used:
        rows = (lots == lot).astype(float)
        column = model.column(rows * gain, rows, lot)
        found.append(Candidate("yeast lot", lot, "yeast", "", column, LOT_SD, CHANCE_LOT, lots=(lot,)))
    if episode.direction == "low":
        found += _ageing(field, lots, used, model)
    for lot in _in_use(field.text["flour_lot"], field):
        column = model.column((field.text["flour_lot"] == lot).astype(float))
        says = texts("causes")["driver"]["flour_lot"].format(lot=lot)
        found.append(Candidate("flour lot", lot, "unexplained", says, column, STEP_SD, CHANCE_FLOUR))
    return found


def proof_unseen(field: Field) -> bool:
    """Did most of the episode's doughs go without a record of their proof?"""
    proof = np.isfinite(field.num["proof_minutes"]) & np.isfinite(field.num["proof_temp_c"])
    return bool((~proof[field.episode]).mean() > 0.5)


def _own(plant: Plant, field: Field, episode: Episode, model: Design, proof_told: bool) -> list[Candidate]:
    own, rate = field.episode.astype(float), RATE_LINE * _starts(episode)
    found = [
        Candidate(
            "line",
            field.line,
            "unexplained",
            "",
            model.column(own),
            STEP_SD,
            min(MOST_LINE, rate),
            stands_for=("oven", *(kind for kind in SHARED if kind != "oven" and sharing(plant, field, kind) is None)),
        ),
        Candidate(
            "handling",
            field.line,
            "handling",
            "",
            model.column(own),
            STEP_SD,
            min(MOST_HANDLING, HANDLING_PART * rate),
        ),
    ]
    if (mixed := sharing(plant, field, "mixer")) is not None:
        together = model.column((field.since() & mixed).astype(float))
        chance = min(MOST_HANDLING, HANDLING_PART * rate) / 2
        found.append(Candidate("handling", field.line, "handling", "", together, STEP_SD, chance))
    if proof_told and proof_unseen(field):
        shared, gain = sharing(plant, field, "proofer"), model.gain[: len(field)]
        rows = (field.since() & shared).astype(float) if shared is not None else own
        found.append(
            Candidate(
                "proof",
                field.line,
                "yeast",
                "",
                model.column(rows * gain, rows),
                LOT_SD,
                min(MOST_PLANT, UNSEEN_PART * rate),
            )
        )
    return found


def _together(plant: Plant, field: Field, episode: Episode, model: Design) -> list[Candidate]:
    """Steps of everything that runs at the same time, or shares a piece of equipment; the same rows only once."""
    since, chance = field.since(), min(MOST_PLANT, RATE_PLANT * _starts(episode))
    everyone = np.ones(len(field), dtype=bool) if len(set(field.text["line"][since])) > 1 else None
    found: list[Candidate] = []
    seen: list[np.ndarray] = []
    for kind, rows in [("plant", everyone), *((kind, sharing(plant, field, kind)) for kind in SHARED)]:
        if rows is None:
            continue
        same = [i for i, s in enumerate(seen) if (rows[since] == s[since]).all()]
        if same:
            first = found[same[0]]
            found[same[0]] = replace(first, stands_for=(*first.stands_for, kind))
            continue
        seen.append(rows)
        found.append(
            Candidate(
                kind,
                kind,
                "unexplained",
                texts("causes")["something"][kind].format(name=getattr(plant.lines.get(field.line), kind, None)),
                model.column((since & rows).astype(float)),
                STEP_SD,
                chance if kind == "plant" else chance / 2,
            )
        )
    return found


def elsewhere(field: Field, others: Sequence[Other], model: Design) -> list[Candidate]:
    """Other lines' own episodes, the latest few: nuisances, no part of this call."""
    found = []
    for stream, episode, points in others:
        keys = episode_keys(episode, points)
        rows = np.array([k in keys for k in field.text["batch_key"]], dtype=bool)
        if rows.any() and not (rows & field.episode).any():
            found.append(
                (
                    float(field.hours[rows].max()),
                    Candidate(
                        "elsewhere",
                        stream.line or "",
                        "unexplained",
                        "",
                        model.column(rows.astype(float)),
                        STEP_SD,
                        CHANCE_ELSEWHERE,
                        inside=False,
                    ),
                )
            )
    return [c for _, c in sorted(found, key=lambda x: -x[0])[:MOST_ELSEWHERE]]


def suspects(
    plant: Plant,
    field: Field,
    episode: Episode,
    others: Sequence[Other],
    model: Design,
    proof_told: bool,
) -> tuple[Candidate, ...]:
    """Everything unrecorded that may lie behind the episode, and other lines' own episodes.

    proof_told: something tells of a proof that was not recorded; without that it is no other than what else of the line
    was not recorded.
    """
    return (
        *_own(plant, field, episode, model, proof_told),
        *_lots(field, episode, model),
        *_together(plant, field, episode, model),
        *elsewhere(field, others, model),
    )


def nuisances(field: Field, others: Sequence[Other], model: Design) -> np.ndarray:
    """Steps that must not teach the model how much lots and days usually differ: rows by steps."""
    columns = [model.column(field.episode.astype(float))] + [c.column for c in elsewhere(field, others, model)]
    if len(field.streams) > 1:
        columns.append(model.column(field.since().astype(float)))
    return np.column_stack(columns)
