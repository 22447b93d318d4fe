"""Loaves beside what their batch says: for very many, by whole numbers that stand for the texts.

What is counted here from frames, `storage.counted` counts inside the store, the same.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from models.trade.loaf import too_hot

if TYPE_CHECKING:
    import pandas as pd

    from models.plant import Plant


GRAIN = 1e-5
"""mL/g; a reading of 1 mL of a loaf of 5 kg is 0.0002 mL/g."""

DAY = ("line", "product", "shift_date")
SUMS = ("outside", "count", "total", "squares")
TEXTS = {"line": "str", "product": "str"}


def placed(loaves: pd.DataFrame, batches: pd.DataFrame, names: tuple[str, ...]) -> pd.DataFrame:
    """The loaves of these batches, in their order, with columns of their batch in place of their own; texts are categories.

    loaves: rows with `batch_key`; batches: wide rows, each key once.
    """
    import numpy as np
    import pandas as pd

    keys = loaves["batch_key"].astype("category").cat
    of_key = pd.Index(batches["batch_key"].to_numpy(dtype=object)).get_indexer(keys.categories.to_numpy(dtype=object))
    place = np.append(of_key, -1)[keys.codes]
    here = place >= 0
    rows = loaves.loc[here].reset_index(drop=True)
    for name in names:
        column = batches[name].astype("category") if batches[name].dtype == "str" else batches[name]
        rows[name] = column.take(place[here]).array
    return rows


@dataclass(frozen=True)
class Counted:
    """Loaves by line, product and shift_date, of products that have a window; frames in that order.

    outside: all but those measured on suspicion: `count`, and how many lie outside (`sum`); a loaf whose volume or weight is
    missing counts as outside. judged: routine loaves that had cooled and have a specific volume: how many lie `outside`,
    their `count`, and `total` and `squares`, the sums of their specific volumes and of its squares in whole `GRAIN`s, which
    no order of the loaves changes.
    """

    outside: pd.DataFrame
    judged: pd.DataFrame


def counted(plant: Plant, loaves: pd.DataFrame, batches: pd.DataFrame) -> Counted:
    """What these loaves say of their products' windows, day by day."""
    rows = _of_windows(plant, loaves, batches)
    hot = too_hot(rows["cooled_minutes"], plant)
    return Counted(_outside(rows), _judged(rows[~hot]))


def _of_windows(plant: Plant, loaves: pd.DataFrame, batches: pd.DataFrame) -> pd.DataFrame:
    """Routine loaves of products with a window, with their batch's day, line, product; `volume` mL/g, `low` and `high`."""
    rows = placed(loaves[loaves["reason"] != "suspicion"], batches, DAY)
    windows = {name: p.specific_volume for name, p in plant.products.items() if p.specific_volume}
    rows = rows[rows["product"].isin(list(windows))]
    low, high = (rows["product"].astype("str").map({name: w[i] for name, w in windows.items()}) for i in (0, 1))
    return rows.assign(
        volume=rows["volume_ml"] / rows["baked_g"], low=low.astype("float64"), high=high.astype("float64")
    )


def _outside(rows: pd.DataFrame) -> pd.DataFrame:
    outside = ~rows["volume"].between(rows["low"], rows["high"])
    by = [rows[name] for name in DAY]
    return outside.groupby(by, observed=True).agg(["sum", "count"]).reset_index().astype(TEXTS)


def _judged(rows: pd.DataFrame) -> pd.DataFrame:
    import numpy as np

    rows = rows[rows["volume"].notna()]
    grains = np.floor(rows["volume"] / GRAIN + 0.5).astype("int64")
    outside = (rows["volume"] < rows["low"]) | (rows["volume"] > rows["high"])
    parts = rows[list(DAY)].assign(outside=outside, count=1, total=grains, squares=grains**2)
    days = parts.groupby(list(DAY), observed=True)[list(SUMS)].sum()
    return days.reset_index().astype(TEXTS | dict.fromkeys(SUMS, "int64"))
