"""Validation suites, made from the declared rules and run by Great Expectations.

One suite a log for *can this be true?*, one a wide row for *is this good?*. A rule that had nothing to
judge, or could not run, has its own outcome and is never counted as passed.
"""

from __future__ import annotations

import ast
import gc
import logging
import os
import re
import sys
import threading
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from models.collecting import nothing_collected
from models.judging import derive
from models.judging.rules import Rule, good_rules, meant, truth_rules
from models.logbook import TABLES
from models.texts import MINUS

if TYPE_CHECKING:
    from models.plant import Plant

# up to so many rows pass through the suite whole; of more, those that any declared rule finds fault with
WHOLE = 20_000

PASSED, BROKEN, NOTHING, COULD_NOT_RUN = "passed", "broken", "nothing to judge", "could not run"


@dataclass(frozen=True)
class Outcome:
    """What one rule found. `rows` are frame positions of the rows that break it."""

    rule: Rule
    judged: int
    rows: tuple[int, ...]
    outcome: str


@dataclass(frozen=True)
class Judged:
    """A frame after its suite: `rows` is the frame with the rules' columns, `outcomes` one a rule."""

    rows: pd.DataFrame
    outcomes: tuple[Outcome, ...]


def judge_truth(kind: str, frame: pd.DataFrame, file: pd.Series, plant: Plant) -> Judged:
    """Hold a log's typed rows against *can this be true?*. file: which file each row came in.

    What is usual in a file is worked out from that file alone, so that each is judged on its own.
    """
    rows = derive.for_truth(kind, frame, file, plant)
    return _judge(f"{kind}: can this be true?", rows, (*required_rules(kind), *truth_rules(kind)), plant)


def judge_good(kind: str, frame: pd.DataFrame, plant: Plant) -> Judged:
    """Hold wide rows (`pastes` or `batches`) against *is this good?*."""
    add = derive.for_good_pastes if kind == "pastes" else derive.for_good_batches
    return _judge(f"{kind}: is this good?", add(frame, plant), good_rules(kind), plant)


@cache
def required_rules(kind: str) -> tuple[Rule, ...]:
    """One rule a required column: it must be filled."""
    return tuple(
        Rule(
            f"{kind}.{name}.required",
            kind,
            "true",
            name,
            (),
            f"{name}.isna()",
            f"{name} is empty and must be filled: write it on the sheet, then drop the sheet in again",
            weight=6,
            source="the logbook",
        )
        for name in TABLES[kind].required
    )


def _judge(name: str, rows: pd.DataFrame, rules: tuple[Rule, ...], plant: Plant) -> Judged:
    if rows.empty:
        return Judged(rows, tuple(Outcome(rule, 0, (), NOTHING) for rule in rules))
    verdicts = {rule.code: verdict(rule, rows) for rule in rules}
    if len(rows) <= WHOLE:
        return Judged(rows, _by_suite(name, rows, rules, verdicts, plant))
    suspects = np.flatnonzero(np.logical_or.reduce([found.broken for found in verdicts.values()]))
    seen = np.union1d(suspects, [0])
    some = {code: Verdict(found.can[seen], found.broken[seen]) for code, found in verdicts.items()}
    outcomes = _by_suite(name, rows.iloc[seen].reset_index(drop=True), rules, some, plant)
    return Judged(rows, tuple(_among_all(one, seen, verdicts[one.rule.code]) for one in outcomes))


def _by_suite(
    name: str, rows: pd.DataFrame, rules: tuple[Rule, ...], verdicts: dict[str, Verdict], plant: Plant
) -> tuple[Outcome, ...]:
    asked = tuple(rule for rule in rules if verdicts[rule.code].can.any())
    columns = {rule.code: verdicts[rule.code].as_column() for rule in asked if not rule.code.endswith(".required")}
    results = _validate(name, pd.concat([rows, pd.DataFrame(columns, index=rows.index)], axis=1), asked, plant)
    return tuple(
        _outcome(rule, results[rule.code], int(verdicts[rule.code].can.sum()))
        if rule.code in results
        else Outcome(rule, 0, (), NOTHING)
        for rule in rules
    )


