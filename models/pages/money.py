"""What a month cost, where the plant file gives costs: water lost, weight given away, waste, and how reckoned."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING

from models.pages import words
from models.pages.rates import MIN_DAYS, Difference, mean_interval
from models.pages.words import number

if TYPE_CHECKING:
    import pandas as pd

    from models.snapshot import Snapshot


@dataclass(frozen=True)
class Cost:
    """One cost of the month in the plant's currency; None: cannot be said. says: how it was reckoned, with n."""

    name: str
    amount: str
    says: str


@dataclass(frozen=True)
class Money:
    """The costs of a month, or why there are none."""

    costs: tuple[Cost, ...]
    why_not: str


def money(snapshot: Snapshot, first: date, last: date) -> Money:
    """Water lost, give-away and waste at the plant file's cost of dough."""
    plant = snapshot.plant
    if plant.dough_cost_per_kg is None:
        return Money((), "The plant file gives no dough_cost_per_kg, so nothing is put into money.")
    batches = _of_month(snapshot.batches, first, last)
    output = _of_month(snapshot.output, first, last)
    return Money((_water(snapshot, batches), _give_away(snapshot, batches, output), _waste(snapshot, output)), "")


def _of_month(rows: pd.DataFrame, first: date, last: date) -> pd.DataFrame:
    return rows[rows["shift_date"].between(str(first), str(last))]


def _amount(snapshot: Snapshot, kilograms: float) -> str:
    cost = (snapshot.plant.dough_cost_per_kg or 0.0) * kilograms
    return number(cost, snapshot.plant.currency or "(no currency named)", 0)


def _water(snapshot: Snapshot, batches: pd.DataFrame) -> Cost:
    """Water owed and not given is dough that was not made: kilogram for kilogram."""
    name = "Water lost and not put back"
    if not len(batches):
        return Cost(name, words.NOT_RECORDED, "No dough is recorded this month.")
    owed = batches["water_owed_kg"]
    short = batches["water_made_good"] == "no"
    unknown = batches["water_made_good"] == words.NOT_RECORDED
    lost = float(owed[short].sum())
    says = f"{number(lost, 'kg', 1)} of dough not made, in {words.count(int(short.sum()), 'dough')} of {len(batches)}."
    open_ = float(owed[unknown].sum())
    if int(unknown.sum()):
        says += (
            f" Up to {_amount(snapshot, open_)} more: {number(open_, 'kg', 1)} owed in"
            f" {words.count(int(unknown.sum()), 'dough')} whose make-up water is not recorded."
        )
    return Cost(name, _amount(snapshot, lost), says)


def _give_away(snapshot: Snapshot, batches: pd.DataFrame, output: pd.DataFrame) -> Cost:
    """Weight above the label, times the pieces made; a product below its label gives nothing away and owes nothing."""
    name = "Weight given away"
    total, low, high, said = 0.0, 0.0, 0.0, []
    for product, plan in sorted(snapshot.plant.products.items()):
        above = _above_label(batches[batches["product"] == product], plan.label_g) if plan.label_g else None
        pieces = float(output.loc[output["product"] == product, "pieces_made"].sum())
        if above is None or not pieces:
            said.append(f"{product}: cannot be said ({_why_no_give_away(plan.label_g, pieces)}).")
            continue
        total += max(0.0, above.value) * pieces / 1000
        low, high = low + max(0.0, above.low) * pieces / 1000, high + max(0.0, above.high) * pieces / 1000
        said.append(
            f"{product}: {number(above.value, 'g', 1, signed=True)} a loaf against the label"
            f" ({words.interval(above.low, above.high, 'g', 1, signed=True)}, n = {above.n} days),"
            f" {number(pieces, 'pieces')}."
        )
    if not high:
        return Cost(name, "cannot be said" if not total else _amount(snapshot, total), " ".join(said))
    bounds = f"{_amount(snapshot, low)} to {_amount(snapshot, high)}"
    return Cost(name, f"{_amount(snapshot, total)} ({bounds})", " ".join(said))


def _above_label(batches: pd.DataFrame, label_g: float) -> Difference | None:
    """Mean weight above the label by days, g: days are the unit, loaves of one day are alike."""
    daily = batches.dropna(subset=["baked_g"]).groupby("shift_date", sort=True)["baked_g"].mean()
    return mean_interval([float(value) - label_g for value in daily])


def _why_no_give_away(label_g: float | None, pieces: float) -> str:
    if not label_g:
        return "no label weight in the plant file"
    return "pieces made are not recorded" if not pieces else f"loaves weighed on fewer than {MIN_DAYS} days"


def _waste(snapshot: Snapshot, output: pd.DataFrame) -> Cost:
    name = "Pieces thrown away"
    written = output[output["pieces_wasted"].notna()]
    if not len(written):
        return Cost(name, words.NOT_RECORDED, "No shift has written its waste this month.")
    scaled = written["product"].map({p: plan.scaled_g for p, plan in snapshot.plant.products.items()})
    kilograms = float((written["pieces_wasted"] * scaled.astype("float64")).sum()) / 1000
    says = f"{number(float(written['pieces_wasted'].sum()), 'pieces')}, {number(kilograms, 'kg', 0)} of dough,"
    says += f" written in {len(written)} of {words.count(len(output), 'output row')}."
    return Cost(name, _amount(snapshot, kilograms), says)
