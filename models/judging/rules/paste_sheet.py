"""What cannot be true on a paste sheet."""

from __future__ import annotations

from models.judging.rules.rule import Rule, cannot_be, wrong_year
from models.logbook import NO_COOK_LOSES_PCT

# Columns that rules may use besides the log's own; name -> expression over the typed columns.
DERIVED = {
    "net_before_kg": "weight_before_kg - tare_or_0_kg",
    "net_after_kg": "weight_after_kg - tare_or_0_kg",
    "gross_loss_pct": "100 * (weight_before_kg - weight_after_kg) / net_before_kg",
    "charge_kg": "flour_kg + liquid_kg",
    "off_charge_kg": "net_before_kg - charge_kg",
    "in_charge_ratio": "net_before_kg / charge_kg",
}

# Wb over the charge where Wb was read in pounds (1 kg = 2.2046 lb), within 3 %
IN_POUNDS = "(in_charge_ratio > 2.1385 and in_charge_ratio < 2.2708)"

RULES: tuple[Rule, ...] = (
    wrong_year("paste", "shift_date"),
    cannot_be(
        "paste",
        "after-above-before",
        "weight_after_kg",
        "weight_before_kg weight_after_kg",
        "weight_after_kg > weight_before_kg + 0.005 * net_before_kg",
        "Wa {value} kg is above Wb {weight_before_kg} kg: cooking adds no weight. Weigh the tub, look for a tare "
        "left in Wa or two numbers changed over, and correct the sheet",
        3,
    ),
    cannot_be(
        "paste",
        "tare-left-in",
        "weight_before_kg",
        "weight_before_kg flour_kg liquid_kg",
        f"off_charge_kg > 1 and in_charge_ratio > 1.05 and not {IN_POUNDS}",
        "Wb {value} kg is {off_charge_kg} kg more than the flour and liquid weighed in ({charge_kg} kg): "
        "probably the tare is left in. Write the kettle's tare in tare_kg, or the net weights",
        3,
    ),
    cannot_be(
        "paste",
        "pounds-or-tare",
        "weight_before_kg",
        "weight_before_kg flour_kg liquid_kg",
        f"off_charge_kg > 1 and {IN_POUNDS}",
        "Wb {value} kg is {in_charge_ratio} times the flour and liquid weighed in ({charge_kg} kg): pounds in a kilogram "
        "column (1 kg is 2.2046 lb), or the tare left in? Correct the sheet",
        3,
    ),
    cannot_be(
        "paste",
        "less-than-charge",
        "weight_before_kg",
        "weight_before_kg flour_kg liquid_kg",
        "off_charge_kg < -1 and in_charge_ratio < 0.95",
        "Wb {value} kg is less than the flour and liquid weighed in ({charge_kg} kg): one of the three is wrong",
        4,
    ),
    cannot_be(
        "paste",
        "loss-not-credible",
        "weight_after_kg",
        "weight_before_kg weight_after_kg",
        f"gross_loss_pct > {NO_COOK_LOSES_PCT:g}",
        "Wb {weight_before_kg} kg less Wa {value} kg is {gross_loss_pct} % of the paste: no cook loses that. "
        "A tare left in Wb only, or a digit wrong? Weigh again or correct the sheet",
        3,
    ),
    cannot_be(
        "paste",
        "tare-above-weight",
        "tare_kg",
        "tare_kg weight_after_kg",
        "tare_kg >= weight_after_kg",
        "the tare {value} kg is not below the gross weight {weight_after_kg} kg",
        4,
    ),
    cannot_be(
        "paste",
        "residue-not-credible",
        "residue_kg",
        "residue_kg weight_after_kg",
        "residue_kg > 0.25 * net_after_kg",
        "{value} kg left on kettle and tools is more than a quarter of the paste: is the tool's own weight in it?",
    ),
    cannot_be(
        "paste",
        "water-not-credible",
        "kettle_water_kg",
        "kettle_water_kg weight_before_kg",
        "kettle_water_kg > 0.5 * net_before_kg",
        "{value} kg of water put back is more than half of the kettle: litres, grams or another column?",
    ),
    cannot_be(
        "paste",
        "cold-above-hot",
        "weight_cold_kg",
        "weight_cold_kg weight_after_kg",
        "weight_cold_kg - tare_or_0_kg > 1.02 * (net_after_kg + water_or_0_kg)",
        "the cold paste {value} kg is heavier than the hot paste and the water put back: a tub weighed with it?",
    ),
    cannot_be(
        "paste",
        "times-out-of-order",
        "cook_end",
        "cook_start cook_end",
        "cook_minutes <= 0",
        "the cook ends {value}, not after it starts {cook_start}: is the date after midnight right?",
        4,
    ),
    cannot_be(
        "paste",
        "cook-too-long",
        "cook_end",
        "cook_start cook_end",
        "cook_minutes > 360",
        "a cook of {cook_minutes} min cannot be: look at the dates and times of start and end",
        4,
    ),
    cannot_be(
        "paste",
        "not-in-its-shift",
        "cook_start",
        "cook_start shift_offset_h",
        "shift_offset_h < -4 or shift_late_h > 12",
        "the cook starts {value}, which does not fit shift {shift} of {shift_date}: after midnight the clock is on "
        "the next date, while the shift keeps the date it began on",
        4,
    ),
    cannot_be(
        "paste",
        "reading-not-the-paste",
        "cook_temp_c",
        "cook_temp_c wall_reading",
        "wall_reading",
        "{value} °C by infrared while the cook took its usual time and lost water: the steel was read, not the paste. "
        "Stir, read again with a contact probe, and leave the cell empty only where nothing else is known",
        3,
    ),
    cannot_be(
        "paste",
        "warmer-after-2-h",
        "temp_2h_c",
        "temp_2h_c cook_temp_c",
        "temp_2h_c > cook_temp_c + 5",
        "{value} °C two hours after a cook that ended at {cook_temp_c} °C: °F in a °C column, or another cook's reading?",
        1,
    ),
    cannot_be(
        "paste",
        "flour-and-liquid-swapped",
        "flour_kg",
        "flour_kg liquid_kg recipe_ratio",
        "swapped_charge",
        "flour {value} kg and liquid {liquid_kg} kg look changed over: the recipe takes "
        "{recipe_ratio} kg of liquid to 1 kg of flour",
        4,
    ),
    cannot_be(
        "paste",
        "off-by-a-factor",
        "weight_before_kg",
        "weight_before_kg before_on_median",
        "before_on_median > 6 or before_on_median < 0.16",
        "Wb {value} kg is {before_on_median} times what this kettle usually holds in the same log: a decimal point or a unit?",
        4,
    ),
)
