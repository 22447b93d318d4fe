"""The words of a call: the driver in the floor's words, the headline, what cannot be told apart, what began then."""

from __future__ import annotations

import numpy as np

from models.causes.borne import SURE
from models.causes.doubt import SLOPE_ELSEWHERE, STRETCH, WIDER
from models.causes.measure import check_first, next_measurement, refuted_by
from models.causes.naming import all_named, seen
from models.causes.saying import evidence
from models.causes.story import Driver, Story, local, moved, probability, tested
from models.causes.unchecked import not_checked
from models.shapes import GROUPS
from models.texts import texts

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

TOGETHER = -0.7
NEAR_BATCHES = 2


def driver(story: Story, group: str) -> str:
    """What moved in this group, in the floor's words."""
    said = [n.words for n in all_named(story, group)]
    if group == "unexplained" and not said and story.leading == "unexplained":
        began = texts("causes")["driver"]["began_with"]
        said = [began.format(what=what) for what in began_then(story)[:1]]
    return "; ".join(said) or texts("causes")["within"]


def headline(story: Story) -> str:
    """The driver that accounts for most, in the floor's words; what is only known to be shared explains nothing."""
    said = seen(story, story.leading)
    return said[0].words if said else texts("causes")["nothing"]


def joint(story: Story) -> tuple[str, ...]:
    """Drivers that moved together, and groups whose parts the data cannot tell apart."""
    out, t = [], texts("causes")["joint"]
    together = [d for g in GROUPS[:3] for d in moved(story, g)]
    if len({d.effect.group for d in together}) > 1:
        out.append(_together(story, together))
    cov = story.found.cov
    sd = np.sqrt(np.diag(cov))
    for i in range(4):
        for j in range(i + 1, 4):
            large = min(sd[i], sd[j]) * abs(story.unit) > 0.2 * abs(story.change)
            if large and cov[i, j] / (sd[i] * sd[j]) < TOGETHER:
                both = story.parts[i] + story.parts[j]
                out.append(t["not_apart"].format(one=GROUPS[i], other=GROUPS[j], both=both, unit=story.stream.unit))
    if probability(story, "flour lot") > 0.2 and probability(story, "yeast lot") > 0.2:
        untested = [lot for lot in dict.fromkeys(story.field.text["yeast_lot"][story.field.episode]) if lot]
        out += [t["new_lots"]] if any(not tested(story, lot) for lot in untested) else [t["new_lots_tested"]]
    return tuple(out)


def _together(story: Story, drivers: list[Driver]) -> str:
    """Drivers of several groups that moved in one episode, with the part of their groups as one: it is known better than each."""
    at = [GROUPS.index(g) for g in dict.fromkeys(d.effect.group for d in drivers)]
    part = float(story.parts[at].sum())
    spread = WIDER * float(np.sqrt(story.found.cov[np.ix_(at, at)].sum())) * abs(story.unit)
    half = STRETCH * SURE * float(np.hypot(spread, SLOPE_ELSEWHERE * part))
    return texts("causes")["joint"]["together"].format(
        drivers="; ".join(d.words for d in drivers),
        part=part,
        low=part - half,
        high=part + half,
        unit=story.stream.unit,
    )


def began_then(story: Story) -> tuple[str, ...]:
    """Lots and recorded changes that began where the episode may have begun."""
    field, out, t = story.field, [], texts("causes")["began"]
    rows = np.flatnonzero(field.stream == field.own)
    first = int(np.flatnonzero(field.episode[rows])[0])
    early = story.episode.began - story.episode.began_low + NEAR_BATCHES
    late = story.episode.began_high - story.episode.began + NEAR_BATCHES
    for name in ("yeast_lot", "flour_lot"):
        lots = field.text[name][rows]
        for i in range(max(1, first - early), min(len(rows), first + late + 1)):
            if lots[i] and lots[i - 1] and lots[i] != lots[i - 1]:
                lines = sorted({str(v) for v in field.text["line"][field.since() & (field.text[name] == lots[i])]})
                beside, first_on_it = ", ".join(lines) or field.line, field.text["batch_key"][rows[i]]
                out.append(t[name].format(lot=lots[i], line=field.line, batch=first_on_it, lines=beside))
    out += [
        t["change"].format(what=c.what, scope=c.scope, name=c.name, at=local(story.plant, c.at))
        for c in story.known.signs.changes
    ]
    return tuple(dict.fromkeys(out))
