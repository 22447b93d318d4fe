"""The words of a call: the driver in the floor's words, the headline, what cannot be told apart, what began then."""

from __future__ import annotations

import numpy as np

from models.causes.borne import LIKELY
from models.causes.drivers import shift_of
from models.causes.effects import BY_NAME, size_text
from models.causes.hypotheses import Candidate
from models.causes.measure import check_first, next_measurement, refuted_by
from models.causes.positive import CHECK_OFF, weight_moved
from models.causes.saying import evidence
from models.causes.story import Driver, Story, likely, local, moved, named, odd_lots, probability
from models.causes.suspects import SHARED
from models.causes.unchecked import not_checked
from models.shapes import GROUPS
from models.texts import in_number, texts

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
LOSS_SEEN = 0.5
NEAR_BATCHES = 2


def _water_words(story: Story, d: Driver) -> str:
    """A dry dough by what its paste lost, where that was recorded and moved."""
    lost = shift_of(BY_NAME["water"], story.field, story.field.num["paste_loss_pct"])
    if d.effect.name == "water" and d.shift.size < 0 and lost.size > LOSS_SEEN:
        size = size_text(d.shift.size)
        return in_number(texts("drivers")["water"]["lost"], size).format(lost=size_text(lost.size), size=size)
    return d.words


def driver(story: Story, group: str) -> str:
    """What moved in this group, in the floor's words."""
    said = _said(story, group)
    if group == "unexplained":
        said += _vague_words(story, not said)
    return "; ".join(said) or texts("causes")["within"]


def headline(story: Story) -> str:
    """The driver that accounts for most, in the floor's words; what is only known to be shared explains nothing."""
    said = _said(story, story.leading)
    return said[0].split("; ")[0] if said else texts("causes")["nothing"]


def _said(story: Story, group: str) -> list[str]:
    """All that can be named in this group."""
    said = [_water_words(story, d) for d in named(story, group)]
    said += [c.says for _, c in likely(story, "overproof") if c.group == group]
    if group == "paste":
        return said + _paste_words(story)
    if group == "yeast":
        return said + _yeast_words(story)
    if group == "handling":
        return said + _handling_words(story)
    return _rest_words(story, said) if group == "unexplained" else said


def _paste_words(story: Story) -> list[str]:
    """A paste nobody measured, told by the doughs of its kettle."""
    dough, line = story.known.shifts["dough_temp"], story.plant.lines.get(story.field.line)
    untold = not dough.outside or np.isfinite(story.known.shifts["paste_temp"].z)
    if untold or line is None or story.known.of_the_paste < LIKELY:
        return []
    t = texts("causes")["driver"]["kettle_cold" if dough.size < 0 else "kettle_warm"]
    return [t.format(kettle=line.kettle, size=size_text(dough.size))]


def _yeast_words(story: Story) -> list[str]:
    t = texts("causes")["driver"]
    said = [
        t["lot_less" if mean < 0 else "lot_more"].format(lot=lot, size=size_text(100 * np.expm1(mean)))
        for lot, mean, _ in odd_lots(story)
    ]
    return said + [t["proof"] for _ in likely(story, "proof")]


def _handling_words(story: Story) -> list[str]:
    if not likely(story, "handling"):
        return []
    t = texts("causes")["driver"]
    changes = [f"{c.what[0].upper()}{c.what[1:]}" for c in story.known.signs.changes if c.about == "handling"]
    kept = story.known.signs.kept[0]
    if changes:
        return changes[:1]
    if np.isfinite(kept) and kept * story.sign > 1.0:
        size = size_text(kept)
        return [in_number(t["kept_less" if kept < 0 else "kept_more"], size).format(size=size)]
    return [t["handling"]]


def _rest_words(story: Story, baked: list[str]) -> list[str]:
    """Outside the three groups: a check that was off, the oven, the weight, a flour lot."""
    signs, t = story.known.signs, texts("causes")["driver"]
    said = [
        t["volumeter_low" if c.after < 0 else "volumeter_high"].format(
            instrument=c.instrument, size=size_text(100 * c.after)
        )
        for c in signs.volumeters
        if np.isfinite(c.after) and c.moved * story.sign > CHECK_OFF
    ]
    line = story.plant.lines.get(story.field.line)
    oven = line.oven if line else None
    said += [t["at_oven"].format(words=words, oven=oven) if oven else words for words in baked]
    if not baked and weight_moved(signs, story.change / story.unit):
        said.append(t["weight"].format(off=100 * signs.weight[0]))
    return said + [c.says for _, c in likely(story, "flour lot")]


def _vague_words(story: Story, alone: bool) -> list[str]:
    """What is likely of something shared; where nothing else is said (`alone`), what began then."""
    said = [_shared_words(story, c) for _, c in likely(story, "plant", *SHARED)]
    if alone and not said and story.leading == "unexplained":
        began = texts("causes")["driver"]["began_with"]
        said = [began.format(what=what) for what in began_then(story)[:1]]
    return said


def _shared_words(story: Story, candidate: Candidate) -> str:
    """What moved together, by the name of what it shares; the volumeter where all of it was measured on one."""
    if candidate.kind in ("plant", "volumeter"):
        since = story.field.since()
        own = set(story.field.text["volumeter"][story.field.episode]) - {""}
        every = set(story.field.text["volumeter"][since]) - {""}
        if own and (candidate.kind == "volumeter" or own == every):
            return texts("causes")["driver"]["one_volumeter"].format(meters=", ".join(sorted(own)))
    return candidate.says


def joint(story: Story) -> tuple[str, ...]:
    """Drivers that moved together, and groups whose parts the data cannot tell apart."""
    out, t = [], texts("causes")["joint"]
    together = [(g, d.words) for g in GROUPS[:3] for d in moved(story, g)]
    if len({g for g, _ in together}) > 1:
        out.append(t["together"].format(drivers="; ".join(words for _, words in together)))
    cov = story.found.cov
    sd = np.sqrt(np.diag(cov))
    for i in range(4):
        for j in range(i + 1, 4):
            large = min(sd[i], sd[j]) * abs(story.unit) > 0.2 * abs(story.change)
            if large and cov[i, j] / (sd[i] * sd[j]) < TOGETHER:
                both = story.parts[i] + story.parts[j]
                out.append(t["not_apart"].format(one=GROUPS[i], other=GROUPS[j], both=both, unit=story.stream.unit))
    if probability(story, "flour lot") > 0.2 and probability(story, "yeast lot") > 0.2:
        out.append(t["new_lots"])
    return tuple(out)


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
