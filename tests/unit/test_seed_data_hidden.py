"""Everything that is hidden in the demo bakery is really there, read back from the logs alone."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Callable
from statistics import fmean, stdev

import pytest

from models.plant import load
from seed_data import bakery, faults
from seed_data.answers import Hidden
from tests.unit.demo_sheets import BEFORE_ANY_FAULT, Batches, Folder, Row, hidden, local, only, truth


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Folder:
    """The demo bakery as `loaftrace demo` gets it."""
    path = tmp_path_factory.mktemp("bakery")
    bakery.write(path)
    return Folder(path)


@pytest.fixture(scope="module")
def batches(folder: Folder) -> Batches:
    """Its doughs with their proofs and loaves."""
    return Batches(folder)


def clean(batches: Batches, one: Hidden) -> list[str]:
    """Batches of the fault's line and main product from before any fault."""
    found = [key for key in batches.of(one.line, one.product) if key < BEFORE_ANY_FAULT]
    assert len(found) >= 100
    return found


def hit(batches: Batches, one: Hidden) -> list[str]:
    """Batches of the same line and product that the fault was in."""
    found = [key for key in batches.of(one.line, one.product) if key in one.batches]
    assert len(found) >= 3
    return found


def moved(batches: Batches, one: Hidden, value: Callable[[str], float]) -> float:
    """By how much a figure of the batches moved while the fault lasted."""
    return fmean(map(value, hit(batches, one))) - fmean(map(value, clean(batches, one)))


def volume(batches: Batches) -> Callable[[str], float]:
    return lambda key: fmean(batches.volumes(key))


def recorded(batches: Batches, column: str) -> Callable[[str], float]:
    return lambda key: float(batches.dough[key][column])


def bake_loss(batches: Batches) -> Callable[[str], float]:
    """% of the dough piece."""
    return lambda key: fmean(100.0 - 100.0 * float(r["baked_g"]) / float(r["scaled_g"]) for r in batches.loaves[key])


@pytest.mark.parametrize(
    ("name", "line", "low", "high"),
    [
        ("cold morning", "L2", -8.0, -3.0),
        ("weak yeast lot", "L1", -7.0, -3.0),
        ("weak yeast lot", "L2", -7.0, -3.0),
        ("kettle boils too long", "L1", -8.0, -3.5),
        ("kettle boils too long", "L2", -7.0, -2.5),
        ("moulder", "L2", -9.0, -4.5),
        ("cold oven", "L1", -5.5, -2.0),
        ("cold oven", "L4", -5.0, -2.0),
    ],
)
def test_specific_volume_falls_and_most_of_it_is_the_groups(
    batches: Batches, name: str, line: str, low: float, high: float
) -> None:
    """In % of the clean level; the true contributions add up to what the loaves show, within their sampling."""
    one = only(name, line)
    change = 100.0 * moved(batches, one, volume(batches)) / fmean(map(volume(batches), clean(batches, one)))
    assert low < change < high
    assert sum(one.contributions.values()) == pytest.approx(change, abs=1.5)
    assert min(one.contributions, key=lambda group: one.contributions[group]) == one.group


@pytest.mark.parametrize("line", ["L3", "L4"])
def test_a_lid_or_a_proof_to_height_hides_the_weak_lot_from_volume(batches: Batches, line: str) -> None:
    one = only("weak yeast lot", line)
    change = 100.0 * moved(batches, one, volume(batches)) / fmean(map(volume(batches), clean(batches, one)))
    assert abs(change) < 2.5
    assert abs(one.contributions["yeast"]) < 1.0


