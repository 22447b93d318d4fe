"""What is impossible or unlikely about an entry by the kettle, asked of the person who typed it. Pure."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from statistics import median
from typing import TYPE_CHECKING

from models.floor import asking, cooling, typed
from models.floor.asking import Question
from models.floor.openpaste import Desk
from models.floor.pasteanswer import advice_of, loss_pct, net
from models.floor.pasteentry import IDENTITY, STAMPED, row, same
from models.floor.tablet import Entry, stood_before
from models.floor.typed import Cells, number_of

if TYPE_CHECKING:
    from models.floor.view import Paste
    from models.plant import Plant

NEEDED: dict[str, tuple[str, ...]] = {
    "charge": (*IDENTITY, "weight_before_kg"),
    "weigh": (*IDENTITY, "weight_before_kg", "weight_after_kg"),
    "water": ("kettle_water_kg",),
    "cold": ("weight_cold_kg",),
}
SAME_COOK_HOURS = 6.0  # a batch name that comes again sooner on another shift date is likely the same cook; no source


@dataclass(frozen=True)
class Previous:
    """What is known of other pastes: those of the store, and those of this screen."""

    pastes: tuple[Paste, ...] = ()
    desk: Desk = field(default_factory=Desk)


def check(entry: Entry, plant: Plant, previous: Previous) -> tuple[Question, ...]:
    """Everything impossible or unlikely about an entry, as questions to the person who typed it.

    Limits are those of the log's own rules, of the plant file and of the kettle's advice; none is made here.
    """
    asked = [*asking.unreadable(entry.wrong), *asking.missing(entry.cells, _needed(entry)), *_doughs(entry)]
    asked += asking.ahead(entry.cells, STAMPED, entry.at, plant)
    if asked:
        return tuple(asked)
    asked += asking.by_rules("paste", row(entry), plant, _beside(entry, previous.desk))
    if entry.step in ("charge", "weigh"):
        asked += [*_place(entry, plant), *_name(entry, previous), *_tub(entry, previous.desk)]
    if entry.step == "weigh":
        asked += asking.missing(entry.cells, ("cook_temp_c",), stands=True)
        asked += _doubts(entry, plant, asked)
    if entry.step == "cooled":
        asked += _reading(entry)
    if entry.step == "water":
        asked += _weighed_before_it(entry)
    if entry.step in ("water", "cooled", "cold"):
        asked += _overtaken(entry, previous.pastes)
    return tuple(one for one in asked if not stood_before(one, entry))


def _needed(entry: Entry) -> tuple[str, ...]:
    several = entry.step in ("charge", "weigh") and not entry.cells.get("recipe")
    return (*NEEDED.get(entry.step, ()), *(("recipe",) if several else ()))


def _doughs(entry: Entry) -> list[Question]:
    text = entry.more.get("doughs", "")
    whole = not text or (text.isdecimal() and 1 <= int(text) <= 1000)
    return [] if whole else [Question("doughs", "doughs", values={"value": text}, stands=False)]


def _beside(entry: Entry, desk: Desk) -> list[Cells]:
    """Earlier rows of this screen from the same kettle and recipe, the newest 20: they show what is usual."""
    names = ("kettle", "recipe")
    wanted = [entry.cells.get(name) for name in names]
    rows = [work.cells for work in desk.recorded("paste") if work.key != entry.key]
    return [cells for cells in rows if [cells.get(name) for name in names] == wanted][-20:]


def _place(entry: Entry, plant: Plant) -> list[Question]:
    """Whether this kettle makes such a paste, and holds so much."""
    kettle = plant.kettles.get(entry.cells.get("kettle", ""))
    if kettle is None:
        return []
    asked = []
    if entry.cells["recipe"] not in kettle.pastes:
        values = {"recipe": entry.cells["recipe"], "may_be": ", ".join(kettle.pastes)}
        asked.append(Question("recipe-of-another-kettle", "recipe", values=values))
    before_kg = net(entry.cells, "weight_before_kg")
    if kettle.capacity_kg and before_kg and before_kg > kettle.capacity_kg:
        values = {"value": f"{before_kg:g}", "holds": f"{kettle.capacity_kg:g}"}
        asked.append(Question("above-capacity", "weight_before_kg", values=values))
    return asked


def _name(entry: Entry, previous: Previous) -> list[Question]:
    """A batch name that is taken, written differently, or that comes again too soon under another shift date."""
    if entry.before is not None and entry.before.key == entry.key and entry.before.stage == "open":
        return []
    if (work := previous.desk.works.get(f"paste:{entry.key}")) is not None:
        return [] if same(entry.cells, work) else [_taken(entry, work.stage)]
    stored = [paste for paste in previous.pastes if paste.kettle == entry.cells["kettle"]]
    if any(paste.paste_key == entry.key for paste in stored):
        return [_taken(entry, "on another log")]
    names = {paste.name: paste.paste_key for paste in stored}
    names |= {w.cells["paste_batch"]: w.key for w in previous.desk.works.values() if w.kind == "paste"}
    return _nearly(entry, names) or _sooner(entry, stored)


def _taken(entry: Entry, stage: str) -> Question:
    return Question(
        f"name-taken.{stage.replace(' ', '-')}", "paste_batch", values={"value": entry.cells["paste_batch"]}
    )


def _nearly(entry: Entry, names: Mapping[str, str]) -> list[Question]:
    """1 where the shift has written 01, p7 where it has written P7: the sheet would make a second batch of it."""
    name, shift_date = entry.cells["paste_batch"], entry.cells["shift_date"]
    alike = [
        other
        for other, key in names.items()
        if key.startswith(f"{shift_date}/{entry.cells['kettle']}/") and other != name and _bare(other) == _bare(name)
    ]
    values = {"value": name, "other": alike[0] if alike else ""}
    return [Question("name-nearly", "paste_batch", values=values)] if alike else []


def _bare(name: str) -> str:
    return name.casefold().replace(" ", "").lstrip("0")


def _sooner(entry: Entry, stored: Sequence[Paste]) -> list[Question]:
    at = typed.time_of(entry.cells, "cook_end") or typed.time_of(entry.cells, "cook_start") or entry.at
    for paste in stored:
        if paste.name == entry.cells["paste_batch"] and paste.cooked_at is not None:
            hours = abs((at - paste.cooked_at).total_seconds()) / 3600
            if hours < SAME_COOK_HOURS:
                values = {"value": paste.name, "shift_date": paste.paste_key.split("/")[0]}
                return [Question("name-sooner", "shift_date", values=values)]
    return []


def _tub(entry: Entry, desk: Desk) -> list[Question]:
    """Whether the tub that this kettle's earlier weighings named is in Wb this time: with it off, Wb is nearer to the usual."""
    before_kg = number_of(entry.cells, "weight_before_kg")
    earlier = [cells for cells in _beside(entry, desk) if cells.get("tare_kg")]
    if entry.cells.get("tare_kg") or not earlier or before_kg is None:
        return []
    tare = median(float(cells["tare_kg"]) for cells in earlier)
    usual = median(net(cells, "weight_before_kg") or 0.0 for cells in earlier)
    if abs(before_kg - tare - usual) >= abs(before_kg - usual):
        return []
    values = {"value": f"{before_kg:g}", "tare": f"{tare:g}", "usual": f"{usual:.1f}"}
    return [Question("tub-left-in", "tare_kg", values=values, cells={"tare_kg": f"{tare:g}"})]


