"""What was found the last time comes back: an alert is closed with a finding, and the next of its like says so by itself."""

from __future__ import annotations

import json
import shutil
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from seed_data import bakery
from tests.browser.waiting import forgotten, until
from tests.flows.serving import Service

pytestmark = [pytest.mark.browser, pytest.mark.timeout(700), pytest.mark.slow]
# an oven that L1 and L4 share runs cold from 5 November: L1 signals on the 6th, L4 on the 7th
NEXT_DAY = "2026-11-07"


@pytest.fixture(scope="module")
def bakery_logs(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("bakery")
    bakery.write(folder)
    return folder / "logs"


@pytest.fixture(scope="module")
def service(bakery_logs: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Service]:
    """The invented bakery up to the evening before the second oven alert, served to this machine alone."""
    found = Service(tmp_path_factory.mktemp("last"))
    for day in sorted(bakery_logs.iterdir()):
        if day.name < NEXT_DAY:
            shutil.copytree(day, found.logs / day.name)
    try:
        yield found.start(within_s=400)  # a month of logs
    finally:
        found.stop()


def _alerts(service: Service, line: str) -> list[dict[str, Any]]:
    found = json.loads(service.get("/alerts.json"))
    return [
        one
        for one in found
        if (one["line"], one["characteristic"]) == (line, "specific volume") and one["signal"] == "on"
    ]


def _text(browser, name: str) -> str:
    """What one part of the page says at this moment, read in one step: the board may put a newer part in its place."""
    return browser.execute_script("return document.getElementById(arguments[0])?.innerText ?? ''", name)


def test_the_next_like_alert_says_what_was_found_the_last_time(
    chromium, service: Service, bakery_logs: Path, tmp_path: Path
) -> None:
    browser = chromium.driver
    (first,) = _alerts(service, "L1")
    assert not _alerts(service, "L4")
    forgotten(browser)
    browser.get(f"{service.base}/who?next=/alerts/{first['alert']}")
    browser.find_element("name", "initials").send_keys("TS")
    browser.find_element("css selector", "button").click()
    assert "Last time" not in until(lambda: _text(browser, "figures"))
    browser.find_element("id", "note-close").send_keys("damper of oven O1 stuck half open")
    browser.find_element("css selector", "button[name='found'][value='real']").click()
    until(lambda: "Closed: real." in _text(browser, "case"))

    shutil.copytree(bakery_logs / NEXT_DAY, tmp_path / NEXT_DAY)
    (tmp_path / NEXT_DAY).rename(service.logs / NEXT_DAY)
    (following,) = until(lambda: _alerts(service, "L4"), 120)
    browser.get(f"{service.base}/alerts/{following['alert']}")
    words = until(lambda: _text(browser, "figures"))
    assert "Last time" in words and "real: damper of oven O1 stuck half open" in words
    assert f"L1, alert {first['alert']}" in words and "unexplained: the one closed call was real" in words
    assert browser.find_elements("css selector", "svg.inked")
