"""What is asked of the model: how much each driver, lot and group did, from the baseline to the episode."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from models.causes.drivers import Terms
from models.causes.effects import EFFECTS
from models.causes.field import Field
from models.causes.hypotheses import Candidate
from models.causes.lots import UNRECORDED, lot_age, lots_of
from models.causes.response import Fit
from models.shapes import GROUPS, Group

KINDS_OF_EFFECT = (("flour", "unexplained"), ("days", "unexplained"), ("stints", "unexplained"))
LOT_GAS = "gas of "
OVERPROOFED: dict[Group, str] = {"paste": "paste overproofed", "yeast": "yeast overproofed"}
"""What a proof that went too far took, apart from what else of the group nobody recorded: no yeast lot did it."""


@dataclass(frozen=True)
class Questions:
    """Functionals, (t) of them: weights on the coefficients (t, p) and on the candidates' sizes (t, q).

    names: the driver, the kind of effect, the group's candidates, a proof that went too far, or "gas of LOT"; groups: "" where it is no part of
    the change (a lot's gas against the baseline's, ln).
    """

    model: np.ndarray
    candidates: np.ndarray
    names: tuple[str, ...]
    groups: tuple[str, ...]


def difference(columns: np.ndarray, field: Field) -> np.ndarray:
    """Mean over the episode less mean over the baseline, of each column of the volumes' rows."""
    return columns[field.episode].mean(axis=0) - columns[field.base].mean(axis=0)


def _slope_rows(field: Field, found: Terms, model: Fit) -> list[tuple[str, str, np.ndarray]]:
    """One functional a driver, and one for the age of yeast lots."""
    p, at, slopes = len(model.mean), model.design.coefficient, model.design.slopes
    out = []
    for k, effect in enumerate(EFFECTS):
        row, x = np.zeros(p), found.x[:, k]
        silent = np.where(found.silent, x, 0.0)
        if effect.name == "water":
            row[at[k]] = difference(x - silent, field)
            row[slopes - 3] = difference(silent, field)
            row[slopes - 2] = silent[field.episode].mean()
        elif effect.name == "water_curve":
            row[at[k]] = difference(found.dry * x, field)
        else:
            row[at[k]] = difference(x, field)
        if effect.name in model.design.now:
            j = model.design.now[effect.name]
            row[j] = difference(model.design.d[: len(field), j], field)
        out.append((effect.name, effect.group, row))
    row = np.zeros(p)
    row[slopes - 1] = difference(model.design.d[: len(field), slopes - 1], field)
    return [*out, ("ageing", "yeast", row)]


def _effect_rows(field: Field, model: Fit) -> list[tuple[str, str, np.ndarray]]:
    """Yeast lots, flour lots, days and stints; lots nobody recorded stand apart."""
    blocks, d, out = model.design.blocks, model.design.d[: len(field)], []
    lots = np.array([label.startswith(UNRECORDED) for label in blocks["lots"].labels], dtype=bool)
    for name, group, which in [("lots", "yeast", ~lots), ("unrecorded lots", "unexplained", lots)]:
        row = np.zeros(len(model.mean))
        row[blocks["lots"].columns] = np.where(which, difference(d[:, blocks["lots"].columns], field), 0.0)
        of_these = np.any(d[:, blocks["lots"].columns][:, which] != 0, axis=1)[:, None]
        row[blocks["lots answer"].columns] = difference(d[:, blocks["lots answer"].columns] * of_these, field)
        out.append((name, group, row))
    for name, group in KINDS_OF_EFFECT:
        row = np.zeros(len(model.mean))
        row[blocks[name].columns] = difference(d[:, blocks[name].columns], field)
        out.append((name, group, row))
    return out


def _gas_rows(field: Field, model: Fit, candidates: tuple[Candidate, ...]) -> list[tuple[str, np.ndarray, np.ndarray]]:
    """Gas of each yeast lot in the episode against the baseline's lots, ln, its age counted."""
    block, lots = model.design.blocks["lots"], lots_of(field)
    age, usual = lot_age(field, lots), np.zeros(len(block.labels))
    out = []
    for i, label in enumerate(block.labels):
        usual[i] = (lots[field.base] == label).mean()
    for lot in dict.fromkeys(lots[field.episode]):
        rows = field.episode & (lots == lot)
        row, extra = np.zeros(len(model.mean)), np.zeros(len(candidates))
        row[block.columns] = np.array([label == lot for label in block.labels], dtype=float) - usual
        row[model.design.slopes - 1] = age[rows].mean() - age[field.base].mean()
        for j, c in enumerate(candidates):
            if lot in c.lots:
                extra[j] = 1.0 if c.kind == "yeast lot" else age[rows].mean()
        out.append((f"{LOT_GAS}{lot}", row, extra))
    return out


def questions(field: Field, found: Terms, model: Fit, candidates: tuple[Candidate, ...]) -> Questions:
    """All functionals that a call needs."""
    parts = _slope_rows(field, found, model) + _effect_rows(field, model)
    rows, sizes = [row for _, _, row in parts], [np.zeros(len(candidates)) for _ in parts]
    names, groups = [name for name, _, _ in parts], [group for _, group, _ in parts]
    for group, far in [*((g, False) for g in GROUPS), *((g, True) for g in OVERPROOFED)]:
        moved = [
            difference(c.column[: len(field)], field)
            if c.inside and c.group == group and (c.kind == "overproof") == far
            else 0.0
            for c in candidates
        ]
        rows.append(np.zeros(len(model.mean)))
        sizes.append(np.array(moved, dtype=float))
        names.append(OVERPROOFED[group] if far else group)
        groups.append(group)
    for name, row, extra in _gas_rows(field, model, candidates):
        rows.append(row)
        sizes.append(extra)
        names.append(name)
        groups.append("")
    return Questions(np.array(rows), np.array(sizes), tuple(names), tuple(groups))
