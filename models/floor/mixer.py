"""The screen by the mixer: a dough worked out before it is mixed, and recorded with what was put in.

Its steps: plan (what is to be made), mixed (what went in, and how warm it came out), withdraw (a dough that is not made
after all). `post` takes one of them, `get` shows where things stand.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from typing import TYPE_CHECKING, Literal

from models.floor import asking, kettleside, onhold, openpaste, typed
from models.floor import cooling as clocks
from models.floor.asking import Question
from models.floor.doughplan import BESIDE, Plan, own_heat, plan
from models.floor.onhold import OnHold
from models.floor.openpaste import Desk, Work
from models.floor.pasteentry import same
from models.floor.tablet import Entry, Outcome, Place, stood_before
from models.floor.typed import Cells
from models.logbook import DOUGH_LOG, PASTE, PASTE_REACH_H, Column
from models.reader.numbers import Misread
from models.texts import texts

if TYPE_CHECKING:
    from models.floor.view import Paste, View
    from models.plant import Plant
    from models.storage.journal import Journal

Step = Literal["plan", "mixed", "withdraw"]
STEPS: tuple[Step, ...] = ("plan", "mixed", "withdraw")
IDENTITY = ("dough_batch", "line", "shift_date", "shift")
NEEDED: dict[str, tuple[str, ...]] = {
    "plan": (*IDENTITY, "product", "flour_kg"),
    "mixed": ("liquid_kg", "yeast_kg"),
}
STAYS = timedelta(hours=2)
# beside the log's own columns; a temperature's or a weight's bounds are those of the column that is alike
MORE: dict[str, Column] = {
    "wanted_temp_c": DOUGH_LOG.by_name["dough_temp_c"],
    "tap_temp_c": DOUGH_LOG.by_name["water_temp_c"],
    "store_temp_c": DOUGH_LOG.by_name["water_temp_c"],
    "mixing_kj_kg": Column("mixing_kj_kg", "number", "heat of mixing", "kJ/kg", can_be=(0, 100)),
    "ice_kg": DOUGH_LOG.by_name["makeup_water_kg"],
    **{f"{name}_kg": PASTE.by_name["residue_kg"] for name in BESIDE},
}


@dataclass(frozen=True)
class Answer:
    """One dough worked out. clock: of its paste, None where none is chosen. still_kg: water owed and not put in, None while
    nobody has said what was put in."""

    work: Work
    plan: Plan
    paste: Paste | None
    clock: clocks.Clock | None
    still_kg: float | None


@dataclass(frozen=True)
class Screen:
    """Everything the mixer screen shows; `filled`, `step`, `questions` and `asked` as at the kettle. held: pastes on hold that
    could go into a dough of this line, or are meant to, by key."""

    plant: Plant
    now: datetime
    who: str
    line: str
    products: tuple[str, ...]
    shifts: tuple[typed.ShiftOf, ...]
    pastes: tuple[clocks.Clock, ...]
    filled: Mapping[str, str]
    open: tuple[Work, ...]
    answers: tuple[Answer, ...]
    held: Mapping[str, OnHold] = field(default_factory=dict)
    step: str = ""
    key: str = ""
    questions: tuple[Question, ...] = ()
    asked: str = ""


# --- one post, one answer -----------------------------------------------------------------------


def post(form: Mapping[str, str], view: View, journal: Journal, now: datetime, who: str) -> Outcome[Screen]:
    """Take one step, as `tablet.Place.post` has it."""
    return MIXER.post(form, view, journal, now, who)


def get(query: Mapping[str, str], view: View, journal: Journal, now: datetime, who: str) -> Screen:
    """The screen as it stands. query: `line`, as in the plant file."""
    return _screen(view, openpaste.desk(journal), query.get("line", ""), now, who)


def _again(entry: Entry, desk: Desk) -> bool:
    known = entry.before or desk.works.get(f"dough:{entry.key}")
    if known is None:
        return False
    settled = known.stage == "recorded" or entry.step == "plan"
    unchanged = same(entry.cells, known) and entry.more == known.more
    return entry.step == "withdraw" or (settled and unchanged)


def _keep(entry: Entry, view: View, journal: Journal) -> Outcome[Screen]:
    return (MIXER.begin if entry.step == "plan" else MIXER.record)(entry, view, journal, entry.step)


def _shown(view: View, desk: Desk, entry: Entry) -> Screen:
    return _screen(view, desk, entry.cells.get("line", ""), entry.at, entry.who)


# --- what was typed -----------------------------------------------------------------------------


def entry_of(form: Mapping[str, str], desk: Desk, plant: Plant, now: datetime, who: str) -> Entry:
    """A form as an entry. A field that is there and empty empties the cell; one that is not there leaves it as it stood."""
    step: Step = next((one for one in STEPS if one == form.get("step")), "plan")
    before = desk.works.get(f"dough:{form.get('key', '')}") if form.get("key") else None
    spelt = _spelt_out(form)
    cells, wrong = typed.typed("dough", spelt, now, plant)
    more, also_wrong = _more(spelt)
    if before is not None:
        cells = {k: v for k, v in before.cells.items() if k not in spelt} | cells
        more = {k: v for k, v in before.more.items() if k not in spelt} | more
    if before is not None and before.stage == "recorded":
        cells |= {name: before.cells[name] for name in IDENTITY}
    if step == "mixed" and not cells.get("mixed_at"):
        cells["mixed_at"] = typed.time_text(now, plant)
    if who:
        cells["operator"] = who
    return Entry("dough", step, cells, more, wrong | also_wrong, dict(form), before, who, now)


def _spelt_out(form: Mapping[str, str]) -> dict[str, str]:
    """A chosen shift and a chosen paste as the columns they stand for."""
    spelt = dict(form)
    if form.get("shift_of"):
        spelt["shift_date"], _, spelt["shift"] = form["shift_of"].partition("/")
    if "paste_key" in form:
        spelt["paste_batch"] = form["paste_key"].split("/", 2)[-1]
    return spelt


def _more(spelt: Mapping[str, str]) -> tuple[Cells, dict[str, Misread]]:
    more: Cells = {"paste_key": spelt["paste_key"]} if spelt.get("paste_key") else {}
    wrong: dict[str, Misread] = {}
    for name, column in MORE.items():
        value = typed.number(typed.plain(spelt.get(name, "")), column)
        low, high = column.can_be or (0.0, 0.0)
        if isinstance(value, Misread):
            wrong[name] = value
        elif value is not None and not low <= value <= high:
            said = texts("typed")["outside"]
            wrong[name] = Misread(said.format(value=value, low=low, high=high, unit=column.unit))
        elif value is not None:
            more[name] = f"{value:.15g}"
    return more, wrong


# --- what is asked at once ----------------------------------------------------------------------


def check(entry: Entry, view: View, desk: Desk) -> tuple[Question, ...]:
    """Everything impossible or unlikely about an entry, by the dough log's own rules and the plant file's limits."""
    asked = [*asking.unreadable(entry.wrong), *asking.missing(entry.cells, NEEDED.get(entry.step, ()))]
    asked += asking.ahead(entry.cells, ("mixed_at",), entry.at, view.plant)
    if asked:
        return tuple(asked)
    asked += asking.by_rules("dough", entry.cells, view.plant, _beside(entry, desk))
    if entry.step == "plan":
        asked += [*_place(entry, view.plant), *_name(entry, desk), *_paste(entry, view, desk)]
    if entry.step == "mixed":
        asked += asking.missing(entry.cells, ("dough_temp_c",), stands=True)
    asked += _held(entry, view)
    return tuple(one for one in asked if not stood_before(one, entry))


def _beside(entry: Entry, desk: Desk) -> list[Cells]:
    wanted = [entry.cells.get(name) for name in ("line", "product")]
    rows = [work.cells for work in desk.recorded("dough") if work.key != entry.key]
    return [cells for cells in rows if [cells.get(name) for name in ("line", "product")] == wanted][-20:]


def _place(entry: Entry, plant: Plant) -> list[Question]:
    line, product = plant.lines.get(entry.cells["line"]), entry.cells["product"]
    if line is None or product in line.products:
        return []
    return [Question("product-of-another-line", "product", values={"product": product, "line": entry.cells["line"]})]


def _name(entry: Entry, desk: Desk) -> list[Question]:
    work = desk.works.get(f"dough:{entry.key}")
    if work is None or (entry.before is not None and entry.before.key == entry.key and work.stage == "open"):
        return []
    return [Question(f"name-taken.{work.stage}", "dough_batch", values={"value": entry.cells["dough_batch"]})]


def _paste(entry: Entry, view: View, desk: Desk) -> list[Question]:
    """A paste of another recipe, past its age, or one that missed its cooling."""
    paste = _paste_of(entry.more, view, desk)
    product = view.plant.products.get(entry.cells["product"])
    if paste is None or product is None:
        return []
    asked = []
    if paste.recipe != product.paste:
        values = {"paste": paste.recipe, "wants": product.paste or ""}
        asked.append(Question("paste-of-another-product", "paste_batch", values=values))
    clock = clocks.cooling(view.plant, paste, entry.at)
    recipe = view.plant.pastes.get(paste.recipe)
    if clock and recipe and clock.minutes > 60 * recipe.age_h.act:
        values = {"age": f"{clock.minutes / 60:.0f}", "limit": f"{recipe.age_h.act:g}"}
        asked.append(Question("paste-too-old", "paste_batch", values=values))
    if clock and clock.state == "missed":
        asked.append(Question("cooling-missed", "paste_batch", values={"value": paste.name}))
    return asked


def _held(entry: Entry, view: View) -> list[Question]:
    """A paste or flour that is on hold, at every step until it is in the dough; what it is poured into is held with it."""
    asked = []
    paste, lot = onhold.pastes(view).get(entry.more.get("paste_key", "")), entry.cells.get("flour_lot", "")
    if paste is not None:
        asked.append(Question("paste-on-hold", "paste_batch", values={"value": paste.name, "why": paste.why}))
    return asked + onhold.flour_question(lot, view)


def _paste_of(more: Mapping[str, str], view: View, desk: Desk) -> Paste | None:
    return next((one for one in kettleside.cooled(view, desk) if one.paste_key == more.get("paste_key")), None)


# --- the screen ---------------------------------------------------------------------------------


def answer(work: Work, view: View, desk: Desk, now: datetime) -> Answer:
    """A dough worked out, and what is still owed once somebody has said what was put in."""
    plant = view.plant
    paste = _paste_of(work.more, view, desk)
    found = plan(plant, work.cells, work.more, paste, own_heats(plant, desk, work.cells.get("line", "")))
    put_kg = typed.number_of(work.cells, "makeup_water_kg")
    still = None if put_kg is None or found.owed.water_kg is None else max(0.0, found.owed.water_kg - put_kg)
    return Answer(work, found, paste, clocks.cooling(plant, paste, now) if paste else None, still)


def own_heats(plant: Plant, desk: Desk, line: str) -> list[float]:
    """Mixing heats of the last ten doughs finished on the line's mixer (kJ/kg)."""

    def mixer(name: str) -> str:
        return (plant.lines[name].mixer or name) if name in plant.lines else name

    works = [work for work in desk.recorded("dough") if mixer(work.cells.get("line", "")) == mixer(line)]
    return [found for work in works[-10:] if (found := own_heat(plant, work)) is not None]


