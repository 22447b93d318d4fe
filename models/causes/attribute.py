"""One episode of specific volume, traced: four contributions that add up, and the words that go with them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from models.causes import words
from models.causes.drivers import Shift, Terms, height_lines, shifts, terms
from models.causes.effects import BY_NAME, EFFECTS
from models.causes.field import Field, read
from models.causes.hypotheses import Weighed, bounds, weigh
from models.causes.positive import positive_evidence
from models.causes.response import Fit, design, fit
from models.causes.suspects import Other, elsewhere, nuisances, suspects
from models.plant import Plant
from models.shapes import GROUPS, Baseline, Cause, Episode, Points, Stream

if TYPE_CHECKING:
    from pandas import DataFrame


@dataclass(frozen=True)
class Evidence:
    """Everything a call was made from: arrays, model, weighed candidates, drivers' moves."""

    field: Field
    terms: Terms
    fit: Fit
    weighed: Weighed
    shifts: dict[str, Shift]
    term_groups: tuple[str, ...]
    term_names: tuple[str, ...]


@dataclass(frozen=True)
class Call:
    """The four groups' contributions, which add up to the change, and what to do with them."""

    causes: tuple[Cause, ...]
    headline: str
    joint: tuple[str, ...]
    next_measurement: tuple[str, ...]
    refuted_by: tuple[str, ...]
    check_first: tuple[str, ...]
    began_then: tuple[str, ...]


def _difference(columns: np.ndarray, field: Field) -> np.ndarray:
    """Mean over the episode less mean over the baseline, of each column."""
    before = columns[field.base].mean(axis=0) if field.base.any() else 0.0
    return columns[field.episode].mean(axis=0) - before


def _ask(field: Field, found: Terms, model: Fit) -> tuple[np.ndarray, tuple[str, ...], tuple[str, ...]]:
    """Functionals of the coefficients, one a driver and one a kind of lot or day: names and groups beside."""
    p, at = len(model.mean), model.design.coefficient
    silent, n = model.design.blocks["slopes"].columns.stop - 3, len(field)
    rows, names, groups = [], [], []
    for k, effect in enumerate(EFFECTS):
        row = np.zeros(p)
        x = found.x[:, [k]]
        if effect.name == "water":
            row[at[k]] = _difference(np.where(found.silent[:, None], 0.0, x), field)[0]
            row[silent] = _difference(np.where(found.silent[:, None], x, 0.0), field)[0]
            row[silent + 1] = (found.silent[field.episode] * x[field.episode, 0]).mean()
        elif effect.name == "water_curve":
            row[at[k]] = _difference(np.where(found.silent[:, None], 0.5, 1.0) * x, field)[0]
        else:
            row[at[k]] = _difference(x, field)[0]
        rows.append(row)
        names.append(effect.name)
        groups.append(effect.group)
    row = np.zeros(p)
    row[silent + 2] = _difference(model.design.d[:n, [silent + 2]], field)[0]
    rows.append(row)
    names.append("ageing")
    groups.append("yeast")
    for name, group in (("lots", "yeast"), ("flour", "unexplained"), ("days", "unexplained"), ("stints", "unexplained")):
        row = np.zeros(p)
        columns = model.design.blocks[name].columns
        row[columns] = _difference(model.design.d[:n, columns], field)
        rows.append(row)
        names.append(name)
        groups.append(group)
    return np.array(rows), tuple(names), tuple(groups)


def _ask_candidates(field: Field, candidates, names: tuple[str, ...]) -> np.ndarray:
    """One functional a group for what the candidates themselves did, below the model's own."""
    out = np.zeros((len(names) + len(GROUPS), len(candidates)))
    for i, candidate in enumerate(candidates):
        if candidate.inside:
            out[len(names) + GROUPS.index(candidate.group), i] = _difference(candidate.column[:len(field), None], field)[0]
    return out


def evidence(plant: Plant, batches: DataFrame, stream: Stream, baseline: Baseline, episode: Episode, points: Points,
             changes: DataFrame | None, others: Sequence[Other]) -> Evidence:
    """Fit the response model and weigh the candidates for one episode."""
    field = read(plant, batches, stream, baseline, episode, points)
    found = terms(plant, field)
    rows = design(field, found, height_lines(plant, field))
    model = fit(rows, nuisances(field, others, rows))
    candidates = suspects(plant, field, episode, elsewhere(field, others, model.design), model.design)
    ask, names, groups = _ask(field, found, model)
    ask = np.vstack([ask, np.zeros((len(GROUPS), ask.shape[1]))])
    moves = shifts(field, found)
    extra = positive_evidence(plant, field, episode, changes, candidates, moves)
    weighed = weigh(model, candidates, ask, _ask_candidates(field, candidates, names), extra)
    return Evidence(field, found, model, weighed, moves, groups + GROUPS, names + GROUPS)


