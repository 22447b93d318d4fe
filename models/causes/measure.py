"""What to check first, what to measure next, and what would show the call to be wrong."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from models.causes.asking import LOT_GAS
from models.causes.lots import UNRECORDED
from models.causes.naming import all_named
from models.causes.story import Story, in_use, likely, moved_back, named, probability, tested
from models.causes.suspects import proof_unseen
from models.causes.unchecked import not_checked
from models.shapes import GROUPS
from models.texts import texts

MOST = 4
LEAST_SETTLED = 0.03
FIRST_CHECKS = 5
UNSEEN_PROOF = 0.25
"""Chance that what left no record was a proof that nobody recorded. Common practice, no source."""
FLOUR_ASKED = 0.2
"""Chance of a flour lot from which a dough with another is worth its while. Common practice, no source."""


@dataclass(frozen=True)
class Measurement:
    """One thing to measure: how much of the change it is expected to settle (ln volume), and its hours.

    later: it can be done when the change is over, too, on what was kept. An instrument that was off then may be right now.
    """

    says: str
    settles: float
    hours: float
    later: bool = False

    @property
    def worth(self) -> float:
        """What it settles against what it costs: an hour less is worth less than a doubt less."""
        return self.settles / self.hours**0.25


def next_measurement(story: Story) -> tuple[str, ...]:
    """What would settle most for its cost, best first; of a change that is over, what can still be measured."""
    size, over = abs(story.change / story.unit), moved_back(story)
    worth_it = [m for m in _options(story, size) if m.settles > LEAST_SETTLED * size and (m.later or not over)]
    ranked = sorted(worth_it, key=lambda m: -m.worth)[:MOST]
    if over and not ranked:
        return (texts("measure")["next"]["over"],)
    says, unit = texts("measure")["next"]["settles"], story.stream.unit
    return tuple(
        says.format(what=m.says, share=100 * min(m.settles / size, 1.0), change=abs(story.change), unit=unit)
        for m in ranked
    )


def _doubt(p: float, size: float) -> float:
    """Standard deviation of a part that is there with probability p."""
    return float(np.sqrt(max(p * (1 - p), 0.0))) * size


def _options(story: Story, size: float) -> list[Measurement]:
    terms, field, t = story.found.term_sds, story.field, texts("measure")["next"]
    found = [*_lot_tests(story), *_flour(story, size), *_instruments(story, size)]
    if not np.isfinite(story.known.shifts["paste_temp"].z) and story.known.shifts["dough_temp"].outside:
        found.append(Measurement(t["paste_temp"], 0.4 * size, 0.05))
    water = float(np.hypot(terms["water"], terms["water_curve"]))
    if story.known.terms.silent[field.episode].any() or named(story, "paste"):
        found.append(Measurement(t["kettle"], water, 0.2))
    proof = max(probability(story, "proof"), UNSEEN_PROOF if proof_unseen(field) else 0.0)
    if proof:
        found.append(Measurement(t["proof"], _doubt(proof, size), 1.0))
    handling = max(probability(story, "handling"), 0.02)
    found.append(Measurement(t["spread"], 0.5 * _doubt(handling, size), 2.0))
    if "moulder" not in story.known.signs.kept[2]:
        found.append(Measurement(t["gas_kept"], _doubt(handling, size), 4.0))
    return found


def _lot_tests(story: Story) -> list[Measurement]:
    """A gas test of each of the episode's lots: what is left of its doubt after one more test.

    A lot that was never tested may be taken for something else of its lines: the doubt is then that of the yeast's part.
    """
    found, error = [], story.known.fit.sds["lot test"]
    gain, t = story.known.fit.elasticity, texts("measure")["next"]
    at = GROUPS.index("yeast")
    untested = float(np.sqrt(max(story.found.cov[at, at], 0.0)))
    for lot in dict.fromkeys(story.field.text["yeast_lot"][story.field.episode]):
        if not lot or lot.startswith(UNRECORDED):
            continue
        sd = gain * story.found.term_sds[f"{LOT_GAS}{lot}"]
        doubt = sd if tested(story, lot) else max(sd, untested * _share_of(story, lot))
        left = doubt * gain * error / float(np.hypot(doubt, gain * error))
        says = t["lot" if in_use(story, lot) else "lot_kept"].format(lot=lot)
        found.append(Measurement(says, doubt - left, 4.0, later=True))
    return found


def _share_of(story: Story, lot: str) -> float:
    """Share of the episode's doughs that are of this lot."""
    return float((story.field.text["yeast_lot"][story.field.episode] == lot).mean())


