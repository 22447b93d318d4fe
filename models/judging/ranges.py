"""Ranges of a log's numbers in which no rule over numbers alone can fail, found from the rules themselves.

A row whose numbers lie inside them all breaks no rule: that is asked quickly of millions of rows, and the rules, one by
one, of the few others.
"""

from __future__ import annotations

import ast
from collections.abc import Iterable, Mapping
from itertools import pairwise

Range = tuple[float, float]


def unbroken(expressions: Iterable[str]) -> dict[str, Range]:
    """Column -> open interval; where every column lies inside its own, each of the expressions is false.

    expressions: of comparisons of a column with a constant, joined by and, or, not. Between two neighbouring constants of a
    column all its comparisons stay as they are, so that one value inside tells of all. The widest such intervals are
    taken. Empty where there is none, or where an expression is of another form.
    """
    rules = [ast.parse(expression, mode="eval").body for expression in expressions]
    bounds: dict[str, set[float]] = {}
    for rule in rules:
        for node in ast.walk(rule):
            if isinstance(node, ast.Compare):
                if len(node.ops) > 1 or not isinstance(node.left, ast.Name):
                    return {}
                if (bound := _number(node.comparators[0])) is None:
                    return {}
                bounds.setdefault(node.left.id, set()).add(bound)
    if not all(_names(rule) <= {*bounds} for rule in rules):
        return {}
    found = {name: _widest(name, sorted(of), rules) for name, of in bounds.items()}
    inside = {name: (low + high) / 2 for name, (low, high) in found.items()}
    return {} if any(_fails(rule, inside) for rule in rules) else found


def _widest(name: str, bounds: list[float], rules: list[ast.expr]) -> Range:
    """The widest interval between neighbouring bounds in which no rule over this column alone fails."""
    own = [rule for rule in rules if _names(rule) == {name}]
    sound = [pair for pair in pairwise(bounds) if not any(_fails(rule, {name: sum(pair) / 2}) for rule in own)]
    return max(sound, key=lambda pair: pair[1] - pair[0], default=(0.0, 0.0))


def _names(rule: ast.expr) -> set[str]:
    return {node.id for node in ast.walk(rule) if isinstance(node, ast.Name)}


def _number(node: ast.expr) -> float | None:
    try:
        value = ast.literal_eval(node)
    except ValueError:
        return None
    return float(value) if isinstance(value, (int, float)) else None


def _fails(rule: ast.expr, values: Mapping[str, float]) -> bool:
    """Whether an expression is true of these values."""
    return bool(eval(compile(ast.Expression(rule), "<rule>", "eval"), {"__builtins__": {}}, dict(values)))
