"""The parts the causes are made of, held against plain reckoning."""

from __future__ import annotations

import math
from datetime import datetime
from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest

from models.causes.attribute import Parts, add_up, shares, unit_of
from models.causes.borne import not_surer_than_seen
from models.causes.drivers import Shift, shifts, terms
from models.causes.effects import BY_NAME, PLACE, size_text
from models.causes.field import read
from models.causes.findings import Finding, last_time, likeness, record, told
from models.causes.hypotheses import Candidate, Weighed, bounds, normal, weigh
from models.causes.lots import flours_of
from models.causes.positive import (
    CHANGE_SEEN,
    _says,
    changes_near,
    instrument_checks,
    read_signs,
    spread_ratio,
    weight_of,
)
from models.causes.response import fit
from models.causes.rows import design
from models.causes.suspects import suspects
from models.shapes import Baseline, Episode
from models.texts import texts
from tests.unit.causes_plant import DAYS, LEVEL, PER_DAY, START, STREAM, Bakery, plant


def _field(bakery: Bakery):
    frame = bakery.measured()
    points = bakery.points(frame)
    last = 12 * PER_DAY
    when = [points.at[i].astype("datetime64[us]").item() for i in (0, last - 1)]
    baseline = Baseline(
        LEVEL,
        0.05,
        0.09,
        0.0,
        0.01,
        0.1,
        str(points.keys[0]),
        str(points.keys[last - 1]),
        *when,
        last,
        12,
        4,
        (),
        "test",
        False,
        "test",
    )
    episode = Episode("low", 95, 90, 88, 92, DAYS * PER_DAY - 1, -0.2, -0.25, -0.15, False, "shift")
    return read(plant(), frame, STREAM, baseline, episode, points), episode, points


def _design(field):
    return design(field, terms(plant(), field))


def test_normal_distribution_function():
    z = np.linspace(-6, 6, 121)
    expected = [0.5 * (1 + math.erf(v / math.sqrt(2))) for v in z]
    assert normal(z) == pytest.approx(expected, abs=2e-7)


def test_bounds_of_one_normal_and_of_a_mixture():
    # 1.644854: 95 % point of the normal distribution, NIST/SEMATECH e-Handbook 1.3.6.7.1 (1.645)
    assert bounds(np.ones(1), np.array([2.0]), np.array([3.0])) == pytest.approx(
        (2 - 3 * 1.644854, 2 + 3 * 1.644854), abs=1e-4
    )
    low, high = bounds(np.array([0.9, 0.1]), np.array([0.0, -5.0]), np.array([0.01, 0.01]))
    assert low == pytest.approx(-5.0, abs=0.03) and high == pytest.approx(0.016, abs=0.01)


def test_sets_are_weighed_as_the_marginal_likelihood_says():
    """Against the full multivariate normal density of the rows, coefficients and candidates integrated out."""
    field, _, _ = _field(Bakery())
    model = fit(design(field, terms(plant(), field)), np.zeros((len(field), 1)))
    n, p = model.design.d.shape
    one, two = np.zeros(n), np.zeros(n)
    one[: len(field)], two[: len(field)] = field.episode, field.since()
    candidates = tuple(
        Candidate("line", name, "unexplained", name, column, 0.06, chance)
        for name, column, chance in (("a", one, 0.1), ("b", two, 0.05))
    )
    found = weigh(model, candidates, np.zeros((1, p)), np.zeros((1, 2)), np.array([0.0, 1.5]))
    prior = np.linalg.inv(np.linalg.inv(model.cov) - model.design.d.T @ (model.weights[:, None] * model.design.d))
    mean = model.design.y - model.design.d @ model.design.mean
    logs = []
    for a, b in ((0, 0), (1, 0), (0, 1), (1, 1)):
        cov = model.design.d @ prior @ model.design.d.T + np.diag(1 / model.weights)
        cov += 0.06**2 * (a * np.outer(one, one) + b * np.outer(two, two))
        logs.append(
            -0.5 * (np.linalg.slogdet(cov)[1] + mean @ np.linalg.solve(cov, mean))
            + math.log(0.1 if a else 0.9)
            + math.log(0.05 if b else 0.95)
            + 1.5 * b
        )
    expected = np.exp(np.array(logs) - max(logs))
    assert np.sort(found.weight) == pytest.approx(np.sort(expected / expected.sum()), rel=1e-4)


