"""From a charted stream to the curve that a page shows: the last weeks, up to the day in question."""

from __future__ import annotations

from datetime import date, timedelta
from typing import TYPE_CHECKING, Any

import numpy as np

from models import words
from models.production_day import end, start
from models.shapes import Baseline, Charted, Episode
from models.shown import Curve, Dot, Mark, Span
from models.snapshot import records
from models.words import number

if TYPE_CHECKING:
    from models.snapshot import Snapshot

DAYS_SHOWN = 21
ORDER = (
    "specific volume",
    "volume",
    "weight",
    "bake loss",
    "within-batch spread",
    "dough temperature",
    "proof time",
    "proof height",
    "gassing power",
    "share of gas kept",
    "paste loss",
    "cook temperature",
    "paste at 2 h",
    "paste at 6 h",
)


def name_of(charted: Charted) -> str:
    """A name for the stream that fits an address: "specific-volume-l1-milk-loaf"."""
    stream = charted.stream
    parts = (stream.characteristic, stream.kettle, stream.line, stream.product)
    return words.slug("-".join(part for part in parts if part))


def in_order(charted: Charted) -> tuple[int, str, str]:
    """Sort key: what answers for the loaf first, then its parts, then its drivers."""
    stream = charted.stream
    rank = ORDER.index(stream.characteristic) if stream.characteristic in ORDER else len(ORDER)
    return rank, stream.product or "", stream.characteristic


def curve(charted: Charted, snapshot: Snapshot, first: date, last: date, *, today: date | None = None) -> Curve:
    """The stream's batches of the production days first..last, with its level, limits, episodes and marks."""
    days = charted.points.day.astype("datetime64[D]")
    shown = [int(i) for i in np.flatnonzero((days >= np.datetime64(first)) & (days <= np.datetime64(last)))]
    dots = tuple(_dot(charted, snapshot, i, today=days[i].astype(object) == today) for i in shown)
    spans = tuple(
        span
        for episode in charted.episodes
        if shown and days[episode.signalled] <= np.datetime64(last)
        if (span := _span(charted, snapshot, episode, shown)) is not None
    )
    base = charted.baseline
    window = _window(charted, snapshot)
    name = "window" if charted.stream.characteristic == "specific volume" else "action limit"
    return Curve(
        name=name_of(charted),
        title=words.characteristic(charted.stream.characteristic).title,
        unit=charted.stream.unit,
        dots=dots,
        spans=spans,
        marks=_marks(charted, snapshot, shown),
        level=base.level if base else None,
        lower=charted.lower,
        upper=charted.upper,
        window=window,
        day=_day(today, snapshot) if today else None,
        window_name=name,
        window_says=f"{name} of the plant file: {words.interval(*window, charted.stream.unit)}" if window else "",
        baseline=(_iso(base.first_at, snapshot), _iso(base.last_at, snapshot)) if base else None,
        baseline_says=baseline_says(base, charted.stream.unit, snapshot),
        promise=charted.promise,
        summary=_summary(charted, dots),
    )


def _day(day: date, snapshot: Snapshot) -> tuple[str, str]:
    return _iso(start(day, snapshot.plant), snapshot), _iso(end(day, snapshot.plant), snapshot)


def baseline_says(base: Baseline | None, unit: str, snapshot: Snapshot) -> str:
    """Level, spread, n and dates of a baseline, in one sentence."""
    if base is None:
        return "No baseline yet: too few batches."
    zone = snapshot.plant.zone
    first, last = words.local(base.first_at, zone), words.local(base.last_at, zone)
    dates = words.span(first.date(), last.date()) if first and last else words.NOT_RECORDED
    size = words.join(
        [
            words.count(base.batches, "batch", "batches"),
            words.count(base.days, "day"),
            words.count(base.lots, "yeast lot"),
        ]
    )
    fine = words.finer(unit)
    says = f"Level {number(base.level, unit)} ± {number(base.level_se, unit, fine)} (standard error), batch spread"
    says += f" {number(base.sd, unit, fine)} (sd), from {size}, {dates}"
    return f"Learning. {says}." if base.learning else f"{says}."


def _iso(at: Any, snapshot: Snapshot) -> str:
    moment = words.local(at, snapshot.plant.zone)
    return "" if moment is None else moment.strftime("%Y-%m-%dT%H:%M:%S")


