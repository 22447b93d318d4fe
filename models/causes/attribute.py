"""One episode of specific volume, traced: four contributions that add up, and the words that go with them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from models.causes import figures, overproof, words
from models.causes.asking import OVERPROOFED, Questions, questions
from models.causes.borne import not_surer_than_seen
from models.causes.doubt import SLOPE_ELSEWHERE, STRETCH, WIDER
from models.causes.drivers import Shift, Terms, shifts, terms, told_by_level
from models.causes.effects import BY_NAME, PLACE
from models.causes.field import Field, read
from models.causes.hypotheses import Weighed, bounds, weigh
from models.causes.positive import Signs, height_apart, read_signs, tells_of_proof, weight_of
from models.causes.response import Fit, fit
from models.causes.rows import design
from models.causes.story import Story
from models.causes.suspects import Other, nuisances, proof_unseen, suspects
from models.causes.warmth import of_the_paste
from models.plant import Plant
from models.shapes import GROUPS, Baseline, Call, Cause, Episode, Points, Stream
from models.texts import texts

if TYPE_CHECKING:
    from pandas import DataFrame

NATURAL = {"paste": 0.003, "yeast": 0.004, "handling": 0.004, "unexplained": 0.004}
NATURAL_BATCH = {"paste": 0.004, "yeast": 0.004, "handling": 0.010, "unexplained": 0.004}
"""What no column follows: sd of the mean and of one batch, ln. Common practice, no source."""
BY_LOT, BY_PROOF = 0.35, 0.25
BY_LINE_TESTED, BY_LINE_UNTESTED, BY_LINE_ALONE = 0.04, 0.08, 0.15
"""Chance that what changed by day was the yeast lot; that a step where nobody recorded the proof was the proof's; that what
a lot seems to do is the line's: where the lot was tested, where it was not, and where no other line used it besides."""


@dataclass(frozen=True)
class Evidence:
    """Everything a call was made from: arrays, model, weighed candidates, drivers' moves, other signs.

    of_the_paste: chance that an odd dough temperature is that of a paste nobody measured.
    """

    field: Field
    terms: Terms
    fit: Fit
    questions: Questions
    weighed: Weighed
    shifts: dict[str, Shift]
    signs: Signs
    of_the_paste: float


@dataclass(frozen=True)
class Parts:
    """Contributions of the four groups, in the order of GROUPS: mean, bounds; terms: mean of each functional.

    cov: (4, 4). All in ln specific volume.
    """

    mean: np.ndarray
    low: np.ndarray
    high: np.ndarray
    cov: np.ndarray
    terms: dict[str, float]
    term_sds: dict[str, float]


def weigh_evidence(
    plant: Plant,
    field: Field,
    episode: Episode,
    points: Points,
    changes: Any,
    checks: Any,
    others: Sequence[Other],
    change: float,
) -> Evidence:
    """Fit the response model and weigh the candidates for one episode. change: ln specific volume."""
    found = terms(plant, field)
    moves = shifts(field, found)
    signs = read_signs(plant, field, found.missing, episode, points, changes, checks)
    outside = tuple(name for name, move in moves.items() if move.outside)
    rows = design(field, found, outside, height_apart(moves, signs.kept))
    model = fit(rows, nuisances(field, others, rows))
    by_paste = of_the_paste(plant, field, moves["dough_temp"], found.shown[:, PLACE["dough_temp"]])
    candidates = (
        *suspects(plant, field, episode, others, model.design, tells_of_proof(field, signs)),
        *overproof.suspect(field, found, episode, model.design, by_paste),
    )
    asked = questions(field, found, model, candidates)
    extra = weight_of(candidates, signs, change, told_by_level(field, found, moves))
    weighed = weigh(model, candidates, asked.model, asked.candidates, extra)
    return Evidence(field, found, model, asked, weighed, moves, signs, by_paste)


