"""What a call names, group by group: in the floor's words, with what to check first for it and what would refute it.

Headline, first checks and refutation are made from the same list: what leads the one leads the other.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from models.causes.borne import LIKELY
from models.causes.drivers import shift_of
from models.causes.effects import BY_NAME, size_text
from models.causes.hypotheses import Candidate
from models.causes.levels import level_of
from models.causes.positive import CHECK_OFF, Check, weight_moved
from models.causes.story import (
    Driver,
    Story,
    checked_right,
    in_use,
    likely,
    local,
    moved_back,
    named,
    odd_lots,
    tested,
)
from models.causes.suspects import SHARED
from models.texts import in_number, texts

LOSS_SEEN = 0.5


@dataclass(frozen=True)
class Named:
    """One thing named. check, refuted: "" where there is nothing to say."""

    words: str
    check: str
    refuted: str


def seen(story: Story, group: str) -> list[Named]:
    """What was seen to be off in a group; recorded drivers first."""
    if group == "unexplained":
        return _rest(story)
    found = [_of_driver(story, d, _water_words(story, d)) for d in named(story, group)]
    found += [_too_far(story, c) for _, c in likely(story, "overproof") if c.group == group]
    return found + {"paste": _paste, "yeast": _yeast, "handling": _handling}[group](story)


def all_named(story: Story, group: str) -> list[Named]:
    """Everything that can be named in a group: what was seen, then what is only known to be shared."""
    return seen(story, group) + (_shared(story) if group == "unexplained" else [])


def _of_driver(story: Story, d: Driver, words: str) -> Named:
    level = level_of(story, d)
    said = _refuted(
        story,
        "driver",
        quantity=level.quantity,
        before=level.before,
        after=level.after,
        places=level.places,
        unit=level.unit,
    )
    return Named(words, d.effect.check, said)


def _water_words(story: Story, d: Driver) -> str:
    """A dry dough by what its paste lost, where that was recorded and moved."""
    lost = shift_of(BY_NAME["water"], story.field, story.field.num["paste_loss_pct"])
    if d.effect.name == "water" and d.shift.size < 0 and lost.size > LOSS_SEEN:
        size = size_text(d.shift.size)
        return in_number(texts("drivers")["water"]["lost"], size).format(lost=size_text(lost.size), size=size)
    return d.words


def _paste(story: Story) -> list[Named]:
    """A paste nobody measured, told by the doughs of its kettle."""
    dough, line = story.known.shifts["dough_temp"], story.plant.lines.get(story.field.line)
    untold = not dough.outside or np.isfinite(story.known.shifts["paste_temp"].z)
    if untold or line is None or story.known.of_the_paste < LIKELY:
        return []
    words = texts("causes")["driver"]["kettle_cold" if dough.size < 0 else "kettle_warm"]
    said = words.format(kettle=line.kettle, size=size_text(dough.size))
    return [Named(said, BY_NAME["paste_temp"].check, _refuted(story, "kettle", kettle=str(line.kettle)))]


def _too_far(story: Story, c: Candidate) -> Named:
    """A proof that went too far."""
    return Named(c.says, texts("measure")["first"]["overproof"], _refuted(story, "overproof"))


def _refuted(story: Story, by: str, **filled: object) -> str:
    """What would refute it: of a change that is over, what the batches after it show instead of those to come."""
    said = texts("measure")["refuted_over" if moved_back(story) else "refuted"][by]
    return said.format(until=story.points.keys[story.episode.until], **filled)


def _yeast(story: Story) -> list[Named]:
    found = [_lot(story, lot, mean) for lot, mean, _ in odd_lots(story)]
    t = texts("measure")
    for _ in likely(story, "proof"):
        words = texts("causes")["driver"]["proof"]
        found.append(Named(words, t["first"]["proof"], _refuted(story, "proof")))
    return found


def _lot(story: Story, lot: str, mean: float) -> Named:
    words = texts("causes")["driver"]["lot_less" if mean < 0 else "lot_more"]
    first, refuted = texts("measure")["first"], texts("measure")["refuted"]
    known = tested(story, lot)
    check = "lot_gone" if not in_use(story, lot) else "lot_tested" if known else "lot"
    return Named(
        words.format(lot=lot, size=size_text(100 * np.expm1(mean))),
        first[check].format(lot=lot),
        refuted["lot_tested" if known else "lot"].format(lot=lot),
    )


def _handling(story: Story) -> list[Named]:
    if not likely(story, "handling"):
        return []
    by = "spread" if "moulder" in story.known.signs.kept[2] else "handling"
    return [Named(_handling_words(story), texts("measure")["first"]["moulder"], _refuted(story, by))]


def _handling_words(story: Story) -> str:
    t = texts("causes")["driver"]
    changes = [f"{c.what[0].upper()}{c.what[1:]}" for c in story.known.signs.changes if c.about == "handling"]
    kept = story.known.signs.kept[0]
    if changes:
        return changes[0]
    if np.isfinite(kept) and kept * story.sign > 1.0:
        size = size_text(kept)
        return in_number(t["kept_less" if kept < 0 else "kept_more"], size).format(size=size)
    return t["handling_less" if story.sign < 0 else "handling_more"]


def _rest(story: Story) -> list[Named]:
    """Outside the three groups: a check that was off, the oven, the weight, a flour lot."""
    signs, t, measure = story.known.signs, texts("causes")["driver"], texts("measure")
    found = [_volumeter(story, c) for c in signs.volumeters if _is_off(story, c)]
    line, baked = story.plant.lines.get(story.field.line), named(story, "unexplained")
    oven = line.oven if line else None
    found += [_of_driver(story, d, t["at_oven"].format(words=d.words, oven=oven) if oven else d.words) for d in baked]
    if not baked and weight_moved(signs, story.change / story.unit):
        words = t["weight"].format(off=100 * np.expm1(signs.weight[0]))
        found.append(Named(words, measure["first"]["weight"], measure["refuted"]["weight"]))
    for _, c in likely(story, "flour lot"):
        check, refuted = (measure[what]["flour_lot"].format(lot=c.name) for what in ("first", "refuted"))
        found.append(Named(c.says, check, refuted))
    return found


def _is_off(story: Story, c: Check) -> bool:
    return bool(np.isfinite(c.after)) and c.moved * story.sign > CHECK_OFF


def _volumeter(story: Story, c: Check) -> Named:
    words = texts("causes")["driver"]["volumeter_low" if c.after < 0 else "volumeter_high"]
    first, refuted = texts("measure")["first"], texts("measure")["refuted"]
    off = 100 * float(np.expm1(c.after))
    return Named(
        words.format(instrument=c.instrument, size=size_text(off)),
        first["volumeter_off"].format(name=c.instrument, off=off, at=local(story.plant, c.at)),
        refuted["volumeter_off"].format(name=c.instrument),
    )


def _shared(story: Story) -> list[Named]:
    """What is likely of something shared; of all lines, or of a volumeter: its block stands among the first checks anyway."""
    first, refuted, found = texts("measure")["first"], texts("measure")["refuted"], []
    baked = bool(named(story, "unexplained"))
    for _, c in likely(story, "plant", *SHARED):
        if c.kind == "oven" and baked:
            continue  # the bake loss names the oven already
        words = _shared_words(story, c)
        if c.kind in ("plant", "volumeter"):
            found.append(Named(words, "", refuted[c.kind]))
            continue
        name = getattr(story.plant.lines.get(story.field.line), c.kind, None)
        what = texts("measure")["what"][c.kind].format(name=name)
        found.append(Named(words, first["shared"].format(what=what), refuted["shared"].format(what=what)))
    return found


def _shared_words(story: Story, candidate: Candidate) -> str:
    """What moved together, by the name of what it shares; the volumeter where all of it was measured on one."""
    if candidate.kind in ("plant", "volumeter"):
        since = story.field.since()
        own = set(story.field.text["volumeter"][story.field.episode]) - {""}
        every = set(story.field.text["volumeter"][since]) - {""}
        if own and (candidate.kind == "volumeter" or own == every):
            right = own <= checked_right(story)
            words = texts("causes")["driver"]["one_volumeter_right" if right else "one_volumeter"]
            return words.format(meters=", ".join(sorted(own)))
    return candidate.says
