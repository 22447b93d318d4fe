"""What to check first, what to measure next, and what would show the call to be wrong."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from models.causes.rows import UNRECORDED
from models.causes.story import Story, likely, named, odd_lots, probability
from models.causes.unchecked import not_checked

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
    return tuple(
        f"{m.says}: may settle {abs(m.settles * story.unit):.2f} of {abs(story.change):.2f} {story.stream.unit}"
        for m in ranked
    )


def _doubt(p: float, size: float) -> float:
    """Standard deviation of a part that is there with probability p."""
    return float(np.sqrt(max(p * (1 - p), 0.0))) * size


def _options(story: Story, size: float) -> list[Measurement]:
    terms, field = story.found.term_sds, story.field
    found = [*_lot_tests(story), *_instruments(story, size)]
    if not np.isfinite(story.known.shifts["paste_temp"].z) and story.known.shifts["dough_temp"].outside:
        found.append(Measurement("the paste's temperature at the mixer (1 min)", 0.4 * size, 0.05))
    water = float(np.hypot(terms["water"], terms["water_curve"]))
    if story.known.terms.silent[field.episode].any() or named(story, "paste"):
        found.append(
            Measurement(
                "the kettle weighed again after the cook, residue and water put back written down (10 min)", water, 0.2
            )
        )
    proof = probability(story, "proof")
    if proof:
        found.append(
            Measurement("the proof: times, temperature and height of the next batches (1 h)", _doubt(proof, size), 1.0)
        )
    handling = max(probability(story, "handling"), 0.02)
    found.append(
        Measurement(
            "eight loaves instead of a few of the next two batches, for their spread (2 h)",
            0.5 * _doubt(handling, size),
            2.0,
        )
    )
    if "moulder" not in story.known.signs.kept[2]:
        found.append(
            Measurement(
                "gas kept of a piece taken after the mixer and of one after the moulder (half a day)",
                _doubt(handling, size),
                4.0,
            )
        )
    return found


def _lot_tests(story: Story) -> list[Measurement]:
    """A gas test of each lot in use: what is left of its doubt after one more test."""
    found, error = [], story.known.fit.sds["lot test"]
    gain = story.known.fit.elasticity
    for lot in dict.fromkeys(story.field.text["yeast_lot"][story.field.episode]):
        if lot and not lot.startswith(UNRECORDED):
            sd = story.found.term_sds[f"gas of {lot}"]
            left = sd * error / float(np.hypot(sd, error))
            found.append(
                Measurement(
                    f"a gas test of yeast lot {lot} beside the lot before it (half a day)", gain * (sd - left), 4.0
                )
            )
    return found


def _instruments(story: Story, size: float) -> list[Measurement]:
    seen = {c.instrument for c in story.known.signs.volumeters if np.isfinite(c.after)}
    meters = sorted(set(story.field.text["volumeter"][story.field.episode]) - {""} - seen)
    reach = max(probability(story, "volumeter", "plant"), 0.3 * probability(story, "line"))
    found = [Measurement(f"volumeter {m} with its check block (5 min)", _doubt(reach, size), 0.1) for m in meters[:1]]
    if not np.isfinite(story.known.shifts["bake_loss"].z):
        oven = max(probability(story, "oven"), 0.5 * probability(story, "line"))
        found.append(
            Measurement("pieces weighed before the oven, core temperature after it (30 min)", _doubt(oven, size), 0.5)
        )
    return found


def check_first(story: Story) -> tuple[str, ...]:
    """A supervisor's first checks, in order: the named drivers' own, then the trade's order by scope and spread."""
    order = sorted(("paste", "yeast", "handling", "unexplained"), key=lambda g: -story.part(g) * story.sign)
    found = [d.effect.check for group in order for d in named(story, group)]
    for lot, _, _ in odd_lots(story)[:1]:
        found.insert(
            0 if order[0] == "yeast" and not named(story, "yeast") else len(found),
            f"Another yeast lot than {lot} on one line; ask the laboratory to test {lot}",
        )
    together = probability(story, "plant", "volumeter") > 0.3
    meters = sorted(set(story.field.text["volumeter"][story.field.episode]) - {""})
    block = f"Volumeter {meters[0]} with its check block" if meters else "Volumeter with its check block"
    line = "Dough temperature, proof, mixing energy and dose of this line"
    moulder = "Moulder gap, bench time, transfers, pan set"
    spread = story.known.signs.spread[0]
    if likely(story, "handling") or (np.isfinite(spread) and spread > 0.25):
        found.insert(0 if story.leading == "handling" and not named(story, "handling") else len(found), moulder)
    found += [block, line] if together else [line, block]
    return tuple(dict.fromkeys([*found, moulder]))[:FIRST_CHECKS]


def refuted_by(story: Story) -> tuple[str, ...]:
    """What would show the call to be wrong, one line a named cause."""
    out = []
    for group in ("paste", "yeast", "handling"):
        out += [
            f"{d.effect.quantity} back at {d.shift.before:.1f} {d.effect.unit} and the volume still off"
            for d in named(story, group)[:1]
        ]
    out += [
        f"a gas test of lot {lot} within 3 % of the lot before it, or a line on {lot} that did not move"
        for lot, _, _ in odd_lots(story)[:1]
    ]
    if likely(story, "handling"):
        out.append("spread within the next ten batches as usual, or gas kept after the moulder as usual")
    if story.leading == "unexplained":
        out += [
            f"{what}: once it is known, a driver may turn out to have moved" for what in not_checked(story, "yeast")[:1]
        ]
    return tuple(out)
