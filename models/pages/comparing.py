"""Loaves outside the window, month against month; lines side by side. Differences with intervals, no ranking."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, timedelta
from itertools import combinations
from statistics import NormalDist
from typing import TYPE_CHECKING

from models.pages import words
from models.pages.production_day import of_days
from models.pages.rates import (
    MIN_DAYS,
    NOTHING,
    Difference,
    Rate,
    Summed,
    few,
    likeness,
    paired_difference,
    rate,
    rate_difference,
)
from models.pages.words import number
from models.texts import texts

if TYPE_CHECKING:
    import pandas as pd

    from models.snapshot import Snapshot


@dataclass(frozen=True)
class Share:
    """Loaves of one line and product outside the window, this month and the month before. Shares 0 to 1.

    change: this month less the one before, None where either has too few days; why_not: why no change is claimed.
    """

    name: str
    now: Rate
    before: Rate
    change: Difference | None
    why_not: str


@dataclass(frozen=True)
class Comparison:
    """Two lines on one product and one instrument: mean difference (second less first) over the days both ran, mL/g."""

    product: str
    instrument: str
    first: str
    second: str
    difference: Difference
    says: str


def shares(snapshot: Snapshot, first: date, last: date) -> tuple[Share, ...]:
    """Every line and product with a window; intervals hold with 95 % for all of them together."""
    plant = snapshot.plant
    pairs = [(line, name) for line in sorted(plant.lines) for name in plant.lines[line].products]
    loaves = snapshot.counted.judged
    z = NormalDist().inv_cdf(1 - 0.025 / max(1, len(pairs)))
    before = (first - timedelta(days=1)).replace(day=1), first - timedelta(days=1)
    return tuple(_share(snapshot, loaves, pair, (first, last), before, z) for pair in pairs)


def _share(
    snapshot: Snapshot,
    loaves: pd.DataFrame,
    pair: tuple[str, str],
    span: tuple[date, date],
    before: tuple[date, date],
    z: float,
) -> Share:
    line, product = pair
    mine = loaves[(loaves["line"] == line) & (loaves["product"] == product)]
    now, then = _rate(mine, span, z), _rate(mine, before, z)
    name = f"{line} {product}"
    t = texts("month")["shares"]
    if snapshot.plant.lines[line].lidded:
        return Share(name, NOTHING, NOTHING, None, t["lidded"])
    if snapshot.plant.products[product].specific_volume is None:
        return Share(name, NOTHING, NOTHING, None, t["no_window"])
    if not now.n:
        return Share(name, now, then, None, t["no_loaves"])
    if not now.enough:
        days = words.count(now.days, *texts("month")["counted"]["day"])
        return Share(name, now, then, None, t["few_days"].format(days=days, least=MIN_DAYS))
    if not then.enough:
        return Share(name, now, then, None, t["few_before"])
    return Share(name, now, then, rate_difference(now, then), t["chance"])


def _rate(loaves: pd.DataFrame, span: tuple[date, date], z: float) -> Rate:
    """loaves: one line and product, as `trade.placed.Counted.judged`."""
    days = loaves[loaves["shift_date"].between(str(span[0]), str(span[1]))]
    hits, sizes = days["outside"].tolist(), days["count"].tolist()
    alike = [Summed(*sums) for sums in days[["count", "total", "squares"]].itertuples(index=False, name=None)]
    return rate(hits, sizes, z, likeness(alike) if few(hits, sizes) else 1.0)


def comparisons(snapshot: Snapshot, first: date, last: date) -> tuple[tuple[Comparison, ...], tuple[str, ...]]:
    """Pairs of lines that make one product and are measured on one instrument, and why other pairs are not compared."""
    rows = of_days(snapshot.batches, first, last)
    rows = rows[rows["specific_volume"].notna()]
    open_lines = [name for name, line in snapshot.plant.lines.items() if not line.lidded]
    rows = rows.loc[rows["line"].isin(open_lines), ["product", "line", "shift_date", "volumeter", "specific_volume"]]
    of_line = {(str(product), str(line)): _daily(mine) for (product, line), mine in rows.groupby(["product", "line"])}
    pairs = [
        (str(product), a, b)
        for product, alike in rows.groupby("product", sort=True)
        for a, b in combinations(sorted(alike["line"].unique()), 2)
    ]
    found = [_compare(of_line, pair, len(pairs)) for pair in pairs]
    return tuple(f for f in found if isinstance(f, Comparison)), tuple(f for f in found if isinstance(f, str))


Daily = dict[str, dict[date, float]]
"""Instrument -> production day -> mean specific volume, mL/g."""


def _compare(of_line: dict[tuple[str, str], Daily], pair: tuple[str, str, str], many: int) -> Comparison | str:
    product, first, second = pair
    mine = of_line[product, first], of_line[product, second]
    shared = sorted(set(mine[0]) & set(mine[1]))
    best: tuple[Difference, str] | None = None
    for instrument in shared:
        difference = paired_difference(mine[0][instrument], mine[1][instrument], many)
        if difference and (best is None or difference.n > best[0].n):
            best = difference, instrument
    if best is None:
        why = texts("month")["compared"]["few_days" if shared else "no_volumeter"]
        return why.format(first=first, second=second, product=product, least=MIN_DAYS)
    difference, instrument = best
    return Comparison(product, instrument, first, second, difference, _says(difference, first, second))


def _instruments(rows: pd.DataFrame) -> Iterator[str]:
    """Volumeters by name; a batch measured on several, or on one nobody named, says nothing here."""
    yield from (name for name in rows["volumeter"].dropna().unique() if name and "+" not in name)


def _daily(rows: pd.DataFrame) -> Daily:
    """A line's batches of one product by instrument and day."""
    import pandas as pd

    found: Daily = {}
    for instrument in _instruments(rows):
        means = rows[rows["volumeter"] == instrument].groupby("shift_date", sort=True)["specific_volume"].mean()
        found[instrument] = {pd.Timestamp(str(stamp)).date(): float(value) for stamp, value in means.items()}
    return found


def _says(difference: Difference, first: str, second: str) -> str:
    t = texts("month")["compared"]
    bounds = words.interval(difference.low, difference.high, "mL/g", words.finer("mL/g"), signed=True)
    days = words.count(difference.n, *texts("month")["counted"]["day"])
    if not difference.clear:
        return t["not_clear"].format(bounds=bounds, days=days)
    larger = second if difference.value > 0 else first
    size = number(abs(difference.value), "mL/g", words.finer("mL/g"))
    return t["larger"].format(larger=larger, size=size, bounds=bounds, first=first, second=second, days=days)
