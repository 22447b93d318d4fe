"""The day as the QA lead reads it at seven: what is held, what was not checked, what changed, and why."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING

from models.pages import held, reckoning, words
from models.pages.changes import Change, change
from models.pages.cooks import Cooks, cooks
from models.pages.curves import curve, in_order, weeks_before
from models.pages.footing import footing
from models.pages.notchecked import not_checked
from models.pages.production_day import of_day, on_during
from models.pages.recooled import recooled
from models.pages.rowaccount import Account, account, restated
from models.pages.shown import Curve, Footing, Item, Sheet, State, Tallies
from models.pages.tables import Head, of_batches
from models.pages.weights import Weights, weights
from models.pages.words import slug

if TYPE_CHECKING:
    import pandas as pd

    from models.shapes import Alert, Charted, Stream
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
    reckoning: tuple[str, ...] = ()
    outside: tuple[Tallies, ...] = ()


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
    corrected: Sheet
    late: str
    weights: Weights
    lines: tuple[Line, ...]
    plantwide: tuple[Curve, ...]
    cooks: Cooks
    account: Account
    footing: Footing
    believed: str = ""
    quarantined: Tallies | None = None
    held_cautions: tuple[str, ...] = ()


def day(snapshot: Snapshot, which: date | str) -> Day:
    """The production day `which` (a date, or "2026-05-05"), told from the snapshot alone.

    Raises ValueError, one line, for a text that is no date.
    """
    on = date_of(which)
    holds, cooled = held.holds(snapshot, on), tuple(recooled(snapshot, on))
    review = (*held.to_act_on(snapshot, on), *held.beyond_limits(snapshot, on))
    unchecked = not_checked(snapshot, on)
    sheet, corrected, late = restated(snapshot, on)
    lines = tuple(_line(snapshot, name, on) for name in sorted(snapshot.plant.lines))
    counts = {
        "held": sum(hold.stands for hold in holds),
        "to decide": len(cooled) + len(held.rows_to_decide(snapshot, on)),
        "to review": len(review),
        "gaps in what was checked": len(unchecked),
    }
    return Day(
        date=on,
        plant=snapshot.plant.plant,
        title=words.long_day(on),
        lead=_lead(snapshot, on, counts, lines),
        held=held.shown(holds, snapshot, on),
        to_decide=(*cooled, *held.to_decide(snapshot, on)),
        to_review=review,
        not_checked=unchecked,
        restated=sheet,
        corrected=corrected,
        late=late,
        weights=weights(snapshot, on),
        lines=lines,
        plantwide=_plantwide(snapshot, on),
        cooks=cooks(snapshot, on),
        account=account(snapshot, on),
        footing=footing(snapshot),
        believed=reckoning.believed_of(snapshot, on),
        quarantined=reckoning.quarantined_of(snapshot, on),
        held_cautions=held.cautions_of(holds, snapshot),
    )


def date_of(which: date | str) -> date:
    """A production day from its text. Raises ValueError that says how a day is written."""
    if isinstance(which, date):
        return which
    try:
        return date.fromisoformat(which)
    except ValueError:
        raise ValueError(f"{which}: there is no such day; it is written like 2026-05-06") from None


def _lead(snapshot: Snapshot, on: date, counts: dict[str, int], lines: tuple[Line, ...]) -> tuple[str, ...]:
    """What the QA lead would say first: what was made, what is open, and the changes that last."""
    doughs, pastes = len(of_day(snapshot.batches, on)), len(of_day(snapshot.pastes, on))
    if not doughs and not pastes:
        return ("No dough and no paste is recorded for this day. That is not the same as a day without production.",)
    made = f"{words.counted(doughs, 'dough')} and {words.counted(pastes, 'paste')}."
    counted = "; ".join(f"{many or 'nothing'} {what}" for what, many in counts.items())
    changed = [f"{line.line}: {words.sentence(_moved(c))}" for line in lines for c in line.changes if not c.over]
    return made, words.sentence(counted), *changed[:4]


def _moved(change: Change) -> str:
    """What moved and how big, without the line: "specific volume 4.5 % small, about 85 mL on a 400 g loaf"."""
    what, size = change.title.split(": ", 1)[-1], change.size.split(" (")[0]
    _, comma, on_a_loaf = size.partition(", ")
    return f"{what}{comma}{on_a_loaf}"


def _line(snapshot: Snapshot, name: str, on: date) -> Line:
    batches = of_day(snapshot.batches, on)
    batches = batches[batches["line"] == name]
    charted = sorted((c for c in snapshot.charted if c.stream.line == name), key=in_order)
    main = _main(charted)
    curves = [(c.stream in main, curve(c, snapshot, weeks_before(on), on, today=on)) for c in charted]
    alerts = sorted(
        (a for a in snapshot.alerts if a.line == name and _told(a) and on_during(a, on, on, snapshot.plant)),
        key=lambda a: (a.began_at, a.alert),
    )
    made = set(batches["product"])
    learning = any(c.state in ("learning", "no data") for c in charted if c.stream in main and c.stream.product in made)
    state, says = _state(snapshot, name, batches, alerts, learning)
    return Line(
        line=name,
        state=state,
        says=says,
        main=tuple(drawn for leads, drawn in curves if leads),
        others=tuple(drawn for leads, drawn in curves if not leads and drawn.dots),
        changes=tuple(change(a, snapshot, on) for a in alerts),
        batches=_batches(snapshot, name, batches, on),
        reckoning=reckoning.worth_of(snapshot, name, on),
        outside=reckoning.outside_of(snapshot, name, on),
    )


def _told(alert: Alert) -> bool:
    """Charted changes, and broken limits that were traced, are told with their line."""
    return alert.kind == "chart" or bool(alert.causes)


def _plantwide(snapshot: Snapshot, on: date) -> tuple[Curve, ...]:
    """Streams that belong to no line and no kettle, like the gassing power of the yeast lots."""
    found = sorted((c for c in snapshot.charted if not c.stream.line and not c.stream.kettle), key=in_order)
    drawn = (curve(c, snapshot, weeks_before(on), on, today=on) for c in found)
    return tuple(c for c in drawn if c.dots)


def _main(charted: list[Charted]) -> set[Stream]:
    """The first stream of each product: specific volume, or what stands in for it on a lidded line."""
    first: dict[str | None, Stream] = {}
    for one in charted:
        first.setdefault(one.stream.product, one.stream)
    return set(first.values())


def _state(
    snapshot: Snapshot, name: str, batches: pd.DataFrame, alerts: list[Alert], learning: bool
) -> tuple[State, str]:
    """A line's state in a word, and what it rests on."""
    measured = int((batches["loaves"].fillna(0) > 0).sum())
    n = f"{measured} of {words.counted(len(batches), 'dough')} measured"
    lidded = snapshot.plant.lines[name].lidded
    rider = " The lid fixes the volume, so specific volume is no sign here." if lidded else ""
    if not len(batches):
        return "unchecked", f"No dough is recorded.{rider}"
    if alerts:
        state: State = "now" if any(a.urgency == "now" for a in alerts) else "review"
        return state, f"{words.sentence(held.headline(alerts[0]).split(': ', 1)[1])} {n}.{rider}"
    if not measured:
        return "unchecked", f"None of {words.counted(len(batches), 'dough')} has loaves yet.{rider}"
    if learning or not any(c.stream.line == name for c in snapshot.charted):
        return "learning", f"Too little history to judge small changes; {n}.{rider}"
    return "steady", f"No lasting change seen; {n}.{rider}"


_BATCHES = (
    Head("dough_batch", "Dough", kind="text"),
    Head("product", "Product", kind="text"),
    Head("mixed_at", "Mixed", kind="time"),
    Head("loaves", "Loaves", "n"),
    Head("specific_volume", "Specific volume", "mL/g"),
    Head("specific_volume_sd", "Spread, sd", "mL/g"),
    Head("volume_ml", "Volume", "mL"),
    Head("baked_g", "Weight", "g"),
    Head("bake_loss_pct", "Bake loss", "%"),
    Head("dough_temp_c", "Dough", "°C"),
    Head("proof_minutes", "Proof", "min"),
    Head("yeast_lot", "Yeast lot", kind="text"),
)


def _batches(snapshot: Snapshot, name: str, batches: pd.DataFrame, on: date) -> Sheet:
    one = len(snapshot.plant.lines[name].products) == 1
    heads = [head for head in _BATCHES if not (one and head.column == "product")]
    empty = f"No dough is recorded on {name}."
    return of_batches(snapshot, on, f"batches-{slug(name)}", f"The batches of {name}", heads, batches, empty)
