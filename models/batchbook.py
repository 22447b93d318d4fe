"""The two wide rows everything later is read from: one a paste batch, one a dough batch.

Declared once, like the logs: the store's tables, the published views and the data dictionary are
derived from `PASTES` and `BATCHES`. `models.trade.batches` fills them.
"""

from __future__ import annotations

from models.logbook import Column


def _text(name: str, says: str) -> Column:
    return Column(name, "text", says)


def _num(name: str, unit: str, says: str) -> Column:
    return Column(name, "number", says, unit=unit)


def _time(name: str, says: str) -> Column:
    return Column(name, "time", says, unit="UTC")


PASTES: tuple[Column, ...] = (
    _text("paste_key", "shift_date/kettle/paste_batch: the batch's name everywhere"),
    _text("paste_batch", "as the floor writes it"),
    _text("kettle", ""),
    _text("recipe", "named on the row, else the only one the kettle makes"),
    Column("shift_date", "date", ""),
    _text("shift", ""),
    _time("cook_start", ""),
    _time("cook_end", ""),
    _text("flour_lot", ""),
    _text("liquid_lot", ""),
    _num("flour_kg", "kg", "weighed in, else Wb shared out by the recipe"),
    _num("liquid_kg", "kg", "weighed in, else Wb shared out by the recipe"),
    _num("before_kg", "kg", "Wb, net"),
    _num("after_kg", "kg", "Wa, net"),
    _num("residue_kg", "kg", "weighed; empty: not weighed"),
    _num("kettle_water_kg", "kg", "put back into the kettle; empty: not recorded (a rise from Wa to Wc then shows it)"),
    _num("cold_kg", "kg", "Wc, net"),
    _num("gross_loss_kg", "kg", "Wb - Wa"),
    _num("evaporated_kg", "kg", "Wb - Wa - residue, and the loss while cooling where Wc was weighed"),
    _num("loss_pct", "% of Wb", "water lost while cooking; holds the residue too where that was not weighed"),
    _num("usual_loss_pct", "% of Wb", "what the formula already allows for"),
    _num("excess_kg", "kg", "water lost beyond the usual and not put back into the kettle; below 0: less than usual"),
    _num("points_lost", "points", "what excess_kg takes from the hydration of the doughs the kettle is meant for"),
    _num("cook_temp_c", "°C", ""),
    _num("cook_minutes", "min", "cook_end - cook_start"),
    _text("probe", ""),
    _text("thermometer", ""),
    _text("scale", ""),
    _num("temp_2h_c", "°C", ""),
    _num("temp_6h_c", "°C", ""),
    _text("cooling", "met, missed, or not checked"),
    _num("doughs", "doughs", "that name this batch"),
    _num("used_kg", "kg", "weighed into doughs; empty where none names it or a dough's dose was not weighed"),
    _num("overdrawn_kg", "kg", "used beyond what was made; 0 where it was not; empty where a dose is unknown"),
)