def test_the_weak_lot_shows_in_its_own_test_and_in_proof_time_where_proofed_to_height(
    batches: Batches, folder: Folder
) -> None:
    made = {r["yeast_lot"]: float(r["gas_produced_ml"]) for r in folder.all("gas") if not r["dough_batch"]}
    (weak,) = {batches.dough[key]["yeast_lot"] for key in only("weak yeast lot", "L1").batches}
    usual = fmean(gas for lot, gas in made.items() if lot != weak)
    assert -15.0 < 100.0 * (made[weak] / usual - 1.0) < -8.0

    def minutes(key: str) -> float:
        proof = batches.proof[key]
        return (local(proof["proof_out"]) - local(proof["proof_in"])).total_seconds() / 60.0

    assert 3.0 < moved(batches, only("weak yeast lot", "L4"), minutes) < 12.0


def test_every_line_opens_the_weak_lot_at_its_own_hour() -> None:
    first = {one.line: one.from_at for one in hidden() if one.name == "weak yeast lot"}
    assert sorted(first) == ["L1", "L2", "L3", "L4"] and len(set(first.values())) == 4


def test_the_cold_morning_is_two_degrees_of_cold_water(batches: Batches) -> None:
    one = only("cold morning", "L2")
    assert moved(batches, one, recorded(batches, "dough_temp_c")) == pytest.approx(-2.0, abs=0.6)
    assert moved(batches, one, recorded(batches, "water_temp_c")) < -5.0


def loss_pct(row: Row) -> float:
    """% of Wb, net of tare and residue."""
    net = float(row["weight_before_kg"]) - float(row["tare_kg"] or 0)
    lost = float(row["weight_before_kg"]) - float(row["weight_after_kg"]) - float(row["residue_kg"] or 0.012 * net)
    return 100.0 * lost / net


def test_the_kettle_boils_off_more_and_hotter_and_no_water_is_written(folder: Folder, batches: Batches) -> None:
    boiled = {
        f"{p.day}/K1/{p.number}" for p in truth().pastes if p.kettle == "K1" and faults.LONG_BOIL.acts(p.cook_start)
    }
    rows = {key: row for key, row in folder.pastes().items() if row["kettle"] == "K1"}
    usual, bad = [row for key, row in rows.items() if key not in boiled], [rows[key] for key in boiled]
    assert len(bad) == 8
    assert 4.0 < fmean(map(loss_pct, bad)) - fmean(map(loss_pct, usual)) < 5.0
    hotter = fmean(float(r["cook_temp_c"]) for r in bad) - fmean(float(r["cook_temp_c"]) for r in usual)
    assert 5.0 < hotter < 7.0
    assert {row["kettle_water_kg"] for row in bad} == {""}
    for line in ("L1", "L2"):
        doughs = only("kettle boils too long", line).batches
        assert len(doughs) == 16
        assert {batches.dough[key]["makeup_water_kg"] for key in doughs} == {""}


def test_the_moulder_spreads_the_loaves_is_written_down_and_moves_nothing_before_it(
    batches: Batches, folder: Folder
) -> None:
    one = only("moulder", "L2")
    usual = fmean(stdev(batches.volumes(key)) for key in clean(batches, one))
    assert 1.1 < fmean(stdev(batches.volumes(key)) for key in hit(batches, one)) / usual < 1.7
    written = sorted(r["changed_at"] for r in folder.all("change") if "moulder" in r["what"] and r["name"] == "L2")
    mixed = sorted(batches.dough[key]["mixed_at"] for key in one.batches)
    assert written[0] < mixed[0] and mixed[-1] < written[1]
    for column in ("dough_temp_c", "mix_energy_wh_kg", "yeast_kg"):
        spread = stdev(map(recorded(batches, column), clean(batches, one)))
        assert abs(moved(batches, one, recorded(batches, column))) < spread


@pytest.mark.parametrize("line", ["L1", "L4"])
def test_the_cold_oven_is_in_the_bake_loss_in_no_change_and_not_over(
    batches: Batches, folder: Folder, line: str
) -> None:
    one = only("cold oven", line)
    assert -1.6 < moved(batches, one, bake_loss(batches)) < -0.8
    assert max(one.batches) >= "2026-11-08"
    assert not [r for r in folder.all("change") if "oven" in r["what"] or r["name"] == "O1"]


