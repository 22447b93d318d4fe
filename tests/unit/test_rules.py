"""Every rule has, close on each side of each of its bounds, a row that breaks it and one that does not."""

from __future__ import annotations

from functools import cache

import numpy as np
import pandas as pd
import pytest

from models.batchbook import BATCHES, PASTES
from models.judging import checks, derive
from models.judging.rules import CROSS_COLUMN, GOOD, Rule, good_rules, meant, truth_rules
from models.logbook import FRAME_TYPE, KINDS, TABLES
from tests.unit.rows import SOUND, bent, frame, plant

NORTH = plant()
Cells = dict


def charge(kg: float, **cells: float) -> Cells:
    """A paste of so many kg of flour and liquid, 1:2, that lost 1 % of Wb."""
    return dict(flour_kg=kg / 3, liquid_kg=kg - kg / 3, weight_after_kg=0.99 * cells["weight_before_kg"], **cells)


# a reading of 42 °C by infrared in a cook of 10 min that lost 2 %; a loaf whose dough piece was not weighed
STEEL = dict(
    flour_kg=np.nan, liquid_kg=np.nan, weight_before_kg=50.0, weight_after_kg=49.0, cook_temp_c=42.0, probe="infrared"
)
UNSCALED = dict(scaled_g=np.nan)

BARE = dict(flour_kg=np.nan, liquid_kg=np.nan)  # a paste whose charge was not weighed
TARED = BARE | dict(weight_before_kg=60.0, tare_kg=20.0)  # 40 kg net