def test_slopes_are_learned_from_the_sites_own_batches():
    """A plant whose volume answers twice as much to dough temperature teaches it; the prior alone would not."""
    bakery = Bakery()
    bakery.ln += 0.0266 * (bakery.frame["dough_temp_c"].to_numpy() - 26)
    field, _, _ = _field(bakery)
    model = fit(design(field, terms(plant(), field)), np.zeros((len(field), 1)))
    at = model.design.coefficient[list(BY_NAME).index("dough_temp")]
    assert model.mean[at] == pytest.approx(2 * 0.0266, abs=3 * math.sqrt(model.cov[at, at]))
    assert model.mean[at] > 1.6 * 0.0266


def test_a_driver_is_outside_only_beyond_its_own_spread_and_least_size():
    bakery = Bakery()
    bakery.shift(bakery.rows("L1"), "dough_temp_c", 0.3, 0.0)
    small, _, _ = _field(bakery)
    assert not shifts(small, terms(plant(), small))["dough_temp"].outside
    bakery.shift(bakery.rows("L1"), "dough_temp_c", 0.9, 0.0)
    large, _, _ = _field(bakery)
    moved = shifts(large, terms(plant(), large))["dough_temp"]
    assert moved.outside and moved.n_after == 30 and moved.n_before == 12 * PER_DAY


@pytest.mark.parametrize(("tubs", "outside"), [(5, True), (1, False)])
def test_doughs_of_one_paste_batch_are_one_reading_of_it(tubs, outside):
    # the paste travels by paste batch: thirty doughs of one warm tub are one warm tub, of five tubs they are five
    bakery = Bakery()
    rows = bakery.rows("L1")
    bakery.frame["paste_temp_c"] = 8 + 3 * (bakery.frame["paste_temp_c"] - 8)
    bakery.frame.loc[rows, "paste_temp_c"] += 2.5
    if tubs == 1:
        bakery.frame.loc[rows, "paste_key"] = "one tub"
    field, _, _ = _field(bakery)
    assert shifts(field, terms(plant(), field))["paste_temp"].outside is outside


@pytest.mark.parametrize(("dough", "of_the_paste"), [(0.75, True), (0.0, False)])
def test_a_paste_a_little_warm_beside_a_dough_outside_is_what_warmed_it(dough, of_the_paste):
    # 0.28 degrees of dough for one of this paste, from the heat balance of a dough; the site's water follows small ones
    bakery = Bakery()
    rows = bakery.rows("L1", 15)
    bakery.frame["paste_temp_c"] = 8 + 3 * (bakery.frame["paste_temp_c"] - 8)
    bakery.frame.loc[rows, "paste_temp_c"] = 8.0 + 2.6
    bakery.frame.loc[bakery.rows("L1", 16), "paste_key"] = "the last tub"
    bakery.frame.loc[rows, "dough_temp_c"] += dough
    field, _, _ = _field(bakery)
    found = terms(plant(), field)
    assert abs(shifts(field, found)["paste_temp"].z) < 2.5
    brought = found.x[field.episode, list(BY_NAME).index("paste_temp")].mean()
    assert bool(brought > 0.6 * 0.28 * 2.6) is of_the_paste


def test_bake_loss_that_stayed_speaks_against_the_oven():
    # the trade's table of signatures: an oven fault moves bake loss by a point, nothing else does
    def said(by: float) -> float:
        bakery = Bakery()
        bakery.frame.loc[bakery.rows("L1"), "bake_loss_pct"] += by
        field, episode, points = _field(bakery)
        oven = Candidate("oven", "oven", "unexplained", "", np.zeros(len(field)), 0.06, 0.1)
        signs = read_signs(plant(), field, np.zeros(len(field)), episode, points, None, None)
        return float(weight_of((oven,), signs, -0.05)[0])

    assert said(0.0) < 0.0 < said(-1.0)


