"""Waiting for what a page will show, and leaving it: while one gives way to the next, an element is not there yet, or is no more."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from selenium.common.exceptions import NoSuchElementException, StaleElementReferenceException

from tests.flows import serving


def until(found: Callable[[], Any], within_s: float = 30.0) -> Any:
    """What `found` gives once it gives anything. Raises AssertionError where it does not in time."""

    def seen() -> Any:
        try:
            return found()
        except (NoSuchElementException, StaleElementReferenceException):
            return None

    return serving.until(seen, within_s)


def forgotten(browser: Any) -> None:
    """Leave the page and forget who was signed in: what the page still asks for would bring a cookie whose form is another's."""
    browser.get("about:blank")
    browser.execute_cdp_cmd("Network.clearBrowserCookies", {})
