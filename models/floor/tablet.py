"""What the screens by the kettle and by the mixer have in common: one post, one answer; what is questioned changes nothing."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from datetime import datetime
from typing import TYPE_CHECKING, Any, Generic, TypeVar

from models.floor import asking, openpaste, typed
from models.floor.asking import Confirmation, Question
from models.floor.openpaste import Desk, Kind, Work
from models.floor.typed import Cells

if TYPE_CHECKING:
    from models.floor.view import View
    from models.plant import Plant
    from models.reader.numbers import Misread
    from models.storage.journal import Journal

Screen = TypeVar("Screen")
NAMES: dict[Kind, tuple[str, ...]] = {
    "paste": ("shift_date", "kettle", "paste_batch"),
    "dough": ("shift_date", "line", "dough_batch"),
}
"""The cells that a batch's name everywhere is made of."""


@dataclass(frozen=True)
class Entry:
    """What was typed. cells: the row as it would be now, standard form; more: what the log has no column for; wrong: what
    could not be read; before: the batch as it stood, None where it is new; who: initials, "" where nobody tapped; at: naive
    UTC."""

    kind: Kind
    step: str
    cells: Cells
    more: Cells
    wrong: Mapping[str, Misread]
    typed: Mapping[str, str]
    before: Work | None
    who: str
    at: datetime

    @property
    def key(self) -> str:
        """The batch's name everywhere, like shift_date/kettle/paste_batch."""
        return "/".join(self.cells.get(name, "") for name in NAMES[self.kind])


def stood_before(question: Question, entry: Entry) -> bool:
    """Whether a person has stood by this very cell already."""
    before = entry.before.cells if entry.before else {}
    same = before.get(question.column) == entry.cells.get(question.column)
    return question.code in before.get("confirmed", "").split() and same


@dataclass(frozen=True)
class Outcome(Generic[Screen]):
    """What came of a post. csv_text and log_name: a log to drop into the folder, None where there is none yet. said: a word
    of the screen's texts under [said]. key: the batch it was about."""

    screen: Screen
    csv_text: str | None = None
    log_name: str | None = None
    questions: tuple[Question, ...] = ()
    said: str = ""
    key: str = ""


@dataclass(frozen=True)
class Place(Generic[Screen]):
    """What is the kettle's or the mixer's own. first: the step that begins a batch; again: whether all of an entry stands
    already; keep: writes an entry down that nothing is left to ask of."""

    kind: Kind
    first: str
    entry_of: Callable[[Mapping[str, str], Desk, Plant, datetime, str], Entry]
    check: Callable[[Entry, View, Desk], tuple[Question, ...]]
    again: Callable[[Entry, Desk], bool]
    keep: Callable[[Entry, View, Journal], Outcome[Screen]]
    screen: Callable[[View, Desk, Entry], Screen]

    def post(self, form: Mapping[str, str], view: View, journal: Journal, now: datetime, who: str) -> Outcome[Screen]:
        """Take one step. form: fields by name, `step` among them; now: naive UTC; who: initials, "" where nobody tapped.

        What is questioned changes nothing until it is corrected or confirmed. Raises OSError where the journal cannot be written.
        """
        desk = openpaste.desk(journal)
        entry = self.entry_of(form, desk, view.plant, now, who)
        if entry.step != self.first and entry.before is None:
            return self.outcome(view, desk, entry, said="gone")
        if entry.step == "withdraw" and entry.before is not None and entry.before.stage == "open":
            openpaste.withdraw(journal, self.kind, form.get("key", ""), who, now)
            return self.outcome(view, openpaste.desk(journal), entry, said="withdrawn")
        if self.again(entry, desk):
            return self.outcome(view, desk, entry, said="already")
        questions = self.check(entry, view, desk)
        confirmed = Confirmation(typed.plain(form.get("confirm", "")), form.get("asked", ""), who)
        if questions and not confirmed.covers(questions, entry.cells):
            return self.outcome(view, desk, entry, questions)
        cells = asking.stood_by(entry.cells, questions, confirmed.initials, typed.time_text(now, view.plant))
        return self.keep(replace(entry, cells=cells), view, journal)

    def begin(self, entry: Entry, view: View, journal: Journal, said: str) -> Outcome[Screen]:
        """Write down a batch that is no row yet."""
        was = entry.before.key if entry.before else None
        openpaste.begin(journal, self.kind, entry.key, entry.cells, entry.more, entry.at, was)
        return self.outcome(view, openpaste.desk(journal), entry, said=said)

    def record(self, entry: Entry, view: View, journal: Journal, said: str) -> Outcome[Screen]:
        """Write down a batch as a row, and give the log to drop."""
        was = entry.before.key if entry.before else None
        cells = entry.cells | {"entered_at": typed.time_text(entry.at, view.plant)}
        name, log = openpaste.record(journal, self.kind, entry.key, cells, entry.more, entry.at, was)
        return replace(self.outcome(view, openpaste.desk(journal), entry, said=said), csv_text=log, log_name=name)

    def outcome(
        self, view: View, desk: Desk, entry: Entry, questions: tuple[Question, ...] = (), said: str = ""
    ) -> Outcome[Screen]:
        """The screen as it stands now, with what is asked on it."""
        screen: Any = self.screen(view, desk, entry)
        if questions:
            screen = replace(
                screen,
                step=entry.step,
                key=entry.typed.get("key", ""),
                filled={**screen.filled, **entry.typed},
                questions=questions,
                asked=asking.mark(questions, entry.cells),
            )
        named = entry.cells.get(NAMES[self.kind][-1])
        return Outcome(screen, questions=questions, said=said, key=entry.key if named else "")
