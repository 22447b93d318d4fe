"""What is charted of a plant, how the budget is shared, what makes one event, what it is worth, who believed it."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime, timedelta

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from models import plant as plants
from models.batchbook import BATCHES, PASTES
from models.charts.believed import Closing, believed
from models.charts.budget import LEAST_RUN, share_budget
from models.charts.characteristics import CHARACTERISTICS, DECLARED, _in_order, family, streams
from models.charts.chart import chart
from models.charts.events import merge
from models.charts.worth import _outside, worth
from models.logbook import Column
from models.shapes import Stream
from tests.unit.charts_streams import LEVEL, STREAM, made

PLANT = plants.parse(
    {
        "plant": "north",
        "timezone": "Europe/Lisbon",
        "shifts": {"early": "06:00", "late": "14:00", "night": "22:00"},
        "pastes": {"water": {"liquid_ratio": 2.0}, "milk": {"liquid_ratio": 2.0, "liquid_water_pct": 87.0}},
        "kettles": {"K1": {"pastes": ["water"]}, "K2": {"pastes": ["water", "milk"]}},
        "lines": {
            "L1": {"kettle": "K1", "products": ["tin", "bun"]},
            "L2": {"products": ["tin"], "lidded": True},
            "L3": {"products": ["tin"], "proof_mode": "height"},
        },
        "products": {name: {"hydration_pct": 63, "yeast_pct": 3, "scaled_g": 450} for name in ("tin", "bun")},
    }
)


def _frame(columns: tuple[Column, ...], rows: list[dict]) -> pd.DataFrame:
    kinds = {"text": "str", "number": "float64", "time": "datetime64[us]", "date": "datetime64[us]"}
    return pd.DataFrame({c.name: pd.Series([r.get(c.name) for r in rows], dtype=kinds[c.type]) for c in columns})


def _batch(key: str, line: str, hour: int, **more) -> dict:
    return {
        "batch_key": key,
        "line": line,
        "product": "tin",
        "shift_date": "2026-05-04",
        "yeast_lot": "Y1",
        "mixed_at": pd.Timestamp("2026-05-04") + pd.Timedelta(hours=hour),
        "dough_temp_c": 26.0,
        "proof_minutes": 60.0,
        "proof_height_mm": 95.0,
        "loaves": 4.0,
        "specific_volume": 4.7,
        "specific_volume_sd": 0.1,
        "volume_ml": 1880.0,
        "baked_g": 400.0,
        "bake_loss_pct": 11.0,
        **more,
    }


def _names(found, **where) -> set[str]:
    return {s.characteristic for s in found if all(getattr(s, k) == v for k, v in where.items())}


def test_what_is_charted_on_which_line():
    rows = [_batch(f"{line}{i}", line, i) for line in ("L1", "L2", "L3") for i in range(3)]
    found = streams(PLANT, _frame(PASTES, []), _frame(BATCHES, rows))
    loaf = {"specific volume", "volume", "weight", "bake loss", "within-batch spread", "dough temperature"}
    assert _names(found, line="L1") == loaf | {"proof height"}
    assert _names(found, line="L2") == {"weight", "bake loss", "dough temperature", "proof height"}
    assert _names(found, line="L3") == loaf | {"proof time"}
    assert {s.unit for s in found} == {CHARACTERISTICS[s.characteristic].unit for s in found}


def test_points_are_in_order_and_without_holes():
    rows = [
        _batch("b", "L1", 5, yeast_lot=None),
        _batch("a", "L1", 5),
        _batch("c", "L1", 2, flour_lot="F7"),
        _batch("d", "L1", 7, loaves=0.0),
        _batch("e", "L1", 8, specific_volume=None),
        _batch("f", "L1", 9, mixed_at=None),
    ]
    points = streams(PLANT, _frame(PASTES, []), _frame(BATCHES, rows))[replace(STREAM, product="tin")]
    assert points.keys.tolist() == ["c", "a", "b"]
    assert points.lot.tolist() == ["Y1", "Y1", ""] and points.flour.tolist() == ["F7", "", ""]
    assert points.n.tolist() == [4, 4, 4] and points.day[0] == np.datetime64("2026-05-04", "D")
    assert points.at.dtype == "datetime64[us]" and not np.isnan(points.value).any()


def test_rows_that_stand_in_order_are_left_as_they_stand():
    """Against the order that pandas makes of them."""
    rng = np.random.default_rng(6)
    none = np.datetime64("NaT", "us")
    for _ in range(300):
        at = np.sort(rng.choice(np.array([0, 1, 2, 3], dtype="datetime64[us]"), 5))
        if rng.random() < 0.4:
            at[rng.integers(0, 5) :] = none
        keys = rng.choice(np.array(["a", "b", "é"], dtype=object), 5)
        if rng.random() < 0.5:
            at, keys = (of[np.lexsort([keys.astype(str), at])] for of in (at, keys))
        order = pd.DataFrame({"at": at, "key": keys}).sort_values(["at", "key"], kind="stable").index.to_numpy()
        assert _in_order(at, keys) == np.array_equal(order, np.arange(5)), (at, keys)


def test_a_kettle_of_several_recipes_has_a_chart_for_each():
    rows = [
        {
            "paste_key": f"p{i}",
            "kettle": kettle,
            "recipe": recipe,
            "shift_date": "2026-05-04",
            "loss_pct": 2.0,
            "cook_end": pd.Timestamp("2026-05-04"),
            "cook_temp_c": 66.0,
        }
        for i, (kettle, recipe) in enumerate([("K1", "water"), ("K2", "water"), ("K2", "milk")])
    ]
    found = streams(PLANT, _frame(PASTES, rows), _frame(BATCHES, []))
    assert {(s.kettle, s.product) for s in found} == {("K1", None), ("K2", "water"), ("K2", "milk")}
    assert _names(found, kettle="K1") == {"paste loss", "cook temperature"}


def test_a_yeast_lot_is_one_point():
    rows = [_batch(f"b{i}", "L1", i, yeast_lot=f"Y{i // 3}", lot_gas_ml=1500.0 + i) for i in range(9)]
    found = streams(PLANT, _frame(PASTES, []), _frame(BATCHES, rows))
    (stream,) = [s for s in found if s.characteristic == "gassing power of the lot"]
    assert found[stream].value.tolist() == [1500.0, 1503.0, 1506.0] and stream.line is None


def test_every_column_charted_is_declared():
    known = {"batches": {c.name for c in BATCHES}, "pastes": {c.name for c in PASTES}}
    for char in DECLARED:
        used = {char.column, char.at, char.count, char.spread} - {None}
        assert used <= known[char.frame], char.name


LINES = st.dictionaries(
    st.tuples(st.sampled_from(["L1", "L2", "L3"]), st.sampled_from([c.name for c in DECLARED if c.per == "line"])),
    st.floats(0.5, 2000),
    min_size=1,
)


@given(LINES, st.floats(0.01, 5.0))
def test_the_budget_is_spent_and_no_more(rates: dict, budget: float):
    per_week = {Stream("p", name, "", line, "x"): rate for (line, name), rate in rates.items()}
    lengths = share_budget(per_week, budget)
    assert set(lengths) == set(per_week)
    spent = sum(max(per_week[s], 1.0) / lengths[s] for s in lengths)
    longest = sum(max(per_week[s], 1.0) / 200_000 for s in lengths)
    assert spent <= budget * (1 + 1e-9) + longest
    if min(lengths.values()) > 1.001 * LEAST_RUN and max(lengths.values()) < 200_000:
        assert spent == pytest.approx(budget)


def test_a_family_has_one_share():
    loaf = [Stream("p", name, "", "L1", "x") for name in ("specific volume", "volume", "weight", "bake loss")]
    alone = Stream("p", "dough temperature", "", "L1", "x")
    lengths = share_budget(dict.fromkeys([*loaf, alone], 140.0), 0.4)
    spent = {s: 140.0 / lengths[s] for s in lengths}
    assert spent[alone] == pytest.approx(0.4 / 7) and sum(spent[s] for s in loaf) == pytest.approx(0.4 * 6 / 7)
    assert spent[loaf[0]] == pytest.approx(0.4 * 4 / 7) and spent[loaf[1]] == pytest.approx(0.4 * 2 / 7 / 3)
    assert len({family(s) for s in loaf}) == 1 and family(alone) != family(loaf[0])


def test_what_a_rarely_measured_chart_does_not_take_goes_to_the_others_of_its_family():
    loaf = [Stream("p", name, "", "L1", "x") for name in ("specific volume", "volume", "weight", "bake loss")]
    alone = Stream("p", "dough temperature", "", "L1", "x")
    lengths = share_budget(dict.fromkeys([*loaf, alone], 140.0) | {loaf[3]: 2.0}, 0.4)
    assert lengths[loaf[3]] == LEAST_RUN
    assert 140.0 / lengths[alone] == pytest.approx(0.4 / 7)
    assert 140.0 / lengths[loaf[0]] == pytest.approx((0.4 * 6 / 7 - 2 / LEAST_RUN) * 6 / 8)


def _charted(name: str, unit: str, factor: float, change: float, seed: int = 4):
    points = made(seed, 330, steps=((250, 280, change),), lot=0.004)
    scale = replace(points, value=points.value * factor, sd_within=points.sd_within * factor)
    return chart(replace(STREAM, characteristic=name, unit=unit), scale, arl0=2000.0)


def test_charts_of_one_line_that_move_together_are_one_event():
    volume, sv = _charted("volume", "mL", 400.0, -0.08), _charted("specific volume", "mL/g", 1.0, -0.08)
    height = _charted("proof height", "mm", 20.0, -0.15)
    events = merge([height, volume, sv])
    loaf = [e for e in events if e.lead.stream.characteristic == "specific volume"]
    assert len(events) == 2 and len(loaf) == 1
    assert [c.stream.characteristic for c, _ in loaf[0].others] == ["volume"]
    assert merge([volume])[0].lead.stream.characteristic == "volume"
    other = replace(volume, stream=replace(volume.stream, line="L2"))
    assert len(merge([sv, other])) == 2


def test_worth_counts_loaves_outside():
    """Batch sd 2 %, lot sd 0.8 %, loaf sd 2 %: 2.9 % in all; a window 1.5 sd below leaves 67 in 1000 out (normal)."""
    found = worth(chart(STREAM, made(3, 400), arl0=2000.0), (LEVEL * (1 - 1.5 * 0.0294), LEVEL * 1.3))
    assert found.state == "known" and (found.batches, found.loaves) == (400, 1600)
    assert found.low < 67 < found.high and found.low <= found.per_1000 <= found.high
    assert f"About {found.per_1000:.0f} loaves in 1000" in found.says and "400 batches, 1600 loaves" in found.says


@pytest.mark.parametrize(
    ("between", "within", "many"), [(0.02, 0.1, 900), (0.5, 0.02, 900), (0.0, 0.1, 200), (0.1, 0.1, 20)]
)
def test_worth_at_a_few_places_is_worth_at_every_batch(between, within, many):
    """The mean chance over the batches, drawn as the docstring of the module says, summed batch by batch."""
    from scipy.special import ndtr

    rng = np.random.default_rng(7)
    lot, value = np.sort(rng.integers(6, size=many)), LEVEL + between * rng.standard_normal(many)
    lot[:6], n, window = np.arange(6), np.full(many, 4.0), (LEVEL - 0.3, LEVEL + 0.2)
    spread, times = within * rng.uniform(0.8, 1.2, 5), rng.multinomial(6, [1 / 6] * 6, 5).astype(float)
    plain = []
    for sd, drawn in zip(spread, times, strict=True):
        weight = drawn[lot] / drawn[lot].sum()
        mean = np.sum(weight * value)
        total = np.sum(weight * (value - mean) ** 2)
        keep = np.sqrt(max(total - sd**2 / 4, 0.0) / total) if total > 0 else 0.0
        level = mean + keep * (value - mean)
        plain.append(np.sum(weight * (ndtr((window[0] - level) / sd) + ndtr((level - window[1]) / sd))))
    assert _outside(value, n, spread, lot, times, window) == pytest.approx(plain, abs=1e-9)


def test_worth_says_when_it_cannot_tell():
    window = (4.2, 5.2)
    assert worth(chart(STREAM, made(3, 20), arl0=2000.0), window).state == "not enough data"
    moved = chart(STREAM, made(4, 330, steps=((250, 330, -0.1),)), arl0=2000.0)
    unstable = worth(moved, window)
    assert (unstable.state, unstable.per_1000) == ("unstable", None)
    assert worth(chart(STREAM, made(3, 400), arl0=2000.0), None).state == "no window"
    quiet = chart(STREAM, made(3, 400), arl0=2000.0)
    with pytest.raises(ValueError, match="has no window"):
        worth(replace(quiet, stream=replace(STREAM, characteristic="weight")), window)


def test_believed():
    until = datetime(2026, 6, 30)
    closings = [Closing(f"a{i}", until - timedelta(days=5 * i), "real" if i < 6 else "nothing found") for i in range(8)]
    closings += [Closing("open", until, None), Closing("old", until - timedelta(days=61), "real")]
    found = believed(closings, until)
    assert found.says == "Last 60 days: 9 alarms; 6 real, 2 nothing found, 1 open."
    assert (found.alarms, found.real, found.nothing, found.open) == (9, 6, 2, 1)
    assert believed([], until, days=30).says == "Last 30 days: no alarms."
    assert believed([], until, days=30, recorded=30).says == "Last 30 days: no alarms."
    # on a plant's first day the page said that there was no alarm in sixty
    assert believed([], until, recorded=1).says == "Last 1 day, all that is recorded: no alarms."
    assert believed([Closing("a", until, None), Closing("a", until, "real")], until).real == 1
