"""The baked loaf."""

from __future__ import annotations

import pandas as pd
import pytest

from models.trade import loaf


def test_specific_volume_and_bake_loss_over_numbers_and_columns():
    assert loaf.specific_volume(1800.0, 400.0) == 4.5
    losses = loaf.bake_loss_pct(pd.Series([450.0, 500.0]), pd.Series([405.0, 440.0]))
    assert losses.tolist() == pytest.approx([10.0, 12.0])


def test_scaling_for_bake_loss():
    """Own arithmetic: 454 g at 12 % is 515.9 g; multiplied (508.5 g) it would come out 447.5 g."""
    assert loaf.scaling_for(454.0, 12.0) == pytest.approx(515.9090909090909)
    assert loaf.bake_loss_pct(loaf.scaling_for(454.0, 12.0), 454.0) == pytest.approx(12.0)


@pytest.mark.parametrize("loss", [100.0, 120.0])
def test_nothing_is_left_at_a_loss_of_everything(loss):
    with pytest.raises(ValueError, match="leaves no loaf"):
        loaf.scaling_for(454.0, loss)
    with pytest.raises(ValueError, match="leaves no loaf"):
        loaf.scaling_for(454.0, pd.Series([10.0, loss]))


def test_one_point_of_bake_loss_moves_specific_volume_with_no_change_of_volume():
    before, after = loaf.specific_volume(1800.0, 450 * 0.89), loaf.specific_volume(1800.0, 450 * 0.88)
    change = 100 * (after / before - 1)
    assert change == pytest.approx(1.1, abs=0.05)
    assert loaf.split_change(0.0, 100 * (0.88 / 0.89 - 1)) == pytest.approx(change)
