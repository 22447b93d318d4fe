"""What was typed by the kettle, as one entry: the row of the paste log as it would be now. Pure."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from typing import TYPE_CHECKING, Literal, get_args

from models.floor import typed
from models.floor.openpaste import Desk, Work
from models.floor.tablet import Entry
from models.floor.typed import Cells
from models.logbook import TABLES

if TYPE_CHECKING:
    from models.plant import Plant

Step = Literal["charge", "off", "weigh", "water", "cooled", "cold", "withdraw"]
STEPS: tuple[Step, ...] = get_args(Step)
STAMPED = ("cook_start", "cook_end")
IDENTITY = ("paste_batch", "kettle", "shift_date", "shift")


def entry_of(form: Mapping[str, str], desk: Desk, plant: Plant, now: datetime, who: str) -> Entry:
    """A form as an entry. A field that is there and empty empties the cell; one that is not there leaves it as it stood."""
    step: Step = next((one for one in STEPS if one == form.get("step")), "charge")
    before = desk.works.get(f"paste:{form.get('key', '')}") if form.get("key") else None
    texts = _with_shift(form)
    cells, wrong = typed.typed("paste", texts, now, plant)
    if before is not None:
        kept = {name: text for name, text in before.cells.items() if name not in texts}
        cells = kept | cells
    if (
        before is not None and before.stage == "recorded"
    ):  # a row that is out cannot get another name: it would be a second row
        cells |= {name: before.cells[name] for name in IDENTITY}
    cells |= _stamps(step, cells, now, plant)
    if not cells.get("recipe") and (only := plant.paste_of(cells.get("kettle", ""))):
        cells["recipe"] = only
    if who:
        cells["operator"] = who
    more = dict(before.more) if before else {}
    if doughs := typed.plain(form.get("doughs", "")):
        more["doughs"] = doughs
    return Entry("paste", step, cells, more, wrong, dict(form), before, who, now)


def _with_shift(form: Mapping[str, str]) -> dict[str, str]:
    date, _, code = form.get("shift_of", "").partition("/")
    return {**form, "shift_date": date, "shift": code} if date else dict(form)


def _stamps(step: Step, cells: Cells, now: datetime, plant: Plant) -> Cells:
    """Times that are stamped where nobody typed one."""
    stamp = {"charge": "cook_start", "off": "cook_end", "weigh": "cook_end"}.get(step)
    return {stamp: typed.time_text(now, plant)} if stamp and (step == "off" or not cells.get(stamp)) else {}


def row(entry: Entry) -> Cells:
    """The entry as a row of the paste log: the contract's columns as text, then who confirmed what."""
    names = (*(column.name for column in TABLES["paste"].columns), *typed.EXTRA)
    return {name: entry.cells.get(name, "") for name in names}


def same(cells: Mapping[str, str], work: Work) -> bool:
    """Whether the same was typed once more (a button pressed twice): stamps and confirmations aside."""
    aside = {*STAMPED, *typed.EXTRA, "operator"}
    one, other = ({k: v for k, v in c.items() if k not in aside and v} for c in (cells, work.cells))
    return one == other