def test_bake_loss_of_a_dry_dough_is_no_ovens():
    # the trade's table: 0.3 points less beside a dough 1.4 to 2 points dry
    bakery = Bakery()
    bakery.frame.loc[bakery.rows("L1"), "usual_gap_points"] -= 4.0
    bakery.frame.loc[bakery.rows("L1"), "bake_loss_pct"] -= 0.7
    field, *_ = _field(bakery)
    loss = shifts(field, terms(plant(), field))["bake_loss"]
    assert not loss.outside and abs(loss.size) < 0.2


def test_gas_kept_less_speaks_for_a_flour_lot_as_for_handling():
    # the trade's table: a weaker flour keeps 3 points less, the gas made as it was
    bakery = Bakery()
    rng, rows = np.random.default_rng(3), bakery.rows("L1", 0)
    bakery.frame.loc[rows, "gas_produced_ml"] = 1500.0
    bakery.frame.loc[rows, "gas_kept_pct"] = 86 + rng.normal(0, 1, rows.sum())
    bakery.frame.loc[bakery.rows("L1"), "gas_kept_pct"] -= 3.5
    field, episode, points = _field(bakery)
    signs = read_signs(plant(), field, np.zeros(len(field)), episode, points, None, None)
    flour, everyone = (
        Candidate(kind, "", "unexplained", "", np.zeros(len(field)), 0.06, 0.1) for kind in ("flour lot", "plant")
    )
    assert weight_of((flour, everyone), signs, -0.05)[0] > 0.5
    assert weight_of((flour, everyone), signs, -0.05)[1] == 0.0
    assert weight_of((everyone,), signs, -0.05)[0] > 0.5


@pytest.mark.parametrize(("recorded", "seen"), [(True, False), (False, True)])
def test_loaf_weight_off_speaks_for_the_oven_where_no_bake_loss_was_recorded(recorded, seen):
    # the trade's table: an oven's fault moves the loaf's weight by 1.1 %; beside a bake loss that stayed it is the divider's
    bakery = Bakery()
    usual = bakery.measured

    def heavier() -> pd.DataFrame:
        frame = usual()
        frame.loc[bakery.rows("L1"), "baked_g"] *= 1.011
        return frame if recorded else frame.assign(bake_loss_pct=np.nan)

    bakery.measured = heavier
    field, episode, points = _field(bakery)
    oven = Candidate("oven", "oven", "unexplained", "", np.zeros(len(field)), 0.06, 0.1)
    signs = read_signs(plant(), field, np.zeros(len(field)), episode, points, None, None)
    assert bool(weight_of((oven,), signs, -0.05)[0] > 0) is seen


@pytest.mark.parametrize(("heavier", "for_the_oven"), [(0.0055, True), (0.0, False)])
def test_loaf_weight_says_as_much_as_its_error_allows_where_no_bake_loss_was_recorded(heavier, for_the_oven):
    # the trade's table: an oven's fault moves the weight by 1.1 %; while it comes on, half of that over thirty batches whose
    # mean is known to 0.1 % is no chance, and a weight that stayed speaks against the oven
    bakery = Bakery()
    usual = bakery.measured
    bakery.measured = lambda: usual().assign(
        baked_g=lambda f: f["baked_g"] * np.where(bakery.rows("L1"), 1 + heavier, 1.0), bake_loss_pct=np.nan
    )
    field, episode, points = _field(bakery)
    oven = Candidate("oven", "oven", "unexplained", "", np.zeros(len(field)), 0.06, 0.1)
    signs = read_signs(plant(), field, np.zeros(len(field)), episode, points, None, None)
    assert signs.loss[0] == pytest.approx(-89 * heavier, abs=0.15)
    said = float(weight_of((oven,), signs, -0.05)[0])
    assert (said > 1.0, said < -1.0) == (for_the_oven, not for_the_oven)