def _screen(view: View, desk: Desk, line: str, now: datetime, who: str) -> Screen:
    plant = view.plant
    if line not in plant.lines:
        waiting = [work.cells.get("line", "") for work in desk.open("dough")]
        line = next((one for one in reversed(waiting) if one in plant.lines), next(iter(plant.lines)))
    mine = [work for work in desk.open("dough") if work.cells.get("line") == line]
    done = [work for work in desk.recorded("dough") if work.cells.get("line") == line and now - work.at <= STAYS]
    shown = [work for work in mine + done[-1:] if work.cells.get("product") in plant.products]
    usable = _usable(view, desk, line, now)
    meant = {clock.key for clock in usable} | {work.more.get("paste_key", "") for work in mine}
    return Screen(
        plant,
        now,
        who,
        line,
        plant.lines[line].products,
        typed.shifts_near(plant, now),
        usable,
        _suggested(view, desk, line, now),
        desk.open("dough"),
        tuple(answer(work, view, desk, now) for work in shown),
        {key: one for key, one in onhold.pastes(view).items() if key in meant},
    )


def _usable(view: View, desk: Desk, line: str, now: datetime) -> tuple[clocks.Clock, ...]:
    """Pastes that may go into a dough of this line: of its products' recipes, not past the reach of a paste; the newest first."""
    plant = view.plant
    recipes = {plant.products[name].paste for name in plant.lines[line].products}
    pastes = [paste for paste in kettleside.cooled(view, desk) if paste.recipe in recipes]
    found = [clock for paste in pastes if (clock := clocks.cooling(plant, paste, now)) is not None]
    young = [clock for clock in found if 0 <= clock.minutes <= 60 * PASTE_REACH_H]
    return tuple(sorted(young, key=lambda clock: (clock.minutes, clock.key)))