# rule -> pairs close on each side of each of its bounds: cells that break it, cells that do not. The bounds, written out
# here a second time, are common practice without a source, unless one stands beside.
CASES: dict[str, tuple[tuple[Cells, Cells], ...]] = {
    "paste.after-above-before": (  # 0.5 % of the net Wb
        (
            BARE | dict(weight_before_kg=40.0, weight_after_kg=40.21),
            BARE | dict(weight_before_kg=40.0, weight_after_kg=40.2),
        ),
        (TARED | dict(weight_after_kg=60.21), TARED | dict(weight_after_kg=60.2)),
    ),
    "paste.tare-left-in": (  # 5 % and 1 kg above the charge; not where pounds look the same
        (charge(120, weight_before_kg=126.1), charge(120, weight_before_kg=126.0)),
        (charge(12, weight_before_kg=13.05), charge(12, weight_before_kg=13.0)),
        (charge(100, weight_before_kg=213.8), charge(100, weight_before_kg=213.9)),
        (charge(100, weight_before_kg=227.1), charge(100, weight_before_kg=227.0)),
        (
            dict(weight_before_kg=84.2, weight_after_kg=83.1),
            dict(weight_before_kg=84.2, weight_after_kg=83.1, tare_kg=48.2),
        ),
    ),
    "paste.pounds-or-tare": (  # 1 kg is 2.2046 lb (exact definition of the pound), within 3 %: 2.1385 to 2.2708
        (charge(100, weight_before_kg=213.9), charge(100, weight_before_kg=213.8)),
        (charge(100, weight_before_kg=227.0), charge(100, weight_before_kg=227.1)),
        (charge(0.8125, weight_before_kg=1.82), charge(0.8125, weight_before_kg=1.8125)),
    ),
    "paste.less-than-charge": (  # 5 % and 1 kg below it
        (charge(120, weight_before_kg=113.9), charge(120, weight_before_kg=114.0)),
        (charge(12, weight_before_kg=10.95), charge(12, weight_before_kg=11.0)),
    ),
    "paste.loss-not-credible": (  # 20 % of the net Wb
        (
            BARE | dict(weight_before_kg=40.0, weight_after_kg=31.9),
            BARE | dict(weight_before_kg=40.0, weight_after_kg=32.0),
        ),
        (TARED | dict(weight_after_kg=51.9), TARED | dict(weight_after_kg=52.0)),
    ),
    "paste.tare-above-weight": ((dict(tare_kg=35.2), dict(tare_kg=35.1)),),
    "paste.residue-not-credible": (  # a quarter of the net Wa
        (dict(weight_after_kg=36.0, residue_kg=9.1), dict(weight_after_kg=36.0, residue_kg=9.0)),
        (TARED | dict(weight_after_kg=56.0, residue_kg=9.1), TARED | dict(weight_after_kg=56.0, residue_kg=9.0)),
    ),
    "paste.water-not-credible": (  # half the net Wb
        (dict(kettle_water_kg=18.1), dict(kettle_water_kg=18.0)),
        (
            TARED | dict(weight_after_kg=56.0, kettle_water_kg=20.1),
            TARED | dict(weight_after_kg=56.0, kettle_water_kg=20.0),
        ),
    ),
    "paste.cold-above-hot": (  # 2 % above the net Wa with the water put back
        (dict(weight_after_kg=35.0, weight_cold_kg=35.71), dict(weight_after_kg=35.0, weight_cold_kg=35.7)),
        (
            dict(weight_after_kg=35.0, kettle_water_kg=15.0, weight_cold_kg=51.1),
            dict(weight_after_kg=35.0, kettle_water_kg=15.0, weight_cold_kg=51.0),
        ),
        (
            TARED | dict(weight_after_kg=55.0, kettle_water_kg=15.0, weight_cold_kg=71.1),
            TARED | dict(weight_after_kg=55.0, kettle_water_kg=15.0, weight_cold_kg=71.0),
        ),
    ),
    "paste.times-out-of-order": ((dict(cook_end="2026-05-06 05:10"), dict(cook_end="2026-05-06 05:11")),),
    "paste.cook-too-long": ((dict(cook_end="2026-05-06 11:11"), dict(cook_end="2026-05-06 11:10")),),  # 6 h
    "paste.not-in-its-shift": (  # early begins at 05:00 UTC and ends at 13:00: 4 h before it, 12 h after it
        (dict(cook_start="2026-05-06 00:59"), dict(cook_start="2026-05-06 01:00")),
        (dict(cook_start="2026-05-07 01:01"), dict(cook_start="2026-05-07 01:00")),
        (
            dict(shift="night", cook_start="2026-05-06 01:10", cook_end="2026-05-06 01:20"),
            dict(shift="night", cook_start="2026-05-07 01:10", cook_end="2026-05-07 01:20"),
        ),
    ),
    "paste.reading-not-the-paste": (  # by infrared 20 to below 55 °C, in a cook of 3 to 60 min that lost 0.2 to 20 % of Wb
        (STEEL | dict(cook_temp_c=54.9), STEEL | dict(cook_temp_c=55.0)),
        (STEEL | dict(cook_temp_c=20.0), STEEL | dict(cook_temp_c=19.9)),
        (STEEL | dict(cook_end="2026-05-06 05:13"), STEEL | dict(cook_end="2026-05-06 05:12")),
        (STEEL | dict(cook_end="2026-05-06 06:10"), STEEL | dict(cook_end="2026-05-06 06:11")),
        (STEEL | dict(weight_after_kg=49.9), STEEL | dict(weight_after_kg=49.91)),
        (STEEL | dict(weight_after_kg=40.0), STEEL | dict(weight_after_kg=39.9)),
        (STEEL, STEEL | dict(probe="contact")),
    ),
    "paste.warmer-after-2-h": ((dict(temp_2h_c=71.1), dict(temp_2h_c=71.0)),),  # 5 °C above the end of the cook
    "paste.flour-and-liquid-swapped": (  # flour to liquid 0.8 to 1.25 times what the recipe (1:2) has liquid to flour
        (dict(flour_kg=16.0, liquid_kg=10.0), dict(flour_kg=15.9, liquid_kg=10.0)),
        (dict(flour_kg=25.0, liquid_kg=10.0), dict(flour_kg=25.1, liquid_kg=10.0)),
    ),
    "dough.yeast-not-credible": ((dict(flour_kg=50.0, yeast_kg=10.1), dict(flour_kg=50.0, yeast_kg=10.0)),),  # 20 %
    "dough.liquid-not-credible": ((dict(liquid_kg=144.1), dict(liquid_kg=144.0)),),  # 3 times the flour
    "dough.paste-not-credible": ((dict(paste_kg=144.1), dict(paste_kg=144.0)),),
    "dough.makeup-not-credible": (  # 30 % of the flour
        (dict(flour_kg=50.0, makeup_water_kg=15.1), dict(flour_kg=50.0, makeup_water_kg=15.0)),
    ),
    "dough.not-in-its-shift": (
        (dict(mixed_at="2026-05-06 00:59"), dict(mixed_at="2026-05-06 01:00")),
        (dict(mixed_at="2026-05-07 01:01"), dict(mixed_at="2026-05-07 01:00")),
        (dict(shift="night", mixed_at="2026-05-06 01:30"), dict(shift="night", mixed_at="2026-05-07 01:30")),
    ),
    "proof.times-out-of-order": ((dict(proof_out="2026-05-06 07:10"), dict(proof_out="2026-05-06 07:11")),),
    "proof.proof-too-long": ((dict(proof_out="2026-05-06 19:11"), dict(proof_out="2026-05-06 19:10")),),  # 12 h
    "gas.kept-above-made": ((dict(gas_retained_ml=1531.0), dict(gas_retained_ml=1530.0)),),  # 2 %
    "gas.of-nothing": (
        (dict(dough_batch=np.nan, line=np.nan, yeast_lot=np.nan), dict(dough_batch=np.nan, line=np.nan)),
        (dict(line=np.nan, yeast_lot=np.nan), dict(yeast_lot=np.nan)),
    ),
    "loaf.weight-and-volume-swapped": (  # 0.1 to below 0.6 mL/g, of more than 100 g
        (UNSCALED | dict(baked_g=1000.0, volume_ml=599.0), UNSCALED | dict(baked_g=1000.0, volume_ml=600.0)),
        (UNSCALED | dict(baked_g=1000.0, volume_ml=100.0), UNSCALED | dict(baked_g=1000.0, volume_ml=99.0)),
        (UNSCALED | dict(baked_g=100.5, volume_ml=50.0), UNSCALED | dict(baked_g=100.0, volume_ml=50.0)),
    ),
    "loaf.specific-volume-not-credible": (  # below 0.9 or above 12 mL/g, where weight and volume are not changed over
        (dict(baked_g=400.0, volume_ml=359.0), dict(baked_g=400.0, volume_ml=360.0)),
        (dict(baked_g=400.0, volume_ml=4801.0), dict(baked_g=400.0, volume_ml=4800.0)),
        (UNSCALED | dict(baked_g=1000.0, volume_ml=600.0), UNSCALED | dict(baked_g=1000.0, volume_ml=599.0)),
        (UNSCALED | dict(baked_g=1000.0, volume_ml=99.0), UNSCALED | dict(baked_g=1000.0, volume_ml=100.0)),
        (UNSCALED | dict(baked_g=100.0, volume_ml=50.0), UNSCALED | dict(baked_g=100.5, volume_ml=50.0)),
    ),
    "loaf.heavier-than-its-dough": (  # 0.5 % of the dough piece
        (dict(scaled_g=400.0, baked_g=402.1), dict(scaled_g=400.0, baked_g=402.0)),
    ),
    "loaf.bake-loss-not-credible": (
        (dict(scaled_g=500.0, baked_g=299.9), dict(scaled_g=500.0, baked_g=300.0)),
    ),  # 40 %
    "output.pieces_made.not-whole": ((dict(pieces_made=900.5), dict(pieces_made=900.0)), (dict(pieces_made=1.9), dict(pieces_made=2.0))),
    "output.pieces_wasted.not-whole": ((dict(pieces_wasted=1.002), dict(pieces_wasted=1.0)),),
    "output.wasted-above-made": ((dict(pieces_wasted=901.0), dict(pieces_wasted=900.0)),),
    "change.unknown-name": (
        (dict(name="L9"), dict(scope="instrument", name="S9")),
        (dict(scope="kettle", name="L1"), dict(scope="kettle", name="K1")),
    ),
}
# more than 6 times the median of at least five rows of the file, or less than 0.16 times; rows of one file, in 1 kg
OF_THE_FILE = {"paste.off-by-a-factor": ("paste", "weight_before_kg"), "dough.off-by-a-factor": ("dough", "flour_kg")}
FILES: tuple[tuple[tuple[float, ...], bool], ...] = (
    ((10, 10, 10, 10, 61), True),
    ((10, 10, 10, 10, 60), False),
    ((10, 10, 10, 10, 1.59), True),
    ((10, 10, 10, 10, 1.6), False),
    ((10, 10, 10, 100), False),
)


