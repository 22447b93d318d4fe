"""The demo bakery's hidden faults, called from its logs: every alert of specific volume is one of them, and names its group."""

from __future__ import annotations

import json
from datetime import datetime, timedelta
from typing import Any

import pytest

from seed_data import bakery
from seed_data.answers import Hidden

LEAST, LONGER = 3.0, timedelta(days=1)  # % of volume, and longer than a morning: what five lines' budget can find
FAULTS = {"weak yeast lot": "yeast", "kettle boils too long": "paste", "moulder": "handling", "cold oven": "unexplained"}


@pytest.fixture(scope="module")
def calls(demo: Any, loaftrace: Any) -> list[dict[str, Any]]:
    """Alerts of specific volume as the store holds them after the demo's run."""
    place = demo.folder / "demo-bakery"
    words = ("--plant", "plant.toml", "--logs", "logs", "--store", "store.duckdb", "--out", "reports", "--json")
    done = loaftrace("run", *words, cwd=place, seconds=300)
    assert done.returncode == 0, done.stderr
    found = json.loads(done.stdout)["alerts"]
    return [one for one in found if one["kind"] == "chart" and one["characteristic"] == "specific volume"]


def _of(fault: Hidden, calls: list[dict[str, Any]]) -> list[dict[str, Any]]:
    """The alerts of the fault's line and product while it was on."""
    return [
        one
        for one in calls
        if (one["line"], one["product"]) == (fault.line, fault.product)
        and datetime.fromisoformat(one["until_at"]) >= fault.from_at
        and datetime.fromisoformat(one["began_at"]) <= fault.to_at
    ]


@pytest.mark.slow
@pytest.mark.prefect
@pytest.mark.timeout(700)
def test_the_hidden_faults_are_found_and_called_and_nothing_else_is(calls: list[dict[str, Any]]) -> None:
    lasting = [
        one
        for one in bakery.answers()
        if one.group and one.contributions.get(one.group, 0.0) < -LEAST and one.to_at - one.from_at > LONGER
    ]
    assert {one.name: one.group for one in lasting} == FAULTS
    found = [(fault, _of(fault, calls)) for fault in lasting]
    for fault, mine in found:
        assert len(mine) == 1, (fault.name, fault.line)
        lead = max(mine[0]["causes"], key=lambda cause: cause["share"])
        assert lead["group"] == fault.group, (fault.name, fault.line, lead)
    assert sorted(one["alert"] for _, mine in found for one in mine) == sorted(one["alert"] for one in calls)