def _suggested(view: View, desk: Desk, line: str, now: datetime) -> Cells:
    """What the next dough starts from: its name, and what the line's last dough had that stays the same."""
    shift = typed.running(view.plant, now)
    works = [work for work in desk.works.values() if work.kind == "dough" and work.cells.get("line") == line]
    last = max(works, key=lambda work: (work.since, work.key), default=None)
    today = [work for work in works if work.cells["shift_date"] == f"{shift.date}"]
    newest = max(today, key=lambda work: (work.since, work.key), default=None)
    seen = view.lines.get(line)
    name = newest.cells["dough_batch"] if newest else ""
    if seen is not None and seen.batch.startswith(f"{shift.date}/") and (newest is None or seen.at > newest.at):
        name = seen.name
    kept = ("product", "flour_kg", "flour_lot", "yeast_lot", "flour_temp_c", "room_temp_c")
    cells = {one: last.cells[one] for one in kept if last and last.cells.get(one)}
    also = ("tap_temp_c", "store_temp_c", "paste_key", *(f"{one}_kg" for one in BESIDE))
    cells |= {one: last.more[one] for one in also if last and last.more.get(one)}
    return cells | {"line": line, "shift_of": shift.name, "dough_batch": typed.next_name(name)}


MIXER = Place("dough", "plan", entry_of, check, _again, _keep, _shown)
