"""One alert as a page tells it: how big, since when, what to check, the causes that add up."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING

from models.charts.parted import KIND
from models.pages import words
from models.pages.adding import outward, printed
from models.pages.held import headline
from models.pages.named import batches_named
from models.pages.shown import Bar, Bars, State
from models.pages.words import number
from models.shapes import Alert
from models.texts import texts
from models.trade import cautions

if TYPE_CHECKING:
    from models.plant import Plant
    from models.snapshot import Snapshot


BESIDE_FROM = 0.2
"""Share of the change from which a second cause is said with the first."""


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


def story(alert: Alert) -> tuple[tuple[str, tuple[str, ...]], ...]:
    """What goes with the causes, under a heading each; headings with nothing under them are left out."""
    titles = texts("alert")["story"]
    return tuple((title, getattr(alert, name)) for name, title in titles.items() if getattr(alert, name))


def change(alert: Alert, snapshot: Snapshot, on: date | None = None) -> Change:
    """An alert in plain words; on its own day's page (`on`) the date is left out."""
    return Change(
        alert=alert.alert,
        state=alert.urgency,
        title=headline(alert),
        since=_since(alert, snapshot, on),
        last_good=_last_good(alert, on),
        size=size(alert, snapshot),
        check_first=alert.check_first,
        call=call(alert),
        bars=bars(alert, snapshot),
        over=alert.signal == "over",
        cautions=cautions.of(alert, snapshot),
        story=story(alert),
    )


def _since(alert: Alert, snapshot: Snapshot, on: date | None) -> str:
    zone, t = snapshot.plant.zone, texts("change")
    first = words.local(alert.began_at, zone)
    low, high = alert.began_low_batch, alert.began_high_batch
    between = low and high and low != high
    began = (t["began_between"] if between else t["began"]).format(
        batch=words.batch(alert.began_at_batch, first.date() if first else on),
        when=words.when(alert.began_at, zone, on),
        first=words.batch(low, on),
        last=words.batch(high, on),
    )
    over = t["since_held"] if alert.urgency == "hold" else t["since_over"]
    said = t["since_on"] if alert.signal == "on" else over
    told = said.format(began=began, until=words.batch(alert.until_batch, on))
    return f"{told} {t['apart']}" if alert.rule == KIND else told


def _last_good(alert: Alert, on: date | None) -> str:
    t = texts("alert")
    if not alert.last_good_batch:
        return t["last_good_none"]
    return t["last_good"].format(batch=words.batch(alert.last_good_batch, on))


def size(alert: Alert, snapshot: Snapshot) -> str:
    """How big: in the floor's words, on a loaf where volume is meant, and in the alert's unit."""
    if limit := of_limit(alert):
        return limit
    big = words.how_big(alert.characteristic, alert.change, alert.level, alert.unit)
    exact = number(alert.change, alert.unit, signed=True)
    t = texts("change")
    if alert.characteristic == "specific volume":
        big = t["of_a_loaf"].format(big=big, loaf=words.on_a_loaf(alert.change, loaf_g(alert, snapshot)))
    if alert.level is None:
        return t["size"].format(big=big, exact=exact)
    return t["size_from"].format(big=big, exact=exact, level=number(alert.level, alert.unit), bounds=bounds(alert))


def bounds(alert: Alert) -> str:
    """How many batches a charted change is the mean of, and its 90 % bounds; "" where none were worked out."""
    if alert.change_low is None or alert.change_high is None or not alert.batches:
        return ""
    between = words.interval(
        *outward(alert.change_low, alert.change_high, words.decimals(alert.unit)), alert.unit, signed=True
    )
    return texts("change")["bounds"].format(n=words.counted(len(alert.batches), "batch"), between=between)


def of_limit(alert: Alert) -> str:
    """How far beyond a limit that no level of a chart stands for; "" of every other alert."""
    said = texts("change")["of_limit"].get(alert.characteristic, "")
    if not said or alert.kind != "limit":
        return ""
    places = max(words.decimals(alert.unit), 1)  # a mean of grams has the decimal that its verdict has
    return said.format(
        size=number(abs(alert.change), alert.unit, places),
        change=number(alert.change, alert.unit, places, signed=True),
        label=number(alert.level, alert.unit),
    )


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
    place = max(range(len(alert.causes)), key=lambda i: (alert.causes[i].share, alert.causes[i].group != "unexplained"))
    lead, share = alert.causes[place], printed(alert.causes, alert.change)[place].share
    t, nothing = texts("change"), lead.driver in ("", texts("causes")["within"])
    if lead.driver == texts("causes")["untraced"]:
        return t["not_traced"].format(why="; ".join(lead.not_checked))
    if lead.group == "unexplained":
        return (t["unexplained"] if nothing else t["stands_out"]).format(share=share, driver=lead.driver)
    if nothing:
        return t["within"].format(group=lead.group, share=share)
    away = lead.low > 0 or lead.high < 0
    said = t["consistent"] if away and lead.share > 0.5 else t["not_surely"]
    return said.format(group=lead.group, driver=lead.driver, share=share) + _beside(alert, place)


def _beside(alert: Alert, lead: int) -> str:
    """A second fault in the same sentence's neighbourhood: named, surely there, and much of the change."""
    silent, as_text = ("", texts("causes")["within"]), printed(alert.causes, alert.change)
    return "".join(
        texts("change")["beside"].format(group=c.group, driver=c.driver, share=text.share)
        for i, (c, text) in enumerate(zip(alert.causes, as_text, strict=True))
        if i != lead and c.share >= BESIDE_FROM and c.driver not in silent and (c.low > 0 or c.high < 0)
    )


def bars(alert: Alert, snapshot: Snapshot) -> Bars | None:
    """The contributions, to be drawn so that they add up to the change, with the batches that are named beside them."""
    if not alert.causes:
        return None
    as_text = printed(alert.causes, alert.change)
    shown = tuple(
        Bar(
            c.group,
            c.driver,
            round(c.contribution, 4),
            round(c.low, 4),
            round(c.high, 4),
            text,
            c.evidence,
            c.not_checked,
        )
        for c, text in zip(alert.causes, as_text, strict=True)
    )
    parts = words.join(text.part for text in as_text)
    says = texts("change")["adds_up"].format(parts=parts, total=number(alert.change, alert.unit, signed=True))
    lines = [line for cause in alert.causes for line in cause.evidence] + [line for _, some in story(alert) for line in some]
    named = batches_named(lines, tuple(snapshot.stories.values()))
    return Bars(f"causes-{words.slug(alert.alert)}", shown, round(alert.change, 4), alert.unit, says, named)
