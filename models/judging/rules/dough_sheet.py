"""What cannot be true of a dough, its proof and its gas tests."""

from __future__ import annotations

from models.judging.rules.rule import Rule, cannot_be, wrong_year

# Columns that rules may use besides the log's own; name -> expression over the typed columns.
DERIVED = {"yeast_on_flour": "yeast_kg / flour_kg", "liquid_on_flour": "liquid_kg / flour_kg"}

RULES: tuple[Rule, ...] = (
    wrong_year("dough", "shift_date"),
    wrong_year("proof", "proof_in"),
    wrong_year("gas", "tested_at"),
    cannot_be(
        "dough",
        "yeast-not-credible",
        "yeast_kg",
        "yeast_kg flour_kg",
        "yeast_on_flour > 0.2",
        "{value} kg yeast to {flour_kg} kg flour: grams for kilograms, or two columns changed over?",
        4,
    ),
    cannot_be(
        "dough",
        "liquid-not-credible",
        "liquid_kg",
        "liquid_kg flour_kg",
        "liquid_on_flour > 3",
        "{value} kg liquid to {flour_kg} kg flour: grams for kilograms, or two columns changed over?",
        4,
    ),
    cannot_be(
        "dough",
        "paste-not-credible",
        "paste_kg",
        "paste_kg flour_kg",
        "paste_kg > 3 * flour_kg",
        "{value} kg paste to {flour_kg} kg flour: grams for kilograms, or two columns changed over?",
        4,
    ),
    cannot_be(
        "dough",
        "makeup-not-credible",
        "makeup_water_kg",
        "makeup_water_kg flour_kg",
        "makeup_water_kg > 0.3 * flour_kg",
        "{value} kg make-up water to {flour_kg} kg flour: is all the dough's water in this column?",
        4,
    ),
    cannot_be(
        "dough",
        "not-in-its-shift",
        "mixed_at",
        "mixed_at shift_offset_h",
        "shift_offset_h < -4 or shift_late_h > 12",
        "mixed {value}, which does not fit shift {shift} of {shift_date}: after midnight the clock is on the next date, "
        "while the shift keeps the date it began on",
        4,
    ),
    cannot_be(
        "dough",
        "off-by-a-factor",
        "flour_kg",
        "flour_kg flour_on_median",
        "flour_on_median > 6 or flour_on_median < 0.16",
        "{value} kg flour is {flour_on_median} times what this line usually mixes in the same log: a decimal point or a unit?",
        4,
    ),
    cannot_be(
        "proof",
        "times-out-of-order",
        "proof_out",
        "proof_in proof_out",
        "proof_minutes <= 0",
        "out of the proofer {value}, not after it went in {proof_in}: is the date after midnight right?",
    ),
    cannot_be(
        "proof",
        "proof-too-long",
        "proof_out",
        "proof_in proof_out",
        "proof_minutes > 720",
        "a proof of {proof_minutes} min cannot be: look at the dates and times",
    ),
    cannot_be(
        "gas",
        "kept-above-made",
        "gas_retained_ml",
        "gas_produced_ml gas_retained_ml",
        "gas_retained_ml > 1.02 * gas_produced_ml",
        "{value} mL kept is more than the {gas_produced_ml} mL made: two columns changed over?",
    ),
    cannot_be(
        "gas",
        "of-nothing",
        "dough_batch",
        "gas_produced_ml names_nothing",
        "names_nothing",
        "the test names neither a dough with its line nor a yeast lot: what was tested?",
    ),
)
