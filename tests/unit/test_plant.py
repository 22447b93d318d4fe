"""A wrong plant file is refused in one line: the key's path, what is wrong, what it may be."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from models import plant as plant_file
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
        ({"alarms": {"false_alarms_per_week": 0}}, "alarms.false_alarms_per_week: 0 is wrong"),
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


@pytest.mark.parametrize(("text", "says"), [(None, "no such plant file"), ("a = ", "not a TOML file")])
def test_a_file_that_cannot_be_read(tmp_path: Path, text: str | None, says: str) -> None:
    if text is not None:
        (tmp_path / "plant.toml").write_text(text)
    with pytest.raises(plant_file.PlantFileError, match=says):
        plant_file.load(tmp_path / "plant.toml")


def test_defaults_in_force_are_named() -> None:
    assert "pastes.water-2.cook_temp_c" in plant().defaults
    assert "pastes.water-2.usual_loss_pct" not in plant().defaults
