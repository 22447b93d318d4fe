"""The day as the QA lead reads it at seven: what is held, what was not checked, what changed, and why."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING

from models import held, words
from models.rowaccount import Account, account, restated
from models.changes import Change, change
from models.cooks import Cooks, cooks, levels_of
from models.curves import curve, in_order, weeks_before
from models.footing import footing
from models.notchecked import not_checked
from models.production_day import of_day, on_during
from models.shown import Cell, Curve, Footing, Item, Sheet, State
from models.words import number

if TYPE_CHECKING:
    import pandas as pd

    from models.shapes import Charted
    from models.snapshot import Snapshot


@dataclass(frozen=True)
class Line:
    """One line's day. `main`: the curve of each product; `others`: its parts and drivers."""

    line: str
    state: State
    says: str
    main: tuple[Curve, ...]
    others: tuple[Curve, ...]
    changes: tuple[Change, ...]
    batches: Sheet


@dataclass(frozen=True)
class Day:
    """Everything on the day page, in its order."""

    date: date
    plant: str
    title: str
    lead: tuple[str, ...]
    held: tuple[Item, ...]
    to_decide: tuple[Item, ...]
    to_review: tuple[Item, ...]
    not_checked: tuple[Item, ...]
    restated: Sheet
    corrected: str
    lines: tuple[Line, ...]
    cooks: Cooks
    account: Account
    footing: Footing


def day(snapshot: Snapshot, on: date) -> Day:
    """The production day `on`, told from the snapshot alone."""
    held_items, waiting = held.holds(snapshot, on), held.to_decide(snapshot, on)
    review = (*held.to_act_on(snapshot, on), *held.beyond_limits(snapshot, on))
    unchecked = not_checked(snapshot, on)
    sheet, corrected = restated(snapshot, on)
    lines = tuple(_line(snapshot, name, on) for name in sorted(snapshot.plant.lines))
    return Day(
        date=on,
        plant=snapshot.plant.plant,
        title=words.long_day(on),
        lead=_lead(snapshot, on, held_items, waiting, review, unchecked),
        held=held_items,
        to_decide=waiting,
        to_review=review,
        not_checked=unchecked,
        restated=sheet,
        corrected=corrected,
        lines=lines,
        cooks=cooks(snapshot, on),
        account=account(snapshot, on),
        footing=footing(snapshot),
    )


def days(snapshot: Snapshot) -> tuple[date, ...]:
    """The production days that have a page: those with a dough, a paste or a row that was left out."""
    frames = (snapshot.batches, snapshot.pastes, snapshot.excluded)
    found = {stamp.date() for frame in frames for stamp in frame["shift_date"].dropna().unique()}
    return tuple(sorted(found))


def _lead(
    snapshot: Snapshot,
    on: date,
    held_items: tuple[Item, ...],
    waiting: tuple[Item, ...],
    review: tuple[Item, ...],
    unchecked: tuple[Item, ...],
) -> tuple[str, ...]:
    doughs, pastes = len(of_day(snapshot.batches, on)), len(of_day(snapshot.pastes, on))
    if not doughs and not pastes:
        return ("No dough and no paste is recorded for this day. That is not the same as a day without production.",)
    made = f"{words.count(doughs, 'dough')} and {words.count(pastes, 'paste')}"
    open_ = words.join(
        [
            words.count(len(held_items), "thing") + " held",
            words.count(len(waiting), "thing") + " to decide",
            words.count(len(review), "thing") + " to review",
            words.count(len(unchecked), "thing") + " not checked",
        ]
    )
    return f"{made}.", f"{words.sentence(open_)}"


def _line(snapshot: Snapshot, name: str, on: date) -> Line:
    batches = of_day(snapshot.batches, on)
    batches = batches[batches["line"] == name]
    charted = sorted((c for c in snapshot.charted if c.stream.line == name), key=in_order)
    curves = [(c, curve(c, snapshot, weeks_before(on), on, today=on)) for c in charted]
    main = _main(charted)
    alerts = [
        a for a in snapshot.alerts if a.line == name and a.kind == "chart" and on_during(a, on, on, snapshot.plant)
    ]
    state, says = _state(snapshot, name, batches, main, [c for s, c in curves if s in main], alerts)
    return Line(
        line=name,
        state=state,
        says=says,
        main=tuple(c for s, c in curves if s in main),
        others=tuple(c for s, c in curves if s not in main and c.dots),
        changes=tuple(change(a, snapshot) for a in sorted(alerts, key=lambda a: (a.began_at, a.alert))),
        batches=_batches(snapshot, name, batches),
    )


def _main(charted: list[Charted]) -> list[Charted]:
    """The first stream of each product: specific volume, or what stands in for it on a lidded line."""
    first: dict[str | None, Charted] = {}
    for stream in charted:
        first.setdefault(stream.stream.product, stream)
    return list(first.values())


def _state(
    snapshot: Snapshot, name: str, batches: pd.DataFrame, main: list[Charted], curves: list[Curve], alerts: list
) -> tuple[State, str]:
    measured = sum(dot.today for c in curves for dot in c.dots)
    n = f"{measured} of {words.count(len(batches), 'dough')} measured"
    lidded = (
        " The lid fixes the volume, so specific volume is no sign here." if snapshot.plant.lines[name].lidded else ""
    )
    if not len(batches):
        return "unchecked", f"No dough is recorded.{lidded}"
    if alerts:
        return "review", f"{words.sentence(held.headline(alerts[0]).split(': ', 1)[1])} {n}.{lidded}"
    if not measured:
        return "unchecked", f"None of {words.count(len(batches), 'dough')} has loaves yet.{lidded}"
    if any(c.state in ("learning", "no data") for c in main):
        return "learning", f"Too little history to judge small changes. {n}.{lidded}"
    return "steady", f"No lasting change seen; {n}.{lidded}"


_BATCHES = (
    ("dough_batch", "Dough", ""), ("product", "Product", ""), ("mixed_at", "Mixed", "time"), ("loaves", "Loaves", ""),
    ("specific_volume", "Specific volume", "mL/g"), ("specific_volume_sd", "Spread (sd)", "mL/g"), ("volume_ml", "Volume", "mL"),
    ("baked_g", "Weight", "g"), ("bake_loss_pct", "Bake loss", "%"), ("dough_temp_c", "Dough", "°C"), ("proof_minutes", "Proof", "min"),
    ("yeast_lot", "Yeast lot", ""),
)  # fmt: skip


def _batches(snapshot: Snapshot, name: str, batches: pd.DataFrame) -> Sheet:
    levels = levels_of(snapshot)
    heads = tuple(f"{title}, {unit}" if unit not in ("", "time") else title for _, title, unit in _BATCHES)
    rows = []
    for row in batches.to_dict("records"):
        cells = []
        for column, _, unit in _BATCHES:
            value = row[column]
            if words.missing(value):
                cells.append(Cell(words.NOT_RECORDED, "missing"))
            elif unit == "time":
                cells.append(Cell(words.clock(value, snapshot.plant.zone)))
            elif isinstance(value, str):
                cells.append(Cell(value))
            else:
                shown = number(value, unit).split("\u00a0")[0] if unit else number(value, "", 0)
                cells.append(Cell(shown, levels.get((row["batch_key"], column), ""), number=True))
        rows.append(tuple(cells))
    says = f"The batches of {name}"
    return Sheet(f"batches-{name}".lower(), says, heads, tuple(rows), f"No dough is recorded on {name}.")
