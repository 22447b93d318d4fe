"""The benchmark itself: the same plants each time, truth that is the mean of what was put in, fair counting."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from tests.bench import causes, plants


def test_plants_are_the_same_each_time():
    one, other = causes.simulate(11), causes.simulate(11)
    assert one.faults == other.faults
    assert one.batches.equals(other.batches)
    assert np.array_equal(one.effects, other.effects)


def test_every_fault_of_the_list_takes_its_turn():
    names = {causes.simulate(i).faults[0].name for i in range(len(plants.FAULTS))}
    assert names == set(plants.FAULTS)


def test_truth_is_the_mean_effect_over_the_episode_less_the_baseline():
    sim = causes.simulate(5)
    keys = sim.batches["batch_key"].to_numpy()
    truth = causes.truth_of(sim, keys[:10], keys[-4:])
    assert truth == pytest.approx(sim.effects[-4:].mean(axis=0) - sim.effects[:10].mean(axis=0))


def test_a_judged_call_adds_up_to_the_episodes_change():
    calls = [j for i in range(12) for j in causes.judge(causes.simulate(i), i)]
    assert calls
    for j in calls:
        assert (j.low <= j.parts + 1e-12).all() and (j.parts <= j.high + 1e-12).all()
        assert j.called in plants.GROUPS
    text = "\n".join(causes.report(calls))
    assert "right group" in text and "confident and wrong" in text


def test_an_unlogged_fault_that_a_lot_outweighed_is_counted_in_the_wider_row_only():
    calls = [j for i in range(6) for j in causes.judge(causes.simulate(i), i)]
    one = next(j for j in calls if j.later == 0)
    small = np.array([0.0, 0.0, 0.0, -0.01])
    outweighed = replace(one, group="unexplained", recorded=False, double=False, truth_group="yeast", called="yeast")
    outweighed = replace(outweighed, truth=small + [0.0, -0.04, 0.0, 0.0], size=0.05)
    own = replace(outweighed, truth_group="unexplained", called="unexplained", truth=small * 4)
    text = "\n".join(causes.report([outweighed, own]))
    assert "unlogged called unexplained                        50.0 % of 2" in text
    assert "unlogged and what moved most, called unexplained  100.0 % of 1" in text
