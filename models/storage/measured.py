"""What was measured on each batch, worked out inside the store: for very many loaves, the same to the last digit.

`models.trade.batches.loaves` says what it is; here its exactly rounded sums are taken in whole numbers, which no order
of rows and no number of threads changes. Batches whose numbers do not fit (none that can be true) go through it as frames.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from math import nan, sqrt
from typing import TYPE_CHECKING, Any

from models.batchbook import LOAF_COUNTS, LOAF_MEANS
from models.judging import as_sql
from models.judging.rules import DERIVED
from models.logbook import TABLES
from models.storage import account, store

if TYPE_CHECKING:
    import duckdb
    import pandas as pd

    from models.plant import Plant

TEXTS = ("method", "scale", "volumeter")
# a number is parted into whole multiples of 2^-30, 2^-80 and 2^-130; what is left beyond has to be nothing
STEPS = (30, 50, 50)
# loaves that are reduced together as frames
TOGETHER = 300_000


def loaves(con: duckdb.DuckDBPyConnection, plant: Plant) -> pd.DataFrame:
    """`batches.loaves` of the batches named in `again_batches`."""
    import pandas as pd

    counting = _counting(plant)
    known, inexact, several = _means(con, counting)
    spread, more = _spread(con, counting, known)
    for key, sd in spread.items():
        known[key]["specific_volume_sd"] = sd
    for name in several:
        for key, text in _all_of(con, counting, name):
            known.get(key, {})[name] = text
    sure = [key for key in known if key not in more]
    names = [*LOAF_COUNTS, "core_temp_c", *LOAF_MEANS, "specific_volume_sd", "measured_at", *TEXTS]
    types = dict.fromkeys(names, "float64") | {"measured_at": "datetime64[us]"} | dict.fromkeys(TEXTS, "str")
    frame = pd.DataFrame([known[key] for key in sure], pd.Index(sure, name="batch_key", dtype="str"), names)
    others = list(_as_frames(con, plant, [*inexact, *more]))
    return pd.concat([frame.astype(types), *others]) if others else frame.astype(types)


def _counting(plant: Plant) -> str:
    """SQL of the loaves in force of those batches: which count, and the numbers of those that do."""
    numbers = {name: DERIVED["loaf"].get(name, name) for name in LOAF_MEANS}
    values = "".join(f", CASE WHEN good THEN {as_sql.number(said)} END AS {name}" for name, said in numbers.items())
    texts = "".join(f", CASE WHEN good THEN {name} END AS {name}" for name in TEXTS)
    return f"""SELECT batch_key, suspicion, hot, good, core_temp_c, CASE WHEN good THEN measured_at END AS measured_at{values}{texts}
        FROM (SELECT *, NOT suspicion AND NOT hot AS good FROM (
            SELECT *, NOT suspicion AND coalesce(cooled_minutes < {float(plant.net_weight.min_cooled_minutes)!r}, false) AS hot
            FROM (SELECT *, coalesce(reason = 'suspicion', false) AS suspicion FROM log_loaf
                WHERE status = 'accepted' AND batch_key IN (SELECT name FROM again_batches))))"""


def _parted(names: Iterable[str], rows: str, steps: tuple[int, ...]) -> str:
    """SQL of rows with each number parted: name_0 holds its whole multiples of the first step and the rest, and so on."""
    for place, bits in enumerate(steps):
        parts = "".join(
            f", {name if place == 0 else f'({name}_{place - 1} - floor({name}_{place - 1}))'} * {2**bits}e0 AS {name}_{place}"
            for name in names
        )
        rows = f"SELECT *{parts} FROM ({rows})"
    return rows


def _sums(name: str, steps: tuple[int, ...]) -> str:
    """SQL of a parted number's sums: one a step, how many there are, and how many were not parted to the end."""
    last = f"{name}_{len(steps) - 1}"
    wholes = ", ".join(f"sum(CAST(floor({name}_{place}) AS BIGINT))" for place in range(len(steps)))
    return f"{wholes}, count({name}), count(*) FILTER ({last} <> floor({last}))"


def _mean(sums: list[Any], steps: tuple[int, ...]) -> float | None:
    """The mean of exactly rounded sums, as `_sums` brings them; NaN of nothing, None where they are not exact."""
    *wholes, n, unparted = sums
    if unparted:
        return None
    if not n:
        return nan
    total = 0
    for whole, bits in zip(wholes, steps, strict=True):
        total = (total << bits) + int(whole)
    return total / (1 << sum(steps)) / n


