"""The net-weight panel of a day: what its loaves say of the label, line by line."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING

from models.pages.production_day import of_day
from models.pages.shown import Cell, Sheet
from models.pages.words import number
from models.trade import cautions, netweight
from models.trade.netweight import NetWeight

if TYPE_CHECKING:
    from models.snapshot import Snapshot

_LEANING = {
    "met": "indicative: would be met",
    "not met": "indicative: would not be met",
    "cannot tell": "indicative: cannot tell",
}


@dataclass(frozen=True)
class Weights:
    """The panel. `says`: the rule applied and what it asks; `sheet`: one row a line and product."""

    says: str
    sheet: Sheet
    caution: str


def weights(snapshot: Snapshot, day: date) -> Weights:
    """The day's net weights against the label, for products that have one."""
    batches = of_day(snapshot.batches, day)
    found = netweight.verdicts(snapshot.plant, batches, snapshot.loaves, of_day(snapshot.output, day), snapshot.checks)
    labelled = [name for name, product in snapshot.plant.products.items() if product.label_g]
    empty = (
        "No dough of a labelled product is recorded."
        if labelled
        else "No product has a label weight in the plant file."
    )
    heads = ("Line and product", "Verdict", "Mean, g", "Label, g", "Loaves", "Below T1", "Below T2", "Why")
    rows = tuple(_row(verdict) for verdict in found)
    return Weights(
        _says(snapshot), Sheet("weights", "Net weight by line and product", heads, rows, empty), cautions.LEGAL_WEIGHT
    )


def _says(snapshot: Snapshot) -> str:
    rule = snapshot.plant.net_weight
    cooled = f"Loaves measured less than {number(rule.min_cooled_minutes, 'min')} out of the oven never enter."
    if rule.rule == "Handbook 133":
        test = "the mean within its sample error limit, none below T1 (label less allowed variation)"
        return f"NIST Handbook 133: {test}. {cooled}"
    return (
        "76/211/EEC: the mean not below the label, few below T1 (label less one tolerable negative error), none below"
        f" T2 (less two). Indicative unless the number of loaves and the scale suffice. {cooled}"
    )


def _row(found: NetWeight) -> tuple[Cell, ...]:
    wanted = f"{found.n} of {found.n_wanted} wanted" if found.n < found.n_wanted else str(found.n)
    return (
        Cell(f"{found.line} {found.product}"),
        _verdict(found),
        Cell(
            number(found.mean_g, "", 1), "" if found.mean_g is not None else "missing", number=found.mean_g is not None
        ),
        Cell(number(found.label_g, "", 0), number=True),
        Cell(wanted),
        _below(found, found.below_t1, found.t1_g),
        _below(found, found.below_t2, found.t2_g),
        Cell(" ".join(found.why)),
    )


def _below(found: NetWeight, many: int, limit_g: float | None) -> Cell:
    if limit_g is None:
        return Cell("no such limit")
    if not found.n:
        return Cell("not checked", "missing")
    return Cell(f"{many} ({number(limit_g, 'g', 1)})")


def _verdict(found: NetWeight) -> Cell:
    if found.verdict == "indicative":
        return Cell(_LEANING[found.leaning], "warning" if found.leaning == "not met" else "")
    if found.verdict == "not met":
        return Cell("not met", "action")
    return Cell(found.verdict, "" if found.verdict == "met" else "missing")