def test_one_shift_of_net_weights_is_short(batches: Batches, folder: Folder) -> None:
    label = load(folder.root / "plant.toml").products["milk-loaf"].label_g
    one = only("net weight short", "L4")
    short = [float(loaf["baked_g"]) for key in one.batches for loaf in batches.loaves[key]]
    usual = [float(loaf["baked_g"]) for key in clean(batches, one) for loaf in batches.loaves[key]]
    assert label is not None and len(short) >= 12
    assert fmean(short) < label < fmean(usual)


def test_one_cooling_is_missed_several_are_not_read_and_the_rest_are_met(folder: Folder) -> None:
    pastes = folder.pastes()
    (missed,) = only_paste("cooling missed").batches
    assert float(pastes[missed]["temp_2h_c"]) > 21.0 and float(pastes[missed]["temp_6h_c"]) > 5.0
    read = [row for key, row in pastes.items() if key != missed and row["temp_2h_c"] and row["temp_6h_c"]]
    assert max(float(row["temp_2h_c"]) for row in read) <= 21.0
    assert max(float(row["temp_6h_c"]) for row in read) <= 5.0
    unread = Counter(r["shift_date"] for r in pastes.values() if not (r["temp_2h_c"] and r["temp_6h_c"]))
    assert unread["2026-11-07"] >= 4


def only_paste(name: str) -> Hidden:
    (one,) = [h for h in hidden() if h.name == name and h.kettle]
    return one


def test_one_high_loss_was_made_good_and_not_written(folder: Folder, batches: Batches) -> None:
    (key,) = only_paste("water put back, not written").batches
    row, demo = folder.pastes()[key], load(folder.root / "plant.toml")
    assert loss_pct(row) > demo.pastes["water-2"].loss_pct.warn[1]
    assert row["kettle_water_kg"] == ""
    made = [d for d in truth().doughs if f"{d.charge.paste.day}/K1/{d.charge.paste.number}" == key]
    fed = [d for d in made if d.slot.line in ("L1", "L2")]
    assert len(fed) == 4 and all(abs(d.charge.gap) < 1.0 for d in fed)


def test_one_kettle_is_overdrawn_and_no_other() -> None:
    pastes = {(p.day, p.kettle, p.number): p for p in truth().pastes}
    used: dict[tuple, float] = defaultdict(float)
    for dough in truth().doughs:
        here = (dough.slot.day, dough.slot.line, dough.slot.number)
        paste = dough.charge.paste
        if paste.kettle == "K2":
            key = faults.OVERDRAWN if here == faults.OVERDRAWN_BY else (paste.day, paste.kettle, paste.number)
            used[key] += dough.charge.paste_kg
    assert [key for key, kg in used.items() if kg > pastes[key].after_kg] == [faults.OVERDRAWN]
    assert used[faults.OVERDRAWN] > 1.1 * pastes[faults.OVERDRAWN].after_kg


def test_one_dough_holds_an_allergen_that_its_product_does_not_declare(batches: Batches, folder: Folder) -> None:
    demo, pastes = load(folder.root / "plant.toml"), folder.pastes()
    (key,) = only("allergen not declared", "L3").batches
    row = batches.dough[key]
    named = pastes[f"{row['shift_date']}/{demo.lines['L3'].kettle}/{row['paste_batch']}"]
    assert demo.pastes[named["recipe"]].allergens - demo.products[row["product"]].allergens == {"milk"}


def test_everything_hidden_has_a_group_of_the_contract_or_is_a_limit() -> None:
    assert {one.group for one in hidden() if one.kind == "drift"} == {"paste", "yeast", "handling", "unexplained"}
    assert {one.group for one in hidden() if one.kind == "limit"} == {""}
    assert all(one.from_at <= one.to_at and one.batches for one in hidden())
