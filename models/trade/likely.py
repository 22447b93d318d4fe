"""Which paste a dough probably got of which nobody wrote it. It is said, and nothing is worked out from it."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import pandas as pd

# the doughs on both sides of it were mixed no further apart; common practice, no source
WITHIN_H = 6


def pastes(batches: pd.DataFrame, keys: set[str]) -> dict[str, str]:
    """Dough to paste: the one that the doughs of its line and product before and after it both got, and no other beside it.

    batches: wide rows. keys: the doughs that are asked about.
    """
    import pandas as pd

    asked = batches[batches["batch_key"].isin(keys) & (batches["paste_link"] == "not recorded")]
    if asked.empty:
        return {}
    reach = pd.Timedelta(hours=WITHIN_H)
    near = batches["mixed_at"].between(asked["mixed_at"].min() - reach, asked["mixed_at"].max() + reach)
    rows = batches[near].sort_values(["line", "product", "mixed_at"], kind="stable")
    of_one = (rows["paste_link"] == "linked") & rows["paste_key_2"].isna()
    written = rows["paste_link"] != "not recorded"
    paste = rows["paste_key"].where(of_one, "").where(written)
    by = [rows["line"], rows["product"]]
    before, after = paste.groupby(by).ffill(), paste.groupby(by).bfill()
    at = rows["mixed_at"].where(written)
    apart = at.groupby(by).bfill() - at.groupby(by).ffill()
    told = rows["batch_key"].isin(asked["batch_key"]) & (before == after) & (before != "") & (apart <= reach)
    return dict(zip(rows.loc[told, "batch_key"], before[told], strict=True))
