"""The evidence for a group, one sentence each for level, amount, scope and time."""

from __future__ import annotations

import numpy as np

from models.causes.drivers import Shift, ratio
from models.causes.effects import PLACE
from models.causes.rows import lots_of
from models.causes.story import Driver, Story, against, dough_ids, local, named, odd_lots

MOST_DRIVERS = 3
LOOK_BACK = 15
GAS = 100


def evidence(story: Story, group: str) -> tuple[str, ...]:
    """Sentences of evidence for one group, with numbers, units, n and batches."""
    lines = [line for d in named(story, group)[:MOST_DRIVERS] for line in _of_driver(story, d)]
    lines += [_opposed(story, d) for d in against(story, group)[:MOST_DRIVERS]]
    if group == "yeast":
        lines += _of_lots(story) + _of_tests(story)
    elif group == "handling":
        lines += _of_handling(story)
    elif group == "unexplained":
        lines += _of_rest(story)
    return tuple(lines)


def _of_driver(story: Story, d: Driver) -> list[str]:
    return [
        _level(story, d.effect.quantity, d.effect.unit, d.shift),
        _amount(story, d),
        _scope(story, d),
        _time(story, d),
    ]


def _level(story: Story, quantity: str, unit: str, shift: Shift) -> str:
    return (
        f"Level: {quantity} {shift.after:.1f} {unit} over {shift.n_after} doughs ({dough_ids(story)}) against "
        f"{shift.before:.1f} ± {shift.sd:.1f} {unit} in {shift.n_before} baseline doughs: outside its own limits."
    )


def _amount(story: Story, d: Driver) -> str:
    unit = story.stream.unit
    return (
        f"Amount: it accounts for about {d.part:+.2f} {unit} (90 %: {d.part - d.half:+.2f} to {d.part + d.half:+.2f}) "
        f"of {story.change:+.2f} {unit}."
    )


def _opposed(story: Story, d: Driver) -> str:
    return f"Against the change: {d.words}, about {d.part:+.2f} {story.stream.unit}."


def line_move(story: Story, line: str, rows: np.ndarray) -> tuple[float, int]:
    """Change of ln volume of one line on these rows against what it usually is, and how many batches."""
    mine = rows & (story.field.text["line"] == line)
    off = ratio(story.field, "specific_volume")[mine]
    return (float(np.nanmean(off)), len(off)) if np.isfinite(off).any() else (float("nan"), 0)


def other_lines(story: Story) -> list[str]:
    """The other lines that ran beside the episode."""
    since = story.field.since()
    return sorted({str(v) for v in story.field.text["line"][since]} - {story.field.line})


def _scope(story: Story, d: Driver) -> str:
    plant, kind, own = story.plant, d.effect.shared_by, story.field.line
    name = getattr(plant.lines.get(own), kind, None) if kind != "line" else None
    lines = [n for n in other_lines(story) if name and getattr(plant.lines.get(n), kind, None) == name]
    if not lines:
        return f"Scope: no other line measured then shares {kind} {name}." if name else f"Scope: {own} alone."
    shown, since = story.known.terms.shown[:, PLACE[d.effect.name]], story.field.since()
    said = []
    for line in lines:
        rows = since & (story.field.text["line"] == line)
        driver = shown[rows][np.isfinite(shown[rows])]
        size, n = line_move(story, line, since)
        seen = f"{d.effect.quantity} {driver.mean():+.1f} {d.effect.unit}" if len(driver) else "driver not recorded"
        said.append(f"{line} {seen}, volume {100 * size:+.1f} % (n {n})")
    return f"Scope: shares {kind} {name}: {'; '.join(said)}."


def _time(story: Story, d: Driver) -> str:
    """Where the driver itself moved, against where the volume did."""
    field, shown = story.field, story.known.terms.shown[:, PLACE[d.effect.name]]
    rows = np.flatnonzero(field.stream == field.own)
    began = int(np.flatnonzero(field.episode[rows])[0])
    last = int(np.flatnonzero(field.episode[rows])[-1])
    first = max(0, began - LOOK_BACK)
    values = shown[rows[first : last + 1]]
    known = np.flatnonzero(np.isfinite(values))
    if len(known) < 4:
        return "Time: too few readings to say when it moved."
    v, best, at = values[known], -1.0, 1
    for k in range(1, len(v)):
        gain = k * (len(v) - k) / len(v) * (v[k:].mean() - v[:k].mean()) ** 2
        if gain > best:
            best, at = gain, k
    when = first + int(known[at])
    key = field.text["batch_key"][rows[when]]
    lag = began - when
    told = (
        "with the volume" if lag == 0 else f"{abs(lag)} measured batches {'before' if lag > 0 else 'after'} the volume"
    )
    return f"Time: it moved at {key}, {told}."


