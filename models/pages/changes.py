"""One alert as a page tells it: how big, since when, what to check, the causes that add up."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING

from models.pages import words
from models.pages.held import headline
from models.pages.shown import Bar, Bars, State
from models.pages.words import number
from models.shapes import Alert
from models.trade import cautions

if TYPE_CHECKING:
    from models.plant import Plant
    from models.snapshot import Snapshot


@dataclass(frozen=True)
class Change:
    """A change in plain words. `bars` is None where the alert carries no causes."""

    alert: str
    state: State
    title: str
    since: str
    last_good: str
    size: str
    check_first: tuple[str, ...]
    call: str
    bars: Bars | None
    over: bool
    cautions: tuple[str, ...]
    story: tuple[tuple[str, tuple[str, ...]], ...] = ()


_STORY = (
    ("Moved together", "joint"),
    ("Began then", "began_then"),
    ("What would refute it", "refuted_by"),
    ("Measure next", "next_measurement"),
    ("Last time", "last_time"),
)


def story(alert: Alert) -> tuple[tuple[str, tuple[str, ...]], ...]:
    """What goes with the causes, under a heading each; headings with nothing under them are left out."""
    return tuple((title, getattr(alert, name)) for title, name in _STORY if getattr(alert, name))


def change(alert: Alert, snapshot: Snapshot, on: date | None = None) -> Change:
    """An alert in plain words; on its own day's page (`on`) the date is left out."""
    zone = snapshot.plant.zone
    first = words.local(alert.began_at, zone)
    own_day = first.date() if first else on
    began = f"Began at {words.batch(alert.began_at_batch, own_day)}, {words.when(alert.began_at, zone, on)}"
    if alert.began_low_batch and alert.began_high_batch and alert.began_low_batch != alert.began_high_batch:
        began += f" (between {words.batch(alert.began_low_batch, on)} and {words.batch(alert.began_high_batch, on)})"
    good = f"Last good batch: {words.batch(alert.last_good_batch, on)}." if alert.last_good_batch else ""
    return Change(
        alert=alert.alert,
        state=alert.urgency,
        title=headline(alert),
        since=f"{began}. {'Still on' if alert.signal == 'on' else 'Over'} at {words.batch(alert.until_batch, on)}.",
        last_good=good or "Last good batch: not known.",
        size=size(alert, snapshot),
        check_first=alert.check_first,
        call=call(alert),
        bars=bars(alert),
        over=alert.signal == "over",
        cautions=cautions.of(alert, snapshot),
        story=story(alert),
    )


def size(alert: Alert, snapshot: Snapshot) -> str:
    """How big: in the floor's words, on a loaf where volume is meant, and in the alert's unit."""
    big = words.how_big(alert.characteristic, alert.change, alert.level, alert.unit)
    exact = number(alert.change, alert.unit, signed=True)
    level = f" from a level of {number(alert.level, alert.unit)}" if alert.level is not None else ""
    if alert.characteristic == "specific volume":
        return f"{big}, {words.on_a_loaf(alert.change, loaf_g(alert, snapshot))} ({exact}{level})"
    return f"{big} ({exact}{level})"


def loaf_g(alert: Alert, snapshot: Snapshot) -> float:
    """What a loaf of the alert's product weighs, g: the label's weight, else the mean of its batches, else scaled."""
    product = snapshot.plant.products.get(alert.product or "")
    weights = snapshot.batches.loc[snapshot.batches["product"] == alert.product, "baked_g"].dropna()
    if len(weights) and not (product and product.label_g):
        return float(weights.mean())
    return loaf_g_of(alert, snapshot.plant)


def loaf_g_of(alert: Alert, plant: Plant) -> float:
    """What a loaf of the alert's product weighs by the plant file alone, g: the label's weight, else scaled."""
    product = plant.products.get(alert.product or "")
    return (product.label_g or product.scaled_g) if product else 400.0


def call(alert: Alert) -> str:
    """What the evidence is consistent with, in one sentence; "unexplained" is an answer."""
    if not alert.causes:
        return ""
    lead = max(alert.causes, key=lambda cause: (cause.share, cause.group != "unexplained"))
    share = number(100 * lead.share, "%", 0)
    if lead.group == "unexplained":
        points_to = f" What stands out: {lead.driver}." if lead.driver else ""
        return f"Not explained by anything recorded: {share} of the change is left over.{points_to}"
    away = lead.low > 0 or lead.high < 0
    sure = "" if away and lead.share > 0.5 else ", but not surely"
    return f"Consistent with {lead.group}: {lead.driver}, about {share} of the change{sure}."


def bars(alert: Alert) -> Bars | None:
    """The contributions, to be drawn so that they add up to the change."""
    if not alert.causes:
        return None
    shown = tuple(
        Bar(
            c.group,
            c.driver,
            round(c.contribution, 4),
            round(c.low, 4),
            round(c.high, 4),
            c.share,
            c.evidence,
            c.not_checked,
        )
        for c in alert.causes
    )
    total = words.join(number(c.contribution, "", 2, signed=True) for c in alert.causes)
    says = f"{total} make {number(alert.change, alert.unit, signed=True)}; the lines bound each with 90 % credibility."
    return Bars(f"causes-{words.slug(alert.alert)}", shown, round(alert.change, 4), alert.unit, says)
