"""What a call says beside its numbers: levels as the sheet has them, first checks and refutation that go with the headline."""

from __future__ import annotations

import json
import re

import numpy as np
import pandas as pd
import pytest

from models.shapes import Call
from tests.unit.causes_plant import PER_DAY, START, Bakery, cause, plant


def _cold(by: float = -2.0, line: str = "L1") -> Bakery:
    bakery = Bakery()
    bakery.shift(bakery.rows(line), "dough_temp_c", by, by * 0.0266)
    return bakery


def _number(said: str, before: str, after: str) -> float:
    """The number between two pieces of a sentence."""
    found = re.search(re.escape(before) + r" ?(.*?) ?" + re.escape(after), said)
    assert found, said
    return float(found[1].replace("\u2212", "-"))


@pytest.mark.parametrize(
    ("column", "factor", "by", "ln", "quantity", "unit"),
    [
        ("dough_temp_c", 1.0, -2.0, -0.0532, "dough temperature", "°C"),
        ("yeast_pct", 0.85, 0.0, -0.0585, "yeast on flour", "%"),
        ("proof_minutes", 0.85, 0.0, -0.0585, "proof time", "min"),
        ("bake_loss_pct", 1.0, -1.2, -0.04, "bake loss", "%"),
    ],
)
def test_a_level_is_what_the_sheet_says(column: str, factor: float, by: float, ln: float, quantity: str, unit: str):
    bakery = Bakery()
    rows = bakery.rows("L1")
    bakery.frame.loc[rows, column] = bakery.frame.loc[rows, column] * factor + by
    bakery.ln[rows] += ln
    call = bakery.call()
    said = next(line for c in call.causes for line in c.evidence if line.startswith(f"Level: {quantity} "))
    base = bakery.rows("L1", 0, 12)
    assert _number(said, quantity, f"{unit} over") == pytest.approx(bakery.frame.loc[rows, column].mean(), abs=0.06)
    assert _number(said, "against", "±") == pytest.approx(bakery.frame.loc[base, column].mean(), abs=0.06 + abs(by) / 50)
    assert _number(call.refuted_by[0], "back at", f"{unit} and") == _number(said, "against", "±")


def test_numbers_that_round_to_nothing_have_no_sign():
    for call in (_cold().call(), Bakery().call()):
        said = " ".join(line for c in call.causes for line in c.evidence)
        assert not re.search("[+\u2212]0(\\.0+)?(?![.\\d])", said)


def test_a_driver_is_no_surer_than_its_group():
    call = _cold().call()
    found = cause(call, "yeast")
    amount = next(line for line in found.evidence if line.startswith("Amount"))
    low, high = _number(amount, "90 %:", "to"), _number(amount, "to", ")")
    assert high - low > 0.6 * (found.high - found.low)
    assert low < found.contribution < high


def _checks(*readings: float) -> pd.DataFrame:
    days = [14.0, 16.0][: len(readings)]
    return pd.DataFrame(
        {
            "checked_at": [pd.Timestamp(START) + pd.Timedelta(days=d) for d in days],
            "instrument": "V1",
            "quantity": "volume",
            "standard": 1800.0,
            "as_found": readings,
        }
    )


def _everywhere(ln: float = -0.04) -> Bakery:
    bakery = Bakery()
    bakery.ln[bakery.rows(None)] += ln
    return bakery


def test_a_volumeter_that_was_checked_is_not_to_be_checked_again():
    unchecked, right, off = (
        _everywhere().call(checks=checks) for checks in (None, _checks(1800.0, 1801.0), _checks(1800.0, 1728.0))
    )
    block = "Volumeter V1 with its check block"
    assert block in unchecked.check_first and block not in right.check_first + off.check_first
    assert not any("check block" in line for line in right.next_measurement + off.next_measurement)
    assert off.check_first[0].startswith("Volumeter V1: \u22124.0 % on its check block on 2026-03-18")
    assert "V1" in off.refuted_by[0]
    said = next(line for line in cause(off, "unexplained").evidence if "against its standard" in line)
    assert "read \u22124.0 %" in said and said.endswith("0.0 % before the change.")


