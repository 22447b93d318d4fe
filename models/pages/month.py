"""The month as the manager reads it: better, worse, cannot tell; what it cost; what came back; what is missing."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta
from typing import TYPE_CHECKING, cast

from models.causes import findings
from models.pages import words
from models.pages.comparing import Comparison, Share, comparisons, shares
from models.pages.curves import curve, in_order
from models.pages.footing import footing
from models.pages.held import each_once, where
from models.pages.holes import Grid, grid, holes, reach
from models.pages.money import Money, money
from models.pages.patterns import patterns
from models.pages.production_day import of_days, on_during
from models.pages.shown import Curve, Footing, Item, Sheet
from models.pages.words import number
from models.shapes import Alert, Cause
from models.texts import texts

if TYPE_CHECKING:
    from models.shapes import Group
    from models.snapshot import Snapshot

_PER = 1000.0


@dataclass(frozen=True)
class Month:
    """Everything on the month page, in its order. first, last: the calendar month."""

    first: date
    last: date
    plant: str
    title: str
    reach: str
    sentences: tuple[tuple[str, str], ...]
    made: str
    shares: tuple[Share, ...]
    money: Money
    repeats: tuple[Item, ...]
    records: tuple[str, ...]
    comparisons: tuple[Comparison, ...]
    not_compared: tuple[str, ...]
    curves: tuple[tuple[str, Curve], ...]
    holes: Sheet
    grid: Grid
    patterns: tuple[Item, ...]
    no_pattern: str
    footing: Footing


def month(snapshot: Snapshot, which: str) -> Month:
    """The calendar month `which` ("2026-05"), told from the snapshot alone. Raises ValueError for no such month."""
    first, last = span_of(which)
    compared, not_compared = comparisons(snapshot, first, last)
    rates = shares(snapshot, first, last)
    found, none_found = patterns(snapshot, f"{first:%Y-%m}")
    return Month(
        first=first,
        last=last,
        plant=snapshot.plant.plant,
        title=f"{words.month_name(first.month)} {first.year}",
        reach=reach(snapshot, first, last),
        sentences=_sentences(rates),
        made=_made(snapshot, first, last),
        shares=rates,
        money=money(snapshot, first, last),
        repeats=_repeats(snapshot, first, last),
        records=_records(snapshot, first, last),
        comparisons=compared,
        not_compared=not_compared,
        curves=_curves(snapshot, first, last),
        holes=holes(snapshot, first, last),
        grid=grid(snapshot, first, last),
        patterns=found,
        no_pattern=none_found,
        footing=footing(snapshot),
    )


def span_of(which: str) -> tuple[date, date]:
    """First and last day of a month written "2026-05"."""
    try:
        year, number_ = which.split("-")
        first = date(int(year), int(number_), 1)
    except ValueError:
        raise ValueError(f"{which}: there is no such month; it is written like 2026-05") from None
    return first, (first + timedelta(days=31)).replace(day=1) - timedelta(days=1)


def _sentences(rates: tuple[Share, ...]) -> tuple[tuple[str, str], ...]:
    better = [share for share in rates if share.change and share.change.clear and share.change.value < 0]
    worse = [share for share in rates if share.change and share.change.clear and share.change.value > 0]
    unclear = [share for share in rates if share not in better and share not in worse]
    t = texts("month")["sentences"]
    return (
        (t["better"], words.sentence("; ".join(map(_moved, better)) or t["no_line"])),
        (t["worse"], words.sentence("; ".join(map(_moved, worse)) or t["no_line"])),
        (t["unclear"], words.sentence(_unclear(unclear) or t["nothing_open"])),
    )


def _moved(share: Share) -> str:
    change = share.change
    if change is None:
        return share.name
    low, high = sorted((abs(change.low), abs(change.high)))
    return texts("month")["sentences"]["fewer" if change.value < 0 else "more"].format(
        name=share.name,
        by=number(abs(change.value) * _PER, "", 0),
        bounds=words.interval(low * _PER, high * _PER, "", 0),
        now=number(share.now.share * _PER, "", 0),
    )


def _unclear(left: list[Share]) -> str:
    """Lines of which no change is claimed, those with one reason together."""
    t = texts("month")["sentences"]
    reasons: dict[str, list[str]] = {}
    for share in left:
        now = number(share.now.share * _PER, "", 0)
        said = t["at"].format(name=share.name, now=now) if share.now.enough else share.name
        reasons.setdefault(share.why_not, []).append(said)
    return "; ".join(t["for_a_reason"].format(names=words.join(names), why=why) for why, names in reasons.items())


def _made(snapshot: Snapshot, first: date, last: date) -> str:
    t = texts("month")["made"]
    rows = snapshot.output
    rows = of_days(rows, first, last)
    if not len(rows):
        return t["none"]
    blank = int(rows["pieces_wasted"].isna().sum())
    return t["some_blank" if blank else "all_written"].format(
        made=number(rows["pieces_made"].sum(), "pieces"),
        wasted=number(rows["pieces_wasted"].sum(), "pieces"),
        shifts=words.count(blank, *texts("month")["counted"]["shift"]),
    )


def _curves(snapshot: Snapshot, first: date, last: date) -> tuple[tuple[str, Curve], ...]:
    found: dict[tuple[str, str], Curve] = {}
    for charted in sorted(snapshot.charted, key=lambda c: (c.stream.line or "", in_order(c))):
        stream = charted.stream
        if stream.line and (place := (stream.line, stream.product or "")) not in found:
            drawn = curve(charted, snapshot, first, last)
            if drawn.dots:
                found[place] = drawn
    return tuple((f"{line}, {product}", drawn) for (line, product), drawn in sorted(found.items()))


def _repeats(snapshot: Snapshot, first: date, last: date) -> tuple[Item, ...]:
    """Causes that were named more than once in the month and of which a case is still open."""
    groups: dict[str, list[Alert]] = {}
    for alert in each_once(snapshot.alerts):
        if on_during(alert, first, last, snapshot.plant):
            groups.setdefault(_cause(alert), []).append(alert)
    found = [
        (cause, alike) for cause, alike in groups.items() if len(alike) > 1 and any(a.case != "closed" for a in alike)
    ]
    found.sort(key=lambda pair: (_unexplained(pair[1][0]), -len(pair[1]), pair[0]))
    return tuple(_repeat(cause, alike, snapshot) for cause, alike in found)


def _records(snapshot: Snapshot, first: date, last: date) -> tuple[str, ...]:
    """How often each kind of call of the month was right, by what people found; empty where none was closed yet."""
    closed = [
        (cast("Group", alert.closed_as[0]), alert.finding)
        for alert in snapshot.alerts
        if alert.finding and alert.closed_as and on_during(alert, first, last, snapshot.plant)
    ]
    return tuple(words.sentence(kind.says) for kind in findings.rates(closed)) if closed else ()


def _lead(alert: Alert) -> Cause | None:
    return max(alert.causes, key=lambda c: c.share, default=None)


def _unexplained(alert: Alert) -> bool:
    lead = _lead(alert)
    return lead is not None and lead.group == "unexplained"


def _cause(alert: Alert) -> str:
    """What an alert is filed under: the leading group and where, or the limit that was broken and where."""
    lead, title = _lead(alert), words.characteristic(alert.characteristic).title
    if lead is None:
        return title
    return texts("month")["repeats"]["cause"].format(group=lead.group.capitalize(), what=title.lower())


def _repeat(cause: str, alike: list[Alert], snapshot: Snapshot) -> Item:
    zone, t = snapshot.plant.zone, texts("month")
    open_ = sum(a.case != "closed" for a in alike)
    drivers = sorted({lead.driver for a in alike if (lead := _lead(a))})
    ordered = sorted(alike, key=lambda a: a.began_at)
    times = tuple(dict.fromkeys(f"{words.when(a.began_at, zone)}: {where(a)}" for a in ordered))[-6:]
    says = t["repeats"]["says"].format(alerts=words.count(len(alike), *t["counted"]["alert"]), open=open_)
    return Item("review", cause, f"{says} {' '.join(map(words.sentence, drivers[:3]))}".strip(), times)
