"""Loaves of the start: whether the first dough after a line stood is like the rest of its run.

A start-up loaf says more of the line's first minutes than of its dough. Each run's first dough is held against the others of
the same run, so that days and lots count on both sides. The contract has no word for a loaf that was worked over again: one
that is written as taken on suspicion is kept apart, one that is written as routine cannot be told from the others.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

if TYPE_CHECKING:
    from collections.abc import Iterator

# common practice, no source
STOOD_H = 4  # a line whose last dough was so long ago had stopped
LEAST_RUNS, LEAST_REST = 10, 2
WORTH_PCT = 1.0  # a smaller difference, in per cent, is not worth a word


@dataclass(frozen=True)
class Start:
    """The starts of one line, product and shift. less_pct: by how much the first doughs' specific volume is less than the rest's.

    runs: of how many; chance: that as large a difference comes of runs whose first dough is like the others.
    """

    line: str
    product: str
    shift: str
    runs: int
    less_pct: float
    chance: float


def starts(batches: pd.DataFrame) -> Iterator[Start]:
    """Of wide dough rows in order of mixing: every line, product and shift with enough runs to tell."""
    from scipy.stats import ttest_1samp

    rows = batches.sort_values(["line", "mixed_at"], kind="stable").reset_index(drop=True)
    before = rows.groupby("line")["mixed_at"].shift()
    first = (rows["mixed_at"] - before) >= pd.Timedelta(hours=STOOD_H)
    rows = rows.assign(first=first, run=first.groupby(rows["line"]).cumsum())
    rows = rows[(rows["run"] > 0) & rows["specific_volume"].notna()]  # what ran before the first known stop has no known start
    for (line, product), mine in rows.groupby(["line", "product"], sort=True):
        rest = mine[~mine["first"]].groupby("run")["specific_volume"].agg(["mean", "size"])
        starting = mine[mine["first"]].set_index("run").join(rest[rest["size"] >= LEAST_REST], how="inner")
        for shift, same in starting.groupby("shift", sort=True):
            less = 100 * (1 - same["specific_volume"] / same["mean"])
            if len(less) < LEAST_RUNS or not less.std() > 0:
                continue
            chance = float(ttest_1samp(less, 0.0).pvalue)
            mean = float(np.mean(less))
            yield Start(str(line), str(product), str(shift), len(less), mean, chance if abs(mean) >= WORTH_PCT else 1.0)