def _among_all(outcome: Outcome, seen: np.ndarray, found: Verdict) -> Outcome:
    """The outcome of rows that were picked out, as that of the whole frame they came from."""
    if outcome.outcome == COULD_NOT_RUN:
        return outcome
    judged = int(found.can.sum())
    word = NOTHING if judged == 0 else outcome.outcome if outcome.rows else PASSED
    return Outcome(outcome.rule, judged, tuple(int(seen[row]) for row in outcome.rows), word)


@dataclass(frozen=True)
class Verdict:
    """What a rule says of each row: whether it can judge it, and whether it is broken. Both bool arrays."""

    can: np.ndarray
    broken: np.ndarray

    def as_column(self) -> np.ndarray:
        """True where the rule holds, False where it is broken, missing where it has nothing to judge."""
        column = (~self.broken).astype(object)
        column[~self.can] = None
        return column


def verdict(rule: Rule, rows: pd.DataFrame) -> Verdict:
    """What a rule says of every row of a frame with the rule's columns."""
    can = can_judge(rule, rows)
    if rule.code.endswith(".required"):
        return Verdict(can, rows[rule.column].isna().to_numpy() if rule.column in rows else ~can)
    if not can.any():
        return Verdict(can, np.zeros(len(rows), dtype=bool))
    return Verdict(can, can & np.asarray(rows[_read_by(rule.fails)].eval(rule.fails), dtype=bool))


def can_judge(rule: Rule, rows: pd.DataFrame) -> np.ndarray:
    """Whether a rule has what it needs, one bool a row."""
    can = np.ones(len(rows), dtype=bool)
    for name in rule.needs:
        can &= rows[name].notna().to_numpy()
    return can


@cache
def _read_by(expression: str) -> list[str]:
    """The columns an expression reads: pandas makes ready every column of the frame it is given."""
    return sorted(
        {node.id for node in ast.walk(ast.parse(expression.strip(), mode="eval")) if isinstance(node, ast.Name)}
    )


def _expectation(rule: Rule, plant: Plant) -> Any:
    from great_expectations.expectations.metadata_types import FailureSeverity

    from models.judging.asked import CellsAmong, CellsFilled

    meta, column = {"rule": rule.code}, _column(rule, plant)
    if rule.code.endswith(".required"):
        return CellsFilled(column=column, meta=meta)
    known = _known(rule, plant)
    if known is not None:
        return CellsAmong(column=column, value_set=known, meta=meta)
    severity = FailureSeverity.WARNING if rule.level == "warning" else FailureSeverity.CRITICAL
    return CellsAmong(column=column, value_set=[True], meta=meta, severity=severity)


def _known(rule: Rule, plant: Plant) -> list[str] | None:
    """The codes that a rule lets through, where it is about codes."""
    return derive.codes(plant).get(rule.code.partition(".unknown-")[2])


def _column(rule: Rule, plant: Plant) -> str:
    """The column that a rule's expectation is of: its own, or that of what it says of each row."""
    own = rule.code.endswith(".required") or _known(rule, plant) is not None
    return rule.column if own else rule.code


def load_suite() -> None:
    """Begin to import the suite's library, beside whatever the database works on meanwhile."""
    if "great_expectations" not in sys.modules:
        threading.Thread(target=_import, name="suite").start()


def _import() -> None:
    os.environ.setdefault("GX_ANALYTICS_ENABLED", "false")
    with nothing_collected():
        import great_expectations.expectations  # noqa: F401
    gc.freeze()  # nor ever among what a library is made of


@cache
def _frames() -> Any:
    """How the library is handed a frame; made once, for making it costs as much as a few rules."""
    os.environ.setdefault("GX_ANALYTICS_ENABLED", "false")
    import great_expectations as gx
    from great_expectations.data_context.types.base import ProgressBarsConfig

    _hush()
    context = gx.get_context(mode="ephemeral")
    context.variables.progress_bars = ProgressBarsConfig(globally=False)
    asset = context.data_sources.add_pandas("rows").add_dataframe_asset("rows")
    return asset.add_batch_definition_whole_dataframe("all")


def _hush() -> None:
    """The library's own notes stay out of what a command says: some of its loggers set a level of their own."""
    for name in [name for name in logging.root.manager.loggerDict if name.partition(".")[0] == "great_expectations"]:
        logging.getLogger(name).setLevel(logging.WARNING)