def test_a_volumeter_that_was_right_is_not_suspected():
    bakery = Bakery()
    bakery.ln[bakery.rows(None, 16)] -= 0.04
    blind, checked = (bakery.call(began=16 * PER_DAY, checks=c) for c in (None, _checks(1800.0, 1801.0)))
    assert "volumeter, flour or what else" in cause(blind, "unexplained").driver
    assert "volumeter, flour" not in cause(checked, "unexplained").driver


@pytest.mark.parametrize("over", [False, True])
def test_what_was_named_is_checked_first_and_can_be_refuted(over: bool):
    oven, cold = Bakery(), _cold()
    oven.shift(oven.rows("L1"), "bake_loss_pct", -1.2, -0.04)
    for bakery, check, refuted in ((oven, "Oven zones", "bake loss"), (cold, "Dough with", "dough temperature")):
        call = bakery.call(over=over)
        assert call.check_first[0].startswith(check)
        assert call.refuted_by[0].startswith(f"{refuted} {'still' if over else 'back'} at")


def test_a_call_that_names_nothing_says_what_may_refute_it():
    bakery = Bakery()
    bakery.ln[bakery.rows("L1")] -= 0.05
    call = bakery.call()
    assert call.headline == "Nothing recorded explains it" and call.refuted_by


def test_what_no_column_tells_of_is_never_said_to_be_checked():
    call = _cold().call()
    assert any("no column" in line for line in cause(call, "unexplained").not_checked)
    assert any("moulder and transfers" in line for line in cause(call, "handling").not_checked)


def test_an_oven_that_stands_out_is_what_is_looked_at_next():
    oven = Bakery()
    oven.shift(oven.rows("L1"), "bake_loss_pct", -1.2, -0.04)
    assert any(line.startswith("oven zones") for line in oven.call().next_measurement)


def _weak(over: bool, **more: object) -> Call:
    """Lot Y5 of days 15 to 18 makes less gas on L1 and L2."""
    bakery = Bakery()
    bakery.frame.loc[bakery.rows("L3", 15, 18), "yeast_lot"] = "Y90"
    bakery.ln[bakery.rows("L1", 15, 18) | bakery.rows("L2", 15, 18)] -= 0.05
    return bakery.call(until=18 * PER_DAY - 1, over=over, **more)


def test_of_a_change_that_is_over_only_what_is_still_there_is_to_be_measured():
    on, over = _weak(False, shuffled=lambda f: f[f["shift_date"] < "2026-03-20"]), _weak(True)
    assert any("eight loaves" in line for line in on.next_measurement)
    for now in ("next two batches", "piece taken", "check block"):
        assert not any(now in line for line in over.next_measurement)
    assert any("a gas test of yeast lot Y5" in line for line in on.next_measurement)
    assert any("what was kept of yeast lot Y5" in line for line in over.next_measurement)
    assert on.check_first[0].startswith("Another yeast lot than Y5")
    assert over.check_first[0].startswith("What is left of yeast lot Y5")


def test_a_lot_that_was_tested_is_not_to_be_tested_as_if_it_were_not():
    bakery = Bakery()
    rows = bakery.rows("L1", 15, 18)
    bakery.frame.loc[rows, "yeast_lot"] = "Y90"
    bakery.ln[rows] -= 0.05
    for lot in set(bakery.frame["yeast_lot"]):
        mine = bakery.frame["yeast_lot"] == lot
        bakery.frame.loc[mine, "lot_gas_ml"] = 1500 * (0.88 if lot == "Y90" else 1.0)
        bakery.frame.loc[mine, "lot_gas_tests"] = 2.0
    until = 18 * PER_DAY - 1
    call = bakery.call(until=until, shuffled=lambda f: f[f["shift_date"] < "2026-03-20"])
    assert "ask the laboratory" not in call.check_first[0] and "Y90" in call.check_first[0]
    assert call.refuted_by[0].startswith("a second gas test of lot Y90")
    said = next(line for line in cause(call, "yeast").evidence if "lot Y90 alone" in line)
    assert said.startswith("Level: 2 gas tests of lot Y90 alone, 1320 mL in the mean, \u221212 % against")


