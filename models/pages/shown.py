"""What stands on a page, as plain data: items, tables, curves, bars. No markup, no drawing."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, NamedTuple

from models.pages.adding import Printed
from models.pages.named import Named, Piece, pieces

State = Literal["hold", "now", "review", "waiting", "unchecked", "learning", "steady", "note"]
Level = Literal["", "missing", "warning", "action"]

STATE_WORDS: dict[str, str] = {
    "hold": "Hold",
    "now": "Act now",
    "review": "Review",
    "waiting": "Decide",
    "unchecked": "Not checked",
    "learning": "Learning",
    "steady": "No change seen",
    "note": "Note",
}
LEVEL_WORDS: dict[str, str] = {"warning": "beyond the warning limit", "action": "beyond the action limit"}


@dataclass(frozen=True)
class Item:
    """One thing to know or to decide. `page`: the alert it has a page of its own for."""

    state: State
    title: str
    says: str = ""
    detail: tuple[str, ...] = ()
    page: str | None = None


@dataclass(frozen=True)
class Cell:
    """One cell of a table, in words, with what is wrong with it."""

    says: str
    level: Level = ""
    number: bool = False


@dataclass(frozen=True)
class Sheet:
    """A table. `says` stands above it; an empty one shows `empty` instead."""

    name: str
    says: str
    columns: tuple[str, ...]
    rows: tuple[tuple[Cell, ...], ...]
    empty: str = "Nothing here."

    def numeric(self, column: int) -> bool:
        """Whether a column holds numbers; its empty cells line up with them."""
        return any(row[column].number for row in self.rows)


class Dot(NamedTuple):
    """One batch on a curve, of which a page has very many. at: local time, ISO; label, name: short and full; says: what else."""

    at: str
    value: float
    today: bool
    outside: bool
    label: str
    name: str
    says: tuple[str, ...]


@dataclass(frozen=True)
class Mark:
    """Something that happened: a change somebody made, a new yeast lot."""

    at: str
    kind: Literal["change", "lot"]
    says: str
    when: str = ""


@dataclass(frozen=True)
class Span:
    """An episode on a curve, from its beginning to its last batch so far."""

    first: str
    last: str
    direction: Literal["low", "high"]
    level: float
    says: str
    over: bool
    when: str = ""


@dataclass(frozen=True)
class Curve:
    """One stream to be drawn. Values in `unit`; times local, ISO. `summary` says it without the drawing.

    lower, upper: where two batches in a row signal; lasting: where the mean of eight does. `day`: start and end of the
    day that the page is about, drawn wide beside the weeks before.
    """

    name: str
    title: str
    unit: str
    dots: tuple[Dot, ...]
    spans: tuple[Span, ...] = ()
    marks: tuple[Mark, ...] = ()
    level: float | None = None
    lower: float | None = None
    upper: float | None = None
    lasting: tuple[float, float] | None = None
    limits_say: str = ""
    window: tuple[float, float] | None = None
    window_name: str = "window"
    window_says: str = ""
    baseline: tuple[str, str] | None = None
    day: tuple[str, str] | None = None
    baseline_says: str = ""
    promise: str = ""
    summary: str = ""


@dataclass(frozen=True)
class Tally:
    """One day's count out of `size`, with the limits made for that size; day: ISO."""

    day: str
    count: int
    size: int
    low: int
    high: int


@dataclass(frozen=True)
class Tallies:
    """A proportion day by day; level: what is usual, in 1000; says: the last day in a sentence."""

    name: str
    title: str
    level: float
    days: tuple[Tally, ...]
    says: str


@dataclass(frozen=True)
class Bar:
    """One group's part of a change; `low` and `high` bound it with 90 % credibility; the same as text."""

    group: str
    driver: str
    contribution: float
    low: float
    high: float
    shown: Printed
    evidence: tuple[str, ...] = ()
    not_checked: tuple[str, ...] = ()


@dataclass(frozen=True)
class Bars:
    """Contributions that add up to `change`, in `unit`. named: batches that their evidence, or what goes with it, names."""

    name: str
    bars: tuple[Bar, ...]
    change: float
    unit: str
    says: str
    named: tuple[Named, ...] = ()

    def pieces(self, line: str) -> tuple[Piece, ...]:
        """A line cut where it names one of the batches."""
        return pieces(line, self.named)


@dataclass(frozen=True)
class Footing:
    """What a page stands on: limits and who approved them, baselines, span of the data, version."""

    approval: str
    limits: tuple[str, ...]
    defaults: tuple[str, ...]
    baselines: tuple[str, ...]
    data: str
    version: str