def rows_of_file(code: str, weights: tuple[float, ...]) -> list[dict]:
    kind, column = OF_THE_FILE[code]
    bare = BARE if kind == "paste" else {}
    return [bent(kind, **bare | {column: float(w)} | ({"weight_after_kg": w} if bare else {})) for w in weights]


SINGLE = [(kind, rule) for kind in KINDS for rule in truth_rules(kind) if rule not in CROSS_COLUMN]


# what the usual slip of a unit makes of a value: °F, grams, kilograms, litres, a fraction (exact by definition)
TYPED = {"°C": (1.8, 32.0), "kg": (1000.0, 0.0), "g": (0.001, 0.0), "mL": (0.001, 0.0), "%": (0.01, 0.0)}


def single_cells(kind: str, rule: Rule) -> list[tuple[dict, dict]]:
    """Values next to each other on both sides of each bound of a rule of one column: one that breaks it, one that does not.

    A value beyond the range that the usual slip of the unit explains breaks the slip's rule, and not the range's.
    """
    column = TABLES[kind].by_name[rule.column]
    if column.plant_code:
        return [({column.name: "K99"}, {column.name: SOUND[kind].get(column.name, "water-2")})]
    low, high = column.can_be
    least, most, slips = low, high, []
    if column.unit in TYPED:
        factor, offset = TYPED[column.unit]
        typed = [bound * factor + offset for bound in (low, high)]
        if factor > 1 and typed[1] > high:
            slips, most = [(above(max(typed[0], high)), max(typed[0], high)), (typed[1], above(typed[1]))], typed[1]
        elif factor < 1 and typed[0] < low:
            slips, least = [(below(min(typed[1], low)), min(typed[1], low)), (typed[0], below(typed[0]))], typed[0]
    pairs = [(below(least), least), (above(most), most)] if rule.code.endswith(".range") else slips
    return [({column.name: breaks}, {column.name: near}) for breaks, near in pairs]


