"""What a month cost, where the plant file gives costs: water lost, weight given away, waste, and how reckoned."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING

from models.pages import words
from models.pages.production_day import of_days
from models.pages.rates import MIN_DAYS, Difference, mean_interval
from models.pages.words import number
from models.texts import texts

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
        return Money((), texts("month")["money"]["no_cost"])
    batches = of_days(snapshot.batches, first, last)
    output = of_days(snapshot.output, first, last)
    return Money((_water(snapshot, batches), _give_away(snapshot, batches, output), _waste(snapshot, output)), "")


def _amount(snapshot: Snapshot, kilograms: float) -> str:
    cost = (snapshot.plant.dough_cost_per_kg or 0.0) * kilograms
    return number(cost, snapshot.plant.currency or texts("month")["money"]["no_currency"], 0)


def _water(snapshot: Snapshot, batches: pd.DataFrame) -> Cost:
    """Water owed and not given is dough that was not made: kilogram for kilogram."""
    t, dough = texts("month")["money"], texts("month")["counted"]["dough"]
    if not len(batches):
        return Cost(t["water"], words.NOT_RECORDED, t["no_dough"])
    owed = batches["water_owed_kg"]
    short = batches["water_made_good"] == "no"
    unknown = batches["water_made_good"] == words.NOT_RECORDED
    lost, open_ = float(owed[short].sum()), float(owed[unknown].sum())
    says = t["not_made"].format(
        lost=number(lost, "kg", 1), doughs=words.count(int(short.sum()), *dough), total=len(batches)
    )
    if many := int(unknown.sum()):
        more = t["up_to"].format(
            amount=_amount(snapshot, open_), owed=number(open_, "kg", 1), doughs=words.count(many, *dough)
        )
        says = f"{says} {more}"
    return Cost(t["water"], _amount(snapshot, lost), says)


def _give_away(snapshot: Snapshot, batches: pd.DataFrame, output: pd.DataFrame) -> Cost:
    """Weight above the label, times the pieces made; a product below its label gives nothing away and owes nothing."""
    t = texts("month")["money"]
    total, low, high, said = 0.0, 0.0, 0.0, []
    for product, plan in sorted(snapshot.plant.products.items()):
        above = _above_label(batches[batches["product"] == product], plan.label_g) if plan.label_g else None
        pieces = float(output.loc[output["product"] == product, "pieces_made"].sum())
        if above is None or not pieces:
            said.append(t["no_give_away"].format(product=product, why=_why_no_give_away(plan.label_g, pieces)))
            continue
        total += max(0.0, above.value) * pieces / 1000
        low, high = low + max(0.0, above.low) * pieces / 1000, high + max(0.0, above.high) * pieces / 1000
        said.append(_against_label(product, above, pieces))
    if not high:
        return Cost(t["give_away"], _amount(snapshot, total) if total else t["cannot_be_said"], " ".join(said))
    amounts = {name: _amount(snapshot, value) for name, value in (("amount", total), ("low", low), ("high", high))}
    return Cost(t["give_away"], t["between"].format(**amounts), " ".join(said))


def _against_label(product: str, above: Difference, pieces: float) -> str:
    return texts("month")["money"]["against_label"].format(
        product=product,
        above=number(above.value, "g", 1, signed=True),
        bounds=words.interval(above.low, above.high, "g", 1, signed=True),
        n=above.n,
        pieces=number(pieces, "pieces"),
    )


def _above_label(batches: pd.DataFrame, label_g: float) -> Difference | None:
    """Mean weight above the label by days, g: days are the unit, loaves of one day are alike."""
    daily = batches.dropna(subset=["baked_g"]).groupby("shift_date", sort=True)["baked_g"].mean()
    return mean_interval([float(value) - label_g for value in daily])


def _why_no_give_away(label_g: float | None, pieces: float) -> str:
    t = texts("month")["money"]
    if not label_g:
        return t["no_label"]
    return t["few_days"].format(least=MIN_DAYS) if pieces else t["no_pieces"]


def _waste(snapshot: Snapshot, output: pd.DataFrame) -> Cost:
    t = texts("month")["money"]
    written = output[output["pieces_wasted"].notna()]
    if not len(written):
        return Cost(t["waste"], words.NOT_RECORDED, t["no_waste"])
    scaled = written["product"].map({p: plan.scaled_g for p, plan in snapshot.plant.products.items()})
    kilograms = float((written["pieces_wasted"] * scaled.astype("float64")).sum()) / 1000
    says = t["wasted"].format(
        pieces=number(float(written["pieces_wasted"].sum()), "pieces"),
        kilograms=number(kilograms, "kg", 0),
        n=len(written),
        rows=words.count(len(output), *texts("month")["counted"]["output_row"]),
    )
    return Cost(t["waste"], _amount(snapshot, kilograms), says)
