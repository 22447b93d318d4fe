"""Alerts of the weight law: a shift's loaves of one line and product that speak against their label.

Shift by shift, because a divider set light for one shift hides in the mean of the day. Held from the first
dough of the first such shift; over when a later shift's loaves speak for the label. Short of a full sample
the verdict is indicative, and says so: a hold is cheap, bread that left is not.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from models.alarms import alerts, reaction
from models.shapes import Alert
from models.trade.netweight import NetWeight, verdicts

if TYPE_CHECKING:
    import pandas as pd

    from models.plant import Plant

NAME = "net weight"


def raise_alerts(
    plant: Plant, batches: pd.DataFrame, loaves: pd.DataFrame, output: pd.DataFrame | None, checks: pd.DataFrame | None
) -> list[Alert]:
    """One alert an episode of shifts whose loaves speak against the label. Frames as `netweight.verdicts` takes them."""
    found: list[Alert] = []
    on: dict[tuple[str, str], Alert] = {}
    weighed = batches[batches["batch_key"].isin(loaves["batch_key"].unique())]
    for shift, verdict in _by_shift(plant, weighed, loaves, output, checks):
        key = (verdict.line, verdict.product)
        if _against(verdict):
            mine = weighed[
                (weighed["line"] == key[0])
                & (weighed["product"] == key[1])
                & (weighed["shift_date"] == verdict.day)
                & (weighed["shift"] == shift)
            ]
            before = on.pop(key, None)
            on[key] = _longer(before, mine, verdict, shift) if before else _alert(plant, mine, verdict, shift)
        elif key in on and verdict.leaning == "met":
            found.append(replace(on.pop(key), signal="over"))
    return found + list(on.values())


def _by_shift(
    plant: Plant, weighed: pd.DataFrame, loaves: pd.DataFrame, output: pd.DataFrame | None, checks: pd.DataFrame | None
) -> list[tuple[str, NetWeight]]:
    """Verdicts in order of production: by day, then by the shift's start."""
    order = {shift: n for n, shift in enumerate(plant.shifts)}
    found = []
    for shift in order:
        made = output[output["shift"] == shift] if output is not None else None
        found += [
            (shift, verdict) for verdict in verdicts(plant, weighed[weighed["shift"] == shift], loaves, made, checks)
        ]
    return sorted(found, key=lambda pair: (pair[1].day, order[pair[0]], pair[1].line, pair[1].product))


def _against(verdict: NetWeight) -> bool:
    return verdict.verdict == "not met" or (verdict.verdict == "indicative" and verdict.leaning == "not met")


def _says(verdict: NetWeight, shift: str) -> str:
    sure = "not met" if verdict.verdict == "not met" else "would not be met, indicative"
    beyond = f", {verdict.below_t1} below {verdict.t1_g:g} g" if verdict.below_t1 and verdict.t1_g is not None else ""
    return (
        f"mean {verdict.mean_g or 0.0:.1f} g against a label of {verdict.label_g:g} g "
        f"({verdict.n} loaves of shift {shift}{beyond}); {verdict.rule} {sure}"
    )


def _alert(plant: Plant, mine: pd.DataFrame, verdict: NetWeight, shift: str) -> Alert:
    first, last = mine.iloc[0], mine.iloc[-1]
    return Alert(
        alert=alerts.identity(
            plant.plant, "limit", NAME, verdict.line, None, verdict.product, "low", last["batch_key"]
        ),
        kind="limit",
        urgency="hold",
        signal="on",
        case="open",
        plant=plant.plant,
        line=verdict.line,
        kettle=None,
        product=verdict.product,
        characteristic=NAME,
        direction="low",
        unit="g",
        signalled_at_batch=last["batch_key"],
        signalled_at=last["mixed_at"],
        began_at_batch=first["batch_key"],
        began_at=first["mixed_at"],
        until_batch=last["batch_key"],
        until_at=last["mixed_at"],
        change=_short(verdict),
        check_first=reaction.check_first(NAME, "low"),
        says=_says(verdict, shift),
        level=verdict.label_g,
        batches=tuple(mine["batch_key"]),
        rule=verdict.rule,
    )


def _longer(alert: Alert, mine: pd.DataFrame, verdict: NetWeight, shift: str) -> Alert:
    last = mine.iloc[-1]
    return replace(
        alert,
        until_batch=last["batch_key"],
        until_at=last["mixed_at"],
        change=_short(verdict),
        says=_says(verdict, shift),
        batches=(*alert.batches, *mine["batch_key"]),
    )


def _short(verdict: NetWeight) -> float:
    return (verdict.mean_g if verdict.mean_g is not None else verdict.label_g) - verdict.label_g
