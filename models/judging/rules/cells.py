"""What one cell may hold: a code of the plant file, a number in its range; and the usual slip of a unit."""

from __future__ import annotations

from models.judging.rules.rule import Rule, cannot_be
from models.logbook import Column, Table


def of_column(table: Table, column: Column) -> list[Rule]:
    """The rules that a column brings by its declaration."""
    if column.plant_code:
        return [_code_rule(table, column)]
    if column.can_be:
        return [*_unit_slip(table, column), _range(table, column)]
    return []


def _code_rule(table: Table, column: Column) -> Rule:
    return cannot_be(
        table.kind,
        f"unknown-{column.plant_code}",
        column.name,
        column.name,
        f"not known_{column.plant_code}",
        f"{column.plant_code} {{value}} is not in the plant file; it may be {{may_be_{column.plant_code}}}",
        4,
    )


# unit of the column -> (code, factor, offset, words): x is what was typed, (x - offset) / factor what was meant
SLIPS = {
    "°C": ("fahrenheit", 1.8, 32.0, "°F in a °C column"),
    "kg": ("grams", 1000.0, 0.0, "grams in a kilogram column"),
    "g": ("kilograms", 0.001, 0.0, "kilograms in a gram column"),
    "mL": ("litres", 0.001, 0.0, "litres in a millilitre column"),
    "%": ("fraction", 0.01, 0.0, "a fraction, as a cell shown in per cent holds it"),
}


def _slip_bounds(column: Column) -> tuple[float, float] | None:
    """Between which typed values the usual slip of the unit explains a value out of range."""
    if column.unit not in SLIPS or column.can_be is None:
        return None
    _, factor, offset, _ = SLIPS[column.unit]
    low, high = (bound * factor + offset for bound in column.can_be)
    return (max(low, column.can_be[1]), high) if factor > 1 else (low, min(high, column.can_be[0]))


def _slip_expression(column: Column) -> str:
    bounds = _slip_bounds(column)
    if bounds is None or bounds[0] >= bounds[1]:
        return ""
    low, high = bounds
    left, right = (">", "<=") if SLIPS[column.unit][1] > 1 else (">=", "<")
    return f"({column.name} {left} {low!r} and {column.name} {right} {high!r})"


def _unit_slip(table: Table, column: Column) -> list[Rule]:
    """The rule of a unit's usual slip; none where the unit has no such slip."""
    expression = _slip_expression(column)
    if not expression:
        return []
    code, _, _, words = SLIPS[column.unit]
    safety = 1 if column.name in {"temp_2h_c", "temp_6h_c", "cook_temp_c"} else 4
    return [
        cannot_be(
            table.kind,
            f"{column.name}.{code}",
            column.name,
            column.name,
            expression,
            f"{{value}} cannot be in {column.unit} here, but {{meant}} {column.unit} can: {words}? Correct the sheet",
            safety,
        )
    ]


def _range(table: Table, column: Column) -> Rule:
    assert column.can_be is not None
    low, high = column.can_be
    outside = f"({column.name} < {low!r} or {column.name} > {high!r})"
    slip = _slip_expression(column)
    return cannot_be(
        table.kind,
        f"{column.name}.range",
        column.name,
        column.name,
        f"{outside} and not {slip}" if slip else outside,
        f"{{value}} is not between {low:g} and {high:.10g} {column.unit}: a digit, a decimal point or a unit? Correct the sheet",
        1 if column.name in {"temp_2h_c", "temp_6h_c"} else 5,
    )


def meant(column: Column, value: float) -> float | None:
    """What was probably meant by a value typed in the usual wrong unit; None where that explains nothing."""
    bounds = _slip_bounds(column)
    if bounds is None or not bounds[0] <= value <= bounds[1]:
        return None
    _, factor, offset, _ = SLIPS[column.unit]
    return (value - offset) / factor
