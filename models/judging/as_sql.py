"""A rule's own expression as SQL, so that what is declared once is asked of a frame and of a table alike.

Missing values behave as in a frame: a comparison with one is false, a number that is not finite is missing.
"""

from __future__ import annotations

import ast
from collections.abc import Mapping

_SIGNS: dict[type, str] = {
    ast.Add: "+", ast.Sub: "-", ast.Mult: "*", ast.Div: "/",
    ast.Lt: "<", ast.LtE: "<=", ast.Gt: ">", ast.GtE: ">=", ast.Eq: "=", ast.NotEq: "<>",
}  # fmt: skip


def condition(expression: str) -> str:
    """SQL that is true or false, never missing, from an expression over a frame's columns.

    Raises ValueError for a form that no rule has.
    """
    return _sql(ast.parse(expression, mode="eval").body)


def number(expression: str) -> str:
    """SQL of a worked-out column: missing where a frame would hold no finite number."""
    sql = condition(expression)
    return f"CASE WHEN isfinite({sql}) THEN {sql} END"


def names(expression: str) -> frozenset[str]:
    """The columns an expression is over."""
    return frozenset(node.id for node in ast.walk(ast.parse(expression, mode="eval")) if isinstance(node, ast.Name))


def worked_out(columns: Mapping[str, str]) -> str:
    """SELECT list of worked-out columns: name -> expression."""
    return "".join(f', {number(expression)} AS "{name}"' for name, expression in columns.items())


def _sql(node: ast.expr) -> str:
    if isinstance(node, ast.BoolOp):
        word = " AND " if isinstance(node.op, ast.And) else " OR "
        return f"({word.join(_sql(value) for value in node.values)})"
    if isinstance(node, ast.UnaryOp) and isinstance(node.op, ast.Not):
        return f"(NOT {_sql(node.operand)})"
    if isinstance(node, ast.UnaryOp) and isinstance(node.op, ast.USub):
        return f"(-{_sql(node.operand)})"
    if isinstance(node, ast.BinOp) and type(node.op) in _SIGNS:
        return f"({_sql(node.left)} {_SIGNS[type(node.op)]} {_sql(node.right)})"
    if isinstance(node, ast.Compare) and len(node.ops) == 1 and type(node.ops[0]) in _SIGNS:
        sign = _SIGNS[type(node.ops[0])]
        return f"coalesce({_sql(node.left)} {sign} {_sql(node.comparators[0])}, false)"
    if isinstance(node, ast.Name):
        return f'"{node.id}"'
    if isinstance(node, ast.Constant) and isinstance(node.value, (int, float)) and not isinstance(node.value, bool):
        return f"{node.value!r}" if "e" in repr(node.value) else f"{node.value!r}e0"
    raise ValueError(f"no SQL for {ast.unparse(node)}")
