"""What a page stands on: its limits and who approved them, its baselines, the span of its data."""

from __future__ import annotations

from datetime import date
from typing import TYPE_CHECKING

from models.pages import words
from models.pages.curves import baseline_says, in_order
from models.pages.shown import Footing
from models.pages.words import number
from models.plant import Paste, Plant, Window
from models.texts import texts

if TYPE_CHECKING:
    from models.snapshot import Snapshot


def footing(snapshot: Snapshot) -> Footing:
    """Limits, baselines, data span and version of everything that is reported from this snapshot."""
    plant = snapshot.plant
    return Footing(
        approval=_approval(snapshot),
        limits=tuple(_limits(plant)),
        defaults=plant.defaults,
        baselines=tuple(_baselines(snapshot)),
        data=data_span(snapshot),
        version=f"loaftrace {snapshot.version}",
    )


def approval(plant: Plant) -> str:
    """Who approved the limits of the plant file, and when, or that nobody is named."""
    by, on = plant.limits.approved_by, plant.limits.approved_on
    t = texts("footing")["approval"]
    if not by:
        return t["nobody"]
    return t["approved"].format(by=by, on=on) if on else t["undated"].format(by=by)


def _approval(snapshot: Snapshot) -> str:
    """With a word on limits approved after the newest log: a date that is early, or typed wrong.

    Told by the logs, not by a clock.
    """
    on, ends, said = snapshot.plant.limits.approved_on, _ends(snapshot), approval(snapshot.plant)
    if not (on and ends) or date.fromisoformat(on) <= max(ends):
        return said
    return f"{said} {texts('footing')['approval']['later']}"


def _ends(snapshot: Snapshot) -> list[date]:
    """First and last production days of doughs and of pastes."""
    known = [frame["shift_date"].dropna() for frame in (snapshot.batches, snapshot.pastes)]
    return [day.date() for days in known if len(days) for day in (days.min(), days.max())]


def data_span(snapshot: Snapshot) -> str:
    """First and last production day with a dough or a paste."""
    ends, t = _ends(snapshot), texts("footing")["data"]
    if not ends:
        return t["none"]
    return t["span"].format(
        span=words.span(min(ends), max(ends)),
        doughs=words.count(len(snapshot.batches), *t["dough_batch"]),
        pastes=words.count(len(snapshot.pastes), *t["paste_batch"]),
    )


def _window(window: Window, unit: str) -> dict[str, str]:
    return {"warn": words.interval(*window.warn, unit), "act": words.interval(*window.act, unit)}


def _limits(plant: Plant) -> list[str]:
    t = texts("footing")["limits"]
    said = [line for name, paste in sorted(plant.pastes.items()) for line in _of_paste(name, paste)]
    for name, product in sorted(plant.products.items()):
        said.append(t["dough_temp"].format(name=name, **_window(product.dough_temp_c, "°C")))
        if product.specific_volume:
            said.append(t["volume"].format(name=name, window=words.interval(*product.specific_volume, "mL/g")))
    said.append(_cooling(plant))
    if any(product.label_g for product in plant.products.values()):
        rule = plant.net_weight
        said.append(t["net_weight"].format(rule=rule.rule, cooled=number(rule.min_cooled_minutes, "min")))
    said.append(t["sampling"].format(loaves=words.count(plant.sampling.loaves_per_batch, *t["loaf"])))
    said.append(t["alarms"].format(n=number(plant.alarms.false_alarms_per_week)))
    return said


def _of_paste(name: str, paste: Paste) -> tuple[str, ...]:
    t, points = texts("footing")["limits"], paste.hydration_points
    usual = number(paste.usual_loss_pct, "% of Wb")
    return (
        t["cook_temp"].format(name=name, **_window(paste.cook_temp_c, "°C")),
        t["loss"].format(name=name, usual=usual, **_window(paste.loss_pct, "% of Wb")),
        t["hydration"].format(name=name, warn=number(points.warn, "points"), act=number(points.act, "points")),
    )


def _cooling(plant: Plant) -> str:
    t, cooling = texts("footing")["limits"], plant.cooling
    if cooling is None:
        return t["no_cooling"]
    return t["cooling"].format(
        first=number(cooling.to_21_c_within_h, "h"), both=number(cooling.to_5_c_within_h, "h"), by=cooling.approved_by
    )


def _baselines(snapshot: Snapshot) -> list[str]:
    said = []
    for charted in sorted(snapshot.charted, key=lambda c: (c.stream.line or "", c.stream.kettle or "", in_order(c))):
        stream = charted.stream
        t = texts("footing")["baselines"]
        where = " ".join(part for part in (stream.kettle, stream.line, stream.product) if part) or t["all_lines"]
        title = words.characteristic(stream.characteristic).title.lower()
        said.append(t["line"].format(where=where, what=title, baseline=baseline_says(charted, snapshot)))
    return said
