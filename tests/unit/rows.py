"""A small plant and one sound row of every log, for tests to bend."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd

from models import plant as plant_file
from models.logbook import FRAME_TYPE, TABLES

PLANT: dict[str, Any] = {
    "plant": "north",
    "timezone": "Europe/Lisbon",
    "shifts": {"early": "06:00", "late": "14:00", "night": "22:00"},
    "pastes": {
        "water-2": {"liquid_ratio": 2.0, "usual_loss_pct": 2.0, "allergens": ["wheat"]},
        "milk-5": {"liquid_ratio": 5.0, "liquid_water_pct": 87.0, "dosing": "weighed", "allergens": ["wheat", "milk"]},
    },
    "kettles": {"K1": {"pastes": ["water-2"]}, "K2": {"pastes": ["water-2", "milk-5"]}},
    "lines": {
        "L1": {"kettle": "K1", "products": ["milk-loaf"]},
        "L2": {"kettle": "K2", "products": ["plain-loaf"]},
    },
    "products": {
        "milk-loaf": {
            "paste": "water-2",
            "hydration_pct": 63.0,
            "paste_flour_pct": 20.0,
            "yeast_pct": 3.0,
            "scaled_g": 450.0,
            "label_g": 395.0,
            "specific_volume": [4.2, 5.2],
            "allergens": ["wheat", "milk"],
        },
        "plain-loaf": {
            "paste": "water-2",
            "hydration_pct": 63.0,
            "paste_flour_pct": 20.0,
            "yeast_pct": 3.0,
            "scaled_g": 450.0,
            "allergens": ["wheat"],
        },
    },
    "cooling": {"to_21_c_within_h": 2.0, "to_5_c_within_h": 6.0, "approved_by": "QA"},
}

SOUND: dict[str, dict[str, Any]] = {
    "paste": {
        "paste_batch": "01",
        "kettle": "K1",
        "shift_date": "2026-05-06",
        "shift": "early",
        "flour_kg": 12.0,
        "liquid_kg": 24.0,
        "weight_before_kg": 36.0,
        "weight_after_kg": 35.2,
        "cook_start": "2026-05-06 05:10",
        "cook_end": "2026-05-06 05:20",
        "cook_temp_c": 66.0,
        "probe": "contact",
    },
    "dough": {
        "dough_batch": "01",
        "line": "L1",
        "product": "milk-loaf",
        "shift_date": "2026-05-06",
        "shift": "early",
        "mixed_at": "2026-05-06 06:30",
        "flour_kg": 48.0,
        "liquid_kg": 14.5,
        "paste_batch": "01",
        "yeast_lot": "Y1",
        "yeast_kg": 1.8,
        "dough_temp_c": 26.0,
        "makeup_water_kg": 0.0,
    },
    "proof": {
        "dough_batch": "01",
        "line": "L1",
        "proof_in": "2026-05-06 07:10",
        "proof_out": "2026-05-06 08:10",
        "proof_temp_c": 38.0,
        "proof_rh_pct": 82.0,
        "proof_height_mm": 95.0,
    },
    "gas": {
        "gas_test": "G1",
        "tested_at": "2026-05-06 09:00",
        "dough_batch": "01",
        "line": "L1",
        "yeast_lot": "Y1",
        "gas_produced_ml": 1500.0,
        "gas_retained_ml": 1300.0,
        "sampled_after": "mixer",
    },
    "loaf": {
        "loaf": "1",
        "dough_batch": "01",
        "line": "L1",
        "measured_at": "2026-05-06 11:00",
        "scaled_g": 450.0,
        "baked_g": 402.0,
        "volume_ml": 1890.0,
        "cooled_minutes": 90.0,
        "method": "seed",
    },
    "output": {
        "line": "L1",
        "product": "milk-loaf",
        "shift_date": "2026-05-06",
        "shift": "early",
        "pieces_made": 900.0,
        "pieces_wasted": 6.0,
    },
    "change": {
        "changed_at": "2026-05-06 10:00",
        "scope": "line",
        "name": "L1",
        "what": "moulder gap",
        "operator": "lead",
    },
    "check": {
        "checked_at": "2026-05-06 06:00",
        "instrument": "S1",
        "quantity": "weight",
        "standard": 400.0,
        "as_found": 400.0,
    },
}


def plant(**changes: Any) -> plant_file.Plant:
    """The small plant, with top-level keys changed."""
    return plant_file.parse({**PLANT, **changes})


def frame(kind: str, rows: list[dict[str, Any]]) -> pd.DataFrame:
    """Typed rows of a log from plain values; a column that a row leaves out is not recorded. Times are UTC."""
    columns = TABLES[kind].columns
    made = pd.DataFrame(
        [{c.name: row.get(c.name, np.nan) for c in columns} for row in rows], columns=[c.name for c in columns]
    )
    return made.astype({c.name: FRAME_TYPE[c.type] for c in columns})


def bent(kind: str, **changes: Any) -> dict[str, Any]:
    """A sound row with some cells changed."""
    return SOUND[kind] | changes