@pytest.mark.parametrize(
    ("change", "spread", "speaks"), [(-0.05, 1.4, 1), (0.05, 1.4, -1), (0.05, 1 / 1.4, 1), (-0.05, 1 / 1.4, -1)]
)
def test_handling_that_took_volume_took_evenness_and_gives_both_back(change, spread, speaks):
    # the trade's table of signatures: every handling fault lowers the volume and widens the spread, 1.15 to 1.6 times
    bakery = Bakery()
    bakery.frame["specific_volume_sd"] = np.where(bakery.rows("L1"), 0.08 * spread, 0.08)
    field, episode, points = _field(bakery)
    handling = Candidate("handling", "L1", "handling", "", np.zeros(len(field)), 0.06, 0.1)
    said = float(weight_of((handling,), read_signs(plant(), field, np.zeros(len(field)), episode, points, None, None), change)[0])
    assert abs(said) > 1.0 and np.sign(said) == speaks


def test_what_all_lines_have_stands_for_an_oven_that_all_lines_share():
    # one oven for the plant: its bake loss speaks for "all lines", which cannot be told from it
    field, episode, points = _field(Bakery())
    calm = plant()
    one = calm.model_copy(update={"lines": {n: x.model_copy(update={"oven": "O1"}) for n, x in calm.lines.items()}})
    for at, expected in ((one, True), (plant(), False)):
        found = suspects(at, field, episode, (), design(field, terms(plant(), field)), False)
        (everyone,) = (c for c in found if c.kind == "plant")
        assert ("oven" in everyone.stands_for) is expected


@pytest.mark.parametrize(("level", "speaks"), [(-0.03, True), (-0.01, False), (0.03, False)])
def test_a_driver_that_says_enough_speaks_against_something_unrecorded_beside_it(level, speaks):
    # two faults that have nothing to do with each other seldom begin together; a driver against the change says nothing
    field, episode, points = _field(Bakery())
    line = Candidate("line", "L1", "unexplained", "", np.zeros(len(field)), 0.06, 0.1)
    lot = Candidate("yeast lot", "Y5", "yeast", "", np.zeros(len(field)), 0.12, 0.05)
    signs = read_signs(plant(), field, np.zeros(len(field)), episode, points, None, None)
    beside, without = (weight_of((line, lot), signs, -0.05, x) for x in (level, 0.0))
    assert (bool(beside[0] < without[0]), beside[1]) == (speaks, without[1])


def test_paste_takes_of_a_dough_what_it_moved_by_whatever_the_usual_is():
    # half of the baseline's doughs a degree warmer: the baseline's mean is not its median, and no move of the paste's
    bakery = Bakery()
    bakery.frame.loc[bakery.rows("L1", 0, 5), "dough_temp_c"] += 1.0
    rows = bakery.rows("L1", 15)
    bakery.frame.loc[rows, "paste_temp_c"] += 12.0
    bakery.frame.loc[rows, "dough_temp_c"] += 0.45
    field, _, _ = _field(bakery)
    found = terms(plant(), field)
    moved = shifts(field, found)["dough_temp"].size + found.x[field.episode, PLACE["paste_temp"]].mean()
    before = bakery.frame.loc[bakery.rows("L1", 0, 12), "dough_temp_c"].mean()
    assert moved == pytest.approx(bakery.frame.loc[rows, "dough_temp_c"].mean() - before, abs=1e-9)
    assert 0 < found.x[field.episode, PLACE["paste_temp"]].mean() <= moved + 1e-9


def test_flour_that_nobody_wrote_down_differs_too():
    bakery = Bakery()
    bakery.frame["flour_lot"] = None
    field, _, _ = _field(bakery)
    flours = flours_of(field)
    assert len(set(flours)) == math.ceil(DAYS / 3) and all(f.startswith("unrecorded") for f in flours)
    assert not any(c.kind == "flour lot" for c in suspects(plant(), field, _field(bakery)[1], (), _design(field), False))