def above(value: float) -> float:
    return float(np.nextafter(value, np.inf))


def below(value: float) -> float:
    return float(np.nextafter(value, -np.inf))


@cache
def asked(kind: str) -> tuple[list[str], checks.Judged]:
    """Every case of one log judged at once: their names, and what was found. Each case is a file of its own."""
    cases: list[tuple[str, list[dict]]] = [("sound", [SOUND[kind]])]
    pairs = {code: some for code, some in CASES.items() if code.startswith(f"{kind}.")}
    pairs |= {rule.code: single_cells(kind, rule) for of, rule in SINGLE if of == kind}
    for code, some in pairs.items():
        for n, (breaks, near) in enumerate(some):
            cases += [(f"{code} breaks {n}", [bent(kind, **breaks)]), (f"{code} near {n}", [bent(kind, **near)])]
    cases += [(f"{name} empty", [bent(kind, **{name: np.nan})]) for name in TABLES[kind].required]
    for code in (code for code, (of, _) in OF_THE_FILE.items() if of == kind):
        cases += [(f"{code} file {n}", rows_of_file(code, weights)) for n, (weights, _) in enumerate(FILES)]
    names = [name if len(rows) == 1 else f"{name} row {n}" for name, rows in cases for n in range(len(rows))]
    files = pd.Series([i for i, (_, rows) in enumerate(cases) for _ in rows])
    found = checks.judge_truth(kind, frame(kind, [row for _, rows in cases for row in rows]), files, NORTH)
    assert not [o.rule.code for o in found.outcomes if o.outcome == checks.COULD_NOT_RUN]
    return names, found


def judged(kind: str) -> dict[str, set[str]]:
    """case -> rules its row breaks."""
    names, found = asked(kind)
    return {name: {o.rule.code for o in found.outcomes if i in o.rows} for i, name in enumerate(names)}


