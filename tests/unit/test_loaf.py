"""The baked loaf."""

from __future__ import annotations

import pandas as pd
import pytest

from models.trade import loaf


def test_specific_volume_and_bake_loss_over_numbers_and_columns():
    assert loaf.specific_volume(1800.0, 400.0) == 4.5
    losses = loaf.bake_loss_pct(pd.Series([450.0, 500.0]), pd.Series([405.0, 440.0]))
    assert losses.tolist() == pytest.approx([10.0, 12.0])


def test_one_point_of_bake_loss_moves_specific_volume_with_no_change_of_volume():
    before, after = loaf.specific_volume(1800.0, 450 * 0.89), loaf.specific_volume(1800.0, 450 * 0.88)
    change = 100 * (after / before - 1)
    assert change == pytest.approx(1.1, abs=0.05)