def _contributions(known: Evidence) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    """Per group: mean and bounds on ln specific volume; per term: mean."""
    gather = np.array([[g == group for g in known.term_groups] for group in GROUPS], dtype=float)
    w = known.weighed
    mean = w.mean @ gather.T
    var = WIDER**2 * np.einsum("gt,stu,gu->sg", gather, w.cov, gather) + _beyond(known, gather)
    weight, mean_w, var_w = _unseen_paste(known, w.weight, mean, var)
    limits = np.array([bounds(weight, mean_w[:, g], np.sqrt(var_w[:, g])) for g in range(len(GROUPS))])
    return w.weight @ mean, limits[:, 0], limits[:, 1], w.weight @ w.mean


def _unseen_paste(known: Evidence, weight: np.ndarray, mean: np.ndarray, var: np.ndarray) -> tuple[np.ndarray, ...]:
    """Where the paste's temperature was not recorded, a warm dough may have been warmed by it: both are kept open."""
    warm = known.shifts["dough_temp"]
    if np.isfinite(known.shifts["paste_temp"].z) or not warm.outside:
        return weight, mean, var
    chance = BY_PASTE_WARM if warm.after > warm.before else BY_PASTE_COLD
    moved = mean.copy()
    part = known.weighed.mean[:, known.term_names.index("dough_temp")]
    moved[:, GROUPS.index("paste")] += part
    moved[:, GROUPS.index("yeast")] -= part
    return np.concatenate([weight * (1 - chance), weight * chance]), np.vstack([mean, moved]), np.vstack([var, var])


WIDER, SLOPE_ELSEWHERE = 1.2, 0.22
BY_PASTE_WARM, BY_PASTE_COLD = 0.25, 0.07
NATURAL = {"paste": 0.003, "yeast": 0.004, "handling": 0.004, "unexplained": 0.004}
NATURAL_BATCH = {"paste": 0.004, "yeast": 0.004, "handling": 0.010, "unexplained": 0.004}


def _beyond(known: Evidence, gather: np.ndarray) -> np.ndarray:
    """Variance beyond the model's: slopes that differ by line and curve, and what no column follows."""
    w, n = known.weighed, max(int(known.field.episode.sum()), 1)
    by_term = (w.weight @ w.mean) ** 2 * np.array([name in BY_NAME for name in known.term_names])
    natural = np.array([NATURAL[g] ** 2 + NATURAL_BATCH[g] ** 2 / n for g in GROUPS])
    return SLOPE_ELSEWHERE**2 * gather @ by_term + natural


def shares(contributions: np.ndarray, change: float) -> np.ndarray:
    """Share of each group: none against the change, all four adding up to 1."""
    along = np.maximum(contributions * np.sign(change), 0.0)
    total = along.sum()
    if total <= 0:
        along, total = np.array([0.0, 0.0, 0.0, 1.0]), 1.0
    out = along / total
    out[-1] = 1.0 - out[:-1].sum()
    return out


def attribute(plant: Plant, batches: DataFrame, pastes: DataFrame, stream: Stream, baseline: Baseline, episode: Episode,
              points: Points, *, changes: DataFrame | None = None, checks: DataFrame | None = None,
              others: Sequence[Other] = ()) -> Call:
    """Trace one episode of specific volume.

    batches, pastes: the wide rows of all lines from the baseline to the newest batch; episode: indices into
    `points`; changes, checks: accepted rows of those logs, times naive UTC; others: episodes of other lines.
    Contributions are in the stream's unit and add up to `episode.change`.
    """
    change = float(episode.change)
    known = evidence(plant, batches, stream, baseline, episode, points, changes, others)
    mean, low, high, by_term = _contributions(known)
    log_change = float(np.log1p(max(change / baseline.level, -0.95)))
    unit = baseline.level if abs(log_change) < 1e-9 else change / log_change
    parts = mean * unit
    parts[-1] = change - parts[:-1].sum()
    low, high = np.minimum(low * unit, parts), np.maximum(high * unit, parts)
    portion = shares(parts, change)
    story = words.Story(plant, stream, known, episode, points, change, unit, dict(zip(GROUPS, parts, strict=True)),
                        dict(zip(known.term_names, by_term * unit, strict=True)), changes, checks, others, baseline)
    causes = tuple(
        Cause(group, float(parts[i]), float(low[i]), float(high[i]), float(portion[i]), words.driver(story, group),
              words.evidence(story, group), words.not_checked(story, group))
        for i, group in enumerate(GROUPS))
    return Call(causes, words.headline(story), words.joint(story), words.next_measurement(story),
                words.refuted_by(story), words.check_first(story), words.began_then(story))