@pytest.mark.parametrize("kind", KINDS)
def test_the_suite_and_a_plain_reading_of_the_rules_agree(kind: str) -> None:
    """Screens and very large logs read the rules without the suite."""
    _, found = asked(kind)
    plain = {o.rule.code: tuple(np.flatnonzero(checks.verdict(o.rule, found.rows).broken)) for o in found.outcomes}
    assert {o.rule.code: o.rows for o in found.outcomes} == plain


@pytest.mark.parametrize("kind", KINDS)
def test_a_sound_row_breaks_nothing(kind: str) -> None:
    assert judged(kind)["sound"] == set()


def test_every_cross_column_rule_has_its_case() -> None:
    of_years = {f"{kind}.wrong-year" for kind in derive.YEARS_OF}  # tests/unit/test_years.py
    assert set(CASES) | set(OF_THE_FILE) | of_years == {rule.code for rule in CROSS_COLUMN}


@pytest.mark.parametrize("kind", KINDS)
def test_a_rule_is_declared_once(kind: str) -> None:
    codes = [rule.code for rule in (*checks.required_rules(kind), *truth_rules(kind))]
    assert len(codes) == len(set(codes))


@pytest.mark.parametrize("code", [*CASES, *(rule.code for _, rule in SINGLE)])
def test_truth_rule(code: str) -> None:
    found = judged(code.split(".")[0])
    breaks = {n: code in rules for n, rules in found.items() if n.startswith(f"{code} breaks ")}
    near = {n: code in rules for n, rules in found.items() if n.startswith(f"{code} near ")}
    assert breaks and breaks == dict.fromkeys(breaks, True)
    assert near == dict.fromkeys(near, False)


@pytest.mark.parametrize("code", OF_THE_FILE)
@pytest.mark.parametrize("n", range(len(FILES)))
def test_a_slipped_decimal_point_stands_out_in_its_file(code: str, n: int) -> None:
    found, (weights, stands_out) = judged(OF_THE_FILE[code][0]), FILES[n]
    last = len(weights) - 1
    assert [i for i in range(len(weights)) if code in found[f"{code} file {n} row {i}"]] == [last] * stands_out


@pytest.mark.parametrize(
    ("date", "clock", "start"),
    [
        ("2026-05-06", "06:00", "2026-05-06 05:00"),
        ("2026-10-25", "01:30", "2026-10-25 00:30"),  # the clock shows 01:30 twice: the first of them
        ("2026-03-29", "01:30", "2026-03-29 01:00"),  # and in March never: when it shows 02:00
    ],
)
def test_a_shift_starts_by_the_plants_clock(date: str, clock: str, start: str) -> None:
    """Lisbon goes from 02:00 back to 01:00 on 25 October 2026 and from 01:00 to 02:00 on 29 March (directive 2000/84/EC)."""
    odd = plant(shifts={"early": clock})
    got = derive.shift_start_utc(pd.Series([pd.Timestamp(date)]), pd.Series(["early"]), odd)
    assert got.tolist() == [pd.Timestamp(start)]


def test_a_recipe_near_one_to_one_is_changed_over_only_where_it_differs_much() -> None:
    """At 1:1.6 flour and liquid are changed over where liquid to flour is below 1.6 / 2.5 = 0.64, whatever else fits."""
    pastes = {"water-2": {"liquid_ratio": 1.6}}
    lines = {"L1": {"kettle": "K1", "products": ["milk-loaf"]}}
    near_one = plant(pastes=pastes, kettles={"K1": {"pastes": ["water-2"]}}, lines=lines)
    rows = frame("paste", [bent("paste", flour_kg=100.0, liquid_kg=kg) for kg in (63.9, 64.1, 78.0)])
    found = checks.judge_truth("paste", rows, pd.Series([0, 1, 2]), near_one)
    assert [o.rows for o in found.outcomes if o.rule.code == "paste.flour-and-liquid-swapped"] == [(0,)]


@pytest.mark.parametrize(
    ("column", "typed", "was"),
    [
        ("cook_temp_c", 151.0, 66.1),
        ("cook_temp_c", 105.9, None),  # a paste may be 5 to 106 °C, which is 222.8 °F
        ("cook_temp_c", 106.0, 41.1),
        ("cook_temp_c", 222.8, 106.0),
        ("cook_temp_c", 222.9, None),
        ("weight_before_kg", 36000.0, 36.0),
        ("cook_start", 36.0, None),
    ],
)
def test_what_was_meant(column: str, typed: float, was: float | None) -> None:
    found = meant(TABLES["paste"].by_name[column], typed)
    assert found is None if was is None else found == pytest.approx(was, abs=0.05)