def _of_lots(story: Story) -> list[str]:
    field, lines = story.field, []
    lots = lots_of(field)
    for lot, mean, sd in odd_lots(story)[:2]:
        gas = GAS * np.expm1(mean)
        lines.append(
            f"Level: yeast lot {lot} makes {gas:+.0f} % gas (90 %: {GAS * np.expm1(mean - 1.645 * sd):+.0f} to "
            f"{GAS * np.expm1(mean + 1.645 * sd):+.0f}) against the baseline's lots."
        )
        said = []
        for line in sorted({str(v) for v in field.text["line"][lots == lot]}):
            size, n = line_move(story, line, lots == lot)
            said.append(f"{line} {100 * size:+.1f} % (n {n})")
        lines.append(f"Scope: volume of the lines on {lot}: {', '.join(said)}.")
        first = int(np.flatnonzero((lots == lot) & (field.stream == field.own))[0])
        lines.append(
            f"Time: {field.line} opened {lot} at {field.text['batch_key'][first]}; "
            f"the change began at {story.points.keys[story.episode.began]}."
        )
    return lines


def _of_tests(story: Story) -> list[str]:
    """Gas tests of the episode's lots, whatever they say."""
    field, lines = story.field, []
    for lot in dict.fromkeys(field.text["yeast_lot"][field.episode]):
        rows = field.text["yeast_lot"] == lot
        alone = field.num["lot_gas_ml"][rows & np.isfinite(field.num["lot_gas_ml"])]
        made = ratio(field, "gas_produced_ml")
        dough = rows & np.isfinite(made)
        if lot and len(alone):
            before = field.num["lot_gas_ml"][field.base]
            known = before[np.isfinite(before)]
            against_usual = (
                f", {100 * (alone[-1] / np.median(known) - 1):+.0f} % against the baseline's" if len(known) else ""
            )
            lines.append(
                f"Level: gas test of lot {lot} alone {alone[-1]:.0f} mL{against_usual}; one test's sd about "
                f"{100 * story.known.fit.sds['lot test']:.0f} %."
            )
        if lot and dough.any():
            off = 100 * np.expm1(made[dough].mean())
            n = int(dough.sum())
            lines.append(
                f"Level: {n} gas test{'s' if n > 1 else ''} of doughs on lot {lot}, {off:+.0f} % against the usual; "
                f"one test's sd about {100 * story.known.fit.sds['dough test']:.0f} %."
            )
    return lines


def _of_handling(story: Story) -> list[str]:
    signs, lines = story.known.signs, []
    ratio_ln, error = signs.spread
    if np.isfinite(ratio_ln):
        lines.append(
            f"Level: spread within batches {np.exp(ratio_ln):.2f} times the baseline's (90 %: "
            f"{np.exp(ratio_ln - 1.645 * error):.2f} to {np.exp(ratio_ln + 1.645 * error):.2f}, "
            f"n {int(story.field.episode.sum())} batches)."
        )
    points, error, places = signs.kept
    if np.isfinite(points):
        lines.append(
            f"Level: gas kept {points:+.1f} ± {error:.1f} points at the usual gas made"
            f"{f', pieces taken after the {places}' if places else ''}."
        )
    lines += [
        f"Time: {c.what} ({c.scope} {c.name}, {local(story.plant, c.at)})."
        for c in signs.changes
        if c.about == "handling"
    ]
    return lines


def _of_rest(story: Story) -> list[str]:
    signs, lines = story.known.signs, []
    (volume, e_volume), (weight, e_weight) = signs.volume, signs.weight
    if np.isfinite(volume) and np.isfinite(weight):
        lines.append(
            f"Level: volume {100 * volume:+.1f} ± {100 * e_volume:.1f} %, loaf weight {100 * weight:+.1f} ± "
            f"{100 * e_weight:.1f} %."
        )
    lines += [
        f"Level: {c.instrument} read {100 * c.after:+.1f} % against its standard on {local(story.plant, c.at)}."
        for c in signs.volumeters
        if np.isfinite(c.after)
    ]
    since, said = story.field.since(), []
    for line in other_lines(story):
        size, n = line_move(story, line, since)
        said.append(f"{line} {100 * size:+.1f} % (n {n})")
    lines.append(
        f"Scope: volume of the other lines since then: {', '.join(said)}."
        if said
        else "Scope: no other line was measured since then."
    )
    lines += [
        f"Time: {c.what} ({c.scope} {c.name}, {local(story.plant, c.at)})."
        for c in signs.changes
        if c.about != "handling"
    ]
    return lines
