"""The shapes that pass between charts, causes, alerts and reports. Frozen; no behaviour of their own."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from typing import Literal

import numpy as np

from models.fixed import Urgency

Direction = Literal["low", "high"]
Group = Literal["paste", "yeast", "handling", "unexplained"]
Finding = Literal["real", "nothing found"]
GROUPS: tuple[Group, ...] = ("paste", "yeast", "handling", "unexplained")
LASTING = 8
"""Batches in a row that `Charted.lasting` speaks of."""


@dataclass(frozen=True, order=True)
class Stream:
    """What one chart follows: one characteristic of one line and product, or of one kettle."""

    plant: str
    characteristic: str
    unit: str
    line: str | None = None
    product: str | None = None
    kettle: str | None = None


@dataclass(frozen=True)
class Points:
    """The points of one stream in order of production, all arrays of one length.

    keys: batch_key or paste_key; at: datetime64[us], UTC; value: in the stream's unit, no NaN;
    n: loaves (or readings) each value is the mean of; sd_within: NaN where n is 1 or unknown;
    lot: yeast lot, of a kettle's points its flour lot ("" unknown); day: shift_date as datetime64[D];
    flour: flour lot of the dough ("" unknown), None where there is no such column.
    """

    keys: np.ndarray
    at: np.ndarray
    value: np.ndarray
    n: np.ndarray
    sd_within: np.ndarray
    lot: np.ndarray
    day: np.ndarray
    flour: np.ndarray | None = None

    def __len__(self) -> int:
        return len(self.value)


@dataclass(frozen=True)
class Baseline:
    """A frozen level and spread. Every number in the stream's unit; `fingerprint` tells if its rows changed."""

    level: float
    sd: float
    sd_within: float
    phi: float
    level_se: float
    sd_rel_se: float
    first_key: str
    last_key: str
    first_at: datetime
    last_at: datetime
    batches: int
    days: int
    lots: int
    excluded: tuple[tuple[str, str], ...]
    fingerprint: str
    learning: bool
    says: str
    extra: dict[str, float] = field(default_factory=dict)


@dataclass(frozen=True)
class Episode:
    """A lasting departure from the baseline. Indices are into the Points charted."""

    direction: Direction
    signalled: int
    began: int
    began_low: int
    began_high: int
    until: int
    change: float
    change_low: float
    change_high: float
    over: bool
    kind: str


@dataclass(frozen=True)
class Charted:
    """One stream, charted. `episodes` in order.

    lower, upper: two batches in a row beyond one of them signal; lasting: limits for the mean of `LASTING` batches
    in a row (None: too few points to tell).
    """

    stream: Stream
    points: Points
    baseline: Baseline | None
    lower: float | None
    upper: float | None
    episodes: tuple[Episode, ...]
    state: Literal["in control", "signal", "learning", "no data"]
    promise: str
    statistic: np.ndarray = field(default_factory=lambda: np.empty(0))
    lasting: tuple[float, float] | None = None


@dataclass(frozen=True)
class Cause:
    """One group's part of a change, in the alert's unit, with 90 % credibility bounds.

    made_of: what the contribution is the sum of, in the alert's unit. levels: what each recorded driver was before and in
    the episode, by quantity, each in its own unit; both are what the sentences were made from.
    """

    group: Group
    contribution: float
    low: float
    high: float
    share: float
    driver: str
    evidence: tuple[str, ...] = ()
    not_checked: tuple[str, ...] = ()
    made_of: Mapping[str, float] = field(default_factory=dict)
    levels: Mapping[str, Mapping[str, float | str | bool]] = field(default_factory=dict)


@dataclass(frozen=True)
class Call:
    """The four groups' contributions, which add up to the change, and what to do with them.

    headline: the driver first, in the floor's words. joint: drivers that moved together and cannot be told apart.
    next_measurement: what would settle most for its cost, best first. refuted_by: what would show the call wrong.
    check_first: a supervisor's first checks, in order. began_then: lots and recorded changes that began then.
    """

    causes: tuple[Cause, ...]
    headline: str
    joint: tuple[str, ...]
    next_measurement: tuple[str, ...]
    refuted_by: tuple[str, ...]
    check_first: tuple[str, ...]
    began_then: tuple[str, ...]


NO_MATTER_OF_SIZE = frozenset({"cooling", "paste recipe", "allergen", "kettle overdrawn"})


@dataclass(frozen=True)
class Alert:
    """One episode or one broken limit, as the contract prints it. `alert` never changes."""

    alert: str
    kind: Literal["chart", "limit"]
    urgency: Urgency
    signal: Literal["on", "over"]
    case: Literal["open", "seen", "closed"]
    plant: str
    line: str | None
    kettle: str | None
    product: str | None
    characteristic: str
    direction: Direction
    signalled_at_batch: str
    signalled_at: datetime
    began_at_batch: str
    began_at: datetime
    until_batch: str
    until_at: datetime
    change: float
    unit: str
    causes: tuple[Cause, ...] = ()
    check_first: tuple[str, ...] = ()
    # beyond the contract
    says: str = ""
    level: float | None = None
    last_good_batch: str | None = None
    batches: tuple[str, ...] = ()
    rule: str = ""
    began_low_batch: str | None = None
    began_high_batch: str | None = None
    joint: tuple[str, ...] = ()
    began_then: tuple[str, ...] = ()
    refuted_by: tuple[str, ...] = ()
    next_measurement: tuple[str, ...] = ()
    last_time: tuple[str, ...] = ()
    finding: Finding | None = None
    closed_as: tuple[str, ...] = ()  # group and driver that the call named when its case was closed
    recipe: str | None = None  # of a kettle's chart, where the kettle makes several
    # 90 % bounds of a charted change; the level's own error is in them
    change_low: float | None = None
    change_high: float | None = None

    @property
    def called(self) -> str:
        """What moved and where to, as a person says it; a fault that is no matter of size has no direction."""
        return (
            self.characteristic
            if self.characteristic in NO_MATTER_OF_SIZE
            else f"{self.characteristic} {self.direction}"
        )
