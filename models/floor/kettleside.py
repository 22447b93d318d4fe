"""The screen by the kettle: a paste weighed before and after its cook, questioned at once, answered in one instruction, and
recorded as a row of the paste log like any other's.

Its steps: charge (Wb), off (the heat), weigh (Wa, residue, temperature), water (what was put back), cooled (the readings
at 2 h and 6 h), cold (Wc), withdraw (a charge begun by mistake). `post` takes one of them, `get` shows where things stand.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import datetime
from typing import TYPE_CHECKING

from models.floor import cooling as clocks
from models.floor import onhold, openpaste, typed
from models.floor.asking import Question
from models.floor.onhold import OnHold
from models.floor.openpaste import Desk, Work
from models.floor.pasteanswer import Answer, advice_of, answer
from models.floor.pastechecks import NEEDED, Previous, check
from models.floor.pasteentry import entry_of, row, same
from models.floor.tablet import Entry, Outcome, Place
from models.floor.typed import Cells, number_of

if TYPE_CHECKING:
    from models.floor.view import Paste, View
    from models.plant import Plant
    from models.storage.journal import Journal

__all__ = ["Entry", "Outcome", "Previous", "Screen", "check", "cooled", "get", "post", "row"]


@dataclass(frozen=True)
class Screen:
    """Everything the kettle screen shows. filled: what stands in the fields of the form `step`; asked: marks its
    questions. here: pastes whose readings can be typed here, because their rows were made here; uncold: this kettle's of them
    that have no cold weight yet and went into no dough, the newest first; held: its pastes of late that are on hold."""

    plant: Plant
    now: datetime
    who: str
    kettle: str
    recipes: tuple[str, ...]
    shifts: tuple[typed.ShiftOf, ...]
    filled: Mapping[str, str]
    open: tuple[Work, ...]
    answers: tuple[Answer, ...]
    clocks: tuple[clocks.Clock, ...]
    here: frozenset[str] = frozenset()
    uncold: tuple[Work, ...] = ()
    held: tuple[OnHold, ...] = ()
    step: str = ""
    key: str = ""
    questions: tuple[Question, ...] = ()
    asked: str = ""


# --- one post, one answer -----------------------------------------------------------------------


def post(form: Mapping[str, str], view: View, journal: Journal, now: datetime, who: str) -> Outcome[Screen]:
    """Take one step, as `tablet.Place.post` has it."""
    return KETTLE.post(form, view, journal, now, who)


def get(query: Mapping[str, str], view: View, journal: Journal, now: datetime, who: str) -> Screen:
    """The screen as it stands. query: `kettle`, as in the plant file."""
    return _screen(view, openpaste.desk(journal), query.get("kettle", ""), now, who)


def _again(entry: Entry, desk: Desk) -> bool:
    """Whether all of this stands already: a button pressed twice, a page sent again."""
    known = entry.before or desk.works.get(f"paste:{entry.key}")
    if known is None or entry.step == "off" or not all(entry.cells.get(name) for name in NEEDED.get(entry.step, ())):
        return False
    settled = known.stage == "recorded" or entry.step == "charge"
    return entry.step == "withdraw" or (settled and same(entry.cells, known))


def _keep(entry: Entry, view: View, journal: Journal) -> Outcome[Screen]:
    if _is_row(entry, view.plant):
        return KETTLE.record(entry, view, journal, entry.step)
    return KETTLE.begin(entry, view, journal, "again" if entry.step == "weigh" else entry.step)


def _questions(entry: Entry, view: View, desk: Desk) -> tuple[Question, ...]:
    return (*check(entry, view.plant, Previous(view.pastes, desk)), *_held(entry, view))


def _held(entry: Entry, view: View) -> list[Question]:
    """A flour lot that is in what is held, until its paste is weighed: after that its hold is QA's."""
    lot = entry.cells.get("flour_lot", "")
    return onhold.flour_question(lot, view) if entry.step in ("charge", "weigh") else []


def _shown(view: View, desk: Desk, entry: Entry) -> Screen:
    return _screen(view, desk, entry.cells.get("kettle") or entry.typed.get("kettle", ""), entry.at, entry.who)


def _is_row(entry: Entry, plant: Plant) -> bool:
    """A paste that has to be cooked on is no row yet, unless a person records it as it is."""
    if entry.step in ("charge", "off"):
        return False
    advice = advice_of(entry.cells, plant)
    return not (entry.step == "weigh" and advice and advice.do == "cook on" and not entry.typed.get("as_it_is"))


KETTLE = Place("paste", "charge", entry_of, _questions, _again, _keep, _shown)


# --- the screen ---------------------------------------------------------------------------------


