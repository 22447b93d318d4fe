"""Screens and printed pages against the WCAG 2 rules at levels A and AA, as axe-core checks them (https://www.w3.org/TR/WCAG21/)."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from reports import signin
from tests.browser.test_board_screens import screens
from tests.browser.test_report_pages import ALERT

__all__ = ["screens"]
pytestmark = pytest.mark.browser

RULES = {"runOnly": {"type": "tag", "values": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa"]}}
SCREENS = ("floor-alerts", "floor-quiet", "floor-few", "alert", "handover", "quarantine", "reports")
PAGES = ("day-2026-05-05", "month-2026-05", ALERT, "index")
BREAKS_TWO = """<!doctype html><html lang="en"><head><title>Two faults</title></head>
<body><main><h1>Two faults</h1><p style="color:#bbb;background:#fff">too pale</p><input type="text"></main></body></html>"""


def violations(chromium, page: Path, width: int) -> list[str]:
    """What breaks a rule on the page at this width: the rule and the first element each; empty where nothing does."""
    chromium.open(page, width)
    chromium.driver.execute_script(_script())
    found = chromium.driver.execute_async_script(
        "const done = arguments[1]; axe.run(document, arguments[0]).then(r => done(JSON.stringify(r)), e => done(String(e)))",
        RULES,
    )
    result = json.loads(found)
    assert result["passes"], "nothing was checked"
    return [f"{one['id']}: {one['nodes'][0]['html'][:160]}" for one in result["violations"]]


def _script() -> str:
    from axe_playwright_python.base import AXE_FILE_PATH

    return AXE_FILE_PATH.read_text(encoding="utf-8")


@pytest.mark.parametrize("width", [1280, 390])
@pytest.mark.parametrize("name", SCREENS)
def test_no_screen_breaks_a_rule(chromium, screens: Path, name: str, width: int):  # noqa: F811
    assert violations(chromium, screens / f"{name}.html", width) == []


@pytest.mark.parametrize("width", [1280, 390])
@pytest.mark.parametrize("name", PAGES)
def test_no_printed_page_breaks_a_rule(chromium, reports: Path, name: str, width: int):
    assert violations(chromium, reports / f"{name}.html", width) == []


@pytest.mark.parametrize("width", [1280, 390])
@pytest.mark.parametrize("what", ["sign in", "tap", "type"])
def test_no_page_at_the_door_breaks_a_rule(chromium, tmp_path: Path, what: str, width: int):
    asked = signin.Asked(what, "token", "nonce", said=signin.TEXTS["wrong"], initials=("MK", "TS"))
    (tmp_path / "door.html").write_text(signin.page(asked), encoding="utf-8")
    assert violations(chromium, tmp_path / "door.html", width) == []


def test_a_page_that_breaks_rules_is_caught(chromium, tmp_path: Path):
    (tmp_path / "faults.html").write_text(BREAKS_TWO, encoding="utf-8")
    found = violations(chromium, tmp_path / "faults.html", 1280)
    assert [one.split(":")[0] for one in found] == ["color-contrast", "label"]
