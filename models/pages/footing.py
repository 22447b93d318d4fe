"""What a page stands on: its limits and who approved them, its baselines, the span of its data."""

from __future__ import annotations

from datetime import date
from typing import TYPE_CHECKING

from models.pages import words
from models.pages.curves import baseline_says, in_order
from models.pages.shown import Footing
from models.pages.words import number
from models.plant import Plant, Window

if TYPE_CHECKING:
    from models.snapshot import Snapshot


def footing(snapshot: Snapshot) -> Footing:
    """Limits, baselines, data span and version of everything that is reported from this snapshot."""
    plant = snapshot.plant
    return Footing(
        approval=approval(plant) + _later(snapshot),
        limits=tuple(_limits(plant)),
        defaults=plant.defaults,
        baselines=tuple(_baselines(snapshot)),
        data=data_span(snapshot),
        version=f"loaftrace {snapshot.version}",
    )


def approval(plant: Plant) -> str:
    """Who approved the limits of the plant file, and when, or that nobody is named."""
    by, on = plant.limits.approved_by, plant.limits.approved_on
    if not by:
        return "Nobody is named in the plant file as having approved its limits."
    return f"Limits of the plant file approved by {by}, {on or 'no date given'}."


def _later(snapshot: Snapshot) -> str:
    """Limits approved after the newest log: a date that is early, or typed wrong. Told by the logs, not by a clock."""
    on, ends = snapshot.plant.limits.approved_on, _ends(snapshot)
    if not (on and ends) or date.fromisoformat(on) <= max(ends):
        return ""
    return " That date is after the newest log: is it right?"


def _ends(snapshot: Snapshot) -> list[date]:
    """First and last production days of doughs and of pastes."""
    known = [frame["shift_date"].dropna() for frame in (snapshot.batches, snapshot.pastes)]
    return [day.date() for days in known if len(days) for day in (days.min(), days.max())]


def data_span(snapshot: Snapshot) -> str:
    """First and last production day with a dough or a paste."""
    ends = _ends(snapshot)
    if not ends:
        return "No dough and no paste is in the store yet."
    first, last = min(ends), max(ends)
    batches = words.count(len(snapshot.batches), "dough batch", "dough batches")
    pastes = words.count(len(snapshot.pastes), "paste batch", "paste batches")
    return f"Data in the store: {words.span(first, last)}, {batches}, {pastes}."


def _window(window: Window, unit: str) -> str:
    return f"warning outside {words.interval(*window.warn, unit)}, action outside {words.interval(*window.act, unit)}"


def _limits(plant: Plant) -> list[str]:
    said = []
    for name, paste in sorted(plant.pastes.items()):
        said.append(f"{name}: cook temperature {_window(paste.cook_temp_c, '°C')}")
        said.append(
            f"{name}: loss {_window(paste.loss_pct, '% of Wb')}; usual {number(paste.usual_loss_pct, '% of Wb')}"
        )
        points = paste.hydration_points
        said.append(
            f"{name}: hydration lost beyond the usual, warning above {number(points.warn, 'points')},"
            f" action above {number(points.act, 'points')}"
        )
    for name, product in sorted(plant.products.items()):
        said.append(f"{name}: dough temperature {_window(product.dough_temp_c, '°C')}")
        if product.specific_volume:
            said.append(f"{name}: specific volume {words.interval(*product.specific_volume, 'mL/g')}")
    said.append(_cooling(plant))
    if any(product.label_g for product in plant.products.values()):
        rule = plant.net_weight
        said.append(
            f"Net weight: by {rule.rule}, loaves measured less than {number(rule.min_cooled_minutes, 'min')} out of the oven left out"
        )
    said.append(f"Sampling: {words.count(plant.sampling.loaves_per_batch, 'loaf', 'loaves')} a dough batch")
    said.append(f"Alarm budget: {number(plant.alarms.false_alarms_per_week)} false alarms a week, the whole plant")
    return said


def _cooling(plant: Plant) -> str:
    if plant.cooling is None:
        return "Cooling: the plant file names no limits, so cooling is not checked"
    cooling = plant.cooling
    return (
        f"Cooling: to 21 °C within {number(cooling.to_21_c_within_h, 'h')} and to 5 °C within"
        f" {number(cooling.to_5_c_within_h, 'h')} of the end of cooking, approved by {cooling.approved_by}"
    )


def _baselines(snapshot: Snapshot) -> list[str]:
    said = []
    for charted in sorted(snapshot.charted, key=lambda c: (c.stream.line or "", c.stream.kettle or "", in_order(c))):
        stream = charted.stream
        where = " ".join(part for part in (stream.kettle, stream.line, stream.product) if part)
        title = words.characteristic(stream.characteristic).title.lower()
        said.append(f"{where}, {title}: {baseline_says(charted.baseline, stream.unit, snapshot)}")
    return said