def _screen(view: View, desk: Desk, kettle: str, now: datetime, who: str) -> Screen:
    plant = view.plant
    kettle = kettle if kettle in plant.kettles else _busiest(desk, plant)
    mine = [work for work in desk.open("paste") if work.cells.get("kettle") == kettle]
    done = [work for work in desk.recorded("paste") if work.cells.get("kettle") == kettle]
    weighed = [work for work in mine if work.cells.get("weight_after_kg")] + done[-1:]
    return Screen(
        plant,
        now,
        who,
        kettle,
        plant.kettles[kettle].pastes if kettle else (),
        typed.shifts_near(plant, now),
        _suggested(view, desk, kettle, now),
        desk.open("paste"),
        _answers([work for work in weighed if now - work.at <= clocks.STAYS], plant, bool(mine)),
        clocks.on_the_clock(plant, cooled(view, desk), now),
        frozenset(work.key for work in desk.recorded("paste")),
        _uncold(view, done, now),
        _on_hold(view, desk, kettle, now),
    )


def _on_hold(view: View, desk: Desk, kettle: str, now: datetime) -> tuple[OnHold, ...]:
    """Pastes of this kettle that a dough may still name, as far as they are on hold."""
    of_late = {
        paste.paste_key
        for paste in cooled(view, desk)
        if paste.kettle == kettle and paste.cooked_at and now - paste.cooked_at <= openpaste.KEPT
    }
    return tuple(one for key, one in onhold.pastes(view).items() if key in of_late)


def _uncold(view: View, done: list[Work], now: datetime) -> tuple[Work, ...]:
    used = {paste.paste_key for paste in view.pastes if paste.doughs}
    left = [work for work in done if not work.cells.get("weight_cold_kg") and work.key not in used]
    return tuple(reversed([work for work in left if now - work.since <= openpaste.KEPT]))


def _answers(works: list[Work], plant: Plant, cooking: bool) -> tuple[Answer, ...]:
    """What to do now; while the next paste cooks, of the one before only water that nobody has put back."""
    found = [answer(work, plant) for work in works]
    return tuple(one for one in found if not cooking or one.stage == "open" or _water_waits(one))


def _water_waits(one: Answer) -> bool:
    """Whether water is owed that nobody has put back: by the hot weight, or by the cold one after it."""
    return one.owed_kg > 0 and (one.put_kg is None or one.cold_kg is not None)


def _busiest(desk: Desk, plant: Plant) -> str:
    """Where the newest weighing waits; else the plant file's first kettle, "" where it has none."""
    waiting = [work.cells.get("kettle", "") for work in desk.open("paste")]
    return next((one for one in reversed(waiting) if one in plant.kettles), next(iter(plant.kettles), ""))


def _suggested(view: View, desk: Desk, kettle: str, now: datetime) -> Cells:
    """What a new charge starts from: the next batch name of this shift, and what the kettle's last charge had."""
    shift = typed.running(view.plant, now)
    works = [work for work in desk.works.values() if work.kind == "paste" and work.cells.get("kettle") == kettle]
    last = max(works, key=lambda work: (work.since, work.key), default=None)
    names = {work.cells["paste_batch"]: work.since for work in works if work.cells["shift_date"] == f"{shift.date}"}
    for paste in view.pastes:
        if paste.kettle == kettle and paste.paste_key.startswith(f"{shift.date}/") and paste.cooked_at:
            names[paste.name] = paste.cooked_at
    kept = {name: last.cells[name] for name in ("recipe", "tare_kg", "scale") if last and last.cells.get(name)}
    if last and last.more.get("doughs"):
        kept["doughs"] = last.more["doughs"]
    newest = max(names, key=lambda name: (names[name], name), default="")
    return kept | {"kettle": kettle, "shift_of": shift.name, "paste_batch": typed.next_name(newest)}


def cooled(view: View, desk: Desk) -> tuple[Paste, ...]:
    """Pastes of the store, and those of this screen that are not in it yet, with the readings of both."""
    found = {paste.paste_key: paste for paste in view.pastes}
    for work in desk.recorded("paste"):
        known = found.get(work.key) or _not_taken_yet(work)
        two, six = (number_of(work.cells, name) for name in ("temp_2h_c", "temp_6h_c"))
        found[work.key] = replace(
            known,
            temp_2h_c=two if known.temp_2h_c is None else known.temp_2h_c,
            temp_6h_c=six if known.temp_6h_c is None else known.temp_6h_c,
        )
    return tuple(found.values())


def _not_taken_yet(work: Work) -> Paste:
    from models.floor.view import Paste

    cells, end = work.cells, typed.time_of(work.cells, "cook_end")
    return Paste(work.key, cells["paste_batch"], cells["kettle"], cells["recipe"], end, None, None, None, None)
