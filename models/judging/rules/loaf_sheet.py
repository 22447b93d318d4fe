"""What cannot be true of loaves, of a shift's output, and of what was changed."""

from __future__ import annotations

from models.judging.rules.rule import Rule, cannot_be, wrong_year

# Columns that rules may use besides the log's own; name -> expression over the typed columns.
DERIVED = {
    "specific_volume": "volume_ml / baked_g",
    "bake_loss_pct": "100 * (scaled_g - baked_g) / scaled_g",
}


def _not_whole(column: str) -> Rule:
    """1.900 in a file of decimal points: nineteen hundred pieces, where the thousands mark is a point."""
    return cannot_be(
        "output",
        f"{column}.not-whole",
        column,
        column,
        f"{column} % 1 > 0",
        "{value} pieces is no whole number: was a thousands mark read as the decimal one? Write it without marks",
    )


RULES: tuple[Rule, ...] = (
    wrong_year("output", "shift_date"),
    cannot_be(
        "loaf",
        "weight-and-volume-swapped",
        "baked_g",
        "baked_g volume_ml",
        "specific_volume >= 0.1 and specific_volume < 0.6 and baked_g > 100",
        "{value} g and {volume_ml} mL look changed over: a loaf of {specific_volume} mL/g is denser than dough",
        4,
    ),
    cannot_be(
        "loaf",
        "specific-volume-not-credible",
        "volume_ml",
        "baked_g volume_ml",
        "(specific_volume < 0.9 or specific_volume > 12) and not (specific_volume >= 0.1 and specific_volume < 0.6 and baked_g > 100)",
        "{value} mL on {baked_g} g is {specific_volume} mL/g, which no loaf has: a digit, a decimal point or a unit?",
        4,
    ),
    cannot_be(
        "loaf",
        "heavier-than-its-dough",
        "baked_g",
        "baked_g scaled_g",
        "bake_loss_pct < -0.5",
        "the loaf {value} g is heavier than its dough piece {scaled_g} g: two columns changed over, or another loaf?",
        4,
    ),
    cannot_be(
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
    cannot_be(
        "output",
        "wasted-above-made",
        "pieces_wasted",
        "pieces_made pieces_wasted",
        "pieces_wasted > pieces_made",
        "{value} pieces wasted of {pieces_made} made: two columns changed over?",
    ),
    cannot_be(
        "change",
        "unknown-name",
        "name",
        "name known_name",
        "not known_name",
        "{scope} {value} is not in the plant file",
        6,
    ),
)