def test_lines_that_proof_to_a_height_answer_in_time_and_say_so():
    bakery = Bakery()
    weak = bakery.rows("L1", 15, 18) | bakery.rows("L3", 15, 18)
    bakery.ln[weak] -= 0.05
    tall = bakery.rows("L2", 15, 18)
    bakery.frame.loc[tall, "proof_minutes"] *= 1.12
    here = plant()
    lines = here.lines | {"L2": here.lines["L2"].model_copy(update={"proof_mode": "height"})}
    call = bakery.call(until=18 * PER_DAY - 1, plant=here.model_copy(update={"lines": lines}))
    said = next(line for line in cause(call, "yeast").evidence if line.startswith("Scope: volume of the lines on Y5"))
    assert re.search(r"L2 .*proofed to height, where its time answers: \+1[123] %", said)
    assert "L1 \u2212" in said and "2026-03-17/L1/01 to 2026-03-19/L1/06" in said
    assert any("a line that proofs to time on Y5" in line for line in call.refuted_by)


def test_drivers_that_moved_together_have_a_part_together():
    bakery = _cold(-1.5)
    rows = bakery.rows("L1")
    bakery.frame.loc[rows, ["paste_loss_pct", "water_made_good"]] = 6.5, "no"
    bakery.frame.loc[rows, "mix_energy_wh_kg"] *= 1 + 0.03 * 2.5  # a dry dough is stiffer
    bakery.shift(rows, "usual_gap_points", -2.5, -0.0406)
    call = bakery.call()
    said = next(line for line in call.joint if line.startswith("moved together"))
    both = cause(call, "paste").contribution + cause(call, "yeast").contribution
    assert _number(said, "account for", "mL/g") == pytest.approx(both, abs=0.006)
    low, high = (float(x.replace("\u2212", "-")) for x in re.search("90 %: (.*) to (.*)\\)", said).groups())
    assert low < both < high


def test_what_worked_against_the_change_says_when_it_began():
    """Yeast raised after the fall: the order in time is what tells a compensation from a cause."""
    bakery = Bakery()
    bakery.ln[bakery.rows("L1")] -= 0.06
    late = bakery.rows("L1", 17)
    bakery.frame.loc[late, "yeast_pct"] *= 1.08
    bakery.ln[late] += 0.36 * np.log(1.08)
    said = next(line for line in cause(bakery.call(), "yeast").evidence if line.startswith("Against"))
    assert "12 measured batches after the volume" in said


def test_a_dose_is_each_lines_own_and_the_others_are_shown_all_the_same():
    bakery = Bakery()
    rows = bakery.rows("L1")
    bakery.frame.loc[rows, "yeast_pct"] *= 0.85
    bakery.ln[rows] += 0.36 * np.log(0.85)
    said = next(line for line in cause(bakery.call(), "yeast").evidence if line.startswith("Scope"))
    assert "L2 yeast on flour" in said and "L3 yeast on flour" in said


def test_volumes_in_percent_are_percent():
    """A fall to 85 % is one of 15 %, not of 16 % as its logarithm is."""
    bakery = Bakery()
    bakery.ln[bakery.rows(None)] += np.log(0.85)
    said = " ".join(cause(bakery.call(), "unexplained").evidence)
    found = [float(x) for x in re.findall("L\\d \u2212(\\d+\\.\\d) %", said)]
    assert len(found) == 2 and all(14.5 < x < 15.5 for x in found)
    assert 14.0 < float(re.search("volume \u2212(\\d+\\.\\d) ±", said)[1]) < 15.7


