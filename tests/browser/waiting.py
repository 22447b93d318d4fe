"""Waiting for what a page will show: while one page gives way to the next, an element is not there yet, or is no more."""

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
