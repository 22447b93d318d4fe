"""Every rule a row is held against, declared once, beside the columns they are about.

Two questions, kept apart. *true*: can this be? If not, it is a slip on the sheet and the row waits in
quarantine. *good*: is this as it should be? If not, it is the process: the row stays and is flagged.

A rule says when a row fails (`fails`, an expression over the row's columns) and which columns must be
filled before it can judge at all (`needs`). Where one of them is empty the rule has nothing to judge,
which is never the same as passed. Bounds are common practice, no source, unless a rule says otherwise.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from functools import cache
from typing import Literal

from models.logbook import NO_COOK_LOSES_PCT, TABLES, Column, Table

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


# Columns that rules may use besides the log's own; name -> expression over the typed columns.
DERIVED: dict[str, dict[str, str]] = {
    "paste": {
        "net_before_kg": "weight_before_kg - tare_or_0_kg",
        "net_after_kg": "weight_after_kg - tare_or_0_kg",
        "gross_loss_pct": "100 * (weight_before_kg - weight_after_kg) / net_before_kg",
        "charge_kg": "flour_kg + liquid_kg",
        "off_charge_kg": "net_before_kg - charge_kg",
        "in_charge_ratio": "net_before_kg / charge_kg",
    },
    "dough": {"yeast_on_flour": "yeast_kg / flour_kg", "liquid_on_flour": "liquid_kg / flour_kg"},
    "loaf": {
        "specific_volume": "volume_ml / baked_g",
        "bake_loss_pct": "100 * (scaled_g - baked_g) / scaled_g",
    },
}


def _true(kind: str, code: str, column: str, needs: str, fails: str, says: str, weight: int = 5) -> Rule:
    return Rule(f"{kind}.{code}", kind, "true", column, tuple(needs.split()), fails, says, weight=weight)


# Wb over the charge where Wb was read in pounds (1 kg = 2.2046 lb), within 3 %
IN_POUNDS = "(in_charge_ratio > 2.1385 and in_charge_ratio < 2.2708)"


def _wrong_year(kind: str, column: str) -> Rule:
    """Asked of the logs whose rows enter figures by their day; a log of checks or changes is kept over years."""
    return _true(
        kind,
        "wrong-year",
        column,
        f"{column} usual_date",
        "year_off",
        "{value} is a year off the other rows of this file, which are of {usual_date} or near: the old year from habit? "
        "Correct the sheet, there if this row is wrong, else in the others",
        4,
    )


def _not_whole(column: str) -> Rule:
    """1.900 in a file of decimal points: nineteen hundred pieces, where the thousands mark is a point."""
    return _true(
        "output",
        f"{column}.not-whole",
        column,
        column,
        f"{column} % 1 > 0",
        "{value} pieces is no whole number: was a thousands mark read as the decimal one? Write it without marks",
    )


CROSS_COLUMN: tuple[Rule, ...] = (
    _wrong_year("paste", "shift_date"),
    _wrong_year("dough", "shift_date"),
    _wrong_year("output", "shift_date"),
    _wrong_year("proof", "proof_in"),
    _wrong_year("gas", "tested_at"),
    _true(
        "paste",
        "after-above-before",
        "weight_after_kg",
        "weight_before_kg weight_after_kg",
        "weight_after_kg > weight_before_kg + 0.005 * net_before_kg",
        "Wa {value} kg is above Wb {weight_before_kg} kg: cooking adds no weight. Weigh the tub, look for a tare "
        "left in Wa or two numbers changed over, and correct the sheet",
        3,
    ),
    _true(
        "paste",
        "tare-left-in",
        "weight_before_kg",
        "weight_before_kg flour_kg liquid_kg",
        f"off_charge_kg > 1 and in_charge_ratio > 1.05 and not {IN_POUNDS}",
        "Wb {value} kg is {off_charge_kg} kg more than the flour and liquid weighed in ({charge_kg} kg): "
        "probably the tare is left in. Write the kettle's tare in tare_kg, or the net weights",
        3,
    ),
    _true(
        "paste",
        "pounds-or-tare",
        "weight_before_kg",
        "weight_before_kg flour_kg liquid_kg",
        f"off_charge_kg > 1 and {IN_POUNDS}",
        "Wb {value} kg is {in_charge_ratio} times the flour and liquid weighed in ({charge_kg} kg): pounds in a kilogram "
        "column (1 kg is 2.2046 lb), or the tare left in? Correct the sheet",
        3,
    ),
    _true(
        "paste",
        "less-than-charge",
        "weight_before_kg",
        "weight_before_kg flour_kg liquid_kg",
        "off_charge_kg < -1 and in_charge_ratio < 0.95",
        "Wb {value} kg is less than the flour and liquid weighed in ({charge_kg} kg): one of the three is wrong",
        4,
    ),
    _true(
        "paste",
        "loss-not-credible",
        "weight_after_kg",
        "weight_before_kg weight_after_kg",
        f"gross_loss_pct > {NO_COOK_LOSES_PCT:g}",
        "Wb {weight_before_kg} kg less Wa {value} kg is {gross_loss_pct} % of the paste: no cook loses that. "
        "A tare left in Wb only, or a digit wrong? Weigh again or correct the sheet",
        3,
    ),
    _true(
        "paste",
        "tare-above-weight",
        "tare_kg",
        "tare_kg weight_after_kg",
        "tare_kg >= weight_after_kg",
        "the tare {value} kg is not below the gross weight {weight_after_kg} kg",
        4,
    ),
    _true(
        "paste",
        "residue-not-credible",
        "residue_kg",
        "residue_kg weight_after_kg",
        "residue_kg > 0.25 * net_after_kg",
        "{value} kg left on kettle and tools is more than a quarter of the paste: is the tool's own weight in it?",
    ),
    _true(
        "paste",
        "water-not-credible",
        "kettle_water_kg",
        "kettle_water_kg weight_before_kg",
        "kettle_water_kg > 0.5 * net_before_kg",
        "{value} kg of water put back is more than half of the kettle: litres, grams or another column?",
    ),
    _true(
        "paste",
        "cold-above-hot",
        "weight_cold_kg",
        "weight_cold_kg weight_after_kg",
        "weight_cold_kg - tare_or_0_kg > 1.02 * (net_after_kg + water_or_0_kg)",
        "the cold paste {value} kg is heavier than the hot paste and the water put back: a tub weighed with it?",
    ),
    _true(
        "paste",
        "times-out-of-order",
        "cook_end",
        "cook_start cook_end",
        "cook_minutes <= 0",
        "the cook ends {value}, not after it starts {cook_start}: is the date after midnight right?",
        4,
    ),
    _true(
        "paste",
        "cook-too-long",
        "cook_end",
        "cook_start cook_end",
        "cook_minutes > 360",
        "a cook of {cook_minutes} min cannot be: look at the dates and times of start and end",
        4,
    ),
    _true(
        "paste",
        "not-in-its-shift",
        "cook_start",
        "cook_start shift_offset_h",
        "shift_offset_h < -4 or shift_late_h > 12",
        "the cook starts {value}, which does not fit shift {shift} of {shift_date}: after midnight the clock is on "
        "the next date, while the shift keeps the date it began on",
        4,
    ),
    _true(
        "paste",
        "reading-not-the-paste",
        "cook_temp_c",
        "cook_temp_c wall_reading",
        "wall_reading",
        "{value} °C by infrared while the cook took its usual time and lost water: the steel was read, not the paste. "
        "Stir, read again with a contact probe, and leave the cell empty only where nothing else is known",
        3,
    ),
    _true(
        "paste",
        "warmer-after-2-h",
        "temp_2h_c",
        "temp_2h_c cook_temp_c",
        "temp_2h_c > cook_temp_c + 5",
        "{value} °C two hours after a cook that ended at {cook_temp_c} °C: °F in a °C column, or another cook's reading?",
        1,
    ),
    _true(
        "paste",
        "flour-and-liquid-swapped",
        "flour_kg",
        "flour_kg liquid_kg recipe_ratio",
        "swapped_charge",
        "flour {value} kg and liquid {liquid_kg} kg look changed over: the recipe takes "
        "{recipe_ratio} kg of liquid to 1 kg of flour",
        4,
    ),
    _true(
        "paste",
        "off-by-a-factor",
        "weight_before_kg",
        "weight_before_kg before_on_median",
        "before_on_median > 6 or before_on_median < 0.16",
        "Wb {value} kg is {before_on_median} times what this kettle usually holds in the same log: a decimal point or a unit?",
        4,
    ),
    _true(
        "dough",
        "yeast-not-credible",
        "yeast_kg",
        "yeast_kg flour_kg",
        "yeast_on_flour > 0.2",
        "{value} kg yeast to {flour_kg} kg flour: grams for kilograms, or two columns changed over?",
        4,
    ),
    _true(
        "dough",
        "liquid-not-credible",
        "liquid_kg",
        "liquid_kg flour_kg",
        "liquid_on_flour > 3",
        "{value} kg liquid to {flour_kg} kg flour: grams for kilograms, or two columns changed over?",
        4,
    ),
    _true(
        "dough",
        "paste-not-credible",
        "paste_kg",
        "paste_kg flour_kg",
        "paste_kg > 3 * flour_kg",
        "{value} kg paste to {flour_kg} kg flour: grams for kilograms, or two columns changed over?",
        4,
    ),
    _true(
        "dough",
        "makeup-not-credible",
        "makeup_water_kg",
        "makeup_water_kg flour_kg",
        "makeup_water_kg > 0.3 * flour_kg",
        "{value} kg make-up water to {flour_kg} kg flour: is all the dough's water in this column?",
        4,
    ),
    _true(
        "dough",
        "not-in-its-shift",
        "mixed_at",
        "mixed_at shift_offset_h",
        "shift_offset_h < -4 or shift_late_h > 12",
        "mixed {value}, which does not fit shift {shift} of {shift_date}: after midnight the clock is on the next date, "
        "while the shift keeps the date it began on",
        4,
    ),
    _true(
        "dough",
        "off-by-a-factor",
        "flour_kg",
        "flour_kg flour_on_median",
        "flour_on_median > 6 or flour_on_median < 0.16",
        "{value} kg flour is {flour_on_median} times what this line usually mixes in the same log: a decimal point or a unit?",
        4,
    ),
    _true(
        "proof",
        "times-out-of-order",
        "proof_out",
        "proof_in proof_out",
        "proof_minutes <= 0",
        "out of the proofer {value}, not after it went in {proof_in}: is the date after midnight right?",
    ),
    _true(
        "proof",
        "proof-too-long",
        "proof_out",
        "proof_in proof_out",
        "proof_minutes > 720",
        "a proof of {proof_minutes} min cannot be: look at the dates and times",
    ),
    _true(
        "gas",
        "kept-above-made",
        "gas_retained_ml",
        "gas_produced_ml gas_retained_ml",
        "gas_retained_ml > 1.02 * gas_produced_ml",
        "{value} mL kept is more than the {gas_produced_ml} mL made: two columns changed over?",
    ),
    _true(
        "gas",
        "of-nothing",
        "dough_batch",
        "gas_produced_ml names_nothing",
        "names_nothing",
        "the test names neither a dough with its line nor a yeast lot: what was tested?",
    ),
    _true(
        "loaf",
        "weight-and-volume-swapped",
        "baked_g",
        "baked_g volume_ml",
        "specific_volume >= 0.1 and specific_volume < 0.6 and baked_g > 100",
        "{value} g and {volume_ml} mL look changed over: a loaf of {specific_volume} mL/g is denser than dough",
        4,
    ),
    _true(
        "loaf",
        "specific-volume-not-credible",
        "volume_ml",
        "baked_g volume_ml",
        "(specific_volume < 0.9 or specific_volume > 12) and not (specific_volume >= 0.1 and specific_volume < 0.6 and baked_g > 100)",
        "{value} mL on {baked_g} g is {specific_volume} mL/g, which no loaf has: a digit, a decimal point or a unit?",
        4,
    ),
    _true(
        "loaf",
        "heavier-than-its-dough",
        "baked_g",
        "baked_g scaled_g",
        "bake_loss_pct < -0.5",
        "the loaf {value} g is heavier than its dough piece {scaled_g} g: two columns changed over, or another loaf?",
        4,
    ),
    _true(
        "loaf",
        "bake-loss-not-credible",
        "baked_g",
        "baked_g scaled_g",
        "bake_loss_pct > 40",
        "the loaf {value} g has lost {bake_loss_pct} % of its dough piece {scaled_g} g: a digit or a decimal point?",
        4,
    ),
    _not_whole("pieces_made"),
    _not_whole("pieces_wasted"),
    _true(
        "output",
        "wasted-above-made",
        "pieces_wasted",
        "pieces_made pieces_wasted",
        "pieces_wasted > pieces_made",
        "{value} pieces wasted of {pieces_made} made: two columns changed over?",
    ),
    _true(
        "change",
        "unknown-name",
        "name",
        "name known_name",
        "not known_name",
        "{scope} {value} is not in the plant file",
        6,
    ),
)


@cache
def truth_rules(kind: str) -> tuple[Rule, ...]:
    """*Can this be true?* for one log: what its columns say, then what they say together."""
    table = TABLES[kind]
    single = [rule for column in table.columns for rule in _of_column(table, column)]
    return (*single, *(rule for rule in CROSS_COLUMN if rule.kind == kind))


def _of_column(table: Table, column: Column) -> list[Rule]:
    if column.plant_code:
        return [_code_rule(table, column)]
    if column.can_be:
        return [*_unit_slip(table, column), _range(table, column)]
    return []


def _code_rule(table: Table, column: Column) -> Rule:
    return _true(
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
        _true(
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
    return _true(
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


def _window(
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


def _above(
    kind: str, code: str, column: str, says: str, act: str, warn: str, unit: str, weight: int
) -> tuple[Rule, ...]:
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


def _flag(
    kind: str, code: str, column: str, needs: str, fails: str, says: str, level: Level, weight: int, source: str
) -> Rule:
    return Rule(f"{kind}.{code}", kind, "good", column, tuple(needs.split()), fails, says, level, weight, source=source)


# a paste that later doughs are traced to because their own has not come
OVERDRAWN_IN_DOUBT = "pastes.overdrawn-in-doubt"

# *Is this good?* of a paste batch and of a dough batch: over the wide rows with the plant's limits beside them.
GOOD: tuple[Rule, ...] = (
    *_window("pastes", "cook-temperature", "cook_temp_c", "cook temperature", "°C", "cook_act", "cook_warn", 3),
    _flag(
        "pastes",
        "infrared-reads-low",
        "cook_temp_c",
        "cook_temp_c loss_pct cook_warn_low probe",
        "probe == 'infrared' and low_but_lost",
        "{value} °C by infrared is low, yet {loss_pct} % of Wb was lost, no less than usual: steam, an unstirred skin or the "
        "wall was read. Stir and read again with a contact probe; the loss is the better witness",
        "warning",
        4,
        "common practice, no source",
    ),
    _flag(
        "pastes",
        "read-before-the-end",
        "cook_temp_c",
        "cook_temp_c loss_pct cook_warn_low probe",
        "probe == 'contact' and low_but_lost",
        "{value} °C is low, yet {loss_pct} % of Wb was lost, no less than usual: was it read before the end of the cook? "
        "Read again at the end",
        "warning",
        5,
        "common practice, no source",
    ),
    *_window("pastes", "loss", "loss_pct", "water lost in the cook", "% of Wb", "loss_act", "loss_warn", 3),
    *_above(
        "pastes",
        "points",
        "points_lost",
        "{value} points of hydration lost beyond the usual",
        "points_act",
        "points_warn",
        "points",
        3,
    ),
    *_above(
        "pastes",
        "overdrawn",
        "overdrawn_pct",
        "{overdrawn_kg} kg ({value} %) more was used than was made",
        "overdrawn_act",
        "overdrawn_warn",
        "%",
        4,
    ),
    _flag(
        "pastes",
        OVERDRAWN_IN_DOUBT.removeprefix("pastes."),
        "overdrawn_kg",
        "overdrawn_kg",
        "sheet_awaited != ''",
        "doughs of {sheet_awaited} are traced to it, too, whose own paste sheet of {kettle}, {shift}, has not come or not whole: "
        "whether more was used than was made is not checked until it has",
        "warning",
        6,
        "common practice, no source",
    ),
    _flag(
        "pastes",
        "cooling",
        "cooling",
        "cooling_judged",
        "cooling_missed",
        "the cooling limits of the plant's food-safety plan were not met (2 h: {temp_2h_c} °C, 6 h: {temp_6h_c} °C): "
        "hold the paste and every dough it went into; baking does not repair it",
        "action",
        1,
        "plant file, [cooling]",
    ),
    _flag(
        "pastes",
        "recipe-of-kettle",
        "recipe",
        "recipe",
        "not recipe_listed",
        "recipe {value} is not listed for kettle {kettle}",
        "warning",
        4,
        "plant file",
    ),
    _flag(
        "batches",
        "paste-of-another-recipe",
        "recipe",
        "recipe product_paste",
        "other_recipe",
        "made with paste {value} ({paste_key}); {product} takes {product_paste}: hold",
        "action",
        1,
        "plant file",
    ),
    _flag(
        "batches",
        "undeclared-allergen",
        "recipe",
        "recipe undeclared",
        "undeclared != ''",
        "paste {value} ({paste_key}) brings {undeclared}, which {product} does not declare: hold",
        "action",
        1,
        "plant file",
    ),
    *_window("batches", "dough-temperature", "dough_temp_c", "dough temperature", "°C", "dough_act", "dough_warn", 4),
    *_above(
        "batches",
        "paste-age",
        "paste_age_h",
        "paste {paste_key} was {value} h old at mixing",
        "age_act",
        "age_warn",
        "h",
        1,
    ),
    _flag(
        "batches",
        "specific-volume",
        "specific_volume",
        "specific_volume sv_low sv_high",
        "specific_volume < sv_low or specific_volume > sv_high",
        "specific volume {value} mL/g (mean of {loaves} loaves) is outside {sv_low} to {sv_high} mL/g",
        "action",
        4,
        "plant file",
    ),
    _flag(
        "batches",
        "water-owed",
        "usual_gap_points",
        "usual_gap_points points_act",
        "usual_gap_points < -points_act",
        "the dough is {value} points off the formula as recorded; {water_owed_kg} kg of water owed, made good: {water_made_good}",
        "warning",
        4,
        "plant file",
    ),
    _flag(
        "batches",
        "product-of-line",
        "product",
        "product",
        "not product_listed",
        "{value} is not listed for line {line}",
        "warning",
        6,
        "plant file",
    ),
)


@cache
def good_rules(kind: str) -> tuple[Rule, ...]:
    """*Is this good?* for the wide rows `pastes` or `batches`."""
    return tuple(rule for rule in GOOD if rule.kind == kind)