def _beyond(known: Evidence, gather: np.ndarray) -> np.ndarray:
    """Variance beyond the model's: slopes that differ by line and curve, and what no column follows."""
    n = int(known.field.episode.sum())
    recorded = np.array([name in BY_NAME for name in known.questions.names])
    by_term = (known.weighed.weight @ known.weighed.mean) ** 2 * recorded
    natural = np.array([NATURAL[g] ** 2 + NATURAL_BATCH[g] ** 2 / n for g in GROUPS])
    return SLOPE_ELSEWHERE**2 * gather @ by_term + natural


def _lot_may_be_the_line(field: Field) -> float:
    """Chance that what is laid to the episode's yeast lots is the line's own."""
    lots = set(field.text["yeast_lot"][field.episode]) - {""}
    if not lots:
        return 0.0
    rows = np.array([lot in lots for lot in field.text["yeast_lot"]], dtype=bool)
    if (np.isfinite(field.num["gas_produced_ml"]) | np.isfinite(field.num["lot_gas_ml"]))[rows].any():
        return BY_LINE_TESTED
    return BY_LINE_ALONE if len(set(field.text["line"][rows])) < 2 else BY_LINE_UNTESTED


Open = tuple[tuple[str, ...], str, str, float]
"""Part of a change whose group is not sure for want of a record: functionals, from, to, chance."""


def _shared_out(known: Evidence) -> list[Open]:
    """Parts that are as likely another group's as their chance says: it has that much of them, and the bounds reach there."""
    out: list[Open] = []
    if known.shifts["dough_temp"].outside and not np.isfinite(known.shifts["paste_temp"].z):
        out.append((("dough_temp", OVERPROOFED["yeast"]), "yeast", "paste", known.of_the_paste))
        out.append(((OVERPROOFED["paste"],), "paste", "yeast", 1 - known.of_the_paste))
    if "" in set(known.field.text["yeast_lot"][known.field.episode]):
        out.append((("unrecorded lots",), "unexplained", "yeast", BY_LOT))
    if by_line := _lot_may_be_the_line(known.field):
        out.append((("lots", "yeast"), "yeast", "unexplained", by_line))
    return out


def _doubted(known: Evidence) -> list[Open]:
    """Parts that stay where they are, with bounds that reach to the other answer: a proof nobody recorded is unexplained."""
    if proof_unseen(known.field) and not any(c.kind == "proof" for c in known.weighed.candidates):
        return [(("unexplained",), "unexplained", "yeast", BY_PROOF)]
    return []


