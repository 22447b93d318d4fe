"""The words of a call: driver, evidence, what was not checked, what would settle it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from models.causes.drivers import Shift
from models.causes.effects import EFFECTS, Effect, size_text
from models.causes.positive import handling_changes, spread_ratio
from models.causes.suspects import Other
from models.plant import Plant
from models.shapes import Baseline, Episode, Group, Points, Stream

if TYPE_CHECKING:
    from models.causes.attribute import Evidence

NOTHING = "Nothing recorded explains it"
WITHIN = "nothing outside its own limits"
NAMED_FROM = 0.2
LIKELY = 0.5


@dataclass(frozen=True)
class Story:
    """All that the words are made from. Parts and terms are in the stream's unit."""

    plant: Plant
    stream: Stream
    known: Evidence
    episode: Episode
    points: Points
    change: float
    unit: float
    parts: dict[str, float]
    terms: dict[str, float]
    changes: Any
    checks: Any
    others: Sequence[Other]
    baseline: Baseline


def _size(story: Story, name: str) -> float:
    """A driver's own contribution; the curve of the water belongs to the water."""
    return story.terms[name] + (story.terms["water_curve"] if name == "water" else 0.0)


def named(story: Story, group: str) -> list[tuple[float, Effect, Shift]]:
    """Recorded drivers of a group that are outside their limits and account for enough, largest first."""
    found = []
    for effect in EFFECTS:
        moved = story.known.shifts.get(effect.name)
        if effect.group != group or moved is None or not moved.outside:
            continue
        part = _size(story, effect.name)
        if abs(part) >= NAMED_FROM * abs(story.change) or group == "unexplained":
            found.append((part, effect, moved))
    return sorted(found, key=lambda x: -abs(x[0]))


def likely(story: Story, group: str) -> list[tuple[float, str]]:
    """Unrecorded candidates of a group that are more likely than not: probability and words."""
    w = story.known.weighed
    return sorted(((float(p), c.says) for p, c in zip(w.present, w.candidates, strict=True)
                   if c.group == group and c.inside and p >= LIKELY), reverse=True)


def _words(effect: Effect, moved: Shift) -> str:
    size = moved.after - moved.before
    words = effect.low if size < 0 and effect.low else effect.high
    return words.format(size=size_text(size))


def _lot_words(story: Story, says: str) -> str:
    w = story.known.weighed
    size = sum(float(s) for s, c in zip(w.size, w.candidates, strict=True) if c.says == says)
    block = story.known.fit.design.blocks["lots"]
    place = [i for i, label in enumerate(block.labels) if f"yeast lot {label}" == says]
    size += sum(float(story.known.fit.mean[block.columns][i]) for i in place)
    return f"{says[0].upper()}{says[1:]} makes {size_text(100 * size)} % {'less' if size < 0 else 'more'} gas"


def driver(story: Story, group: Group) -> str:
    """What moved in this group, in the floor's words."""
    recorded = [_words(effect, moved) for _, effect, moved in named(story, group)]
    unseen = likely(story, group)
    if group == "yeast":
        recorded += [_lot_words(story, says) for _, says in unseen]
    elif group == "handling" and unseen:
        recorded += [*handling_changes(story.plant, story.known.field, story.episode, story.changes),
                     "Less gas kept: loaves of one batch differ more than usual"][:1]
    elif group == "unexplained":
        recorded += [f"Began with {says}" if "lot" in says else says[0].upper() + says[1:] for _, says in unseen]
    return "; ".join(recorded) or WITHIN


def headline(story: Story) -> str:
    """The driver that accounts for most, in the floor's words."""
    along = {g: p * np.sign(story.change) for g, p in story.parts.items()}
    group = max(along, key=lambda g: along[g])
    said = driver(story, group) if group != "unexplained" else NOTHING  # type: ignore[arg-type]
    return NOTHING if said == WITHIN else said.split("; ")[0]


def _ids(story: Story) -> str:
    names = story.known.field.text["dough_batch"][story.known.field.episode]
    return str(names[0]) if len(names) == 1 else f"{names[0]} … {names[-1]}"


def evidence(story: Story, group: Group) -> tuple[str, ...]:
    """One sentence each for level, amount, scope and time."""
    lines = []
    for part, effect, moved in named(story, group)[:3]:
        lines.append(f"Level: {effect.quantity} {moved.after:.1f} {effect.unit} over {moved.n_after} doughs ({_ids(story)}) "
                     f"against {moved.before:.1f} ± {moved.sd:.1f} {effect.unit} in {moved.n_before} baseline doughs.")
        lines.append(f"Amount: this accounts for about {part:+.2f} of {story.change:+.2f} {story.stream.unit}.")
    if group == "handling":
        ratio, error = spread_ratio(story.known.field)
        if np.isfinite(ratio):
            lines.append(f"Level: spread within batches {np.exp(ratio):.2f} times the baseline's "
                         f"(90 %: {np.exp(ratio - 1.645 * error):.2f} to {np.exp(ratio + 1.645 * error):.2f}).")
    return tuple(lines)


