"""What was probably meant by a row that cannot be true, close on each side of where that is clear. Bounds: common practice."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd
import pytest

from models.judging import derive
from models.judging.proposals import propose
from models.judging.rules import truth_rules
from tests.unit.rows import bent, frame, plant

NORTH = plant()
BARE = dict(flour_kg=np.nan, liquid_kg=np.nan)  # a paste whose charge was not weighed
TARED = BARE | dict(weight_before_kg=60.0, tare_kg=20.0)
TWELVE = dict(flour_kg=4.0, liquid_kg=8.0, weight_before_kg=62.0)
FIFTY = dict(flour_kg=16.0, liquid_kg=34.0, weight_before_kg=49.0)
HUNDRED = dict(flour_kg=25.0, liquid_kg=75.0, weight_before_kg=220.0, weight_after_kg=217.0)
TEN = [BARE | dict(weight_before_kg=10.0)] * 4


def at(text: str) -> pd.Timestamp:
    return pd.Timestamp(text)


# rule, rows of the file before it, cells of the row, what is proposed
CASES: tuple[tuple[str, list[dict], dict, dict | None], ...] = (
    # the tare on both weights where Wa without it is still more than 80 % of the charge, else on Wb alone
    ("paste.tare-left-in", [], TWELVE | dict(weight_after_kg=59.7), dict(tare_kg=50.0)),
    ("paste.tare-left-in", [], TWELVE | dict(weight_after_kg=59.6), dict(weight_before_kg=12.0)),
    # one that is written already is not left in: then it is something else
    ("paste.tare-left-in", [], TWELVE | dict(weight_before_kg=72.0, weight_after_kg=59.6, tare_kg=10.0), None),
    # 1 % about the tare of the kettle's other rows
    ("paste.pounds-or-tare", [dict(tare_kg=121.2)], HUNDRED, dict(tare_kg=120.0)),
    ("paste.pounds-or-tare", [dict(tare_kg=121.3)], HUNDRED, None),
    # a cook loses 0.2 to 6 % of Wb: the tare left in Wa, two digits, two cells
    ("paste.after-above-before", [], TARED | dict(weight_after_kg=77.61), dict(weight_after_kg=57.61)),
    ("paste.after-above-before", [], TARED | dict(weight_after_kg=77.59), None),
    ("paste.after-above-before", [], dict(weight_after_kg=43.2), dict(weight_after_kg=34.2)),
    (
        "paste.after-above-before",
        [],
        BARE | dict(weight_before_kg=47.0, weight_after_kg=50.0),
        dict(weight_before_kg=50.0, weight_after_kg=47.0),
    ),
    ("paste.after-above-before", [], BARE | dict(weight_before_kg=46.9, weight_after_kg=50.0), None),
    # changed over only where Wa is the charge, within 0.5 %
    (
        "paste.after-above-before",
        [],
        FIFTY | dict(weight_after_kg=50.25),
        dict(weight_before_kg=50.25, weight_after_kg=49.0),
    ),
    ("paste.after-above-before", [], FIFTY | dict(weight_after_kg=50.3), None),
    (
        "paste.loss-not-credible",
        [],
        BARE | dict(weight_before_kg=64.0, weight_after_kg=26.4),
        dict(weight_after_kg=62.4),
    ),
    (
        "paste.loss-not-credible",
        [dict(tare_kg=20.0)],
        BARE | dict(weight_before_kg=60.0, weight_after_kg=37.6),
        dict(weight_before_kg=40.0),
    ),
    ("paste.loss-not-credible", [dict(tare_kg=20.0)], BARE | dict(weight_before_kg=60.0, weight_after_kg=37.5), None),
    ("paste.flour-and-liquid-swapped", [], dict(flour_kg=24.0, liquid_kg=12.0), dict(flour_kg=12.0, liquid_kg=24.0)),
    # early begins at 05:00 UTC: a day later it would be 4 h before that
    ("dough.not-in-its-shift", [], dict(mixed_at="2026-05-05 01:00"), dict(mixed_at=at("2026-05-06 01:00"))),
    ("dough.not-in-its-shift", [], dict(mixed_at="2026-05-05 00:59"), None),
    ("dough.not-in-its-shift", [], dict(mixed_at="2026-05-07 01:01"), None),
    # within its eight hours, a day on
    ("dough.not-in-its-shift", [], dict(mixed_at="2026-05-07 05:00"), dict(mixed_at=at("2026-05-06 05:00"))),
    ("dough.not-in-its-shift", [], dict(mixed_at="2026-05-07 04:59"), None),
    ("dough.not-in-its-shift", [], dict(mixed_at="2026-05-07 13:00"), dict(mixed_at=at("2026-05-06 13:00"))),
    ("dough.not-in-its-shift", [], dict(mixed_at="2026-05-07 13:01"), None),
    (
        "paste.not-in-its-shift",
        [],
        dict(cook_start="2026-05-05 05:10", cook_end="2026-05-05 05:20"),
        dict(cook_start=at("2026-05-06 05:10"), cook_end=at("2026-05-06 05:20")),
    ),
    # an end on the next day makes a cook of 1 to 360 min, a proof of up to 720
    ("paste.times-out-of-order", [], dict(cook_end="2026-05-05 05:11"), dict(cook_end=at("2026-05-06 05:11"))),
    ("paste.times-out-of-order", [], dict(cook_end="2026-05-05 05:10"), None),
    ("paste.times-out-of-order", [], dict(cook_end="2026-05-05 11:10"), dict(cook_end=at("2026-05-06 11:10"))),
    ("paste.times-out-of-order", [], dict(cook_end="2026-05-05 11:11"), None),
    ("proof.times-out-of-order", [], dict(proof_out="2026-05-05 19:10"), dict(proof_out=at("2026-05-06 19:10"))),
    ("proof.times-out-of-order", [], dict(proof_out="2026-05-05 19:11"), None),
    # grams, unless the flour and liquid weighed in, 36 kg, say that it is a point that was lost
    ("paste.weight_before_kg.grams", [], dict(weight_before_kg=36000.0), dict(weight_before_kg=36.0)),
    ("paste.weight_before_kg.grams", [], dict(weight_before_kg=18000.0), dict(weight_before_kg=18.0)),
    ("paste.weight_before_kg.grams", [], dict(weight_before_kg=17999.0), None),
    ("paste.weight_before_kg.grams", [], BARE | dict(weight_before_kg=3600.0), dict(weight_before_kg=3.6)),
    ("paste.weight_after_kg.grams", [], dict(weight_after_kg=3520.0), None),
    # half to twice the median of the file
    ("paste.off-by-a-factor", TEN, BARE | dict(weight_before_kg=200.0), dict(weight_before_kg=20.0)),
    ("paste.off-by-a-factor", TEN, BARE | dict(weight_before_kg=201.0), None),
    ("paste.off-by-a-factor", TEN, BARE | dict(weight_before_kg=0.5), dict(weight_before_kg=5.0)),
    ("paste.off-by-a-factor", TEN, BARE | dict(weight_before_kg=0.49), None),
    ("dough.off-by-a-factor", [dict(flour_kg=10.0)] * 4, dict(flour_kg=90.0), dict(flour_kg=9.0)),
    ("gas.kept-above-made", [], dict(gas_retained_ml=1600.0), dict(gas_produced_ml=1600.0, gas_retained_ml=1500.0)),
    ("output.pieces_made.not-whole", [], dict(pieces_made=1.9), dict(pieces_made=1900.0)),
    ("output.pieces_wasted.not-whole", [], dict(pieces_wasted=2.5004), None),
    ("output.wasted-above-made", [], dict(pieces_wasted=950.0), dict(pieces_made=950.0, pieces_wasted=900.0)),
    (
        "loaf.weight-and-volume-swapped",
        [],
        dict(baked_g=1890.0, volume_ml=402.0),
        dict(baked_g=402.0, volume_ml=1890.0),
    ),
    ("loaf.heavier-than-its-dough", [], dict(scaled_g=402.0, baked_g=450.0), dict(scaled_g=450.0, baked_g=402.0)),
    # changed over only where the larger is a piece of the line, within 8 % of its 450 g, and the loaf 80 to 98 % of it
    ("loaf.heavier-than-its-dough", [], dict(scaled_g=436.0, baked_g=486.0), dict(scaled_g=486.0, baked_g=436.0)),
    ("loaf.heavier-than-its-dough", [], dict(scaled_g=436.0, baked_g=486.1), None),
    ("loaf.heavier-than-its-dough", [], dict(scaled_g=359.0, baked_g=450.0), None),
    ("loaf.heavier-than-its-dough", [], dict(scaled_g=450.0, baked_g=4050.0), dict(baked_g=405.0)),
    # a loaf is 80 to 98 % of its dough piece
    ("loaf.bake-loss-not-credible", [], dict(scaled_g=500.0, baked_g=40.0), dict(baked_g=400.0)),
    ("loaf.bake-loss-not-credible", [], dict(scaled_g=500.0, baked_g=39.9), None),
    ("loaf.bake-loss-not-credible", [], dict(scaled_g=500.0, baked_g=49.0), dict(baked_g=490.0)),
    ("loaf.bake-loss-not-credible", [], dict(scaled_g=500.0, baked_g=49.1), None),
    ("loaf.specific-volume-not-credible", [], dict(baked_g=40.2), dict(baked_g=402.0)),
    # and has 2 to 8 mL/g
    *(
        ("loaf.specific-volume-not-credible", [], dict(scaled_g=np.nan, baked_g=400.0, volume_ml=typed), meant)
        for typed, meant in (
            (80.0, dict(volume_ml=800.0)),
            (79.9, None),
            (320.0, dict(volume_ml=3200.0)),
            (320.1, None),
        )
    ),
    ("dough.unknown-product", [], dict(product="milk-lof"), dict(product="milk-loaf")),
    ("dough.unknown-line", [], dict(line="L9"), None),  # short codes are too alike to guess
    ("paste.cook_temp_c.fahrenheit", [], dict(cook_temp_c=150.8), dict(cook_temp_c=66.0)),
)


@pytest.mark.parametrize(("code", "before", "cells", "proposed"), CASES)
def test_what_was_probably_meant(code: str, before: list[dict], cells: dict, proposed: dict[str, Any] | None) -> None:
    kind = code.split(".")[0]
    rows = frame(kind, [bent(kind, **one) for one in (*before, cells)])
    judged = derive.for_truth(kind, rows, pd.Series(0, index=rows.index), NORTH)
    rule = next(rule for rule in truth_rules(kind) if rule.code == code)
    assert propose(rule, judged.iloc[-1], NORTH) == proposed
