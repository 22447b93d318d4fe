"""What is hidden in the demo bakery, as a list that a test can hold an answer against."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from statistics import fmean

from seed_data.doughs import GROUPS, DoughMade
from seed_data.faults import (
    COOLING_MISSED,
    FAULTS,
    OVERDRAWN,
    SWAPPED_TUBS,
    UNWRITTEN_WATER,
    Fault,
)
from seed_data.kettles import PasteMade
from seed_data.plan import plant
from seed_data.simulate import Truth


@dataclass(frozen=True)
class Hidden:
    """One hidden thing on one line (or in one kettle's pastes).

    kind: "drift" for what charts should find, "limit" for what a limit, a safety or a legal rule should find.
    group: of the contract's causes, "" where no volume is at stake.
    batches: shift_date/line/dough_batch (or shift_date/kettle/paste_batch), in order.
    from_at, to_at: when the first and the last of them were mixed (or cooked).
    product: the line's most frequent product; contributions: mean of each group over the batches of
    that product less the mean before any fault, % of specific volume; empty where none is meant.
    """

    name: str
    kind: str
    group: str
    line: str
    kettle: str
    product: str
    from_at: datetime
    to_at: datetime
    batches: tuple[str, ...]
    contributions: dict[str, float]
    says: str


def hidden(truth: Truth) -> list[Hidden]:
    """Everything hidden in these days, in order of time."""
    found = [one for fault in FAULTS for line in fault.lines for one in _drift(truth, fault, line)]
    found += _pastes(truth) + _swapped(truth)
    return sorted(found, key=lambda one: (one.from_at, one.line, one.name))


def _meets(fault: Fault, dough: DoughMade) -> bool:
    """Whether the fault was in this dough: through its yeast, its paste, its moulding or its oven."""
    if fault.name == "weak yeast lot":
        return dough.mixing.yeast.opened == fault.since
    if fault.kettle:
        paste = dough.charge.paste
        return paste.kettle == fault.kettle and fault.acts(paste.cook_start)
    at = {"moulder": dough.moulded_at, "cold oven": dough.proof.ended}.get(fault.name, dough.mixing.at)
    return fault.acts(at, dough.slot.line)


def _drift(truth: Truth, fault: Fault, line: str) -> list[Hidden]:
    on_line = [dough for dough in truth.doughs if dough.slot.line == line]
    met = [dough for dough in on_line if _meets(fault, dough)]
    if not met:
        return []
    product = plant().lines[line].products[0]
    return [Hidden(
        fault.name, "drift" if fault.group else "limit", fault.group, line, fault.kettle, product,
        met[0].mixing.at, met[-1].mixing.at, tuple(dough.key for dough in met),
        _contributions(on_line, met, product) if fault.group else {}, fault.says,
    )]  # fmt: skip


def _contributions(on_line: list[DoughMade], met: list[DoughMade], product: str) -> dict[str, float]:
    first = min(fault.since for fault in FAULTS)
    clean = [d for d in on_line if d.slot.product == product and d.mixing.at < first]
    moved = [d for d in met if d.slot.product == product]
    if not clean or not moved:
        return {}
    usual, now = _means(clean), _means(moved)
    return {group: round(100.0 * (now[group] - usual[group]), 2) for group in GROUPS}


def _means(doughs: list[DoughMade]) -> dict[str, float]:
    each = [dough.on_specific_volume() for dough in doughs]
    return {group: fmean(effect[group] for effect in each) for group in GROUPS}


_ABOUT_PASTES = {
    UNWRITTEN_WATER: ("water put back, not written", "5.6 % of Wb lost, made good in the kettle, cell left empty"),
    COOLING_MISSED: ("cooling missed", "27.4 °C after 2 h and 7.6 °C after 6 h"),
    OVERDRAWN: ("kettle overdrawn", "five doughs name a paste that was made for four"),
}


def _pastes(truth: Truth) -> list[Hidden]:
    found = []
    for paste in truth.pastes:
        if (named := _ABOUT_PASTES.get((paste.day, paste.kettle, paste.number))) is not None:
            found.append(_paste(paste, "limit", "", *named))
        if paste.water_back_kg and paste.water_written:
            found.append(_paste(paste, "limit", "", "loss made good", "a high loss, the water put back and written"))
    return found


def _paste(paste: PasteMade, kind: str, group: str, name: str, says: str) -> Hidden:
    key = f"{paste.day}/{paste.kettle}/{paste.number}"
    return Hidden(name, kind, group, "", paste.kettle, "", paste.cook_end, paste.cook_end, (key,), {}, says)


def _swapped(truth: Truth) -> list[Hidden]:
    found = []
    for dough in truth.doughs:
        if (dough.slot.day, dough.slot.line, dough.slot.number) in SWAPPED_TUBS:
            recipe = dough.charge.paste.recipe
            declared = plant().products[dough.slot.product].allergens
            hold = plant().pastes[recipe].allergens - declared
            name = "allergen not declared" if hold else "paste of another recipe"
            found.append(Hidden(
                name, "limit", "", dough.slot.line, dough.charge.paste.kettle, dough.slot.product, dough.mixing.at,
                dough.mixing.at, (dough.key,), {}, f"{dough.slot.product} made with {recipe}: two tubs changed over",
            ))  # fmt: skip
    return found
