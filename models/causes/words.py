"""The words of a call: the driver in the floor's words, the headline, what cannot be told apart, what began then."""

from __future__ import annotations

import numpy as np

from models.causes.drivers import shift_of
from models.causes.effects import BY_NAME, size_text
from models.causes.hypotheses import Candidate
from models.causes.measure import check_first, next_measurement, refuted_by
from models.causes.positive import CHECK_OFF, weight_moved
from models.causes.saying import evidence
from models.causes.story import Driver, Story, likely, local, moved, named, odd_lots, probability
from models.causes.unchecked import not_checked
from models.shapes import GROUPS

__all__ = [
    "began_then",
    "check_first",
    "driver",
    "evidence",
    "headline",
    "joint",
    "next_measurement",
    "not_checked",
    "refuted_by",
]

NOTHING = "Nothing recorded explains it"
WITHIN = "nothing outside its own limits"
VAGUE = ("Began with", "Something of", "All lines")
EQUIPMENT = ("volumeter", "oven", "mixer", "proofer", "kettle")
TOGETHER = -0.7
LOSS_SEEN = 0.5
NEAR_BATCHES = 2


def _water_words(story: Story, d: Driver) -> str:
    """A dry dough by what its paste lost, where that was recorded and moved."""
    lost = shift_of(BY_NAME["water"], story.field, story.field.num["paste_loss_pct"])
    if d.effect.name == "water" and d.shift.size < 0 and lost.size > LOSS_SEEN:
        return f"Paste lost {size_text(lost.size)} % more water: dough {size_text(d.shift.size)} points too dry"
    return d.words


def driver(story: Story, group: str) -> str:
    """What moved in this group, in the floor's words."""
    said = [_water_words(story, d) for d in named(story, group)]
    if group == "yeast":
        said += [
            f"Yeast lot {lot} makes {size_text(100 * np.expm1(mean))} % {'less' if mean < 0 else 'more'} gas"
            for lot, mean, _ in odd_lots(story)
        ]
        said += ["Proof: not recorded, likely off" for _ in likely(story, "proof")]
    elif group == "handling":
        said += _handling_words(story)
    elif group == "unexplained":
        said = _rest_words(story, said)
    return "; ".join(said) or WITHIN


def _handling_words(story: Story) -> list[str]:
    if not likely(story, "handling"):
        return []
    changes = [f"{c.what[0].upper()}{c.what[1:]}" for c in story.known.signs.changes if c.about == "handling"]
    kept = story.known.signs.kept[0]
    if changes:
        return changes[:1]
    if np.isfinite(kept) and kept * story.sign > 1.0:
        return [f"{size_text(kept)} points {'less' if kept < 0 else 'more'} gas kept"]
    return ["Loaves of one batch differ more than usual: moulder, divider or transfers"]


def _rest_words(story: Story, baked: list[str]) -> list[str]:
    """Outside the three groups: a check that was off, the weight, the oven, what else is likely, what began then."""
    signs = story.known.signs
    said = [
        f"Volumeter {c.instrument} reads {size_text(100 * c.after)} % {'low' if c.after < 0 else 'high'}"
        for c in signs.volumeters
        if np.isfinite(c.after) and c.moved * story.sign > CHECK_OFF
    ]
    said += [f"{words}{_oven(story)}" for words in baked]
    if not baked and weight_moved(signs, story.change / story.unit):
        said.append(f"Loaf weight {100 * signs.weight[0]:+.1f} %, not the volume: oven, divider or scale")
    said += [_shared_words(story, c) for _, c in likely(story, "flour lot", "plant", *EQUIPMENT)]
    if not said and story.leading == "unexplained":
        said = [f"Began with: {what}" for what in began_then(story)[:1]]
    return said


def _shared_words(story: Story, candidate: Candidate) -> str:
    """What moved together, by the name of what it shares; the volumeter where all of it was measured on one."""
    if candidate.kind in ("plant", "volumeter"):
        since = story.field.since()
        own = set(story.field.text["volumeter"][story.field.episode]) - {""}
        every = set(story.field.text["volumeter"][since]) - {""}
        if own and (candidate.kind == "volumeter" or own == every):
            meters = ", ".join(sorted(own))
            return f"All lines measured on {meters} moved together: volumeter, flour or what else they share"
    line = story.plant.lines.get(story.field.line)
    name = getattr(line, candidate.kind, None) if candidate.kind in EQUIPMENT else None
    said = f"{candidate.says[0].upper()}{candidate.says[1:]}"
    return f"{said} {name}" if name else said


def _oven(story: Story) -> str:
    line = story.plant.lines.get(story.field.line)
    return f" (oven {line.oven})" if line and line.oven else ""


def headline(story: Story) -> str:
    """The driver that accounts for most, in the floor's words."""
    said = driver(story, story.leading)
    if story.leading == "unexplained" and (said == WITHIN or said.startswith(VAGUE)):
        return NOTHING
    return NOTHING if said == WITHIN else said.split("; ")[0]


def joint(story: Story) -> tuple[str, ...]:
    """Drivers that moved together, and groups whose parts the data cannot tell apart."""
    out = []
    together = [(g, d.words) for g in GROUPS[:3] for d in moved(story, g)]
    if len({g for g, _ in together}) > 1:
        out.append(f"moved together in this episode: {'; '.join(words for _, words in together)}")
    cov = story.found.cov
    sd = np.sqrt(np.diag(cov))
    for i in range(4):
        for j in range(i + 1, 4):
            large = min(sd[i], sd[j]) * abs(story.unit) > 0.2 * abs(story.change)
            if large and cov[i, j] / (sd[i] * sd[j]) < TOGETHER:
                both = story.parts[i] + story.parts[j]
                out.append(
                    f"{GROUPS[i]} and {GROUPS[j]} cannot be told apart yet: together {both:+.2f} {story.stream.unit}"
                )
    if probability(story, "flour lot") > 0.2 and probability(story, "yeast lot") > 0.2:
        out.append("a new yeast lot and a new flour lot began together: only a gas test can separate them")
    return tuple(out)


def began_then(story: Story) -> tuple[str, ...]:
    """Lots and recorded changes that began where the episode may have begun."""
    field, out = story.field, []
    rows = np.flatnonzero(field.stream == field.own)
    first = int(np.flatnonzero(field.episode[rows])[0])
    early = story.episode.began - story.episode.began_low + NEAR_BATCHES
    late = story.episode.began_high - story.episode.began + NEAR_BATCHES
    for name, says in (("yeast_lot", "yeast lot"), ("flour_lot", "flour lot")):
        lots = field.text[name][rows]
        for i in range(max(1, first - early), min(len(rows), first + late + 1)):
            if lots[i] and lots[i - 1] and lots[i] != lots[i - 1]:
                lines = sorted({str(v) for v in field.text["line"][field.since() & (field.text[name] == lots[i])]})
                out.append(
                    f"{says} {lots[i]} on {field.line} from {field.text['batch_key'][rows[i]]} "
                    f"(in the episode on {', '.join(lines) or field.line})"
                )
    out += [f"{c.what} ({c.scope} {c.name}, {local(story.plant, c.at)})" for c in story.known.signs.changes]
    return tuple(dict.fromkeys(out))
