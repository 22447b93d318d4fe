"""A wrong plant file is refused in one line: the key's path, what is wrong, what it may be."""

from __future__ import annotations

import copy
from datetime import date
from pathlib import Path
from typing import Any

import pytest

from models import plant as plant_file
from seed_data.plan import PLANT_FILE
from tests.unit.rows import PLANT, plant


@pytest.mark.parametrize(
    ("changes", "says"),
    [
        ({"timezon": "Europe/Lisbon"}, "timezon: unknown key; did you mean timezone?"),
        ({"timezone": "Mars/North"}, "timezone: 'Mars/North' is wrong; an IANA time zone"),
        ({"shifts": {"early": "6"}}, "shifts"),
        ({"shifts": {"early": "06:00", "late": "06:00"}}, "two shifts start at the same time"),
        ({"lines": {"L1": {"kettle": "K9", "products": ["milk-loaf"]}}}, "lines.L1.kettle: 'K9' is not in the file"),
        ({"lines": {"L1": {"products": ["cake"]}}}, "lines.L1.products: 'cake' is not in the file"),
        ({"kettles": {"K1": {"pastes": ["water-9"]}}}, "kettles.K1.pastes: 'water-9' is not in the file"),
        ({"alarms": {"false_alarms_per_week": 0}}, "alarms.false_alarms_per_week: 0 is wrong; it may be more than 0"),
        ({"sampling": {"loaves_per_batch": -4}}, "sampling.loaves_per_batch: -4 is wrong; it may be 1 or more"),
        (
            {"cooling": {"to_21_c_within_h": 120.0, "to_5_c_within_h": 6.0, "approved_by": "QA"}},
            "cooling.to_21_c_within_h: 120.0 is wrong; it may be 72 at most",
        ),
        ({"alarms": {"false_alarms_per_week": float("inf")}}, "alarms.false_alarms_per_week"),
        ({"cooling": {"to_21_c_within_h": 2.0}}, "cooling.to_5_c_within_h: is missing"),
        (
            {"columns": {"doe": {"Mehl": "flour_kg"}}},
            "columns: 'doe' is not in the file; it may be change, check, dough",
        ),
        ({"columns": {"dough": {"Mehl": "flower_kg"}}}, "columns.dough.Mehl: 'flower_kg' is not in the file"),
    ],
)
def test_what_is_refused(changes: dict[str, Any], says: str) -> None:
    with pytest.raises(plant_file.PlantFileError) as refused:
        plant(**changes)
    assert says in str(refused.value)
    assert "\n" not in str(refused.value)


@pytest.mark.parametrize("window", [{"warn": [73, 64], "act": [61, 80]}, {"warn": [60, 73], "act": [61, 80]}])
def test_windows_must_be_in_order_and_nested(window: dict[str, list[float]]) -> None:
    with pytest.raises(plant_file.PlantFileError, match=r"pastes\.water-2\.cook_temp_c"):
        plant(pastes={**PLANT["pastes"], "water-2": {"liquid_ratio": 2.0, "cook_temp_c": window}})


@pytest.mark.parametrize(
    ("text", "says"),
    [
        (None, "no such plant file"),
        ("a = ", "not a TOML file"),
        ('plant = "x"\n[shifts]\nFrühschicht = "06:00"\n', "line 3.*stands in quotation marks"),
        ("[kettles.Kocioł]\n", "line 1.*stands in quotation marks"),
        ("a = # Frühschicht", r"not a TOML file: [^;]*$"),
    ],
)
def test_a_file_that_cannot_be_read(tmp_path: Path, text: str | None, says: str) -> None:
    if text is not None:
        (tmp_path / "plant.toml").write_text(text)
    with pytest.raises(plant_file.PlantFileError, match=says):
        plant_file.load(tmp_path / "plant.toml")


LOAF, PASTE = ("products", "milk-loaf"), ("pastes", "water-2")

