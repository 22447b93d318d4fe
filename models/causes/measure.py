"""What to check first, what to measure next, and what would show the call to be wrong."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from models.causes.asking import LOT_GAS
from models.causes.lots import UNRECORDED
from models.causes.story import Story, likely, named, odd_lots, probability
from models.causes.unchecked import not_checked
from models.texts import texts

MOST = 4
LEAST_SETTLED = 0.03
FIRST_CHECKS = 5


@dataclass(frozen=True)
class Measurement:
    """One thing to measure: how much of the change it is expected to settle (ln volume), and its hours."""

    says: str
    settles: float
    hours: float

    @property
    def worth(self) -> float:
        """What it settles against what it costs: an hour less is worth less than a doubt less."""
        return self.settles / self.hours**0.25


def next_measurement(story: Story) -> tuple[str, ...]:
    """What would settle most for its cost, best first."""
    size = abs(story.change / story.unit)
    worth_it = [m for m in _options(story, size) if m.settles > LEAST_SETTLED * size]
    ranked = sorted(worth_it, key=lambda m: -m.worth)[:MOST]
    says, unit = texts("measure")["next"]["settles"], story.stream.unit
    return tuple(
        says.format(what=m.says, part=abs(m.settles * story.unit), change=abs(story.change), unit=unit) for m in ranked
    )


def _doubt(p: float, size: float) -> float:
    """Standard deviation of a part that is there with probability p."""
    return float(np.sqrt(max(p * (1 - p), 0.0))) * size


def _options(story: Story, size: float) -> list[Measurement]:
    terms, field, t = story.found.term_sds, story.field, texts("measure")["next"]
    found = [*_lot_tests(story), *_instruments(story, size)]
    if not np.isfinite(story.known.shifts["paste_temp"].z) and story.known.shifts["dough_temp"].outside:
        found.append(Measurement(t["paste_temp"], 0.4 * size, 0.05))
    water = float(np.hypot(terms["water"], terms["water_curve"]))
    if story.known.terms.silent[field.episode].any() or named(story, "paste"):
        found.append(Measurement(t["kettle"], water, 0.2))
    proof = probability(story, "proof")
    if proof:
        found.append(Measurement(t["proof"], _doubt(proof, size), 1.0))
    handling = max(probability(story, "handling"), 0.02)
    found.append(Measurement(t["spread"], 0.5 * _doubt(handling, size), 2.0))
    if "moulder" not in story.known.signs.kept[2]:
        found.append(Measurement(t["gas_kept"], _doubt(handling, size), 4.0))
    return found


def _lot_tests(story: Story) -> list[Measurement]:
    """A gas test of each lot in use: what is left of its doubt after one more test."""
    found, error = [], story.known.fit.sds["lot test"]
    gain, says = story.known.fit.elasticity, texts("measure")["next"]["lot"]
    for lot in dict.fromkeys(story.field.text["yeast_lot"][story.field.episode]):
        if lot and not lot.startswith(UNRECORDED):
            sd = story.found.term_sds[f"{LOT_GAS}{lot}"]
            left = sd * error / float(np.hypot(sd, error))
            found.append(Measurement(says.format(lot=lot), gain * (sd - left), 4.0))
    return found


def _instruments(story: Story, size: float) -> list[Measurement]:
    seen = {c.instrument for c in story.known.signs.volumeters if np.isfinite(c.after)}
    meters = sorted(set(story.field.text["volumeter"][story.field.episode]) - {""} - seen)
    reach = max(probability(story, "volumeter", "plant"), 0.3 * probability(story, "line"))
    t = texts("measure")["next"]
    found = [Measurement(t["volumeter"].format(name=m), _doubt(reach, size), 0.1) for m in meters[:1]]
    if not np.isfinite(story.known.shifts["bake_loss"].z):
        oven = max(probability(story, "oven"), 0.5 * probability(story, "line"))
        found.append(Measurement(t["oven"], _doubt(oven, size), 0.5))
    return found


def check_first(story: Story) -> tuple[str, ...]:
    """A supervisor's first checks, in order: the named drivers' own, then the trade's order by scope and spread."""
    order = sorted(("paste", "yeast", "handling", "unexplained"), key=lambda g: -story.part(g) * story.sign)
    found, t = [d.effect.check for group in order for d in named(story, group)], texts("measure")["first"]
    for lot, _, _ in odd_lots(story)[:1]:
        found.insert(
            0 if order[0] == "yeast" and not named(story, "yeast") else len(found),
            t["lot"].format(lot=lot),
        )
    together = probability(story, "plant", "volumeter") > 0.3
    meters = sorted(set(story.field.text["volumeter"][story.field.episode]) - {""})
    block = t["volumeter"].format(name=meters[0]) if meters else t["no_volumeter"]
    line, moulder = t["line"], t["moulder"]
    spread = story.known.signs.spread[0]
    if likely(story, "handling") or (np.isfinite(spread) and spread > 0.25):
        found.insert(0 if story.leading == "handling" and not named(story, "handling") else len(found), moulder)
    found += [block, line] if together else [line, block]
    return tuple(dict.fromkeys([*found, moulder]))[:FIRST_CHECKS]


def refuted_by(story: Story) -> tuple[str, ...]:
    """What would show the call to be wrong, one line a named cause."""
    out, t = [], texts("measure")["refuted"]
    for group in ("paste", "yeast", "handling"):
        out += [
            t["driver"].format(quantity=d.effect.quantity, before=d.shift.before, unit=d.effect.unit)
            for d in named(story, group)[:1]
        ]
    out += [t["lot"].format(lot=lot) for lot, _, _ in odd_lots(story)[:1]]
    if likely(story, "handling"):
        out.append(t["handling"])
    if story.leading == "unexplained":
        out += [t["unexplained"].format(what=what) for what in not_checked(story, "yeast")[:1]]
    return tuple(out)