def test_what_food_safety_rests_on_comes_first_in_the_work_list() -> None:
    readings = {f"paste.{name}.fahrenheit" for name in ("cook_temp_c", "temp_2h_c", "temp_6h_c")}
    ranges = {"paste.temp_2h_c.range", "paste.temp_6h_c.range", "paste.warmer-after-2-h"}
    rules = [rule for kind in KINDS for rule in truth_rules(kind)]
    assert {rule.code for rule in rules if rule.weight == 1} == readings | ranges
    assert {rule.weight for rule in rules if rule.code.endswith((".grams", ".kilograms", ".litres"))} == {4}


@pytest.mark.parametrize("kind", KINDS)
def test_a_required_cell_must_be_filled(kind: str) -> None:
    for name in TABLES[kind].required:
        assert f"{kind}.{name}.required" in judged(kind)[f"{name} empty"]


def wide(columns, **cells) -> pd.DataFrame:
    row = {c.name: cells.get(c.name, np.nan) for c in columns}
    beside = {name: value for name, value in cells.items() if name not in row}
    return pd.DataFrame([row]).astype({c.name: FRAME_TYPE[c.type] for c in columns}).assign(**beside)


PASTE = dict(
    paste_key="2026-05-06/K1/01",
    paste_batch="01",
    kettle="K1",
    recipe="water-2",
    shift_date="2026-05-06",
    loss_pct=2.0,
    usual_loss_pct=2.0,
    probe="contact",
    after_kg=35.2,
    points_lost=0.2,
    cook_temp_c=66.0,
    cooling="met",
    overdrawn_kg=0.0,
    sheet_awaited="",
    temp_2h_c=20.0,
    temp_6h_c=4.0,
)
MADE_50 = dict(after_kg=35.0, kettle_water_kg=15.0)
BATCH = dict(
    batch_key="2026-05-06/L1/01",
    line="L1",
    product="milk-loaf",
    shift_date="2026-05-06",
    recipe="water-2",
    paste_key="p",
    dough_temp_c=26.0,
    paste_age_h=3.0,
    specific_volume=4.7,
    loaves=4.0,
    usual_gap_points=0.0,
    water_owed_kg=0.0,
    water_made_good="nothing owed",
)
INFRARED = dict(cook_temp_c=63.9, probe="infrared")
# The limits are those of the contract's example plant file, which are the defaults; age and kettle ledger: common
# practice, no source.
GOOD_CASES: dict[str, tuple[tuple[Cells, Cells], ...]] = {
    "pastes.cook-temperature.action": (
        (dict(cook_temp_c=80.1), dict(cook_temp_c=80.0)),
        (dict(cook_temp_c=60.9), dict(cook_temp_c=61.0)),
    ),
    "pastes.cook-temperature.warning": (
        (dict(cook_temp_c=73.1), dict(cook_temp_c=73.0)),
        (dict(cook_temp_c=80.0), dict(cook_temp_c=80.1)),
        (dict(cook_temp_c=63.9), dict(cook_temp_c=64.0)),
        (dict(cook_temp_c=61.0), dict(cook_temp_c=60.9)),
    ),
    "pastes.loss.action": (
        (dict(loss_pct=6.1), dict(loss_pct=6.0)),
        (dict(loss_pct=-0.6), dict(loss_pct=-0.5)),
        (
            dict(loss_pct=6.1),
            dict(loss_pct=100 * (120.0 - 112.8) / 120.0),
        ),  # 6.000000000000002 by arithmetic, 6 by the scale
    ),
    "pastes.loss.warning": (
        (dict(loss_pct=4.1), dict(loss_pct=4.0)),
        (dict(loss_pct=6.0), dict(loss_pct=6.1)),
        (dict(loss_pct=0.4), dict(loss_pct=0.5)),
        (dict(loss_pct=-0.5), dict(loss_pct=-0.6)),
    ),
    "pastes.infrared-reads-low": (
        (INFRARED, INFRARED | dict(cook_temp_c=64.0)),
        (INFRARED, INFRARED | dict(loss_pct=1.9)),
        (INFRARED, INFRARED | dict(probe="contact")),
    ),
    "pastes.read-before-the-end": (
        (dict(cook_temp_c=63.9), dict(cook_temp_c=64.0)),
        (dict(cook_temp_c=63.9), dict(cook_temp_c=63.9, loss_pct=1.9)),
        (dict(cook_temp_c=63.9), INFRARED),
    ),
    "pastes.points.action": ((dict(points_lost=2.1), dict(points_lost=2.0)),),
    "pastes.points.warning": (
        (dict(points_lost=1.1), dict(points_lost=1.0)),
        (dict(points_lost=2.0), dict(points_lost=2.1)),
    ),
    "pastes.overdrawn.action": (  # 4 % of what was made: 35 kg and 15 kg of water put back
        (MADE_50 | dict(overdrawn_kg=2.01), MADE_50 | dict(overdrawn_kg=2.0)),
        (dict(after_kg=50.0, overdrawn_kg=2.01), dict(after_kg=50.0, overdrawn_kg=2.0)),
    ),
    "pastes.overdrawn.warning": (  # 2 %
        (MADE_50 | dict(overdrawn_kg=1.01), MADE_50 | dict(overdrawn_kg=1.0)),
        (MADE_50 | dict(overdrawn_kg=2.0), MADE_50 | dict(overdrawn_kg=2.01)),
    ),
    "pastes.overdrawn-in-doubt": (
        (dict(overdrawn_kg=9.0, sheet_awaited="2026-05-07"), dict(overdrawn_kg=9.0, sheet_awaited="")),
    ),
    "pastes.cooling": ((dict(cooling="missed"), dict(cooling="not checked")),),
    "pastes.recipe-of-kettle": ((dict(recipe="milk-5"), dict(recipe="water-2")),),
    "batches.paste-of-another-recipe": ((dict(recipe="milk-5"), dict(recipe="water-2")),),
    "batches.undeclared-allergen": ((dict(recipe="milk-5", product="plain-loaf"), dict(recipe="milk-5")),),
    "batches.dough-temperature.action": (
        (dict(dough_temp_c=28.1), dict(dough_temp_c=28.0)),
        (dict(dough_temp_c=23.9), dict(dough_temp_c=24.0)),
    ),
    "batches.dough-temperature.warning": (
        (dict(dough_temp_c=27.1), dict(dough_temp_c=27.0)),
        (dict(dough_temp_c=28.0), dict(dough_temp_c=28.1)),
        (dict(dough_temp_c=24.9), dict(dough_temp_c=25.0)),
        (dict(dough_temp_c=24.0), dict(dough_temp_c=23.9)),
    ),
    "batches.paste-age.action": ((dict(paste_age_h=48.1), dict(paste_age_h=48.0)),),
    "batches.paste-age.warning": (
        (dict(paste_age_h=24.1), dict(paste_age_h=24.0)),
        (dict(paste_age_h=48.0), dict(paste_age_h=48.1)),
    ),
    "batches.specific-volume": (
        (dict(specific_volume=4.19), dict(specific_volume=4.2)),
        (dict(specific_volume=5.21), dict(specific_volume=5.2)),
    ),
    "batches.water-owed": ((dict(usual_gap_points=-2.1), dict(usual_gap_points=-2.0)),),
    "batches.product-of-line": ((dict(product="plain-loaf"), dict(product="milk-loaf")),),
}