def not_checked(story: Story, group: Group) -> tuple[str, ...]:
    """What was not recorded or tested for this group in the episode."""
    field = story.known.field
    total = int(field.episode.sum())
    lines = {}
    for k, effect in enumerate(EFFECTS):
        if effect.group == group and effect.unchecked:
            missing = int((~np.isfinite(story.known.terms.shown[field.episode, k])).sum())
            if missing:
                lines[effect.unchecked] = f"{effect.unchecked} not recorded on {missing} of {total} doughs"
    if group == "yeast":
        tested = np.isfinite(field.num["gas_produced_ml"]) | np.isfinite(field.num["lot_gas_ml"])
        for lot in dict.fromkeys(field.text["yeast_lot"][field.episode]):
            if not lot:
                lines["lot"] = "yeast lot not recorded"
            elif not tested[field.text["yeast_lot"] == lot].any():
                lines[lot] = f"no gas test on yeast lot {lot}"
    if group == "paste":
        silent = int(story.known.terms.silent[field.episode].sum())
        if silent:
            lines["made good"] = f"water put back not recorded on {silent} of {total} doughs"
    if group == "handling" and not np.isfinite(field.num["gas_kept_pct"][field.episode]).any():
        lines["kept"] = "gas kept not tested"
    return tuple(lines.values())


def joint(story: Story) -> tuple[str, ...]:
    """Drivers of different groups that moved together and cannot be told apart by time."""
    moved = [(g, _words(e, m)) for g in ("paste", "yeast", "handling") for _, e, m in named(story, g)]
    return tuple(w for _, w in moved) if len({g for g, _ in moved}) > 1 else ()


def check_first(story: Story) -> tuple[str, ...]:
    """What to check first, in order: the named drivers' own checks, then the trade's order by scope."""
    order = sorted(story.parts, key=lambda g: -story.parts[g] * np.sign(story.change))
    found = [effect.check for group in order for _, effect, _ in named(story, group)]
    if "yeast" in order[:1] and not found:
        found.append("another yeast lot on one line; ask the laboratory for a gas test of this lot")
    moved = {s.line for s, _, _ in story.others}
    usual = ["volumeter with its check block, loaf scale with a check weight",
             "dough temperature, proof time, mixing energy, dose of this line"]
    usual = usual if moved else usual[::-1]
    return tuple(dict.fromkeys(found + usual + ["moulder gap, bench time, transfers of this line"]))[:5]


def next_measurement(story: Story) -> tuple[str, ...]:
    """What would settle most, the cheapest of equal worth first."""
    out = []
    if abs(story.parts["unexplained"]) > 0.4 * abs(story.change):
        out.append("volumeter: its check block, five minutes")
    lots = [lot for lot in dict.fromkeys(story.known.field.text["yeast_lot"][story.known.field.episode]) if lot]
    if not_checked(story, "yeast") and lots:
        out.append(f"a gas test of yeast lot {lots[-1]} beside the lot before it, half a day")
    if not_checked(story, "handling"):
        out.append("gas kept, a piece taken after the moulder and one after the mixer, half a day")
    return tuple(out)


def refuted_by(story: Story) -> tuple[str, ...]:
    """What would show the call to be wrong."""
    out = []
    for group in ("paste", "yeast", "handling"):
        for _, effect, _ in named(story, group)[:1]:
            out.append(f"{effect.quantity} back to usual and the volume still off")
        out += [f"{says} normal in a gas test, or lines on it that did not move" for _, says in likely(story, group)[:1]
                if "yeast" in says]
    return tuple(out)


def began_then(story: Story) -> tuple[str, ...]:
    """Lots and recorded changes that began where the episode may have begun."""
    field = story.known.field
    rows = np.flatnonzero(field.stream == field.own)
    inside = [i for i, r in enumerate(rows) if field.episode[r]]
    if not inside:
        return ()
    first = inside[0]
    out = []
    for name, says in (("yeast_lot", "yeast lot"), ("flour_lot", "flour lot")):
        lots = field.text[name][rows]
        near = range(max(1, first - 2), min(len(rows), first + 3))
        out += [f"{says} {lots[i]} began at batch {field.text['dough_batch'][rows[i]]}" for i in near
                if lots[i] and lots[i - 1] and lots[i] != lots[i - 1]]
    start = field.at[rows[first]]
    if story.changes is not None:
        for row in story.changes.itertuples(index=False):
            if abs(np.datetime64(row.changed_at, "us") - start) <= np.timedelta64(24, "h"):
                out.append(f"recorded change: {row.what} ({row.scope} {row.name})")
    return tuple(dict.fromkeys(out))