def test_spread_ratio_is_pooled_over_batches():
    bakery = Bakery()
    bakery.frame["specific_volume_sd"] = np.where(bakery.rows("L1"), 0.12, 0.08)
    field, _, _ = _field(bakery)
    ratio, error = spread_ratio(field)
    assert ratio == pytest.approx(math.log(0.12 / 0.08), abs=0.02)
    assert error == pytest.approx(math.sqrt(0.5 / (3 * 72) + 0.5 / (3 * 30)))


def test_changes_count_only_near_the_beginning_and_in_scope():
    field, episode, points = _field(Bakery())
    days = [14.9, 14.9, 3.0, 14.8]
    changes = pd.DataFrame(
        {
            "changed_at": [pd.Timestamp(START) + pd.Timedelta(days=d) for d in days],
            "scope": ["line", "line", "line", "plant"],
            "name": ["L1", "L3", "L1", "north"],
            "what": ["moulder gap", "moulder gap", "moulder gap", "flour silo 2 opened"],
        }
    )
    found = changes_near(plant(), field, episode, points, changes)
    assert [(c.name, c.about) for c in found] == [("north", "flour"), ("L1", "handling")]


def test_what_is_written_every_few_days_says_little_of_the_beginning():
    """Belts are cleaned twice a week here: one more on the day a change began is no more than that."""
    field, episode, points = _field(Bakery())

    def said(earlier: list[float], later: tuple[float, ...] = ()) -> float:
        days = [14.9, *earlier, *later]
        at = [pd.Timestamp(START) + pd.Timedelta(days=d) for d in days]
        changes = pd.DataFrame({"changed_at": at, "scope": "line", "name": "L1", "what": "belt cleaned"})
        (found,) = changes_near(plant(), field, episode, points, changes)
        return found.says

    assert 0.9 * CHANGE_SEEN < said([]) <= CHANGE_SEEN
    assert said([]) > said([3.0]) > said([3.0, 7.0]) > said([1.0, 4.0, 7.0, 10.0]) > 0
    assert said([1.0, 4.0, 7.0, 10.0]) < CHANGE_SEEN / 2
    assert said([], (17.0, 18.0)) == said([]), "what was done about it afterwards says nothing against it"


def test_a_chance_entry_is_weighed_by_its_rate():
    # scipy: at least one entry of a Poisson count in the time near the beginning, against half of the causes being written
    from scipy.stats import poisson

    for before, watched in ((1, 10.0), (4, 12.0), (9, 10.0)):
        by_chance = poisson.sf(0, (before + 0.2) / watched)
        assert _says(before, watched) == pytest.approx(math.log((0.5 + 0.5 * by_chance) / by_chance))


def test_checks_before_and_in_the_episode():
    field, _, _ = _field(Bakery())
    checks = pd.DataFrame(
        {
            "checked_at": [pd.Timestamp(START) + pd.Timedelta(days=d) for d in (2.0, 14.0, 17.0)],
            "instrument": "V1",
            "quantity": ["volume", "volume", "volume"],
            "standard": 1000.0,
            "as_found": [990.0, 1000.0, 950.0],
        }
    )
    # the change is against the baseline, and so is the instrument: the check of day 14 was after it
    (found,) = instrument_checks(field, checks, "volumeter", "volume")
    assert found.before == pytest.approx(math.log(0.99)) and found.after == pytest.approx(math.log(0.95))
    (no_earlier,) = instrument_checks(field, checks[1:], "volumeter", "volume")
    assert no_earlier.before == 0.0 and no_earlier.moved == no_earlier.after


def test_volumeter_that_went_off_before_the_episode_is_held_to_have_begun_is_off():
    # checks since the last good one are doubtful: off already the day before, it is off against the baseline all the same
    field, episode, points = _field(Bakery())
    checks = pd.DataFrame(
        {
            "checked_at": [pd.Timestamp(START) + pd.Timedelta(days=d) for d in (2.0, 14.0, 17.0)],
            "instrument": "V1",
            "quantity": "volume",
            "standard": 1800.0,
            "as_found": [1800.0, 1732.0, 1730.0],
        }
    )
    meter = Candidate("volumeter", "volumeter", "unexplained", "", np.zeros(len(field)), 0.06, 0.1)
    signs = read_signs(plant(), field, np.zeros(len(field)), episode, points, None, checks)
    assert weight_of((meter,), signs, -0.04)[0] > 3


