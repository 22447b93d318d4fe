"""The holes in a month's data: which days of which line have doughs, loaves, or nothing at all."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta
from typing import TYPE_CHECKING, Literal

from models.pages import words
from models.pages.production_day import of_days
from models.pages.shown import Cell, Sheet
from models.texts import texts

if TYPE_CHECKING:
    import pandas as pd

    from models.snapshot import Snapshot

Mark = Literal["loaves", "doughs only", "nothing"]


@dataclass(frozen=True)
class Grid:
    """For each line, one mark a day of the month; `lines` and `marks` run together."""

    days: tuple[str, ...]
    lines: tuple[str, ...]
    marks: tuple[tuple[Mark, ...], ...]
    says: str


def grid(snapshot: Snapshot, first: date, last: date) -> Grid:
    """What each line recorded on each day from the month's first to the last day that anything is recorded of."""
    rows = of_days(snapshot.batches, first, last)
    known = [frame["shift_date"].dropna() for frame in (snapshot.batches, snapshot.pastes)]
    every = [days.max() for days in known if len(days)]
    end = min(last, max(every).date()) if every and max(every).date() >= first else last
    days = [first + timedelta(days=i) for i in range((end - first).days + 1)]
    lines = tuple(sorted(snapshot.plant.lines))
    seen, baked = _recorded(rows), _recorded(rows[rows["loaves"].gt(0)])
    marks = tuple(tuple(_mark((line, day), seen, baked) for day in days) for line in lines)
    silent = sum(mark == "nothing" for row in marks for mark in row)
    says = texts("month")["holes"]["silent"].format(n=silent, total=len(lines) * len(days))
    return Grid(tuple(day.isoformat() for day in days), lines, marks, says)


def reach(snapshot: Snapshot, first: date, last: date) -> str:
    """On how many of the month's days doughs are recorded; "" where on all: a month that goes on is not a small one."""
    seen = sorted({day for _, day in _recorded(of_days(snapshot.batches, first, last))})
    days = (last - first).days + 1
    if not seen or len(seen) == days:
        return ""
    return texts("month")["holes"]["reach"].format(n=len(seen), days=days, span=words.span(seen[0], seen[-1]))


def _recorded(rows: pd.DataFrame) -> set[tuple[str, date]]:
    """The lines and days that rows speak of."""
    return set(zip(rows["line"].tolist(), rows["shift_date"].dt.date.tolist(), strict=True))


def _mark(place: tuple[str, date], seen: set[tuple[str, date]], baked: set[tuple[str, date]]) -> Mark:
    if place not in seen:
        return "nothing"
    return "loaves" if place in baked else "doughs only"


def holes(snapshot: Snapshot, first: date, last: date) -> Sheet:
    """What was not recorded in the month, each with how much of how many."""
    t = texts("month")["holes"]
    batches, pastes = of_days(snapshot.batches, first, last), of_days(snapshot.pastes, first, last)
    rows = [
        _hole(t["cooling"], (pastes["cooling"] == "not checked").sum(), len(pastes)),
        _hole(t["residue"], pastes["residue_kg"].isna().sum(), len(pastes)),
        _hole(t["loaves"], (batches["loaves"].fillna(0) == 0).sum(), len(batches)),
        _hole(t["paste"], (batches["paste_link"] == words.NOT_RECORDED).sum(), len(batches)),
        _hole(t["makeup_water"], _blank(batches["makeup_water_kg"]), len(batches)),
        _hole(t["proof"], _blank(batches["proof_minutes"]), len(batches)),
        _hole(t["mixing"], _unmixed(batches), len(batches)),
        _hole(t["gas"], (batches["gas_tests"].fillna(0) == 0).sum(), len(batches)),
    ]
    received = of_days(snapshot.account, first, last)
    rows.append(
        _hole(t["waiting"], int((received["waiting"] + received["quarantined"]).sum()), int(received["received"].sum()))
    )
    return Sheet("holes", t["title"], tuple(t["columns"]), tuple(rows))


def _blank(column: pd.Series) -> int:
    return int(column.isna().sum())


def _unmixed(batches: pd.DataFrame) -> int:
    return int((batches["mix_minutes"].isna() & batches["mix_energy_wh_kg"].isna()).sum())


def _hole(what: str, many: int, of: int) -> tuple[Cell, ...]:
    return (Cell(what), *(Cell(words.number(float(n), "", 0), number=True) for n in (many, of)))
