"""The evidence for a group, one sentence each for level, amount, scope and time."""

from __future__ import annotations

import numpy as np

from models.causes.doubt import SLOPE_ELSEWHERE, WIDER
from models.causes.drivers import ratio
from models.causes.effects import PLACE
from models.causes.levels import level_of
from models.causes.lots import lots_of
from models.causes.positive import CHECK_OFF, Change, Check
from models.causes.stiffness import UNTOLD
from models.causes.story import Driver, Story, against, batch_ids, local, named, odd_lots
from models.texts import in_number, texts

MOST_DRIVERS = 3
LOOK_BACK = 15
GAS = 100


def evidence(story: Story, group: str) -> tuple[str, ...]:
    """Sentences of evidence for one group, with numbers, units, n and batches."""
    lines = [line for d in named(story, group)[:MOST_DRIVERS] for line in _of_driver(story, d)]
    lines += [_opposed(story, d) for d in against(story, group)[:MOST_DRIVERS]]
    if group == "paste":
        lines += _of_water(story)
    elif group == "yeast":
        lines += _of_lots(story) + _of_tests(story)
    elif group == "handling":
        lines += _of_handling(story)
    elif group == "unexplained":
        lines += _of_rest(story)
    return tuple(lines)


def _of_driver(story: Story, d: Driver) -> list[str]:
    return [
        _level(story, d),
        *_pastes(story, d),
        _amount(story, d),
        _scope(story, d),
        _time(story, d),
    ]


def _of_water(story: Story) -> list[str]:
    """What the mixer tells of water that may have been put back."""
    told = story.known.terms.told
    if told is UNTOLD or not story.known.shifts["water"].outside:
        return []
    return [texts("evidence")["level"]["left_dry"].format(share=100 * told.share, sd=100 * told.sd)]


def _level(story: Story, d: Driver) -> str:
    shift, level = d.shift, level_of(story, d)
    return in_number(texts("evidence")["level"]["driver"], shift.n_after).format(
        quantity=level.quantity,
        unit=level.unit,
        doughs=batch_ids(story, story.field.episode),
        after=level.after,
        n=shift.n_after,
        before=level.before,
        sd=level.sd,
        n_before=shift.n_before,
        places=level.places,
    )


def _pastes(story: Story, d: Driver) -> list[str]:
    """The paste batches behind the episode's doughs: a paste's fault travels with them, not with the clock."""
    keys = _paste_keys(story) if d.effect.shared_by == "kettle" else []
    if not keys:
        return []
    said = in_number(texts("evidence")["level"]["pastes"], len(keys))
    return [said.format(n=len(keys), first=keys[0], last=keys[-1])]


def _paste_keys(story: Story) -> list[str]:
    return [str(key) for key in dict.fromkeys(story.field.text["paste_key"][story.field.episode]) if key]


def _amount(story: Story, d: Driver) -> str:
    return texts("evidence")["amount"]["driver"].format(
        part=d.part, low=d.part - d.half, high=d.part + d.half, change=story.change, unit=story.stream.unit
    )


def _opposed(story: Story, d: Driver) -> str:
    return texts("evidence")["amount"]["against"].format(
        words=d.words, part=d.part, unit=story.stream.unit, time=_time(story, d)
    )


def line_move(story: Story, line: str, rows: np.ndarray) -> tuple[float, int]:
    """Change of ln volume of one line on these rows against what it usually is, and how many batches."""
    mine = rows & (story.field.text["line"] == line)
    off = ratio(story.field, "specific_volume")[mine]
    known = off[np.isfinite(off)]
    return (float(known.mean()), len(known)) if len(known) else (float("nan"), 0)


def other_lines(story: Story) -> list[str]:
    """The other lines that ran beside the episode."""
    since = story.field.since()
    return sorted({str(v) for v in story.field.text["line"][since]} - {story.field.line})


def _scope(story: Story, d: Driver) -> str:
    """What the lines beside did: those that share what the driver's fault would be shared by, or each with its own."""
    plant, kind, own, t = story.plant, d.effect.shared_by, story.field.line, texts("evidence")["scope"]
    beside = other_lines(story)
    if kind == "line":
        said = "; ".join(_shares(story, d, line) for line in beside)
        return t["of_a_line"].format(lines=said) if said else t["no_other_line"]
    name = getattr(plant.lines.get(own), kind, None)
    if not name:
        return t["not_named"].format(kind=kind)
    lines = [n for n in beside if getattr(plant.lines.get(n), kind, None) == name]
    if not lines:
        return t["nobody_shares"].format(kind=kind, name=name)
    said = "; ".join(_shares(story, d, line) for line in lines)
    return t["shares"].format(kind=kind, name=name, lines=said)