def _validate(name: str, frame: pd.DataFrame, rules: tuple[Rule, ...], plant: Plant) -> dict[str, dict[str, Any]]:
    """Run one suite; rule code -> GX's result with `exception_info`. Positions are the frame's index.

    rules: those that have something to judge; an expectation costs the library milliseconds, whatever it is asked of, and
    twice that where it must list rows: only those that do not hold are asked which rows break them.
    """
    if not rules:
        return {}
    seen = {_column(rule, plant) for rule in rules}  # the library looks through every column it is handed
    batch = _frames().get_batch({"dataframe": frame[[name for name in frame.columns if name in seen]]})
    held = _ask(batch, name, rules, plant, "BOOLEAN_ONLY")
    broken = tuple(rule for rule in rules if not held[rule.code]["success"])
    return held | (_ask(batch, name, broken, plant, "COMPLETE") if broken else {})


def _ask(batch: Any, name: str, rules: tuple[Rule, ...], plant: Plant, fully: str) -> dict[str, dict[str, Any]]:
    import great_expectations as gx

    suite = gx.ExpectationSuite(name, expectations=[_expectation(rule, plant) for rule in rules])
    result = batch.validate(suite, result_format={"result_format": fully, "return_unexpected_index_query": False})
    return {
        r.expectation_config.meta["rule"]: {"success": r.success, **(r.result or {}), "raised": _raised(r)}
        for r in result.results
    }


def _raised(result: Any) -> bool:
    info = result.exception_info or {}
    parts = info.values() if info and all(isinstance(v, dict) for v in info.values()) else [info]
    return any(part.get("raised_exception") for part in parts)


def _outcome(rule: Rule, result: dict[str, Any], judged: int) -> Outcome:
    """judged: rows the rule could judge; a rule that does not hold must name those that break it."""
    if result["raised"] or not (result["success"] or result.get("unexpected_index_list")):
        return Outcome(rule, 0, (), COULD_NOT_RUN)
    rows = tuple(sorted(result.get("unexpected_index_list") or ()))
    return Outcome(rule, judged, rows, BROKEN if rows else PASSED)


def explain(rule: Rule, row: pd.Series | Mapping[str, Any], plant: Plant, written: str = "") -> str:
    """The rule's sentence for one row: the cell as written where that is known, other numbers as finely as their unit is
    read, times as the plant's clock shows them."""
    shown = {str(n): _show(value, plant, str(n)) for n, value in row.items() if f"{{{n}}}" in rule.says}
    shown["value"] = written or _show(row[rule.column], plant, rule.column)
    shown |= {f"may_be_{code}": ", ".join(known) or "nothing" for code, known in derive.codes(plant).items()}
    column = TABLES[rule.kind].by_name.get(rule.column) if rule.kind in TABLES else None
    if column and "{meant}" in rule.says:
        shown["meant"] = _show(meant(column, row[rule.column]), plant)
    return _ONE_POINT.sub("1 point", rule.says.format(**shown))


_ONE_POINT = re.compile(r"(?<![\d.,])1 points\b")
# decimals a number is said with, by the ending of its column's name; others get four digits
DECIMALS = {
    "_pct": 1,
    "_points": 1,
    "points_lost": 1,
    "_h": 1,
    "_minutes": 0,
    "_kg": 2,
    "_c": 1,
    "_ml": 0,
    "_g": 1,
    "ratio": 2,
    "_median": 1,
    "specific_volume": 2,
    "sv_low": 2,
    "sv_high": 2,
    "loaves": 0,
}


def _show(value: Any, plant: Plant, name: str = "") -> str:
    if value is None or value is pd.NaT or (isinstance(value, float) and np.isnan(value)):
        return "(not recorded)"
    if isinstance(value, (float, np.floating)):
        return _number(float(value), name)
    if isinstance(value, pd.Timestamp) and name.endswith("_date"):
        return value.strftime("%Y-%m-%d")
    if isinstance(value, pd.Timestamp):
        return value.tz_localize("UTC").tz_convert(plant.timezone).strftime("%Y-%m-%d %H:%M")
    return str(value)


def _number(value: float, name: str) -> str:
    places = next((n for ending, n in DECIMALS.items() if name.endswith(ending)), None)
    if places is None:
        text = f"{float(f'{value:.4g}'):g}" if abs(value) < 1e6 else f"{value:.0f}"
    else:
        text = f"{value:.{places}f}"
        text = text.rstrip("0").rstrip(".") if "." in text else text
    return "0" if text == "-0" else text.replace("-", MINUS) if text.startswith("-") else text