def _flour(story: Story, size: float) -> list[Measurement]:
    """Another flour in one dough, where a flour lot may lie behind it."""
    p, t = probability(story, "flour lot"), texts("measure")["next"]
    lots = [c.name for _, c in likely(story, "flour lot")]
    if p < FLOUR_ASKED:
        return []
    doubt = max(_doubt(p, size), _doubt(probability(story, "plant", "volumeter"), size))
    return [Measurement(t["flour_lot"].format(lot=lots[0]) if lots else t["flour"], doubt, 6.0)]


def _instruments(story: Story, size: float) -> list[Measurement]:
    meters = sorted(set(story.field.text["volumeter"][story.field.episode]) - {""} - _checked(story))
    reach = max(probability(story, "volumeter", "plant"), 0.3 * probability(story, "line"))
    t = texts("measure")["next"]
    found = [Measurement(t["volumeter"].format(name=m), _doubt(reach, size), 0.1) for m in meters[:1]]
    loss = story.known.shifts["bake_loss"]
    if loss.outside:
        at = GROUPS.index("unexplained")
        found.append(Measurement(t["zones"], float(np.sqrt(max(story.found.cov[at, at], 0.0))), 0.5))
    if not np.isfinite(loss.z):
        oven = max(probability(story, "oven"), 0.5 * probability(story, "line"))
        found.append(Measurement(t["oven"], _doubt(oven, size), 0.5))
    return found


def check_first(story: Story) -> tuple[str, ...]:
    """A supervisor's first checks, in order: the named causes' own, then the trade's order by scope and spread.

    A volumeter that was checked since the change began is not asked for again.
    """
    found, t = [n.check for group in _order(story) for n in all_named(story, group)], texts("measure")["first"]
    together = probability(story, "plant", "volumeter") > 0.3
    used = sorted(set(story.field.text["volumeter"][story.field.episode]) - {""})
    meters = [m for m in used if m not in _checked(story)]
    block = t["volumeter"].format(name=meters[0]) if meters else "" if used else t["no_volumeter"]
    line, moulder = t["line"], t["moulder"]
    spread = story.known.signs.spread[0]
    if np.isfinite(spread) and spread > 0.25:
        found.append(moulder)
    found += [block, line] if together else [line, block]
    return tuple(dict.fromkeys(filter(None, [*found, moulder])))[:FIRST_CHECKS]


def _checked(story: Story) -> set[str]:
    """Volumeters that were checked since the change began, whatever was found."""
    return {c.instrument for c in story.known.signs.volumeters if np.isfinite(c.after)}


def _order(story: Story) -> list[str]:
    """Groups by their part of the change, the largest first."""
    return sorted(GROUPS, key=lambda g: -story.part(g) * story.sign)


def refuted_by(story: Story) -> tuple[str, ...]:
    """What would show the call to be wrong: one line for what is named first in each group, what leads before the rest.

    Where nothing is named, what was not recorded and may turn out to have moved.
    """
    firsts = [all_named(story, group)[:1] for group in _order(story)]
    out = [n.refuted for named_first in firsts for n in named_first if n.refuted]
    if not all_named(story, story.leading):
        unknown = [what for group in _order(story) for what in not_checked(story, group)]
        out.insert(0, texts("measure")["refuted"]["unexplained"].format(what=unknown[0]))
    return tuple(dict.fromkeys(out))