def _shares(story: Story, d: Driver, line: str) -> str:
    """What the driver and the volume did on a line that shares the piece of equipment."""
    shown, beside, t = story.known.terms.shown[:, PLACE[d.effect.name]], _beside(story, d), texts("evidence")["scope"]
    rows = beside & (story.field.text["line"] == line)
    if not rows.any():
        return t["none_of_it"].format(line=line)
    driver = shown[rows][np.isfinite(shown[rows])]
    size, n = line_move(story, line, beside)
    volume = 100 * np.expm1(size)
    if not len(driver):
        return t["line_no_driver"].format(line=line, volume=volume, n=n)
    effect = d.effect
    return t["line_driver" if effect.of_usual else "line_driver_beyond"].format(
        line=line,
        quantity=effect.quantity,
        driver=driver.mean(),
        unit=effect.unit,
        n_driver=len(driver),
        volume=volume,
        n=n,
    )


def _beside(story: Story, d: Driver) -> np.ndarray:
    """Rows of what the driver's fault reached: doughs of the same pastes, where these are known; else those of its time."""
    pastes = _paste_keys(story) if d.effect.shared_by == "kettle" else []
    return np.isin(story.field.text["paste_key"].astype(str), pastes) if pastes else story.field.since()


def _of_lines(story: Story, lines: list[str], rows: np.ndarray) -> str:
    """What the volume of each of these lines did on these rows; proofed to a height, what the proof's time did."""
    return ", ".join(_of_line(story, line, rows) for line in lines)


def _of_line(story: Story, line: str, rows: np.ndarray) -> str:
    t, (size, n) = texts("evidence")["scope"], line_move(story, line, rows)
    mine = rows & (story.field.text["line"] == line)
    doughs, volume = batch_ids(story, mine), 100 * np.expm1(size)
    if not story.known.terms.to_height[mine].any():
        return t["line"].format(line=line, volume=volume, n=n, doughs=doughs)
    off = ratio(story.field, "proof_minutes")[mine]
    known = off[np.isfinite(off)]
    if not len(known):
        return t["line_to_height_untimed"].format(line=line, volume=volume, n=n, doughs=doughs)
    minutes = 100 * np.expm1(known.mean())
    return t["line_to_height"].format(line=line, volume=volume, n=n, doughs=doughs, minutes=minutes)


def _time(story: Story, d: Driver) -> str:
    """Where the driver itself moved, against where the volume did."""
    t = texts("evidence")["time"]
    field, shown = story.field, story.known.terms.shown[:, PLACE[d.effect.name]]
    rows = np.flatnonzero(field.stream == field.own)
    began = int(np.flatnonzero(field.episode[rows])[0])
    last = int(np.flatnonzero(field.episode[rows])[-1])
    first = max(0, began - LOOK_BACK)
    values = shown[rows[first : last + 1]]
    known = np.flatnonzero(np.isfinite(values))
    if len(known) < 4:
        return t["too_few"]
    v, best, at = values[known], -1.0, 1
    for k in range(1, len(v)):
        gain = k * (len(v) - k) / len(v) * (v[k:].mean() - v[:k].mean()) ** 2
        if gain > best:
            best, at = gain, k
    when = first + int(known[at])
    key = field.text["batch_key"][rows[when]]
    lag = began - when
    told = t["with_volume"] if lag == 0 else t["before_volume"] if lag > 0 else t["after_volume"]
    return in_number(told, abs(lag)).format(batch=key, n=abs(lag))


def _of_lots(story: Story) -> list[str]:
    field, lines, t = story.field, [], texts("evidence")
    lots = lots_of(field)
    for lot, mean, model_sd in odd_lots(story)[:2]:
        sd = _lot_sd(story, lot, mean, model_sd)
        gas, low, high = (GAS * np.expm1(ln) for ln in (mean, mean - 1.645 * sd, mean + 1.645 * sd))
        lines.append(t["level"]["lot_gas"].format(lot=lot, gas=gas, low=low, high=high))
        on_it = sorted({str(v) for v in field.text["line"][lots == lot]})
        lines.append(t["scope"]["lot"].format(lot=lot, lines=_of_lines(story, on_it, lots == lot)))
        first = int(np.flatnonzero((lots == lot) & (field.stream == field.own))[0])
        opened, began = field.text["batch_key"][first], story.points.keys[story.episode.began]
        lines.append(t["time"]["lot_opened"].format(line=field.line, lot=lot, batch=opened, began=began))
    return lines


def _lot_sd(story: Story, lot: str, mean: float, model_sd: float) -> float:
    """Doubt of a lot's gas, ln: volumes tell it by a slope that may differ by line, tests by their own error."""
    field, sds = story.field, story.known.fit.sds
    by_volume = float(np.hypot(WIDER * model_sd, SLOPE_ELSEWHERE * mean))
    alone, doughs = _tests_of(story, lot)
    told = _count(field.num["lot_gas_tests"][alone][-1:]) / sds["lot test"] ** 2 if alone.any() else 0.0
    told += _count(field.num["gas_tests"][doughs]) / sds["dough test"] ** 2
    return float(1 / np.sqrt(1 / by_volume**2 + told))


def _tests_of(story: Story, lot: str) -> tuple[np.ndarray, np.ndarray]:
    """Rows of a lot with a test of the lot alone, and rows whose own dough was tested."""
    rows = story.field.text["yeast_lot"] == lot
    alone = story.field.num["lot_gas_ml"] > 0  # no gas at all is no test
    return rows & alone, rows & np.isfinite(ratio(story.field, "gas_produced_ml"))


