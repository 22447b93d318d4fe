"""Every rule has a row that breaks it and one near it that does not. Bounds: common practice, no source."""

from __future__ import annotations

from functools import cache

import numpy as np
import pandas as pd
import pytest

from models.batchbook import BATCHES, PASTES
from models.judging import checks, derive
from models.judging.rules import CROSS_COLUMN, GOOD, SLIPS, Rule, meant, truth_rules
from models.logbook import KINDS, TABLES
from models.storage.store import FRAME_TYPE
from tests.unit.rows import SOUND, bent, frame, plant

NORTH = plant()

# rule -> (cells that break it, cells near it that do not)
CASES = {
    "paste.after-above-before": (dict(weight_after_kg=40.0), dict(weight_after_kg=36.1)),
    "paste.tare-left-in": (
        dict(weight_before_kg=84.2, weight_after_kg=83.1),
        dict(weight_before_kg=84.2, weight_after_kg=83.1, tare_kg=48.2),
    ),
    "paste.pounds-or-tare": (
        dict(weight_before_kg=79.4, weight_after_kg=77.6),
        dict(weight_before_kg=84.2, weight_after_kg=83.1),
    ),
    "paste.less-than-charge": (
        dict(weight_before_kg=33.0, weight_after_kg=32.0),
        dict(weight_before_kg=35.3, weight_after_kg=34.6),
    ),
    "paste.loss-not-credible": (dict(weight_after_kg=28.0), dict(weight_after_kg=29.0)),
    "paste.tare-above-weight": (dict(tare_kg=35.2), dict(tare_kg=0.5)),
    "paste.residue-not-credible": (dict(residue_kg=12.0), dict(residue_kg=0.7)),
    "paste.water-not-credible": (dict(kettle_water_kg=20.0), dict(kettle_water_kg=1.5)),
    "paste.cold-above-hot": (dict(weight_cold_kg=37.0), dict(weight_cold_kg=35.1)),
    "paste.times-out-of-order": (dict(cook_end="2026-05-06 05:00"), dict(cook_end="2026-05-06 05:11")),
    "paste.cook-too-long": (dict(cook_end="2026-05-06 12:10"), dict(cook_end="2026-05-06 06:40")),
    "paste.not-in-its-shift": (
        dict(shift="night", cook_start="2026-05-06 01:10", cook_end="2026-05-06 01:20"),
        dict(shift="night", cook_start="2026-05-07 01:10", cook_end="2026-05-07 01:20"),
    ),
    "paste.reading-not-the-paste": (dict(cook_temp_c=42.0, probe="infrared"), dict(cook_temp_c=42.0, probe="contact")),
    "paste.warmer-after-2-h": (dict(temp_2h_c=75.0), dict(temp_2h_c=60.0)),
    "paste.flour-and-liquid-swapped": (dict(flour_kg=24.0, liquid_kg=12.0), dict(flour_kg=13.0, liquid_kg=23.0)),
    "dough.yeast-not-credible": (dict(yeast_kg=18.0), dict(yeast_kg=3.0)),
    "dough.liquid-not-credible": (dict(liquid_kg=145.0), dict(liquid_kg=40.0)),
    "dough.paste-not-credible": (dict(paste_kg=150.0), dict(paste_kg=36.0)),
    "dough.makeup-not-credible": (dict(makeup_water_kg=14.5), dict(makeup_water_kg=2.0)),
    "dough.not-in-its-shift": (
        dict(shift="night", mixed_at="2026-05-06 01:30"),
        dict(shift="night", mixed_at="2026-05-07 01:30"),
    ),
    "proof.times-out-of-order": (dict(proof_out="2026-05-06 07:00"), dict(proof_out="2026-05-06 07:40")),
    "proof.proof-too-long": (dict(proof_out="2026-05-06 20:00"), dict(proof_out="2026-05-06 10:00")),
    "gas.kept-above-made": (dict(gas_retained_ml=1600.0), dict(gas_retained_ml=1500.0)),
    "gas.of-nothing": (dict(dough_batch=np.nan, line=np.nan, yeast_lot=np.nan), dict(dough_batch=np.nan, line=np.nan)),
    "loaf.weight-and-volume-swapped": (
        dict(baked_g=1890.0, volume_ml=402.0, scaled_g=np.nan),
        dict(baked_g=402.0, volume_ml=800.0),
    ),
    "loaf.specific-volume-not-credible": (dict(volume_ml=18900.0), dict(volume_ml=2300.0)),
    "loaf.heavier-than-its-dough": (dict(baked_g=460.0), dict(baked_g=449.0)),
    "loaf.bake-loss-not-credible": (dict(baked_g=40.4, volume_ml=190.0), dict(baked_g=380.0)),
    "output.wasted-above-made": (dict(pieces_wasted=901.0), dict(pieces_wasted=900.0)),
    "change.unknown-name": (dict(name="L9"), dict(scope="instrument", name="S9")),
}
OF_THE_FILE = {"paste.off-by-a-factor": ("paste", "weight_before_kg"), "dough.off-by-a-factor": ("dough", "flour_kg")}


