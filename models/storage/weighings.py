"""Loaves as the net weight asks for them, alike ones together: however many were weighed, a few hundred rows a shift."""

from __future__ import annotations

from typing import TYPE_CHECKING

from models.batchbook import LOAF_COUNTS
from models.storage import store

if TYPE_CHECKING:
    import duckdb
    import pandas as pd

    from models.plant import Plant

COLUMNS = {
    "batch_key": "text",
    "reason": "text",
    "cooled_minutes": "number",
    "baked_g": "number",
    "scale": "text",
    "measured_at": "time",
    "times": "number",
}
# stands for every moment before the first check of a scale
UNCHECKED = "TIMESTAMP '1700-01-01'"


def of_days(con: duckdb.DuckDBPyConnection, plant: Plant, days: list[str]) -> pd.DataFrame:
    """Accepted loaves of the doughs of these days as `netweight.verdicts` takes them, in no order that means anything.

    One dough that has loaves stands for all of its line, product, day and shift. Of a cooling time is kept whether it sufficed, of a reason
    whether it was a suspicion, of the moment of measuring the last check of the scale before it.
    """
    cooled = f"{float(plant.net_weight.min_cooled_minutes)!r}"
    weighed = " + ".join(f"coalesce({name}, 0)" for name in LOAF_COUNTS)
    checked = "l.scale IS NOT NULL AND c.checked_at IS NOT NULL"
    rows = f"""WITH stands AS (SELECT batch_key, min(batch_key) OVER (PARTITION BY line, product, shift_date, shift) AS name
            FROM batches WHERE shift_date IN ({store.dates(days)}) AND {weighed} > 0)
        SELECT s.name AS batch_key, CASE WHEN l.reason = 'suspicion' THEN l.reason END AS reason,
            CASE WHEN l.cooled_minutes < {cooled} THEN 0e0 WHEN l.cooled_minutes IS NOT NULL THEN {cooled} END AS cooled_minutes,
            l.baked_g, l.scale, CASE WHEN {checked} THEN c.checked_at ELSE {UNCHECKED} END AS measured_at, count(*)::DOUBLE AS times
        FROM log_loaf l JOIN stands s USING (batch_key) {_last_check(con)}
        WHERE l.status = 'accepted' GROUP BY ALL"""
    return store.frame(con, rows, COLUMNS)


def _last_check(con: duckdb.DuckDBPyConnection) -> str:
    """SQL that joins a loaf `l` to the last check `c` of its scale; without one where no scale was ever checked, which is quicker."""
    checks = "SELECT instrument, checked_at FROM log_check WHERE status = 'accepted' AND quantity = 'weight'"
    if con.execute(f"SELECT 1 FROM ({checks}) LIMIT 1").fetchone() is None:
        return "CROSS JOIN (SELECT CAST(NULL AS TIMESTAMP) AS checked_at) c"
    return f"ASOF LEFT JOIN ({checks}) c ON l.scale = c.instrument AND l.measured_at >= c.checked_at"
