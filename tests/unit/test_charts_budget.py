"""Small samples of what `tests.bench.charts` measures at length: learning charts, and days that differ within a lot."""

from __future__ import annotations

import numpy as np

from tests.bench.charts_plants import false_alarms, gross, learning


def test_learning_charts_stay_within_their_budget():
    """Plants whose lots differ from none to 1.5 batch sd, while the trade's values stand in for theirs."""
    found = np.array([learning(seed, 300.0, 2) for seed in range(8)])
    alarms, promised = found.sum(axis=0)
    assert promised > 5 and alarms <= promised


def test_learning_charts_catch_gross_changes():
    """A fall of 6 batch sd (12 % of volume) in a chart that has seen 20 to 79 batches."""
    delays = np.array([gross(seed, -6.0) for seed in range(20)])
    assert np.mean(delays <= 8) >= 0.9


def test_days_that_differ_within_a_labelled_lot_do_not_break_the_budget():
    """Sd between days half a batch sd; a model without days alarms nearly twice as often as promised here."""
    ratios = [false_alarms(seed, 500.0, 1, 3000, day=0.5)[0] for seed in range(8)]
    assert np.mean(ratios) <= 1.0