def _dot(charted: Charted, snapshot: Snapshot, i: int, *, today: bool) -> Dot:
    points, unit = charted.points, charted.stream.unit
    value = float(points.value[i])
    outside = (charted.lower is not None and value < charted.lower) or (
        charted.upper is not None and value > charted.upper
    )
    zone = snapshot.plant.zone
    at = points.at[i].astype(object)
    story = [words.batch(points.keys[i]), words.when(at, zone), f"{number(value, unit)} (n = {int(points.n[i])})"]
    if points.sd_within[i] == points.sd_within[i]:
        story.append(f"spread within the batch {number(float(points.sd_within[i]), unit, words.finer(unit))}")
    if points.lot[i]:
        story.append(f"yeast lot {points.lot[i]}")
    label = str(points.keys[i]).rsplit("/", 1)[-1]
    return Dot(_iso(at, snapshot), round(value, 4), today, outside, label, tuple(story))


def _span(charted: Charted, snapshot: Snapshot, episode: Episode, shown: list[int]) -> Span | None:
    if episode.began > shown[-1] or episode.until < shown[0]:
        return None
    at = charted.points.at
    base = charted.baseline.level if charted.baseline else float("nan")
    unit = charted.stream.unit
    until = min(episode.until, shown[-1])
    return Span(
        first=_iso(at[max(episode.began, shown[0])].astype(object), snapshot),
        last=_iso(at[until].astype(object), snapshot),
        direction=episode.direction,
        level=round(base + episode.change, 4),
        says=f"{words.how_big(charted.stream.characteristic, episode.change, base, unit)}"
        f" ({number(episode.change, unit, signed=True)})",
        over=episode.over and until == episode.until,
    )


def _window(charted: Charted, snapshot: Snapshot) -> tuple[float, float] | None:
    stream, plant = charted.stream, snapshot.plant
    product = plant.products.get(stream.product or "")
    if stream.characteristic == "specific volume" and product:
        return product.specific_volume
    if stream.characteristic == "dough temperature" and product:
        return product.dough_temp_c.act
    recipe = plant.pastes.get(plant.paste_of(stream.kettle or "") or "")
    if recipe and stream.characteristic == "paste loss":
        return recipe.loss_pct.act
    if recipe and stream.characteristic == "cook temperature":
        return recipe.cook_temp_c.act
    return None


def _marks(charted: Charted, snapshot: Snapshot, shown: list[int]) -> tuple[Mark, ...]:
    if not shown:
        return ()
    points = charted.points
    first, last = points.at[shown[0]], points.at[shown[-1]]
    found = []
    changes = snapshot.changes
    for change in records(changes[changes["changed_at"].between(first, last)]):
        if _concerns(change, charted, snapshot):
            when = words.when(change["changed_at"], snapshot.plant.zone)
            says = f"{change['name']}: {change['what']}"
            found.append(Mark(_iso(change["changed_at"], snapshot), "change", says, when))
    seen = {points.lot[shown[0]], ""}
    for i in shown:
        if points.lot[i] not in seen:
            seen.add(points.lot[i])
            found.append(Mark(_iso(points.at[i].astype(object), snapshot), "lot", f"yeast lot {points.lot[i]}"))
    return tuple(sorted(found, key=lambda mark: (mark.at, mark.says)))


def _concerns(change: dict[str, Any], charted: Charted, snapshot: Snapshot) -> bool:
    stream = charted.stream
    if change["scope"] in ("plant", "instrument", "lot"):
        return True
    line = snapshot.plant.lines.get(stream.line or "")
    return change["name"] in (stream.line, stream.kettle, line.kettle if line else None)


def _summary(charted: Charted, dots: tuple[Dot, ...]) -> str:
    title = words.characteristic(charted.stream.characteristic).title
    if not dots:
        return f"{title}: no batch in these weeks."
    values = [dot.value for dot in dots]
    unit = charted.stream.unit
    says = f"{title} of {words.count(len(dots), 'batch', 'batches')}, {words.interval(min(values), max(values), unit)}"
    return f"{says}; the last one {number(values[-1], unit)}."


def weeks_before(day: date) -> date:
    """The first production day that a day's page shows."""
    return day - timedelta(days=DAYS_SHOWN - 1)
