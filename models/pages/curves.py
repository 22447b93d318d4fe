"""From a charted stream to the curve that a page shows: the last weeks, up to the day in question."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta
from typing import TYPE_CHECKING, Any

import numpy as np

from models.charts.baseline import row_changed
from models.charts.learn import BATCHES
from models.charts.windows import against_window
from models.pages import words
from models.pages.dots import Dots
from models.pages.marks import marks
from models.pages.production_day import end, start
from models.pages.shown import Curve, Dot, Span
from models.pages.words import number
from models.plant import Plant
from models.shapes import Baseline, Charted, Episode, Stream
from models.texts import texts

if TYPE_CHECKING:
    import pandas as pd

    from models.snapshot import Snapshot

DAYS_SHOWN = 21
# batches before the day that a page shows: on a day's page they have some 400 px of a screen, and more would hide each other
BATCHES_SHOWN = 400
LOTS_CHARTED = "gassing power of the lot"
"""The chart whose points are lots, not batches."""
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


@dataclass(frozen=True)
class Seen:
    """What a curve is told from where no batch's story is: the plant, and what somebody changed (its log's columns)."""

    plant: Plant
    changes: pd.DataFrame


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


def curve(charted: Charted, snapshot: Snapshot | Seen, first: date, last: date, *, today: date | None = None) -> Curve:
    """The stream's batches of the production days first..last, with its level, limits, episodes and marks."""
    days = charted.points.day.astype("datetime64[D]")
    places = np.flatnonzero((days >= np.datetime64(first)) & (days <= np.datetime64(last)))
    if today is not None:
        places = _legible(charted, days, places, np.datetime64(today))
    shown: list[int] = places.tolist()
    dots = _dots(charted, snapshot).of(shown, days == np.datetime64(today or "NaT"))
    spans = tuple(
        span
        for episode in charted.episodes
        if shown and days[episode.signalled] <= np.datetime64(last)
        if (span := _span(charted, snapshot, episode, shown)) is not None
    )
    base = charted.baseline
    window, t = _window(charted, snapshot), texts("curve")
    name = "window" if charted.stream.characteristic == "specific volume" else "action limit"
    window_says = t["window"] if name == "window" else t["action_limit"]
    return Curve(
        name=name_of(charted),
        title=title_of(charted, snapshot.plant),
        unit=charted.stream.unit,
        dots=dots,
        spans=spans,
        marks=marks(charted, snapshot, shown),
        level=base.level if base else None,
        lower=charted.lower,
        upper=charted.upper,
        lasting=charted.lasting,
        limits_say=_limits_say(charted, snapshot),
        window=window,
        day=_day(today, snapshot) if today else None,
        window_name=name,
        window_says=window_says.format(limits=words.interval(*window, charted.stream.unit)) if window else "",
        baseline=(_iso(base.first_at, snapshot), _iso(base.last_at, snapshot)) if base else None,
        baseline_says=_baseline(charted, snapshot),
        promise=charted.promise,
        summary=_summary(charted, dots),
    )


def _legible(charted: Charted, days: np.ndarray, shown: np.ndarray, today: np.datetime64) -> np.ndarray:
    """Of the points shown, the day's and the newest before it, as many as can be told apart: whole days, the day before at
    least, and never less than goes back to where an episode of the day began."""
    before = days[shown][days[shown] < today]
    if len(before) <= BATCHES_SHOWN:
        return shown
    first = min(before[-BATCHES_SHOWN] + 1, before[-1])
    going_on = [days[one.began] for one in charted.episodes if not one.over or days[one.until] >= today]
    return shown[days[shown] >= min([first, *going_on])]


def _day(day: date, snapshot: Snapshot | Seen) -> tuple[str, str]:
    return _iso(start(day, snapshot.plant), snapshot), _iso(end(day, snapshot.plant), snapshot)


def _limits_say(charted: Charted, snapshot: Snapshot | Seen) -> str:
    """What the lines mean, in a sentence, with the date they have stood since."""
    base, unit = charted.baseline, charted.stream.unit
    if base is None or charted.lower is None or charted.upper is None:
        return ""
    last = words.local(base.last_at, snapshot.plant.zone)
    kinds = ("stood", "and_eight") if last is not None and not base.learning else ("moving", "and_eight_moving")
    t = texts("curve")["two_lots" if charted.stream.characteristic == LOTS_CHARTED else "two_batches"]
    return t[kinds[charted.lasting is not None]].format(
        two=words.interval(charted.lower, charted.upper, unit),
        eight=words.interval(*charted.lasting, unit) if charted.lasting is not None else "",
        since=words.span(last.date(), last.date()) if last is not None else "",
    )


def _left_out(base: Baseline) -> str:
    """The batches that the baseline leaves out, by reason, with the first few named."""
    reasons: dict[str, list[str]] = {}
    for key, why in base.excluded:
        reasons.setdefault(why, []).append(words.batch(key))
    t, parts = texts("curve")["baseline"], []
    for why, names in reasons.items():
        says = t["reason_more"] if len(names) > 3 else t["reason"]
        parts.append(says.format(n=len(names), why=why, names=", ".join(names[:3]), more=len(names) - 3))
    return t["left_out"].format(reasons="; ".join(parts)) if parts else ""