def _count(tests: np.ndarray) -> int:
    """How many tests these rows stand for; a row that does not say stands for one."""
    return int(np.where(np.isfinite(tests), np.maximum(tests, 1), 1).sum())


def _of_tests(story: Story) -> list[str]:
    """Gas tests of the episode's lots, whatever they say."""
    lines = []
    for lot in dict.fromkeys(story.field.text["yeast_lot"][story.field.episode]):
        alone, doughs = _tests_of(story, lot)
        if lot and alone.any():
            lines.append(_lot_test(story, lot, alone))
        if lot and doughs.any():
            lines.append(_dough_tests(story, lot, doughs))
    return lines


def _lot_test(story: Story, lot: str, rows: np.ndarray) -> str:
    """A test of the lot alone, against the baseline's where that has any. rows: those that carry it."""
    t, sd = texts("evidence")["level"], 100 * story.known.fit.sds["lot test"]
    ml, n = story.field.num["lot_gas_ml"][rows][-1], _count(story.field.num["lot_gas_tests"][rows][-1:])
    before = story.field.num["lot_gas_ml"][story.field.base]
    known = before[before > 0]
    if not len(known):
        return in_number(t["lot_test"], n).format(lot=lot, ml=ml, sd=sd, n=n)
    off = 100 * (ml / np.median(known) - 1)
    return in_number(t["lot_test_against"], n).format(lot=lot, ml=ml, off=off, sd=sd, n=n)


def _dough_tests(story: Story, lot: str, rows: np.ndarray) -> str:
    """Tests of doughs on the lot. rows: the doughs."""
    n, made = _count(story.field.num["gas_tests"][rows]), ratio(story.field, "gas_produced_ml")[rows]
    return in_number(texts("evidence")["level"]["dough_tests"], n).format(
        n=n,
        lot=lot,
        doughs=", ".join(story.field.text["batch_key"][rows]),
        off=100 * np.expm1(made.mean()),
        sd=100 * story.known.fit.sds["dough test"],
    )


def _of_handling(story: Story) -> list[str]:
    signs, lines, t = story.known.signs, [], texts("evidence")["level"]
    ratio_ln, error = signs.spread
    if np.isfinite(ratio_ln):
        times, low, high = (np.exp(ln) for ln in (ratio_ln, ratio_ln - 1.645 * error, ratio_ln + 1.645 * error))
        n = int(story.field.episode.sum())
        lines.append(in_number(t["spread"], n).format(times=times, low=low, high=high, n=n))
    points, error, places = signs.kept
    if np.isfinite(points):
        said = t["gas_kept_after"] if places else t["gas_kept"]
        lines.append(said.format(points=points, error=error, places=places))
    return lines + [_changed(story, c) for c in signs.changes if c.about == "handling"]


def _changed(story: Story, c: Change) -> str:
    at = local(story.plant, c.at)
    return texts("evidence")["time"]["changed"].format(what=c.what, scope=c.scope, name=c.name, at=at)


def _of_rest(story: Story) -> list[str]:
    signs, lines, t = story.known.signs, [], texts("evidence")
    (volume, volume_error), (weight, weight_error) = signs.volume, signs.weight
    if np.isfinite(volume) and np.isfinite(weight):
        lines.append(
            t["level"]["volume_and_weight"].format(
                volume=100 * np.expm1(volume),
                volume_error=100 * volume_error,
                weight=100 * np.expm1(weight),
                weight_error=100 * weight_error,
            )
        )
    known = [c for c in signs.volumeters if np.isfinite(c.after)]
    lines += [_checked(story, c) for c in known]
    lines += [_doubtful(story, c) for c in known if abs(c.moved) > CHECK_OFF]
    said = _of_lines(story, other_lines(story), story.field.since())
    lines.append(t["scope"]["other_lines"].format(lines=said) if said else t["scope"]["no_other_line"])
    return lines + [_changed(story, c) for c in signs.changes if c.about != "handling"]


def _checked(story: Story, c: Check) -> str:
    """What a volumeter read on its standard since the change began, and before."""
    t, at = texts("evidence")["level"], local(story.plant, c.at)
    said = t["volumeter" if np.isfinite(c.before) else "volumeter_new"]
    return said.format(instrument=c.instrument, off=100 * np.expm1(c.after), at=at, before=100 * np.expm1(c.before))


def _doubtful(story: Story, c: Check) -> str:
    """What was measured on a volumeter that was found off, since it was last found right."""
    field, t = story.field, texts("evidence")["level"]
    never = np.isnat(c.good_at)
    rows = (field.text["volumeter"] == c.instrument) & (never | (field.at > c.good_at))
    lines = ", ".join(sorted({str(v) for v in field.text["line"][rows]}))
    said = in_number(t["doubtful_all" if never else "doubtful"], int(rows.sum()))
    good = "" if never else local(story.plant, c.good_at)
    return said.format(instrument=c.instrument, n=int(rows.sum()), lines=lines, good=good)
