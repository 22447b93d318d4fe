"""What a log file is once it has been read, before its cells are typed."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal

import numpy as np
import pandas as pd


class Refused(ValueError):
    """One line: why a file is not taken, and what to do about it."""


@dataclass(frozen=True)
class PassedOver:
    """A line of the file that is no row: `row` as a spreadsheet shows it, and why."""

    row: int
    why: str


@dataclass(frozen=True)
class Decisions:
    """What was settled once for the whole file. `day_first` is None where no date needs it; of 26-05-04 the year may be first."""

    decimal: str = "."
    day_first: bool | Literal["year"] | None = None


@dataclass(frozen=True)
class Sheet:
    """One log as it stands in its file, every cell text.

    kind: recognised from the header; header_row: as a spreadsheet shows it.
    columns: contract names where recognised, extra columns under the file's own names, all unique.
    rows: str frame, missing where empty, RangeIndex; row_numbers: int64, the file's line of each frame row.
    passed_over: lines that are no rows; notes: decisions made for the file, in words.
    real: bool array of rows' shape, True where a workbook cell holds a real number (None: all cells were text).
    surplus: frame row to the text that stood beyond the last heading. breaks_off: the last row is not all there.
    """

    kind: str
    header_row: int
    columns: tuple[str, ...]
    rows: pd.DataFrame
    row_numbers: np.ndarray
    passed_over: tuple[PassedOver, ...] = ()
    notes: tuple[str, ...] = ()
    decisions: Decisions = Decisions()
    real: np.ndarray | None = None
    surplus: dict[int, str] = field(default_factory=dict)
    breaks_off: bool = False
    _coded: dict[str, tuple[np.ndarray, np.ndarray]] = field(default_factory=dict, repr=False, compare=False)

    def forget(self) -> None:
        """Give back the room the coded columns take; they are worked out again where they are asked for."""
        self._coded.clear()

    def coded(self, column: str) -> tuple[np.ndarray, np.ndarray]:
        """A column as (codes, distinct texts); code -1 where the cell is empty. Worked out once."""
        if column not in self._coded:
            codes, distinct = pd.factorize(self.rows[column].to_numpy(dtype=object))
            self._coded[column] = codes.astype(np.int32), distinct
        return self._coded[column]
