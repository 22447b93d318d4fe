"""Loaves counted by day inside the store: `trade.placed.counted` says what it is, and gives the same from frames."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date
from typing import TYPE_CHECKING, Any

from models.trade.placed import DAY, GRAIN, SUMS, TEXTS, Counted

if TYPE_CHECKING:
    import duckdb
    import pandas as pd

    from models.plant import Plant

VOLUME = "l.volume_ml / l.baked_g"
ROUTINE = f"""SELECT b.line, b.product, b.shift_date, {VOLUME} AS volume, w.low, w.high, l.cooled_minutes
    FROM log_loaf l JOIN of_days b USING (batch_key) JOIN
        (SELECT unnest($products::VARCHAR[]) AS product, unnest($lows::DOUBLE[]) AS low, unnest($highs::DOUBLE[]) AS high) w
        USING (product)
    WHERE l.status = 'accepted' AND l.reason IS DISTINCT FROM 'suspicion'"""


def counted(
    con: duckdb.DuckDBPyConnection, plant: Plant, days: Iterable[str], months: Iterable[str], before: int
) -> Counted:
    """What loaves say of their products' windows, of all days that pages of these days and months speak of.

    before: on how many days of its own before the first of `days` a line and product is asked about, so that a day costs the
    same however long a plant has been running; months: judged with the month before each.
    """
    windows = [(name, *p.specific_volume) for name, p in plant.products.items() if p.specific_volume]
    names, lows, highs = (list(part) for part in zip(*windows, strict=True)) if windows else ([], [], [])
    args = {"products": names, "lows": lows, "highs": highs}
    return Counted(_outside(con, args, sorted(days), before), _judged(con, args, plant, sorted(months)))


def _outside(con: duckdb.DuckDBPyConnection, args: dict[str, Any], days: list[str], before: int) -> pd.DataFrame:
    first, last = (days[0], days[-1]) if days else (None, None)
    query = f"""WITH day AS (SELECT DISTINCT {_names(DAY)} FROM batches
            WHERE shift_date <= $last::DATE AND (loaves > 0 OR loaves_hot > 0)),
        wanted AS (SELECT * FROM day WHERE shift_date > $first::DATE UNION ALL
            (SELECT * FROM day WHERE shift_date <= $first::DATE
            QUALIFY row_number() OVER (PARTITION BY line, product ORDER BY shift_date DESC) <= $before + 1)),
        of_days AS (SELECT batch_key, {_names(DAY)} FROM batches JOIN wanted USING ({_names(DAY)}))
        SELECT {_names(DAY)}, count(*) FILTER (NOT coalesce(volume >= low AND volume <= high, false)) AS "sum",
            count(*) AS "count" FROM ({ROUTINE}) GROUP BY ALL ORDER BY {_names(DAY)}"""
    found = con.execute(query, args | {"first": first, "last": last, "before": before}).df()
    return found.astype(TEXTS | {"shift_date": "datetime64[us]", "sum": "int64", "count": "int64"})


def _judged(con: duckdb.DuckDBPyConnection, args: dict[str, Any], plant: Plant, months: list[str]) -> pd.DataFrame:
    firsts = [date.fromisoformat(f"{month}-01") for month in months]
    query = f"""WITH month AS (SELECT unnest($firsts::DATE[]) AS first),
        wanted AS (SELECT first FROM month UNION SELECT CAST(first - INTERVAL 1 MONTH AS DATE) FROM month),
        of_days AS (SELECT batch_key, {_names(DAY)} FROM batches
            WHERE date_trunc('month', shift_date) IN (SELECT first FROM wanted))
        SELECT {_names(DAY)}, count(*) FILTER (volume < low OR volume > high) AS outside, count(*) AS "count",
            CAST(sum(grains) AS BIGINT) AS total, CAST(sum(grains * grains) AS BIGINT) AS squares
        FROM (SELECT *, CAST(floor(volume / {GRAIN!r} + 0.5e0) AS BIGINT) AS grains FROM ({ROUTINE}) WHERE volume IS NOT NULL)
        WHERE NOT coalesce(cooled_minutes < $cooled, false) GROUP BY ALL ORDER BY {_names(DAY)}"""
    cooled = float(plant.net_weight.min_cooled_minutes)
    found = con.execute(query, args | {"firsts": firsts, "cooled": cooled}).df()
    return found.astype(TEXTS | {"shift_date": "datetime64[us]"} | dict.fromkeys(SUMS, "int64"))


def _names(names: Iterable[str]) -> str:
    return ", ".join(names)
