"""What else is known of a batch beside its value on a chart."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from typing import TYPE_CHECKING, Any

from models.pages import words
from models.pages.words import number
from models.snapshot import records
from models.texts import texts

if TYPE_CHECKING:
    import pandas as pd

Row = dict[str, Any]
OF_PASTE = ("paste_key", "before_kg", "after_kg", "loss_pct", "cook_temp_c", "temp_2h_c", "temp_6h_c", "doughs")
OF_DOUGH = (
    "batch_key", "paste_key", "specific_volume", "volume_ml", "baked_g", "bake_loss_pct", "paste_loss_pct",
    "usual_gap_points", "dough_temp_c", "proof_minutes",
)  # fmt: skip


class Stories:
    """Lines told of the batches of one frame. A batch stands on a dozen charts of many pages: it is told once."""

    def __init__(self, rows: pd.DataFrame, columns: tuple[str, ...], says: Callable[[Row], str]) -> None:
        """rows: wide rows, of which nothing changes; columns: those that `says` reads, the key first."""
        self._rows, self._columns, self._says = rows, columns, says
        self._place = {key: place for place, key in enumerate(rows[columns[0]].tolist())}
        self._told: dict[str, tuple[str, ...]] = {}

    def __contains__(self, key: str) -> bool:
        return key in self._place

    def of(self, keys: Iterable[str]) -> dict[str, tuple[str, ...]]:
        """The lines by key, of these batches at least; a batch that is not in the frame has none."""
        new = [self._place[key] for key in keys if key not in self._told and key in self._place]
        for row in records(self._rows.iloc[new][list(self._columns)]) if new else ():
            self._told[row[self._columns[0]]] = tuple(filter(None, self._says(row).split("\n")))
        return self._told


def of_pastes(pastes: pd.DataFrame) -> Stories:
    """Weights, cook and cooling of each paste."""
    return Stories(pastes, OF_PASTE, _paste)


def of_doughs(batches: pd.DataFrame) -> Stories:
    """Loaf, paste, water and dough of each dough."""
    return Stories(batches, OF_DOUGH, _dough)


def _paste(row: Row) -> str:
    t = texts("batch")["paste"]
    loss, before, after = (
        number(row["loss_pct"], "% of Wb"),
        number(row["before_kg"], "kg"),
        number(row["after_kg"], "kg"),
    )
    cook, at_2_h, at_6_h = (number(row[name], "°C") for name in ("cook_temp_c", "temp_2h_c", "temp_6h_c"))
    many = row["doughs"]
    told = [
        t["loss"].format(loss=loss, before=before, after=after),
        t["cook"].format(cook=cook, at_2_h=at_2_h, at_6_h=at_6_h),
        t["went_into"].format(doughs=words.count(many, t["dough"], t["doughs"])) if many == many else t["no_doughs"],
    ]
    return "\n".join(told)


def _dough(row: Row) -> str:
    t, loss = texts("batch")["dough"], number(row["paste_loss_pct"], "% of Wb")
    no_paste = words.missing(row["paste_key"])
    told = [
        t["loaf"].format(
            specific_volume=number(row["specific_volume"], "mL/g"),
            volume=number(row["volume_ml"], "mL"),
            weight=number(row["baked_g"], "g"),
            bake_loss=number(row["bake_loss_pct"], "%"),
        ),
        (t["no_paste"] if no_paste else t["paste"]).format(batch=words.batch(row["paste_key"]), loss=loss),
        t["water"].format(gap=number(row["usual_gap_points"], "points", signed=True)),
        t["mixed"].format(temperature=number(row["dough_temp_c"], "°C"), proof=number(row["proof_minutes"], "min")),
    ]
    return "\n".join(told)
