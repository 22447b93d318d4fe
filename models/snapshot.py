"""All that a report may know: one frozen picture of the store, handed from the steps to the pages.

The wide rows are those of `models.batchbook`, the plain logs those of `models.logbook`; the frames
that only reports need are declared here. Times are UTC without an offset, dates midnight, a missing
text NaN, a missing number NaN.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, Any

from models.batchbook import BATCHES, PASTES
from models.fixed import STATUSES
from models.logbook import FRAME_TYPE, TABLES, Column

if TYPE_CHECKING:
    import pandas as pd

    from models.floor.holds import HoldEvent
    from models.judging.independence import Looked
    from models.pages.dots import Dots
    from models.pages.stories import Stories
    from models.plant import Plant
    from models.shapes import Alert, Charted
    from models.trade.placed import Counted

COUNTS = ("received", *STATUSES)


def _text(name: str, says: str) -> Column:
    return Column(name, "text", says)


def _num(name: str, says: str, unit: str = "") -> Column:
    return Column(name, "number", says, unit=unit)


def _date(name: str, says: str) -> Column:
    return Column(name, "date", says)


ACCOUNT: tuple[Column, ...] = (
    _text("kind", "log"),
    _date("shift_date", "the production day the rows speak of; empty: cannot be read from the row"),
    *(_num(name, "rows", "rows") for name in COUNTS),
)
EXCLUDED: tuple[Column, ...] = (
    _text("kind", "log"),
    _text("file", ""),
    _num("row", "line of the file as a spreadsheet shows it"),
    _text("status", "waiting, quarantined, duplicate or superseded"),
    _text("column", "empty where the row as a whole is meant"),
    _text("value", "as written"),
    _text("rule", ""),
    _text("why", "one sentence: what, and what to do"),
    _text("proposal", "the reading that would fit; empty: none"),
    _date("shift_date", "empty: cannot be read from the row"),
    _text("decided", "rejected, by whom and why; empty: nobody has decided"),
)
PASSED_OVER: tuple[Column, ...] = (
    _text("file", ""),
    _num("row", "line of the file"),
    _text("why", "title, units, totals or blank"),
)
FINDINGS: tuple[Column, ...] = (
    _text("rule", ""),
    _text("kind", "log the rule is about"),
    _text("key", "paste_key or batch_key"),
    _date("shift_date", ""),
    _text("line", "empty: a kettle's"),
    _text("kettle", "empty: a line's"),
    _text("column", "of the wide row"),
    _num("value", ""),
    _num("low", "empty: no lower limit"),
    _num("high", "empty: no upper limit"),
    _text("level", "warning or action"),
    _text("says", "one sentence"),
)
RULES: tuple[Column, ...] = (
    _text("rule", ""),
    _date("shift_date", "the production day judged; empty: all days"),
    _text("kind", "log the rule is about"),
    _text("says", "what it asks"),
    _num("judged", "rows it could judge", "rows"),
    _num("broken", "rows that break it", "rows"),
    _text("outcome", "passed, broken, nothing to judge or could not run"),
)
RESTATED: tuple[Column, ...] = (
    _text("kind", "log"),
    _text("key", "the row's identity as the floor writes it"),
    _date("shift_date", "the production day the row speaks of; empty: unknown"),
    _text("column", ""),
    _text("before", "as it was; empty: not recorded"),
    _text("after", "as it is; empty: not recorded"),
    _text("file", "the file that brought the correction"),
    _num("row", "its line there"),
    _text("by", "who confirmed it, or corrected it in a workbook; empty: a sheet that was sent again"),
    _text("printed", "yes: the day's page had been printed before the correction came; else no"),
)
FILES: tuple[Column, ...] = (
    _text("file", ""),
    _text("sha256", ""),
    _text("kind", "log; empty: not recognised"),
    _text("outcome", "taken, already taken or refused"),
    _text("why", "empty where it was taken"),
    _text("notes", "how it was read: separator, decimal mark, order of dates"),
)

BROUGHT: tuple[Column, ...] = (
    _text("kind", "log"),
    _date("shift_date", "a day that a page is asked for"),
    _text("file", ""),
    _num("rows", "its rows that speak of the day", "rows"),
    _num("in_force", "of these, rows that count or wait for their batch", "rows"),
    _text(
        "late", "yes: the day's page had been printed, and that of the day after next, before the file came; else no"
    ),
)

FRAMES: dict[str, tuple[Column, ...]] = {
    "pastes": PASTES,
    "batches": BATCHES,
    "loaves": (
        _text("batch_key", "the dough the loaf was baked of"),
        *(
            TABLES["loaf"].by_name[name]
            for name in ("measured_at", "baked_g", "cooled_minutes", "reason", "scale")
        ),
    ),
    "output": TABLES["output"].columns,
    "changes": TABLES["change"].columns,
    "checks": TABLES["check"].columns,
    "account": ACCOUNT,
    "excluded": EXCLUDED,
    "passed_over": PASSED_OVER,
    "findings": FINDINGS,
    "rules": RULES,
    "restated": RESTATED,
    "files": FILES,
    "brought": BROUGHT,
}
"""Frame of a Snapshot -> its columns. More columns may be there; none of these may be missing."""


@dataclass(frozen=True)
class Snapshot:
    """What is in force, what was left out and why, what was found. Every frame as `FRAMES` declares it.

    loaves: accepted loaves of the days asked for, as `trade.netweight.verdicts` takes them; counted: loaves against their
    products' windows, by line, product and day; findings: the answers to *is this good?*; charted and alerts: of the
    whole plant; looked: months looked at for readings that are not independent; brought: of the days asked for;
    hold_events: what people and alerts did with holds. Raises ValueError where a frame lacks a declared column.
    """

    plant: Plant
    version: str
    pastes: pd.DataFrame
    batches: pd.DataFrame
    loaves: pd.DataFrame
    output: pd.DataFrame
    changes: pd.DataFrame
    checks: pd.DataFrame
    account: pd.DataFrame
    excluded: pd.DataFrame
    passed_over: pd.DataFrame
    findings: pd.DataFrame
    rules: pd.DataFrame
    restated: pd.DataFrame
    files: pd.DataFrame
    brought: pd.DataFrame
    counted: Counted
    charted: tuple[Charted, ...] = ()
    alerts: tuple[Alert, ...] = ()
    looked: tuple[Looked, ...] = ()
    hold_events: tuple[HoldEvent, ...] = ()

    @cached_property
    def stories(self) -> dict[str, Stories]:
        """What is told of each paste and each dough on the charts: "pastes", "batches"."""
        from models.pages.stories import of_doughs, of_pastes

        return {"pastes": of_pastes(self.pastes), "batches": of_doughs(self.batches)}

    @cached_property
    def dots(self) -> dict[int, Dots]:
        """The dots made so far of its charts, by each chart's identity."""
        return {}

    def __post_init__(self) -> None:
        for name, columns in FRAMES.items():
            missing = [c.name for c in columns if c.name not in getattr(self, name).columns]
            if missing:
                raise ValueError(f"snapshot: the frame {name} lacks {', '.join(missing)}")


def records(rows: pd.DataFrame) -> list[dict[str, Any]]:
    """The rows of a frame as plain dictionaries, in order."""
    names = [str(name) for name in rows.columns]  # column by column: several times faster than the frame's own way
    return [dict(zip(names, row, strict=True)) for row in zip(*(rows[n].tolist() for n in rows.columns), strict=True)]


def frame(name: str, rows: list[dict] | None = None) -> pd.DataFrame:
    """A frame of a Snapshot from plain rows; a column that a row leaves out is missing there."""
    import pandas as pd

    columns = {c.name: FRAME_TYPE[c.type] for c in FRAMES[name]}
    return pd.DataFrame(rows or [], columns=list(columns)).astype(columns)