BATCHES: tuple[Column, ...] = (
    _text("batch_key", "shift_date/line/dough_batch: the batch's name everywhere"),
    _text("dough_batch", "as the floor writes it"),
    _text("line", ""),
    _text("product", ""),
    Column("shift_date", "date", ""),
    _text("shift", ""),
    _time("mixed_at", "end of mixing"),
    _num("flour_kg", "kg", "without the paste's"),
    _num("liquid_kg", "kg", "without the paste's"),
    _text("flour_lot", ""),
    _num("makeup_water_kg", "kg", "0: none; empty: not recorded"),
    _num("other_water_kg", "kg", "recorded"),
    _text("yeast_lot", ""),
    _num("yeast_kg", "kg", ""),
    _num("room_temp_c", "°C", ""),
    _num("flour_temp_c", "°C", ""),
    _num("water_temp_c", "°C", ""),
    _num("paste_temp_c", "°C", "the paste at mixing"),
    _num("dough_temp_c", "°C", "at the end of mixing"),
    _num("mix_minutes", "min", ""),
    _num("mix_energy_wh_kg", "Wh/kg", ""),
    _text("thermometer", ""),
    # the paste it got
    _text("paste_link", "linked, waiting (named, not come yet), not recorded, or no paste (the product has none)"),
    _text("paste_key", "the paste batch"),
    _text("paste_key_2", "the second tub's"),
    _text("kettle", "the paste's kettle"),
    _text("recipe", "the paste's recipe"),
    _num("paste_kg", "kg", "what went in: weighed, or the kettle's equal part"),
    _text("paste_dose", "weighed, divided, or not recorded"),
    _num("paste_age_h", "h", "mixed_at - cook_end; of the older tub"),
    _num("paste_loss_pct", "% of Wb", "of its paste, weighted by kg where two tubs went in"),
    _num("paste_cook_temp_c", "°C", "of its paste"),
    _num("paste_cook_minutes", "min", "of its paste"),
    _num("dose_pct", "%", "paste flour against the formula's for this dough's flour: 100 is as written"),
    # water
    _num("all_flour_kg", "kg", "the paste's flour included"),
    _num("all_water_kg", "kg", "the paste's water included"),
    _num("hydration_pct", "%", "all water over all flour, as the dough really was; make-up not recorded counts 0"),
    _num("formula_gap_points", "points", "hydration less the formula's, had all paste loss come out of it"),
    _num("usual_gap_points", "points", "hydration less the formula's, usual loss allowed for: water is owed for this"),
    _num("water_owed_kg", "kg", "still owed after the make-up recorded; 0 within the warning limit or made good"),
    _text("water_made_good", "yes, no, not recorded, or nothing owed"),
    _num("yeast_pct", "%", "on all flour; on the formula's where the paste is not known"),
    # proof
    _time("proof_in", ""),
    _time("proof_out", ""),
    _num("proof_minutes", "min", ""),
    _num("proof_temp_c", "°C", ""),
    _num("proof_rh_pct", "%", ""),
    _num("proof_height_mm", "mm", ""),
    # gas: of this dough, or of its yeast lot alone
    _num("gas_produced_ml", "mL", "gassing power, of tests on this dough"),
    _num("gas_kept_pct", "%", "gas retained over gas made, of tests on this dough"),
    _text("gas_sampled_after", "mixer, divider or moulder"),
    _num("gas_tests", "tests", "on this dough"),
    _num("lot_gas_ml", "mL", "gassing power of its yeast lot, mean of the tests of the lot alone, earlier and later"),
    _num("lot_gas_tests", "tests", "of the lot alone"),
    # loaves: routine ones, cooled long enough
    _num("loaves", "loaves", "routine loaves that the means are of"),
    _num("loaves_suspicion", "loaves", "measured on suspicion; kept apart"),
    _num("loaves_hot", "loaves", "measured too soon out of the oven; kept apart"),
    _time("measured_at", "the last routine loaf"),
    _num("specific_volume", "mL/g", "mean"),
    _num("specific_volume_sd", "mL/g", "within the batch"),
    _num("volume_ml", "mL", "mean"),
    _num("baked_g", "g", "mean"),
    _num("scaled_g", "g", "mean of the dough pieces that were weighed"),
    _num("bake_loss_pct", "%", "mean; of loaves whose piece was weighed"),
    _num("core_temp_c", "°C", "lowest of all its loaves, leaving the oven"),
    _text("method", "seed or laser; several: joined by +"),
    _text("scale", "instrument"),
    _text("volumeter", "instrument"),
)

# how many loaves of a dough were measured: those that count, those taken on suspicion, those measured too hot
LOAF_COUNTS = ("loaves", "loaves_suspicion", "loaves_hot")
# means over the loaves that count
LOAF_MEANS = ("specific_volume", "volume_ml", "baked_g", "scaled_g", "bake_loss_pct")