@pytest.mark.parametrize(
    ("z", "part", "sure"),
    [(-4.0, -0.04, True), (-2.8, -0.04, False), (-4.0, -0.02, False)],
    ids=["far outside", "one of fifteen may be there by chance", "less than half of the change"],
)
def test_a_group_is_sure_where_a_driver_far_outside_bears_out_half(z, part, sure):
    # the trade's rule of attribution: the driver out of its own limits, and at least half of the drop predicted by it
    moved = Shift(BY_NAME["dough_temp"], 26.0, 24.5, 0.7, 40, 4, z, True)
    nobody = SimpleNamespace(present=())
    known = SimpleNamespace(shifts={"dough_temp": moved}, weighed=nobody)
    mean = np.array([0.0, -0.05, 0.0, -0.01])
    terms_of = {"dough_temp": part, "lots": 0.0, "ageing": 0.0}
    found = Parts(mean, mean - 0.02, mean + 0.02, np.eye(4), terms_of, dict.fromkeys(terms_of, 0.01))
    high = not_surer_than_seen(known, found, -0.06).high
    assert bool(high[1] < 0) is sure and high[3] == found.high[3]


def test_shares_leave_out_what_worked_against_the_change():
    assert shares(np.array([-0.3, 0.1, 0.0, -0.1]), -0.3) == pytest.approx([0.75, 0.0, 0.0, 0.25])
    assert shares(np.array([0.1, 0.1, 0.1, 0.1]), -0.3) == pytest.approx([0.0, 0.0, 0.0, 1.0])


def test_what_chance_did_is_not_laid_to_the_unexplained():
    parts = add_up(np.array([-3.0, 0.0, 1.0, -1.0]), -5.0)
    assert parts == pytest.approx([-4.5, 0.0, 1.0, -1.5]) and parts.sum() == pytest.approx(-5.0)
    assert add_up(np.zeros(4), -2.0) == pytest.approx([0.0, 0.0, 0.0, -2.0])


def test_unit_turns_ln_back_into_the_whole_change():
    assert unit_of(-0.3, 4.5) * math.log(1 - 0.3 / 4.5) == pytest.approx(-0.3)
    assert unit_of(0.0, 4.5) == 4.5


def test_sizes_as_the_floor_says_them():
    assert [size_text(v) for v in (-2.0, 2.04, 9.94, 9.96, 12.4)] == ["2", "2", "9.9", "10", "12"]


@pytest.mark.parametrize(
    ("size", "name", "says"),
    [
        (-1.0, "water", "Dough 1 point too dry: the paste lost water"),
        (-1.04, "water", "Dough 1 point too dry: the paste lost water"),
        (-1.1, "water", "Dough 1.1 points too dry: the paste lost water"),
        (1.0, "water", "Dough 1 point too wet"),
        (2.0, "water", "Dough 2 points too wet"),
        (0.5, "bake_loss", "Bake loss 0.5 points high"),
        (-0.98, "bake_loss", "Bake loss 1 point low"),
        (-1.0, "dose", "Paste dosed 1 % short"),
    ],
)
def test_one_point_is_one_point(size: float, name: str, says: str):
    assert BY_NAME[name].moved(size) == says


FINDINGS = (
    Finding("a1", "handling", "Moulder gap closed to 3 mm", datetime(2026, 3, 2), "real", "board set by eye", "L2"),
    Finding("a2", "handling", "Moulder gap closed to 4 mm", datetime(2026, 4, 2), "nothing found", "", "L1"),
    Finding("a3", "yeast", "Yeast lot Y41 makes 12 % less gas", datetime(2026, 3, 9), "real", "", "L1"),
)


