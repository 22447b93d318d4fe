"""The printed pages hold WCAG 2.2 A and AA as far as axe-core can tell, at a desk and on a phone; the board's: test_board."""

from __future__ import annotations

from pathlib import Path

import pytest

from flows.cli import main
from models import plant as plant_file
from models.storage.decisions import Waiting
from reports import signin, slips
from tests.browser.accessible import violations

PLANT = Path(__file__).resolve().parents[2] / "seed_data" / "plant.toml"
pytestmark = pytest.mark.browser


@pytest.mark.parametrize("width", [1280, 390])
def test_every_kind_of_printed_page(chromium, reports: Path, width: int) -> None:
    alerts = sorted(reports.glob("alert-*.html"))[:2]
    pages = [
        *sorted(reports.glob("day-*.html")),
        *sorted(reports.glob("month-*.html")),
        *alerts,
        reports / "index.html",
    ]
    assert len(pages) >= 7
    found = {}
    for page in pages:
        chromium.open(page, width)
        found[page.name] = violations(chromium.driver)
    assert {name: lines for name, lines in found.items() if lines} == {}


def test_the_kettle_card(chromium, tmp_path: Path) -> None:
    card = tmp_path / "card.html"
    asked = ("--product", "milk-loaf", "--before", "36", "--after", "34.2", "--temp", "66", "--card", str(card))
    assert main(["makeup", "--plant", str(PLANT), *asked]) == 0
    for width in (1280, 390):
        chromium.open(card, width)
        assert violations(chromium.driver) == []


def test_the_slip_for_a_shift(chromium, tmp_path: Path) -> None:
    why = "Wa 1860 kg above Wb 192 kg: a point, a digit, or a tub on the scale?"
    rows = [
        Waiting(seq, "paste", "early-paste.csv", 3 + seq, "weight_after_kg", value, "paste.rise", why, proposal, {}, 1, "2026-05-05", "early")
        for seq, value, proposal in ((1, "1860", "186.0"), (2, "", None))
    ]  # fmt: skip
    plant = plant_file.load(PLANT)
    (slip, _) = slips.write(plant, rows, {1: {"weight_after_kg": "1860"}, 2: {}}, tmp_path)
    for width in (1280, 390):
        chromium.open(slip, width)
        assert violations(chromium.driver) == []
        assert chromium.run("document.documentElement.scrollWidth") <= width


@pytest.mark.parametrize("what", ["sign in", "tap", "type", "signed out", "not recorded"])
def test_the_pages_at_the_door(chromium, tmp_path: Path, what: str) -> None:
    door = tmp_path / "door.html"
    asked = signin.Asked(what, "token", "nonce", said=signin.TEXTS["wrong"], initials=("MK", "TS"))
    door.write_text(signin.page(asked), encoding="utf-8")
    for width in (1280, 390):
        chromium.open(door, width)
        assert violations(chromium.driver) == []


def test_what_is_wrong_is_found(chromium, tmp_path: Path) -> None:
    (tmp_path / "bad.html").write_text(
        "<!doctype html><html><head><title>x</title></head><body>"
        "<p style='color:#999;background:#fff'>pale</p><input name='weight'><img src='data:,'></body></html>",
        encoding="utf-8",
    )
    chromium.open(tmp_path / "bad.html")
    rules = {line.partition(":")[0] for line in violations(chromium.driver)}
    assert rules >= {"color-contrast", "html-has-lang", "image-alt", "label"}