def test_nothing_recorded_is_not_within_limits():
    bakery = Bakery()
    bakery.frame[["proof_minutes", "proof_temp_c", "yeast_lot", "flour_lot"]] = np.nan, np.nan, None, None
    bakery.ln[bakery.rows("L1")] -= 0.05
    call = bakery.call()
    assert cause(call, "yeast").driver == "nothing that was recorded is outside its own limits"
    assert "flour lot not recorded on 30 of 30 doughs" in cause(call, "unexplained").not_checked
    assert any(line.startswith("the proof: times") for line in call.next_measurement)


@pytest.mark.parametrize("by", [-2.0, 2.0])
def test_what_a_part_is_made_of_adds_up_to_it(by: float):
    bakery = _cold(by)
    bakery.frame.loc[bakery.rows("L1", 17), "yeast_lot"] = None
    bakery.frame["paste_temp_c"] = np.nan
    call = bakery.call()
    for found in call.causes:
        assert sum(found.made_of.values()) == pytest.approx(found.contribution, abs=1e-12)
    yeast = cause(call, "yeast")
    assert yeast.made_of["dough temperature"] * by > 0
    assert json.loads(json.dumps(yeast.made_of)) == yeast.made_of


def test_levels_are_the_mean_and_spread_of_the_rows_they_were_made_from():
    bakery = _cold()
    found = cause(bakery.call(), "yeast").levels["dough temperature"]
    warm = bakery.frame["dough_temp_c"].to_numpy()
    before, after = warm[bakery.rows("L1", 0, 12)], warm[bakery.rows("L1")]
    assert found["against_usual"] + found["after"] == pytest.approx(after.mean(), abs=0.1)
    assert found["after"] - found["before"] == pytest.approx(after.mean() - before.mean(), abs=0.1)
    assert found["sd_before"] == pytest.approx(before.std(ddof=1))
    assert (found["n_before"], found["n_after"], found["outside"]) == (len(before), len(after), True)


def test_a_paste_is_followed_by_its_batches_not_by_the_clock():
    """L1's pastes are its own; L2 takes some of them a day late; L3 none."""
    bakery = Bakery()
    rows = bakery.rows("L1")
    bakery.frame.loc[rows, "paste_key"] = [f"{key[:10]}/K1/09" for key in bakery.frame.loc[rows, "batch_key"]]
    late = bakery.rows("L2", 19)
    bakery.frame.loc[late, "paste_key"] = "2026-03-17/K1/09"
    for mine in (rows, late):
        bakery.frame.loc[mine, ["paste_loss_pct", "water_made_good"]] = 6.5, "no"
        bakery.shift(mine, "usual_gap_points", -2.5, -0.0406)
    found = cause(bakery.call(), "paste").evidence
    assert "Level: of 5 pastes, 2026-03-17/K1/09 to 2026-03-21/K1/09." in found
    scope = next(line for line in found if line.startswith("Scope"))
    assert re.search(r"L2 hydration against the formula \u22122\.[456] points against its usual \(n 6\)", scope)
    assert "L3 took none of these pastes" in scope


def test_what_was_measured_since_the_last_good_check_is_doubtful():
    bakery = _everywhere()
    call = bakery.call(checks=_checks(1800.0, 1728.0))
    since = pd.Timestamp(START) + pd.Timedelta(days=14)
    n = int((bakery.frame["mixed_at"] > since).sum())
    said = next(line for line in cause(call, "unexplained").evidence if "doubtful" in line)
    assert said.startswith(f"Level: {n} batches mixed since the last good check of V1, 2026-03-16 06:00, and measured on it")
    assert "doubtful" not in " ".join(cause(bakery.call(checks=_checks(1800.0, 1801.0)), "unexplained").evidence)
