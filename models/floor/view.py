"""What the board may know at one moment: read from the store once after each commit, then shared by all who look.

It holds no operator's name. Instants are naive UTC; a screen turns them to the plant's clock.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    import pandas as pd

    from models.floor.holds import Hold
    from models.plant import Plant
    from models.shapes import Alert, Charted
    from models.storage.cases import CaseEvent


@dataclass(frozen=True)
class LastSeen:
    """The newest batch of a line (doughs mixed) or a kettle (pastes cooked). at: when; name: as on its sheet; usual_min: the
    median minutes between two batches there over the last week, None where fewer than five are known."""

    batch: str
    name: str
    at: datetime
    product: str | None = None
    usual_min: float | None = None


@dataclass(frozen=True)
class Chart:
    """One chart in a few words. state: as `shapes.Charted`; value, level, lower, upper in `unit`, None where there is none."""

    characteristic: str
    unit: str
    line: str | None
    kettle: str | None
    product: str | None
    state: str
    value: float | None
    level: float | None
    lower: float | None
    upper: float | None
    n: int
    promise: str = ""


@dataclass(frozen=True)
class Paste:
    """A paste made lately: what the ledger says, and whether it was used up. Weights kg, readings °C.

    weight_kg: cold where it was weighed cold, else Wa; excess_kg: as in `batchbook`, what went back into the kettle
    (water_added_kg, None where not recorded) is off it already; points: of hydration that it takes from its doughs.
    temp_2h_c, temp_6h_c: as on its row, None where not recorded.
    """

    paste_key: str
    name: str
    kettle: str
    recipe: str
    cooked_at: datetime | None
    weight_kg: float | None
    loss_pct: float | None
    excess_kg: float | None
    water_added_kg: float | None
    doughs: tuple[str, ...] = ()
    points: float | None = None
    temp_2h_c: float | None = None
    temp_6h_c: float | None = None


@dataclass(frozen=True)
class View:
    """Everything the screens are drawn from. version counts commits; rows is the contract's account by log.

    charted: the streams themselves, which the charts are drawn from; changes: what somebody changed lately, without who did;
    flour_lots: of batches that are held, by key.
    """

    plant: Plant
    version: int
    as_of: datetime
    newest: datetime | None = None
    alerts: tuple[Alert, ...] = ()
    acts: tuple[CaseEvent, ...] = ()
    lines: Mapping[str, LastSeen] = field(default_factory=dict)
    kettles: Mapping[str, LastSeen] = field(default_factory=dict)
    charts: tuple[Chart, ...] = ()
    charted: tuple[Charted, ...] = ()
    changes: pd.DataFrame | None = None
    pastes: tuple[Paste, ...] = ()
    holds: tuple[Hold, ...] = ()
    flour_lots: Mapping[str, str] = field(default_factory=dict)
    rows: Mapping[str, Mapping[str, int]] = field(default_factory=dict)
    quarantine: tuple[dict[str, Any], ...] = ()
    refused: tuple[tuple[str, str], ...] = ()
    unsent: tuple[Any, ...] = ()
    unheard: tuple[str, ...] = ()
