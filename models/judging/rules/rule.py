"""What a rule is, and how one is declared: of one sheet's rows, or of a batch with the plant's limits beside it."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from typing import Literal

Asks = Literal["true", "good"]
Level = Literal["warning", "action"]


@dataclass(frozen=True)
class Rule:
    """One rule. `says` is shown to a person; `{value}` and other columns may stand in it."""

    code: str
    kind: str
    asks: Asks
    column: str
    needs: tuple[str, ...]
    fails: str
    says: str
    level: Level = "action"
    weight: int = 5  # what comes first in the work list: 1 food safety ... 9 a slip of the pen
    source: str = "common practice, no source"
    since: date = date(2026, 11, 1)
    shows: tuple[str, str] = ("", "")  # columns of the lower and upper limit, where the rule has them


def cannot_be(kind: str, code: str, column: str, needs: str, fails: str, says: str, weight: int = 5) -> Rule:
    """A rule of *can this be true?*. needs: columns, with blanks between; fails: when a row cannot be."""
    return Rule(f"{kind}.{code}", kind, "true", column, tuple(needs.split()), fails, says, weight=weight)


def wrong_year(kind: str, column: str) -> Rule:
    """Asked of the logs whose rows enter figures by their day; a log of checks or changes is kept over years."""
    return cannot_be(
        kind,
        "wrong-year",
        column,
        f"{column} usual_date",
        "year_off",
        "{value} is a year off the other rows of this file, which are of {usual_date} or near: the old year from habit? "
        "Correct the sheet, there if this row is wrong, else in the others",
        4,
    )


def window(
    kind: str, code: str, column: str, name: str, unit: str, act: str, warn: str, weight: int = 5
) -> tuple[Rule, ...]:
    """Action and warning rule of a characteristic with limits on both sides, given as columns."""

    def rule(level: Level, prefix: str, words: str) -> Rule:
        low, high = f"{prefix}_low", f"{prefix}_high"
        outside = f"({column} < {low} or {column} > {high})"
        inside_act = f" and not ({column} < {act}_low or {column} > {act}_high)" if level == "warning" else ""
        return Rule(
            f"{kind}.{code}.{level}",
            kind,
            "good",
            column,
            (column, low, high),
            outside + inside_act,
            f"{name} {{value}} {unit} is outside the {words} limits {{{low}}} to {{{high}}} {unit}",
            level,
            weight,
            source="plant file",
            shows=(low, high),
        )

    return (rule("action", act, "action"), rule("warning", warn, "warning"))


def above(
    kind: str, code: str, column: str, says: str, act: str, warn: str, unit: str, weight: int
) -> tuple[Rule, ...]:
    """Action and warning rule of a characteristic with an upper limit only, given as columns."""
    return (
        Rule(
            f"{kind}.{code}.action",
            kind,
            "good",
            column,
            (column, act),
            f"{column} > {act}",
            f"{says}, action limit {{{act}}} {unit}",
            "action",
            weight,
            source="plant file",
            shows=("", act),
        ),
        Rule(
            f"{kind}.{code}.warning",
            kind,
            "good",
            column,
            (column, warn),
            f"{column} > {warn} and not {column} > {act}",
            f"{says}, warning limit {{{warn}}} {unit}",
            "warning",
            weight,
            source="plant file",
            shows=("", warn),
        ),
    )


def flag(
    kind: str, code: str, column: str, needs: str, fails: str, says: str, level: Level, weight: int, source: str
) -> Rule:
    """A rule of *is this good?* that no limit of the plant is shown beside."""
    return Rule(f"{kind}.{code}", kind, "good", column, tuple(needs.split()), fails, says, level, weight, source=source)
