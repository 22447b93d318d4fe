"""A call is made whatever columns hold: nothing, one value all the way down, zeros, a cell in ten; and its parts add up."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from tests.unit.causes_plant import Bakery

NUMBERS = (
    "dose_pct", "yeast_pct", "dough_temp_c", "proof_minutes", "proof_temp_c", "proof_rh_pct", "proof_height_mm", "mix_energy_wh_kg",
    "usual_gap_points", "paste_temp_c", "paste_cook_temp_c", "bake_loss_pct", "gas_produced_ml", "lot_gas_ml", "gas_kept_pct",
    "specific_volume_sd", "loaves",
)  # fmt: skip
TEXTS = ("yeast_lot", "flour_lot", "paste_key", "kettle", "recipe", "volumeter", "water_made_good")


def _fill(rng: np.random.Generator, cells: pd.Series) -> pd.Series:
    """One way a column is kept, or is not."""
    n, usual = len(cells), cells.median() if cells.notna().any() else 5.0
    some = cells.fillna(pd.Series(rng.normal(usual, 0.5, n), cells.index))
    ways = (cells * np.nan, cells * 0 + usual, some * 0.0, some.where(rng.random(n) < 0.1), some)
    return ways[int(rng.integers(len(ways)))]


@pytest.mark.parametrize("seed", range(36))
def test_parts_and_what_they_are_made_of_add_up_whatever_is_recorded(seed: int) -> None:
    rng, bakery = np.random.default_rng([77, seed]), Bakery(seed)
    bakery.ln[bakery.rows("L1" if seed % 2 else None)] += rng.choice([-0.05, 0.05])
    frame = bakery.frame
    for name in rng.choice(NUMBERS, 6, replace=False):
        frame[name] = _fill(rng, frame[name].astype(float))
    for name in rng.choice(TEXTS, 2, replace=False):
        frame[name] = None if rng.random() < 0.5 else frame[name].where(rng.random(len(frame)) < 0.3, None)
    call = bakery.call()
    total = sum(c.contribution for c in call.causes)
    assert np.isfinite(total) and sum(c.share for c in call.causes) == pytest.approx(1.0)
    for c in call.causes:
        assert np.isfinite([c.low, c.high]).all() and c.low <= c.contribution <= c.high
        assert sum(c.made_of.values()) == pytest.approx(c.contribution, abs=1e-9)
    assert call.headline and call.check_first
