"""Findings: where the process, not the sheet, was out of its limits; kept one a batch and rule."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from models.judging import checks
from models.snapshot import records
from models.storage import store

if TYPE_CHECKING:
    import duckdb
    import pandas as pd

    from models.plant import Plant

COLUMNS = (
    "rule",
    "kind",
    "key",
    "shift_date",
    "line",
    "kettle",
    "product",
    "column",
    "value",
    "low",
    "high",
    "level",
    "says",
)


def replace(con: duckdb.DuckDBPyConnection, kind: str, rows: pd.DataFrame, plant: Plant) -> None:
    """Hold wide rows (`pastes` or `batches`) against *is this good?* and keep what is found in place of the old."""
    import pandas as pd

    key = store.WIDE_KEY[kind]
    con.register("judged_again", rows[[key]])
    con.execute(f"DELETE FROM finding WHERE kind = '{kind}' AND key IN (SELECT {key} FROM judged_again)")
    con.execute(f"DELETE FROM finding WHERE kind = '{kind}' AND key NOT IN (SELECT {key} FROM {kind})")
    con.unregister("judged_again")
    found = checks.judge_good(kind, rows, plant)
    broken = [
        _finding(kind, key, outcome.rule, row, plant)
        for outcome in found.outcomes
        if outcome.rows
        for row in records(found.rows.iloc[list(outcome.rows)])
    ]
    table = pd.DataFrame(broken, columns=list(COLUMNS))
    text = {name: "str" for name in COLUMNS if name not in {"shift_date", "value", "low", "high"}}
    store.insert(con, "finding", table.astype(text | dict.fromkeys(("value", "low", "high"), "float64")))
    _count(con, kind, found, rows)


def _finding(kind: str, key: str, rule: Any, row: dict[str, Any], plant: Plant) -> tuple[Any, ...]:
    import numpy as np

    value = row[rule.column]
    low, high = (row[name] if name else np.nan for name in rule.shows)
    return (
        rule.code,
        kind,
        row[key],
        row["shift_date"],
        row.get("line"),
        row.get("kettle"),
        row.get("product"),
        rule.column,
        value if isinstance(value, (float, np.floating)) else np.nan,
        low,
        high,
        rule.level,
        checks.explain(rule, row, plant),
    )


def _count(con: duckdb.DuckDBPyConnection, kind: str, found: checks.Judged, rows: pd.DataFrame) -> None:
    """Which batches each rule could judge: kept by batch, so that a batch worked out again counts once."""
    import numpy as np

    key = store.WIDE_KEY[kind]
    con.register("judged_again", rows[[key]])
    con.execute(
        f"DELETE FROM judged_batch WHERE kind = '{kind}' AND (key IN (SELECT {key} FROM judged_again) "
        f"OR key NOT IN (SELECT {key} FROM {kind}))"
    )
    con.unregister("judged_again")
    if found.rows.empty:
        return
    judged = [np.flatnonzero(checks.can_judge(one.rule, found.rows)) for one in found.outcomes]
    each = [len(at) for at in judged]
    table = found.rows[[key, "shift_date"]].iloc[np.concatenate(judged)].rename(columns={key: "key"})
    broken = [np.isin(at, one.rows) for at, one in zip(judged, found.outcomes, strict=True)]
    could_run = [one.outcome != checks.COULD_NOT_RUN for one in found.outcomes]
    store.insert(
        con,
        "judged_batch",
        table.assign(
            rule=np.repeat([one.rule.code for one in found.outcomes], each),
            kind=kind,
            could_run=np.repeat(could_run, each),
            broken=np.concatenate(broken),
        ),
    )