def rows_of_file(code: str) -> list[dict]:
    kind, column = OF_THE_FILE[code]
    usual = SOUND[kind][column]
    bare = {"flour_kg": np.nan, "liquid_kg": np.nan} if kind == "paste" else {"liquid_kg": 144.0, "yeast_kg": 18.0}
    rows = [bent(kind, **{column: usual * (1 + n / 50)}) for n in range(6)]
    slipped = bent(kind, **(bare | {column: usual * 10}) | ({"weight_after_kg": 352.0} if kind == "paste" else {}))
    half = bent(
        kind,
        **{column: usual / 2}
        | ({"weight_after_kg": 17.6, "flour_kg": 6.0, "liquid_kg": 12.0} if kind == "paste" else {}),
    )
    return [*rows, slipped, half]


SINGLE = [(kind, rule) for kind in KINDS for rule in truth_rules(kind) if rule not in CROSS_COLUMN]


def single_cells(kind: str, rule: Rule) -> tuple[dict, dict]:
    """A value that breaks a rule of one column, and the last one that does not."""
    column = TABLES[kind].by_name[rule.column]
    if column.plant_code:
        return {column.name: "K99"}, {column.name: SOUND[kind].get(column.name, "water-2")}
    low, high = column.can_be
    if rule.code.endswith(".range"):
        return {column.name: 1e9}, {column.name: high}
    _, factor, offset, _ = SLIPS[column.unit]
    typed = (v * factor + offset for v in (low, high, (low + high) / 2))
    return {column.name: next(v for v in typed if not low <= v <= high)}, {column.name: high}


@cache
def judged(kind: str) -> dict[str, set[str]]:
    """Every case of one log judged at once: case -> rules its row breaks. Each case is a file of its own."""
    cases: list[tuple[str, list[dict]]] = [("sound", [SOUND[kind]])]
    for code, (breaks, near) in CASES.items():
        if code.startswith(f"{kind}."):
            cases += [(f"{code} breaks", [bent(kind, **breaks)]), (f"{code} near", [bent(kind, **near)])]
    for _, rule in (pair for pair in SINGLE if pair[0] == kind):
        breaks, near = single_cells(kind, rule)
        cases += [(f"{rule.code} breaks", [bent(kind, **breaks)]), (f"{rule.code} near", [bent(kind, **near)])]
    cases += [(f"{name} empty", [bent(kind, **{name: np.nan})]) for name in TABLES[kind].required]
    cases += [(code, rows_of_file(code)) for code, (of, _) in OF_THE_FILE.items() if of == kind]
    names = [name if len(rows) == 1 else f"{name} row {n}" for name, rows in cases for n in range(len(rows))]
    files = pd.Series([i for i, (_, rows) in enumerate(cases) for _ in rows])
    found = checks.judge_truth(kind, frame(kind, [row for _, rows in cases for row in rows]), files, NORTH)
    assert not [o.rule.code for o in found.outcomes if o.outcome == checks.COULD_NOT_RUN]
    return {name: {o.rule.code for o in found.outcomes if i in o.rows} for i, name in enumerate(names)}


@pytest.mark.parametrize("kind", KINDS)
def test_a_sound_row_breaks_nothing(kind: str) -> None:
    assert judged(kind)["sound"] == set()


def test_every_cross_column_rule_has_its_case() -> None:
    of_years = {f"{kind}.wrong-year" for kind in derive.YEARS_OF}  # tests/unit/test_years.py
    assert set(CASES) | set(OF_THE_FILE) | of_years == {rule.code for rule in CROSS_COLUMN}


@pytest.mark.parametrize("code", [*CASES, *(rule.code for _, rule in SINGLE)])
def test_truth_rule(code: str) -> None:
    kind = code.split(".")[0]
    assert code in judged(kind)[f"{code} breaks"]
    assert code not in judged(kind)[f"{code} near"]


@pytest.mark.parametrize("code", OF_THE_FILE)
def test_a_slipped_decimal_point_stands_out_in_its_file(code: str) -> None:
    found = judged(OF_THE_FILE[code][0])
    assert [n for n in range(8) if code in found[f"{code} row {n}"]] == [6]


@pytest.mark.parametrize(
    ("column", "typed", "was"), [("cook_temp_c", 151.0, 66.1), ("weight_before_kg", 36000.0, 36.0)]
)
def test_what_was_meant(column: str, typed: float, was: float) -> None:
    assert meant(TABLES["paste"].by_name[column], typed) == pytest.approx(was, abs=0.05)