def _baseline(charted: Charted, snapshot: Snapshot | Seen) -> str:
    """The baseline in one sentence, and a second where the plant file says that it is not good in itself."""
    said = baseline_says(charted, snapshot)
    bad = against_window(charted, snapshot.plant)
    changed = charted.baseline is not None and row_changed(charted.baseline, charted.points)
    parts = (
        said,
        _left_out(charted.baseline) if charted.baseline else "",
        bad,
        texts("curve")["baseline"]["corrected"] if changed else "",
    )
    return " ".join(part for part in parts if part)


def baseline_says(charted: Charted, snapshot: Snapshot | Seen) -> str:
    """Level, spread, n and dates of a stream's baseline, in one sentence."""
    t, base, unit = texts("curve")["baseline"], charted.baseline, charted.stream.unit
    if base is None:
        return t["none"]
    of_lots = charted.stream.characteristic == LOTS_CHARTED
    zone = snapshot.plant.zone
    first, last = words.local(base.first_at, zone), words.local(base.last_at, zone)
    dates = words.span(first.date(), last.date()) if first and last else words.NOT_RECORDED
    fine = words.finer(unit)
    says = t["of_lots" if of_lots else "of_batches"].format(
        level=number(base.level, unit),
        level_se=number(base.level_se, unit, fine),
        sd=number(base.sd, unit, fine),
        size=_size(base, charted.stream),
        dates=dates,
    )
    if not base.learning:
        return says
    so_far = t["learning_lots"].format(n=base.batches, enough=BATCHES) if of_lots else words.sentence(base.says)
    return f"{so_far} {says}"


def _size(base: Baseline, stream: Stream) -> str:
    """How many points a baseline is made of, over how many days and lots: a paste's are of flour, a dough's of yeast."""
    t = texts("curve")["counted"]
    days = words.count(base.days, t["day"], t["days"])
    lots = (t["flour_lot"], t["flour_lots"]) if stream.kettle else (t["yeast_lot"], t["yeast_lots"])
    if stream.characteristic == LOTS_CHARTED:
        return words.join([words.count(base.batches, *lots), days])
    return words.join([words.count(base.batches, t["batch"], t["batches"]), days, words.count(base.lots, *lots)])


def title_of(charted: Charted, plant: Plant) -> str:
    """The characteristic, and the product or recipe where its line or kettle makes several."""
    stream = charted.stream
    title = words.characteristic(stream.characteristic).title
    line = plant.lines.get(stream.line or "")
    several = len(line.products) > 1 if line else bool(stream.kettle)
    return f"{title}, {stream.product}" if several and stream.product else title


def _iso(at: Any, snapshot: Snapshot | Seen) -> str:
    return words.iso(at, snapshot.plant.zone)


def _dots(charted: Charted, snapshot: Snapshot | Seen) -> Dots:
    """A snapshot's charts keep the dots that were made, for the next page."""
    if isinstance(snapshot, Seen):
        return Dots(charted, snapshot.plant.zone, None)
    kept = snapshot.dots.get(id(charted))
    if kept is None or kept.charted is not charted:
        stories = snapshot.stories["pastes" if charted.stream.kettle else "batches"]
        kept = snapshot.dots[id(charted)] = Dots(charted, snapshot.plant.zone, stories)
    return kept


def _span(charted: Charted, snapshot: Snapshot | Seen, episode: Episode, shown: list[int]) -> Span | None:
    if episode.began > shown[-1] or episode.until < shown[0]:
        return None
    at = charted.points.at
    base = charted.baseline.level if charted.baseline else float("nan")
    unit = charted.stream.unit
    until, zone, t = min(episode.until, shown[-1]), snapshot.plant.zone, texts("curve")
    return Span(
        first=_iso(at[max(episode.began, shown[0])].astype(object), snapshot),
        last=_iso(at[until].astype(object), snapshot),
        direction=episode.direction,
        level=round(base + episode.change, 4),
        says=t["span"].format(
            big=words.how_big(charted.stream.characteristic, episode.change, base, unit),
            exact=number(episode.change, unit, signed=True),
            kind=t["kind"].get(episode.kind, episode.kind),
        ),
        over=episode.over and until == episode.until,
        when=words.from_to(at[episode.began].astype(object), at[until].astype(object), zone),
    )


def _window(charted: Charted, snapshot: Snapshot | Seen) -> tuple[float, float] | None:
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


def _summary(charted: Charted, dots: tuple[Dot, ...]) -> str:
    title, t = words.characteristic(charted.stream.characteristic).title, texts("curve")
    if not dots:
        return t["no_batch"].format(title=title)
    values = [dot.value for dot in dots]
    unit, counted = charted.stream.unit, t["counted"]
    one, more = ("lot", "lots") if charted.stream.characteristic == LOTS_CHARTED else ("batch", "batches")
    return t["summary"].format(
        title=title,
        many=words.count(len(dots), counted[one], counted[more]),
        range=words.interval(min(values), max(values), unit),
        last=number(values[-1], unit),
    )


def weeks_before(day: date) -> date:
    """The first production day that a day's page shows."""
    return day - timedelta(days=DAYS_SHOWN - 1)