def test_every_good_rule_has_its_case() -> None:
    assert set(GOOD_CASES) == {rule.code for rule in GOOD}


@cache
def judged_good(kind: str) -> dict[str, tuple[set[str], set[str]]]:
    """Every case of one wide row judged at once: case -> rules it breaks, sentences it gets."""
    columns, sound = (PASTES, PASTE) if kind == "pastes" else (BATCHES, BATCH)
    cases = {
        f"{code} {word} {n}": cells
        for code, pairs in GOOD_CASES.items()
        if code.startswith(kind)
        for n, pair in enumerate(pairs)
        for word, cells in zip(("breaks", "near"), pair, strict=True)
    }
    rows = pd.concat([wide(columns, **sound | cells) for cells in cases.values()], ignore_index=True)
    found = checks.judge_good(kind, rows, NORTH)
    return {
        name: (
            {o.rule.code for o in found.outcomes if i in o.rows},
            {checks.explain(o.rule, found.rows.iloc[i], NORTH) for o in found.outcomes if i in o.rows},
        )
        for i, name in enumerate(cases)
    }


@pytest.mark.parametrize("code", GOOD_CASES)
def test_good_rule(code: str) -> None:
    found = judged_good(code.split(".")[0])
    for n in range(len(GOOD_CASES[code])):
        rules, sentences = found[f"{code} breaks {n}"]
        assert code in rules, n
        assert code not in found[f"{code} near {n}"][0], n
        assert all("{" not in sentence for sentence in sentences)


