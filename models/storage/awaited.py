"""Pastes that seem overdrawn because a later day's doughs are traced to them while that day's own paste sheet has not come.

A number begins again every day, and a dough before its paste is traced to the latest of that number. So a sheet that is
late looks like a kettle that gave twice what it held. What is told of such a paste follows from the rows alone.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from models.judging.rules import OVERDRAWN_IN_DOUBT
from models.logbook import TABLES
from models.storage import store, waitsfor, wide

if TYPE_CHECKING:
    import duckdb
    import pandas as pd

    from models.storage.account import Touched

# the doughs of one day's paste are mixed within so many hours; a dough later than that is another day's
ONE_DAY_H = 18
# a dough's own paste was cooked at most so long before it: the day before in the morning for the evening
OWN_H = 36
# a sheet that names another shift is the same kettle's next one where it was cooked within so many hours of the same clock time
SAME_HOURS_H = 3


def beside(con: duckdb.DuckDBPyConnection, pastes: pd.DataFrame, touched: Touched) -> pd.DataFrame:
    """Wide pastes to be judged, with what each awaits in `sheet_awaited`: those given, and overdrawn ones of the days before,
    about which touched rows may say something else now. Dates of doughs, "" where nothing is awaited."""
    import pandas as pd

    within = TABLES["dough"].refers
    assert within is not None
    days = sorted({name[:10] for name in (*touched.batches, *touched.pastes) if not name.startswith("?")})
    reach = int(within.within_h // 24) + 1
    near = f"""overdrawn_kg > 0 AND shift_date IN (SELECT unnest(range(d - to_days({reach}), d + to_days(1), to_days(1)))::DATE
        FROM (SELECT unnest(CAST(? AS DATE[])) AS d))"""
    others = wide.load(con, "pastes", near, [days])
    others = others[~others["paste_key"].isin(pastes["paste_key"])]
    rows = pd.concat([pastes, others], ignore_index=True) if len(others) else pastes
    found = _awaited(con, rows.loc[rows["overdrawn_kg"] > 0, "paste_key"].tolist())
    return rows.assign(sheet_awaited=pd.Series([found.get(key, "") for key in rows["paste_key"]], rows.index, dtype="str"))


def days_in_doubt(con: duckdb.DuckDBPyConnection) -> set[tuple[str, str]]:
    """Production day and key of every paste that is in doubt now."""
    found = con.execute("SELECT CAST(shift_date AS VARCHAR), key FROM finding WHERE rule = ?", [OVERDRAWN_IN_DOUBT])
    return set(found.fetchall())


def _awaited(con: duckdb.DuckDBPyConnection, keys: list[str]) -> dict[str, str]:
    """Overdrawn paste -> dates of the later doughs whose own has not come, or came with other zeros in its number, where without
    them it is not overdrawn."""
    if not keys:
        return {}
    within = TABLES["dough"].refers
    assert within is not None
    query = store.sql("awaited").format(
        one_day_h=ONE_DAY_H, own_h=OWN_H, same_hours_h=SAME_HOURS_H, reach_h=int(within.within_h),
        cooked_as=waitsfor.bare("p.paste_batch"), named_as=waitsfor.bare("l.paste_batch"),
    )
    return dict(con.execute(query, {"keys": keys}).fetchall())
