"""The two expectations that every suite is made of. Imports the suite's library.

The library has an expectation describe itself some seventy times while it is asked, each time anew: that was a third of what
a suite costs. These describe themselves once, for nobody changes one after it was made.
"""

from __future__ import annotations

from typing import Any

import great_expectations.expectations as gxe
from great_expectations.compatibility.pydantic import PrivateAttr
from great_expectations.expectations.expectation_configuration import ExpectationConfiguration


class _DescribedOnce(gxe.Expectation):
    """An expectation that keeps what it said of itself."""

    _described: Any = PrivateAttr(default=None)

    @property
    def configuration(self) -> ExpectationConfiguration:
        """What is expected of which column."""
        if self._described is None:
            self._described = super().configuration
        return self._described


class CellsFilled(_DescribedOnce, gxe.ExpectColumnValuesToNotBeNull):
    """Every cell of a column is filled."""


class CellsAmong(_DescribedOnce, gxe.ExpectColumnValuesToBeInSet):
    """Every filled cell of a column is one of a set."""
