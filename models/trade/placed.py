"""Loaves beside what their batch says: for very many, by whole numbers that stand for the texts."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import pandas as pd

    from models.plant import Plant


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


def outside_by_day(plant: Plant, loaves: pd.DataFrame, batches: pd.DataFrame) -> pd.DataFrame:
    """How many loaves, and how many outside their product's window: line, product, shift_date, sum (outside), count.

    All but those measured on suspicion; a loaf whose volume or weight is missing counts as outside. Products without
    a window are left out.
    """
    rows = placed(loaves[loaves["reason"] != "suspicion"], batches, ("line", "product", "shift_date"))
    windows = {name: p.specific_volume for name, p in plant.products.items() if p.specific_volume}
    rows = rows[rows["product"].isin(list(windows))]
    low, high = (rows["product"].astype("str").map({name: w[i] for name, w in windows.items()}) for i in (0, 1))
    volume = rows["volume_ml"] / rows["baked_g"]
    outside = ~((volume >= low.astype("float64")) & (volume <= high.astype("float64")))
    by = [rows["line"], rows["product"], rows["shift_date"]]
    return (
        outside.groupby(by, observed=True).agg(["sum", "count"]).reset_index().astype({"line": "str", "product": "str"})
    )