def test_nothing_to_judge_is_not_passed() -> None:
    found = checks.judge_good("pastes", wide(PASTES, **PASTE | {"cooling": "not checked"}), NORTH)
    outcome = {o.rule.code: o.outcome for o in found.outcomes}
    assert outcome["pastes.cooling"] == checks.NOTHING
    assert outcome["pastes.loss.action"] == checks.PASSED
    assert {o.outcome for o in checks.judge_good("pastes", wide(PASTES).iloc[:0], NORTH).outcomes} == {checks.NOTHING}


@pytest.mark.parametrize("kind", [*KINDS, "pastes", "batches"])
def test_what_is_expected_is_described_once_as_the_library_describes_it(kind: str) -> None:
    """Against the library's own class: https://docs.greatexpectations.io, Expectation.configuration."""
    rules = (*checks.required_rules(kind), *truth_rules(kind)) if kind in KINDS else good_rules(kind)
    assert rules
    for rule in rules:
        ours = checks._expectation(rule, NORTH)
        library = next(c for c in type(ours).__mro__ if c.__module__.startswith("great_expectations."))
        told, theirs = ours.configuration, library(**ours.dict(exclude_defaults=True)).configuration
        assert ours.configuration is told
        assert told.to_json_dict() | {"type": theirs.type} == theirs.to_json_dict()
        assert type(told.to_domain_obj()) is type(ours)


def test_a_rule_that_cannot_run_says_so() -> None:
    rows = wide(PASTES, **PASTE)
    odd = Rule("pastes.odd", "pastes", "good", "no_such_column", (), "loss_pct > 100", "")
    by_column = Rule("pastes.odd.required", "pastes", "true", "no_such_column", (), "", "")
    found = checks._judge("odd", rows, (odd, by_column), NORTH)
    assert [o.outcome for o in found.outcomes] == [checks.PASSED, checks.COULD_NOT_RUN]


@pytest.mark.parametrize(
    ("code", "unit"), [("pastes.points", "points"), ("pastes.overdrawn", "%"), ("batches.paste-age", "h")]
)
def test_a_limit_is_said_in_its_unit(code: str, unit: str) -> None:
    """121 kg (91 %) more than was made, "action limit 4": kilograms or per cent?"""
    for level in ("action", "warning"):
        (rule,) = [rule for rule in GOOD if rule.code == f"{code}.{level}"]
        assert rule.says.endswith(f"}} {unit}") and f"{level} limit {{" in rule.says


@pytest.mark.parametrize(
    ("lost", "warn", "said"), [(1.0, 1.0, "1 point of hydration lost beyond the usual, warning limit 1 point"), (1.1, 1.0, "1.1 points"),
                               (11.0, 2.0, "11 points of hydration lost beyond the usual, warning limit 2 points"), (-1.0, 1.0, "−1 point "),
                               (-0.04, 1.0, "0 points ")],
)  # fmt: skip
def test_one_point_is_one_point(lost: float, warn: float, said: str) -> None:
    (rule,) = [rule for rule in GOOD if rule.code == "pastes.points.warning"]
    row = pd.Series({"points_lost": lost, "points_warn": warn})
    assert checks.explain(rule, row, NORTH).startswith(said)
