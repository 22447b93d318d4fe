"""A headless Chromium, and the invented bakery's pages in a folder as a bakery would have them."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import TYPE_CHECKING
from urllib.parse import urlsplit

import pytest

if TYPE_CHECKING:
    from selenium.webdriver.chrome.webdriver import WebDriver

FLAGS = (
    "--headless=new",
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--hide-scrollbars",
)


class Browser:
    """One Chromium. `open` loads a page at a width and waits until it is drawn; `requests` is what it asked for."""

    def __init__(self, browser: str, driver: str) -> None:
        from selenium import webdriver

        options = webdriver.ChromeOptions()
        options.binary_location = browser
        for flag in FLAGS:
            options.add_argument(flag)
        options.set_capability("goog:loggingPrefs", {"browser": "ALL", "performance": "ALL"})
        self.driver = webdriver.Chrome(options=options, service=webdriver.ChromeService(driver))
        self.driver.set_page_load_timeout(60)

    def open(self, page: Path, width: int = 1280, height: int = 900) -> None:
        """Load the page as a file, afresh, at this width in CSS pixels."""
        self._log("browser"), self._log("performance")
        size = {"width": width, "height": height, "deviceScaleFactor": 1, "mobile": width < 600}
        self.driver.execute_cdp_cmd("Emulation.setDeviceMetricsOverride", size)
        self.driver.get(page.as_uri())

    def run(self, script: str):
        """The value of a script in the page."""
        return self.driver.execute_script(f"return {script}")

    def errors(self) -> list[str]:
        """What the page complained of since it was opened."""
        return [entry["message"] for entry in self._log("browser") if entry["level"] in ("SEVERE", "WARNING")]

    def requests(self) -> list[str]:
        """Every address asked for since the page was opened."""
        messages = (json.loads(entry["message"])["message"] for entry in self._log("performance"))
        return [m["params"]["request"]["url"] for m in messages if m["method"] == "Network.requestWillBeSent"]

    def pdf(self, to: Path) -> Path:
        """The page as it is printed."""
        import base64

        printed = self.driver.execute_cdp_cmd("Page.printToPDF", {"printBackground": True, "preferCSSPageSize": True})
        to.write_bytes(base64.b64decode(printed["data"]))
        return to

    def _log(self, kind: str) -> list[dict]:
        return self.driver.get_log(kind)


@pytest.fixture(scope="session")
def chromium(browser_paths: tuple[str, str]) -> Iterator[Browser]:
    """One browser for all tests of this folder."""
    browser = Browser(*browser_paths)
    yield browser
    browser.driver.quit()


@pytest.fixture
def browser(chromium: Browser) -> WebDriver:
    """The browser for the board, at a tablet's size."""
    size = {"width": 1024, "height": 768, "deviceScaleFactor": 1, "mobile": False}
    chromium.driver.execute_cdp_cmd("Emulation.setDeviceMetricsOverride", size)
    return chromium.driver


@pytest.fixture(scope="session")
def reports(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with the bad day, the good day, both months, every alert, the index, and one page to mail."""
    from models.pages.day import day
    from models.pages.month import month
    from reports import pages
    from tests.unit.snapshots import BAD, EMPTY, GOOD, snapshot

    folder = tmp_path_factory.mktemp("reports of a bakery")
    for on in (BAD, GOOD, EMPTY):
        pages.write(pages.day_page(day(snapshot(), on)), folder)
    for which in ("2026-04", "2026-05"):
        pages.write(pages.month_page(month(snapshot(), which)), folder)
    for alert in snapshot().alerts:
        pages.write(pages.alert_page(snapshot(), alert.alert), folder)
    pages.write(pages.day_page(day(snapshot(), BAD), single_file=True), folder)
    return folder


@pytest.fixture
def outside() -> Callable[[list[str]], list[str]]:
    """Of addresses asked for, those that leave this machine's own files."""
    return lambda urls: [url for url in urls if urlsplit(url).scheme not in ("file", "data", "blob", "about")]