def test_last_time_of_a_like_episode():
    said = last_time(FINDINGS, "handling", "Moulder gap closed to 2.5 mm", "L2")
    assert said == "Last time (L1, alert a2, closed 2026-04-02): nothing found; real in 1 of 2 like episodes"
    only = last_time(FINDINGS, "yeast", "Yeast lot Y77 makes 9 % less gas")
    assert only == "Last time (L1, alert a3, closed 2026-03-09): real"
    assert last_time(FINDINGS, "yeast", "Yeast lot Y77 makes 9 % less gas") is not None
    assert last_time(FINDINGS, "yeast", "Dough 2 °C cold") is None
    assert last_time(FINDINGS, "paste", "Moulder gap closed to 3 mm") is None
    assert likeness("Dough 2 °C cold", "Dough 3 °C cold") == 1.0


@pytest.mark.parametrize(
    ("one", "other"),
    [
        ("Yeast lot Y1 makes 9 % less gas", "Yeast lot Y2 makes 9 % more gas"),
        ("Paste cooked 4 °C below its limit", "Paste cooked 4 °C above its limit"),
        ("Paste 6 °C warm into the dough", "Paste 6 °C cold into the dough"),
        ("Dough mixed 15 % too little", "Dough mixed 15 % too much"),
        ("Bake loss 1.2 points low", "Bake loss 1 point high"),
        ("Volumeter V1 reads 4 % low", "Volumeter V1 reads 4 % high"),
        ("Yeast dosed 9 % short", "Yeast overdosed by 9 %"),
    ],
)
def test_opposites_are_not_alike(one: str, other: str):
    assert likeness(one, one) == 1.0 and likeness(one, other) == likeness(other, one) == 0.0


def test_what_is_like_only_on_its_own_line_and_never_the_other_way():
    nothing, at = texts("causes")["within"], datetime(2026, 3, 2)
    found = [
        Finding("a1", "unexplained", nothing, at, "real", "draught at the divider", "L1", "low"),
        Finding("a2", "handling", "Moulder taken apart", at, "real", "set by eye", "L2", "low"),
    ]
    assert last_time(found, "unexplained", nothing, "L1", "low") and not last_time(found, "unexplained", nothing, "L3", "low")
    assert not last_time(found, "unexplained", nothing, "L1", "high")
    wide = "Loaves of one batch differ more than usual: moulder, divider or transfers"
    assert last_time(found, "handling", wide, "L2", "low") and not last_time(found, "handling", wide, "L1", "low")


def test_how_often_calls_of_a_group_were_right_stands_beside_the_next_of_it():
    said = told(FINDINGS, "handling", "Gas kept: 3 points less", "L9")
    assert said == (record(FINDINGS)[2].says,) and said[0].startswith("handling: 1 of 2 closed calls were real")
    assert told(FINDINGS, "yeast", "Dough 2 °C cold") == ("yeast: the one closed call was real",)
    assert told(FINDINGS, "paste", "Paste dosed 9 % short") == ()


def test_record_of_each_kind_of_call_carries_its_uncertainty():
    by_group = {r.group: r for r in record(FINDINGS)}
    handling = by_group["handling"]
    assert (handling.real, handling.closed) == (1, 2) and handling.low < 0.5 < handling.high
    assert handling.says.startswith("handling: 1 of 2 closed calls were real")
    assert by_group["paste"].says == "paste: no such call has been closed yet"


def test_what_may_have_reached_more_lines_or_fewer_is_one_thing():
    # by hand: handling is in two of three sets, in each with another reach; the proof in one
    line, mixer, proof, other = (
        Candidate(kind, name, "handling", "", np.zeros(1), 0.06, 0.1, inside=inside)
        for kind, name, inside in (("handling", "L1", True), ("handling", "L1", True), ("proof", "L1", True), ("elsewhere", "L2", False))
    )
    members = np.array([[1, 0, 0, 0], [0, 1, 1, 1], [0, 0, 0, 0]], dtype=bool)
    found = Weighed((line, mixer, proof, other), np.array([0.4, 0.35, 0.25]), np.zeros((3, 0)), np.zeros((3, 0, 0)), members)
    assert [(round(p, 9), c.kind) for p, c in found.present] == [(0.75, "handling"), (0.35, "proof")]