# where, what is written there, what the one line says; and beside it what is unusual and allowed
SENSELESS: tuple[tuple[tuple[str, ...], dict[str, Any], str], ...] = (
    ((), {"plant": "  "}, "plant: '  ' is blank"),
    ((), {"plant": "nor\x07th"}, "plant: 'nor\\x07th' is blank or holds a control character"),
    ((), {"currency": ""}, "currency: '' is blank"),
    (LOAF, {"label_g": 460.0}, "products.milk-loaf.label_g: 460 g is above scaled_g, 450 g"),
    (LOAF, {"paste": None}, "products.milk-loaf.paste_flour_pct: 20 % of the flour goes into a paste, but no paste"),
    (
        LOAF,
        {"paste_flour_pct": 0},
        "products.milk-loaf.paste_flour_pct: 0 % of the flour, but the product takes paste water-2",
    ),
    (LOAF, {"paste": "milk-5"}, "lines.L1.kettle: K1 makes water-2, but the line's products take milk-5; it may be K2"),
    (
        LOAF,
        {"dough_temp_c": {"warn": [77, 81], "act": [75, 83]}},
        "77 to 81 looks like °F where °C belongs; it may be 25",
    ),
    (
        LOAF,
        {"hydration_pct": 0.63},
        "hydration_pct: 0.63 looks like a fraction where a percentage belongs; it may be 63 %",
    ),
    (LOAF, {"liquid_water_pct": 0.87}, "liquid_water_pct: 0.87 looks like a fraction"),
    (LOAF, {"paste_flour_pct": 0.2}, "paste_flour_pct: 0.2 looks like a fraction"),
    (LOAF, {"yeast_pct": 0.03}, "yeast_pct: 0.03 looks like a fraction"),
    (
        LOAF,
        {"scaled_g": 0.45, "label_g": 0.395},
        "scaled_g: 0.45 looks like kilograms where grams belong; it may be 450 g",
    ),
    (LOAF, {"specific_volume": [420, 520]}, "specific_volume: 420 to 520 looks like mL to 100 g"),
    (LOAF, {"scaled_g": True}, "products.milk-loaf.scaled_g: True is wrong"),
    (LOAF, {"scaled_g": "heavy"}, "products.milk-loaf.scaled_g: 'heavy' is wrong; it may be a number"),
    (LOAF, {"dough_temp_c": [25, 27]}, "it may be a window, { warn = [low, high], act = [low, high] }"),
    (LOAF, {"allergens": "wheat"}, "products.milk-loaf.allergens: 'wheat' is wrong; it may be a list"),
    (LOAF, {"allergens": [""]}, "products.milk-loaf.allergens: '' is blank"),
    (LOAF, {"labl_g": 395}, "products.milk-loaf.labl_g: unknown key; did you mean label_g?"),
    (PASTE, {"cook_temp_c": {"warn": [147, 163], "act": [140, 176]}}, "cook_temp_c: 147 to 163 looks like °F"),
    (
        PASTE,
        {"loss_pct": {"warn": [0.005, 0.04], "act": [-0.01, 0.06]}},
        "loss_pct: 0.005 to 0.04 looks like a fraction",
    ),
    (PASTE, {"usual_loss_pct": 0.02}, "usual_loss_pct: 0.02 looks like a fraction"),
    (PASTE, {"hydration_points": {"warn": 0.01, "act": 0.02}}, "hydration_points: 0.01 looks like a fraction"),
    (
        PASTE,
        {"age_h": {"warn": 1440, "act": 2880}},
        "age_h: 1440 looks like minutes where hours belong; it may be 24 h",
    ),
    (
        PASTE,
        {"usual_loss_pct": 7, "loss_pct": {"warn": [0.5, 4], "act": [0, 6]}},
        "usual_loss_pct: 7 % of Wb is outside the action",
    ),
    (("kettles", "K1"), {"capacity_kg": 220_000}, "capacity_kg: 2.2e+05 looks like grams"),
    (("kettles", "K1"), {"pastes": ["water-2", "water-2"]}, "kettles.K1.pastes: 'water-2' stands there twice"),
    (("lines", "L1"), {"products": ["milk-loaf", "milk-loaf"]}, "lines.L1.products: 'milk-loaf' stands there twice"),
    (("lines", "L1"), {"mixer": " "}, "lines.L1.mixer: ' ' is blank"),
    (("lines",), {"L/3": {"products": ["milk-loaf"]}}, "lines: 'L/3' cannot be a code"),
    (("lines",), {" L3": {"products": ["milk-loaf"]}}, "lines: ' L3' cannot be a code"),
    (("shifts",), {"": "02:00"}, "shifts: '' cannot be a code"),
    (("shifts",), {"ni\nght": "02:00"}, "shifts: 'ni\\nght' cannot be a code"),
    (("cooling",), {"to_5_c_within_h": 1.5}, "cooling.to_5_c_within_h: 1.5 h is before to_21_c_within_h, 2 h"),
    (("cooling",), {"approved_by": " "}, "cooling.approved_by: ' ' names nobody"),
    (("limits",), {"approved_by": ""}, "limits.approved_by: '' names nobody"),
    (("limits",), {"approved_on": "last week"}, "limits.approved_on: 'last week' is not a date of this century"),
    (("limits",), {"approved_on": "2226-09-28"}, "limits.approved_on: '2226-09-28' is not a date of this century"),
    (("limits",), {"approved_on": "2026-02-30"}, "limits.approved_on: '2026-02-30' is not a date"),
    (("columns",), {"dough": {" ": "flour_kg"}}, "columns.dough: ' ' is no heading"),
)
UNUSUAL: tuple[tuple[tuple[str, ...], dict[str, Any]], ...] = (
    (LOAF, {"label_g": 450.0}),
    (LOAF, {"yeast_pct": 0.1}),
    (LOAF, {"paste": None, "paste_flour_pct": 0}),
    (LOAF, {"dough_temp_c": {"warn": [25, 200], "act": [24, 200]}}),
    (LOAF, {"liquid_water_pct": 16.0}),
    (LOAF, {"scaled_g": 15.0, "label_g": 12.0}),
    (PASTE, {"usual_loss_pct": 7}),
    (PASTE, {"loss_pct": {"warn": [0.0, 1.0], "act": [-1.0, 1.5]}, "usual_loss_pct": 1.0}),
    (("lines",), {"Line 3, north": {"products": ["milk-loaf"]}, "Öfen-2": {"kettle": "K2", "products": ["milk-loaf"]}}),
    (("shifts",), {"1": "02:00"}),
    (("lines",), {"l1": {"products": ["milk-loaf"]}}),
    (("cooling",), {"to_5_c_within_h": 2.0}),
    (("limits",), {"approved_on": "2026-09-28"}),
    (("limits",), {"approved_on": date(2026, 9, 28)}),
    (("columns",), {"dough": {"Mehl": "flour_kg"}}),
)