def _kept_open(
    known: Evidence, questions: list[Open], weight: np.ndarray, mean: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """The mixture with the open questions' other answers beside it."""
    for names, source, target, chance in questions:
        own = sum(known.weighed.mean[:, known.questions.names.index(name)] for name in names)
        part = np.tile(own, len(mean) // len(known.weighed.mean))
        moved = mean.copy()
        moved[:, GROUPS.index(target)] += part
        moved[:, GROUPS.index(source)] -= part
        weight, mean = np.concatenate([weight * (1 - chance), weight * chance]), np.vstack([mean, moved])
    return weight, mean


def parts_of(known: Evidence) -> Parts:
    """Contributions of the four groups, their bounds, and what each driver did."""
    gather = np.array([[g == group for g in known.questions.groups] for group in GROUPS], dtype=float)
    w = known.weighed
    mean = w.mean @ gather.T
    cov = np.einsum("gt,stu,hu->sgh", gather, w.cov, gather)
    var = WIDER**2 * cov[:, range(4), range(4)] + _beyond(known, gather)
    shared, answers = _kept_open(known, _shared_out(known), w.weight, mean)
    weight, every = _kept_open(known, _doubted(known), shared, answers)
    sd = np.sqrt(np.tile(var, (len(every) // len(mean), 1)))
    limits = np.array([bounds(weight, every[:, g], sd[:, g]) for g in range(4)])
    centre = shared @ answers
    around = np.einsum("s,sg,sh->gh", shared, answers - centre, answers - centre)
    terms_mean, own = w.weight @ w.mean, np.einsum("stt->st", w.cov)
    sds = np.sqrt(w.weight @ (own + (w.mean - terms_mean) ** 2))
    return Parts(
        centre,
        limits[:, 0],
        limits[:, 1],
        around + np.einsum("s,sgh->gh", w.weight, cov),
        dict(zip(known.questions.names, terms_mean.tolist(), strict=True)),
        dict(zip(known.questions.names, sds.tolist(), strict=True)),
    )


def shares(contributions: np.ndarray, change: float) -> np.ndarray:
    """Share of each group: none against the change, all four adding up to 1."""
    along = np.maximum(contributions * np.sign(change), 0.0)
    if along.sum() <= 0:
        along = np.array([0.0, 0.0, 0.0, 1.0])
    out = along / along.sum()
    largest = int(np.argmax(out))
    out[largest] = 1.0 - np.delete(out, largest).sum()
    return out


def add_up(parts: np.ndarray, change: float) -> np.ndarray:
    """Parts that add up to the change: what chance did to its mean goes to the groups as their shares are."""
    return parts + (change - parts.sum()) * shares(parts, change)


def _bounds(found: Parts, parts: np.ndarray, unit: float) -> tuple[np.ndarray, np.ndarray]:
    """90 % bounds around the parts, in the stream's unit."""
    low, high = np.minimum(found.low * unit, parts), np.maximum(found.high * unit, parts)
    return parts - STRETCH * (parts - low), parts + STRETCH * (high - parts)


def unit_of(change: float, level: float) -> float:
    """The stream's unit for one unit of ln specific volume, exact for the whole change."""
    log_change = float(np.log1p(max(change / level, -0.95)))
    return level if abs(log_change) < 1e-9 else change / log_change


def _untraced(change: float, lidded: bool) -> Call:
    """No answer: too little measured to hold the episode against, or a volume that a lid fixes."""
    t = texts("causes")
    why = t["lidded" if lidded else "not_traced"]
    span = (min(0.0, change), max(0.0, change))
    causes = tuple(
        Cause(g, change if g == "unexplained" else 0.0, *span, float(g == "unexplained"), t["untraced"], (), (why,))
        for g in GROUPS
    )
    return Call(causes, t["not_traced_head"].format(why=why), (), (), (), (t["not_traced_check"],), ())


def attribute(
    plant: Plant,
    batches: DataFrame,
    pastes: DataFrame,
    stream: Stream,
    baseline: Baseline,
    episode: Episode,
    points: Points,
    *,
    changes: DataFrame | None = None,
    checks: DataFrame | None = None,
    others: Sequence[Other] = (),
) -> Call:
    """Trace one episode of specific volume.

    batches, pastes: the wide rows of all lines from the baseline to the newest batch; episode: indices into `points`;
    changes, checks: accepted rows of those logs, times naive UTC; others: episodes of other lines. Contributions are
    in the stream's unit and add up to `episode.change`.
    """
    change = float(episode.change)
    field = read(plant, batches, stream, baseline, episode, points)
    if not field.traceable:
        line = plant.lines.get(field.line)
        return _untraced(change, line is not None and line.lidded)
    unit = unit_of(change, baseline.level)
    known = weigh_evidence(plant, field, episode, points, changes, checks, others, change / unit)
    found = not_surer_than_seen(known, parts_of(known), change / unit)
    parts = add_up(found.mean * unit, change)
    story = Story(plant, stream, known, found, parts, change, unit, episode, points, tuple(others), pastes)
    low, high = _bounds(found, parts, unit)
    portion = shares(parts, change)
    causes = tuple(
        Cause(
            group,
            float(parts[i]),
            float(low[i]),
            float(high[i]),
            float(portion[i]),
            words.driver(story, group),
            words.evidence(story, group),
            words.not_checked(story, group),
            figures.made_of(story, group),
            figures.levels(story, group),
        )
        for i, group in enumerate(GROUPS)
    )
    return Call(
        causes,
        words.headline(story),
        words.joint(story),
        words.next_measurement(story),
        words.refuted_by(story),
        words.check_first(story),
        words.began_then(story),
    )