def _doubts(entry: Entry, plant: Plant, asked: Sequence[Question]) -> list[Question]:
    """What the kettle's advice does not believe, where no rule has asked about it already."""
    weighed = {"weight_before_kg", "weight_after_kg", "cook_temp_c", "residue_kg"}
    if any(one.column in weighed and not one.code.startswith("missing") for one in asked):
        return []
    advice = advice_of(entry.cells, plant)
    if advice is None or advice.do != "stir and measure again":
        return []
    return [Question("not-believed", "weight_after_kg", says=reason) for reason in advice.why]


def _reading(entry: Entry) -> list[Question]:
    """A reading that is typed far from the hour its column is for."""
    end = typed.time_of(entry.cells, "cook_end")
    asked = []
    for name, hour in (("temp_2h_c", 2.0), ("temp_6h_c", 6.0)):
        changed = entry.before is not None and entry.cells.get(name) != entry.before.cells.get(name)
        if end is None or not changed or not entry.cells.get(name):
            continue
        off_h = (entry.at - end).total_seconds() / 3600 - hour
        if abs(off_h) * 3600 > cooling.NEAR.total_seconds():
            asked.append(
                Question("not-at-its-hour", name, values={"hour": f"{hour:g}", "after": f"{off_h + hour:.1f}"})
            )
    return asked


def _weighed_before_it(entry: Entry) -> list[Question]:
    """Water stirred in after the cold weighing: Wc has to hold it, or it would count as lost in cooling."""
    was = entry.before.cells if entry.before else {}
    fresh = entry.cells.get("weight_cold_kg") != was.get("weight_cold_kg")
    if not was.get("weight_cold_kg") or fresh or entry.cells.get("kettle_water_kg") == was.get("kettle_water_kg"):
        return []
    return [Question("cold-before-water", "weight_cold_kg", values={"cold": was["weight_cold_kg"]}, stands=False)]


def _overtaken(entry: Entry, pastes: Sequence[Paste]) -> list[Question]:
    """A sheet came in with other weights for this paste: a row of this screen must not put its old ones back in force."""
    own_pct = loss_pct(entry.before.cells) if entry.before else None
    sheet_pct = next((paste.loss_pct for paste in pastes if paste.paste_key == entry.key), None)
    if own_pct is None or sheet_pct is None or abs(sheet_pct - own_pct) <= 0.01:
        return []
    values = {"sheet": f"{sheet_pct:.1f}", "own": f"{own_pct:.1f}"}
    return [Question("overtaken", "weight_after_kg", values=values, stands=False)]