def altered(where: tuple[str, ...], keys: dict[str, Any]) -> plant_file.Plant:
    content = copy.deepcopy(PLANT)
    table = content
    for name in where:
        table = table.setdefault(name, {})
    table.update(keys)
    return plant_file.parse(content, "plant.toml")


@pytest.mark.parametrize(("where", "keys", "says"), SENSELESS, ids=lambda value: str(value)[:60])
def test_what_cannot_be_meant_is_refused_in_one_line(where: tuple[str, ...], keys: dict[str, Any], says: str) -> None:
    with pytest.raises(plant_file.PlantFileError) as refused:
        altered(where, keys)
    said = str(refused.value)
    assert said.startswith("plant.toml: ") and says in said
    assert said.isprintable()


def test_a_line_may_take_one_product_s_paste_from_another_kettle() -> None:
    rich = PLANT["products"]["plain-loaf"] | {"paste": "milk-5"}
    lines = PLANT["lines"] | {"L1": {"kettle": "K1", "products": ["milk-loaf", "rich"]}}
    assert plant(products=PLANT["products"] | {"rich": rich}, lines=lines).lines["L1"].kettle == "K1"


@pytest.mark.parametrize(("where", "keys"), UNUSUAL, ids=lambda value: str(value)[:60])
def test_what_is_only_unusual_is_taken(where: tuple[str, ...], keys: dict[str, Any]) -> None:
    altered(where, keys)


def test_every_fault_is_said_at_once() -> None:
    with pytest.raises(plant_file.PlantFileError, match=r"label_g: .*; cooling|cooling.*; products.*label_g"):
        plant(
            cooling={"to_21_c_within_h": 2.0, "to_5_c_within_h": 1.0, "approved_by": "QA"},
            products={**PLANT["products"], "milk-loaf": PLANT["products"]["milk-loaf"] | {"label_g": 500}},
        )


@pytest.mark.parametrize(
    "again", ['[lines.L1]\nproducts = ["toast"]', '[lines.L9]\nproducts = ["toast"]\nproducts = ["toast"]']
)
def test_a_table_or_key_written_twice(tmp_path: Path, again: str) -> None:
    (tmp_path / "plant.toml").write_text(PLANT_FILE.read_text(encoding="utf-8") + again, encoding="utf-8")
    with pytest.raises(plant_file.PlantFileError, match="may stand once: put both together or rename one"):
        plant_file.load(tmp_path / "plant.toml")


def test_defaults_in_force_are_named() -> None:
    found = plant().defaults
    assert {"pastes.water-2.cook_temp_c", "pastes.water-2.liquid_water_pct", "products.milk-loaf.dough_temp_c"} <= set(
        found
    )
    assert {"sampling.loaves_per_batch", "alarms.false_alarms_per_week", "net_weight.rule"} <= set(found)
    assert "pastes.water-2.usual_loss_pct" not in found and "pastes.milk-5.liquid_water_pct" not in found
    named = plant(
        sampling={"loaves_per_batch": 4}, alarms={"false_alarms_per_week": 1.0}, net_weight={"rule": "Handbook 133"}
    ).defaults
    assert [key for key in named if not key.startswith(("pastes", "products"))] == ["net_weight.min_cooled_minutes"]


def test_half_a_pair_of_limits_leaves_the_other_half_to_the_trade() -> None:
    half = altered(PASTE, {"age_h": {"act": 40}, "hydration_points": {"warn": 0.5}})
    assert half.pastes["water-2"].age_h == plant_file.Age(warn=24, act=40)
    assert {"pastes.water-2.age_h.warn", "pastes.water-2.hydration_points.act"} <= set(half.defaults)


def test_a_folder_and_a_file_of_other_letters_are_told_in_words(tmp_path: Path) -> None:
    """Before: "[Errno 21] Is a directory: ..." and "'utf-8' codec can't decode byte 0xff"."""
    (tmp_path / "odd.toml").write_bytes(b"\xff\xfep\x00")
    for path, says in ((tmp_path, "Is a directory"), (tmp_path / "odd.toml", "save the plant file as UTF-8")):
        with pytest.raises(plant_file.PlantFileError) as refused:
            plant_file.load(path)
        assert says in str(refused.value) and "Errno" not in str(refused.value) and "codec" not in str(refused.value)