def _means(con: duckdb.DuckDBPyConnection, counting: str) -> tuple[dict[str, dict[str, Any]], list[str], list[str]]:
    """Everything but the spread, by batch; the batches whose numbers do not fit; and the texts of which some batch has
    several, of which the first stands here."""
    steps = STEPS[:2]
    width = len(steps) + 2
    texts = ", ".join(f"min({name})" for name in TEXTS)
    differ = ", ".join(f"min({name}) <> max({name})" for name in TEXTS)
    sums = ", ".join(_sums(name, steps) for name in LOAF_MEANS)
    found, inexact, several = {}, [], set[str]()
    for key, good, suspicion, hot, core, at, *rest in con.execute(f"""SELECT batch_key, count(*) FILTER (good),
            count(*) FILTER (suspicion), count(*) FILTER (hot), min(core_temp_c), max(measured_at), {texts}, {differ}, {sums}
        FROM ({_parted(LOAF_MEANS, counting, steps)}) GROUP BY 1 ORDER BY 1""").fetchall():
        several |= {name for name, true in zip(TEXTS, rest[len(TEXTS) :], strict=False) if true}
        parts = [rest[2 * len(TEXTS) + i : 2 * len(TEXTS) + i + width] for i in range(0, width * len(LOAF_MEANS), width)]
        means = [_mean(part, steps) for part in parts]
        if None in means:
            inexact.append(key)
            continue
        found[key] = dict(zip((*LOAF_COUNTS, "core_temp_c", "measured_at"), (good, suspicion, hot, core, at), strict=True))
        found[key] |= dict(zip(LOAF_MEANS, means, strict=True)) | dict(zip(TEXTS, rest, strict=False))
    return found, inexact, sorted(several)


def _spread(
    con: duckdb.DuckDBPyConnection, counting: str, known: dict[str, dict[str, Any]]
) -> tuple[dict[str, float], set[str]]:
    """Standard deviation of the specific volume by batch, and the batches whose numbers do not fit."""
    import pandas as pd

    means = {key: row["specific_volume"] for key, row in known.items()}
    con.register(
        "mean_of", pd.DataFrame({"batch_key": [*means], "mean": [*means.values()]}).astype({"batch_key": "str"})
    )
    squares = f"""SELECT batch_key, (specific_volume - mean) * (specific_volume - mean) AS square
        FROM ({counting}) JOIN mean_of USING (batch_key)"""
    found, inexact = {}, set()
    for key, *sums in con.execute(f"""SELECT batch_key, {_sums("square", STEPS)}
            FROM ({_parted(["square"], squares, STEPS)}) GROUP BY 1""").fetchall():
        mean, n = _mean(sums, STEPS), sums[-2]
        if mean is None:
            inexact.add(key)
        else:
            found[key] = sqrt(mean * n / (n - 1)) if n > 1 else nan
    con.unregister("mean_of")
    return found, inexact


def _all_of(con: duckdb.DuckDBPyConnection, counting: str, name: str) -> list[tuple[str, str]]:
    """Batches that have several methods or instruments (the column of that name): batch, all of them, sorted."""
    return con.execute(f"""SELECT batch_key, string_agg({name}, '+' ORDER BY {name})
        FROM (SELECT DISTINCT batch_key, {name} FROM ({counting}) WHERE {name} IS NOT NULL)
        GROUP BY 1 HAVING count(*) > 1 ORDER BY 1""").fetchall()


def _as_frames(con: duckdb.DuckDBPyConnection, plant: Plant, names: list[str]) -> Iterator[pd.DataFrame]:
    """The same from frames, a bounded number of loaves at a time."""
    from models.trade.batches import loaves as reduced

    sizes = (
        dict(con.execute("SELECT batch_key, count(*) FROM log_loaf WHERE status = 'accepted' GROUP BY 1").fetchall())
        if names
        else {}
    )
    together: list[str] = []
    for place, name in enumerate(names):
        together.append(name)
        if place == len(names) - 1 or sum(sizes[one] for one in together) >= TOGETHER:
            yield reduced(plant, _rows(con, together))
            together = []


def _rows(con: duckdb.DuckDBPyConnection, names: list[str]) -> pd.DataFrame:
    import pandas as pd

    from models.trade.batches import OF_LOAF

    con.register("these", pd.DataFrame({"name": names}, dtype="str"))
    types = store.typed_columns(TABLES["loaf"].columns)
    source = account.rows("loaf", "status = 'accepted' AND batch_key IN (SELECT name FROM these)")
    columns = {"batch_key": "text"} | {name: types[name] for name in OF_LOAF}
    found = store.many(con, source, "measured_at, identity, seq", columns)
    con.unregister("these")
    return found
