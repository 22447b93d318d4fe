"""Every rule a row is held against, declared once, beside the columns they are about.

Two questions, kept apart. *true*: can this be? If not, it is a slip on the sheet and the row waits in
quarantine. *good*: is this as it should be? If not, it is the process: the row stays and is flagged.

A rule says when a row fails (`fails`, an expression over the row's columns) and which columns must be
filled before it can judge at all (`needs`). Where one of them is empty the rule has nothing to judge,
which is never the same as passed. Bounds are common practice, no source, unless a rule says otherwise.
"""

from __future__ import annotations

from functools import cache

from models.judging.rules import cells, dough_sheet, loaf_sheet, paste_sheet
from models.judging.rules.cells import SLIPS, meant
from models.judging.rules.good import GOOD, OVERDRAWN_IN_DOUBT
from models.judging.rules.rule import Rule
from models.logbook import TABLES

__all__ = ["CROSS_COLUMN", "DERIVED", "GOOD", "OVERDRAWN_IN_DOUBT", "SLIPS", "Rule", "good_rules", "meant", "truth_rules"]

# Columns that rules may use besides the log's own, by log.
DERIVED = {"paste": paste_sheet.DERIVED, "dough": dough_sheet.DERIVED, "loaf": loaf_sheet.DERIVED}
# What the columns of a row say together.
CROSS_COLUMN: tuple[Rule, ...] = (*paste_sheet.RULES, *dough_sheet.RULES, *loaf_sheet.RULES)


@cache
def truth_rules(kind: str) -> tuple[Rule, ...]:
    """*Can this be true?* for one log: what its columns say, then what they say together."""
    table = TABLES[kind]
    single = [rule for column in table.columns for rule in cells.of_column(table, column)]
    return (*single, *(rule for rule in CROSS_COLUMN if rule.kind == kind))


@cache
def good_rules(kind: str) -> tuple[Rule, ...]:
    """*Is this good?* for the wide rows `pastes` or `batches`."""
    return tuple(rule for rule in GOOD if rule.kind == kind)