@pytest.mark.parametrize("kind", KINDS)
def test_a_required_cell_must_be_filled(kind: str) -> None:
    for name in TABLES[kind].required:
        assert f"{kind}.{name}.required" in judged(kind)[f"{name} empty"]


def wide(columns, **cells) -> pd.DataFrame:
    row = {c.name: cells.get(c.name, np.nan) for c in columns}
    return pd.DataFrame([row]).astype({c.name: FRAME_TYPE[c.type] for c in columns})


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
    temp_2h_c=20.0,
    temp_6h_c=4.0,
)
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
GOOD_CASES = {
    "pastes.cook-temperature.action": (dict(cook_temp_c=81.0), dict(cook_temp_c=80.0)),
    "pastes.cook-temperature.warning": (dict(cook_temp_c=74.0), dict(cook_temp_c=73.0)),
    "pastes.loss.action": (dict(loss_pct=6.1), dict(loss_pct=6.0)),
    "pastes.loss.warning": (dict(loss_pct=4.1), dict(loss_pct=4.0)),
    "pastes.infrared-reads-low": (dict(cook_temp_c=58.0, probe="infrared"), dict(cook_temp_c=64.5, probe="infrared")),
    "pastes.read-before-the-end": (dict(cook_temp_c=58.0), dict(cook_temp_c=58.0, loss_pct=1.0)),
    "pastes.points.action": (dict(points_lost=2.1), dict(points_lost=2.0)),
    "pastes.points.warning": (dict(points_lost=1.1), dict(points_lost=1.0)),
    "pastes.overdrawn.action": (dict(overdrawn_kg=1.5), dict(overdrawn_kg=1.4)),
    "pastes.overdrawn.warning": (dict(overdrawn_kg=0.8), dict(overdrawn_kg=0.7)),
    "pastes.cooling": (dict(cooling="missed"), dict(cooling="not checked")),
    "pastes.recipe-of-kettle": (dict(recipe="milk-5"), dict(recipe="water-2")),
    "batches.paste-of-another-recipe": (dict(recipe="milk-5"), dict(recipe="water-2")),
    "batches.undeclared-allergen": (dict(recipe="milk-5", product="plain-loaf"), dict(recipe="milk-5")),
    "batches.dough-temperature.action": (dict(dough_temp_c=28.1), dict(dough_temp_c=28.0)),
    "batches.dough-temperature.warning": (dict(dough_temp_c=24.9), dict(dough_temp_c=25.0)),
    "batches.paste-age.action": (dict(paste_age_h=48.5), dict(paste_age_h=48.0)),
    "batches.paste-age.warning": (dict(paste_age_h=24.5), dict(paste_age_h=24.0)),
    "batches.specific-volume": (dict(specific_volume=4.1), dict(specific_volume=4.2)),
    "batches.water-owed": (dict(usual_gap_points=-2.5), dict(usual_gap_points=-2.0)),
    "batches.product-of-line": (dict(product="plain-loaf"), dict(product="milk-loaf")),
}


def test_every_good_rule_has_its_case() -> None:
    assert set(GOOD_CASES) == {rule.code for rule in GOOD}


@cache
def judged_good(kind: str) -> dict[str, tuple[set[str], set[str]]]:
    """Every case of one wide row judged at once: case -> rules it breaks, sentences it gets."""
    columns, sound = (PASTES, PASTE) if kind == "pastes" else (BATCHES, BATCH)
    cases = {
        f"{code} {word}": cells
        for code, pair in GOOD_CASES.items()
        if code.startswith(kind)
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
    assert code in found[f"{code} breaks"][0]
    assert code not in found[f"{code} near"][0]
    assert all("{" not in sentence for sentence in found[f"{code} breaks"][1])


def test_nothing_to_judge_is_not_passed() -> None:
    found = checks.judge_good("pastes", wide(PASTES, **PASTE | {"cooling": "not checked"}), NORTH)
    outcome = {o.rule.code: o.outcome for o in found.outcomes}
    assert outcome["pastes.cooling"] == checks.NOTHING
    assert outcome["pastes.loss.action"] == checks.PASSED
    assert {o.outcome for o in checks.judge_good("pastes", wide(PASTES).iloc[:0], NORTH).outcomes} == {checks.NOTHING}


def test_a_rule_that_cannot_run_says_so() -> None:
    rows = wide(PASTES, **PASTE)
    odd = Rule("pastes.odd", "pastes", "good", "no_such_column", (), "loss_pct > 100", "")
    by_column = Rule("pastes.odd.required", "pastes", "true", "no_such_column", (), "", "")
    found = checks._judge("odd", rows, (odd, by_column), NORTH)
    assert [o.outcome for o in found.outcomes] == [checks.PASSED, checks.COULD_NOT_RUN]
