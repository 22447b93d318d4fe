"""What the floor writes down of what happened: the rows of the logs."""

from __future__ import annotations

from seed_data.chance import Chance
from seed_data.doughs import DoughMade
from seed_data.kettles import TUB_TARE_KG, PasteMade, boiled
from seed_data.loaves import METHOD, LoafMade
from seed_data.plan import plant
from seed_data.sheets import Row

CREW = {"early": "A", "late": "B", "night": "C"}


def paste_row(seed: int, made: PasteMade) -> Row:
    """A paste as the cook writes it. Kettle K2 is weighed in its tub: gross, with the tare beside it."""
    chance = Chance(seed, "paste row", made.day, made.kettle, made.number)
    tare = TUB_TARE_KG if made.kettle == "K2" else None
    gross = tare or 0.0
    none_back = None if chance.happens(0.12) or not made.water_written else 0.0
    written_back = made.water_back_kg if made.water_back_kg and made.water_written else none_back
    return {
        "paste_batch": made.number, "kettle": made.kettle, "recipe": made.recipe if made.kettle == "K2" else None,
        "shift_date": made.day, "shift": made.shift, "flour_lot": made.flour_lot, "liquid_lot": made.liquid_lot or None,
        "flour_kg": made.flour_kg, "liquid_kg": made.liquid_kg,
        "weight_before_kg": made.before_kg + gross + chance.normal(0.0, 0.03),
        "weight_after_kg": made.after_kg + gross + chance.normal(0.0, 0.03), "tare_kg": tare,
        "residue_kg": None if chance.happens(0.04) else made.residue_kg,
        "kettle_water_kg": written_back,
        "weight_cold_kg": made.cold_kg,
        "cook_start": made.cook_start, "cook_end": made.cook_end,
        "cook_temp_c": made.cook_temp_c + chance.normal(0.0, 0.3), "probe": "contact",
        "thermometer": "T1" if made.kettle == "K1" else "T2", "scale": "S1",
        "temp_2h_c": made.temp_2h_c, "temp_6h_c": made.temp_6h_c, "operator": CREW[made.shift],
    }  # fmt: skip


def dough_row(seed: int, made: DoughMade) -> Row:
    """A dough as the mixer operator writes it. Where the kettle is divided the paste is not weighed."""
    chance = Chance(seed, "dough row", made.key)
    weighed = plant().pastes[made.charge.paste.recipe].dosing == "weighed"
    silent = boiled(made.charge.paste)
    mixing, charge = made.mixing, made.charge
    return {
        "dough_batch": made.slot.number, "line": made.slot.line, "product": made.slot.product,
        "shift_date": made.slot.day, "shift": made.slot.shift, "mixed_at": mixing.at,
        "flour_kg": charge.flour_kg, "liquid_kg": charge.liquid_kg, "flour_lot": mixing.flour_lot.lot,
        "makeup_water_kg": None if silent or chance.happens(0.08) else 0.0,
        "paste_batch": charge.paste_written, "paste_kg": charge.paste_kg if weighed else None,
        "yeast_lot": mixing.yeast.lot, "yeast_kg": charge.yeast_kg,
        "room_temp_c": mixing.room_c, "flour_temp_c": mixing.flour_c, "water_temp_c": mixing.water_c,
        "paste_temp_c": charge.paste.at_mixing_c + chance.normal(0.0, 0.3),
        "dough_temp_c": mixing.dough_c + chance.normal(0.0, 0.1),
        "mix_minutes": mixing.minutes, "mix_energy_wh_kg": mixing.energy * (1.0 + chance.normal(0.0, 0.005)),
        "thermometer": "T3" if made.slot.line in ("L1", "L3") else "T4", "operator": CREW[made.slot.shift],
    }  # fmt: skip


def proof_row(made: DoughMade) -> Row:
    """A proof as the oven operator writes it."""
    proof = made.proof
    return {
        "dough_batch": made.slot.number, "line": made.slot.line, "proof_in": proof.begun, "proof_out": proof.ended,
        "proof_temp_c": proof.box_c, "proof_rh_pct": proof.box_rh, "proof_height_mm": proof.height_mm,
    }  # fmt: skip


def loaf_row(made: LoafMade) -> Row:
    """A loaf as the laboratory writes it."""
    method, volumeter = METHOD[made.dough.slot.line]
    seed_scale = method == "seed" and made.volume_ml > 1000
    return {
        "loaf": made.number, "dough_batch": made.dough.slot.number, "line": made.dough.slot.line,
        "measured_at": made.measured_at, "scaled_g": made.scaled_g, "baked_g": made.baked_g,
        "volume_ml": 5.0 * round(made.volume_ml / 5.0) if seed_scale else made.volume_ml,
        "cooled_minutes": made.cooled_minutes, "core_temp_c": made.core_c, "position": made.position,
        "reason": made.reason or None, "method": method, "scale": "S3", "volumeter": volumeter,
    }  # fmt: skip
