"""Questions about what was typed on a screen, asked at once: by the very reader and rules that the row will meet as a log.

A questioned entry is corrected, or it stands because a person typed initials again; then it is recorded with that.
"""

from __future__ import annotations

import hashlib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

from models.floor import typed
from models.floor.typed import Cells
from models.logbook import TABLES
from models.reader.numbers import Misread

if TYPE_CHECKING:
    import pandas as pd

    from models.judging.rules import Rule
    from models.plant import Plant


@dataclass(frozen=True)
class Question:
    """One doubt. code: names its words in the screen's texts, filled in with `values`; says: the words where the texts have
    none. column: the cell it is about. proposal: what was probably meant, in words; cells: the same, column to text.
    stands: whether it may stand once a person confirms it."""

    code: str
    column: str
    says: str = ""
    values: Mapping[str, Any] = field(default_factory=dict)
    proposal: str | None = None
    cells: Mapping[str, str] = field(default_factory=dict)
    stands: bool = True


@dataclass(frozen=True)
class Confirmation:
    """Initials typed again. said: of which questions (`mark`); who: the initials that work here, "" where nobody tapped."""

    initials: str
    said: str
    who: str

    def covers(self, questions: Sequence[Question], cells: Mapping[str, str]) -> bool:
        """Whether exactly these doubts about exactly these cells were shown, all may stand, and the same person stands by them."""
        same = not self.who or self.initials.casefold() == self.who.casefold()
        may = all(one.stands for one in questions)
        return bool(self.initials) and same and may and self.said == mark(questions, cells)


def mark(questions: Sequence[Question], cells: Mapping[str, str]) -> str:
    """What a form carries so that a confirmation holds for the doubts that were shown, of the values they were shown for."""
    stamped = {"cook_start", "cook_end", "mixed_at"}
    text = repr((sorted(q.code for q in questions), sorted((k, v) for k, v in cells.items() if k not in stamped)))
    return hashlib.sha256(text.encode()).hexdigest()[:16]


def unreadable(wrong: Mapping[str, Misread]) -> list[Question]:
    """A question for each cell that cannot be read."""
    return [Question("unreadable", name, one.why, proposal=one.proposal, stands=False) for name, one in wrong.items()]


def missing(cells: Mapping[str, str], names: Sequence[str], stands: bool = False) -> list[Question]:
    """A question for each of these cells that is empty."""
    return [Question(f"missing.{name}", name, stands=stands) for name in names if not cells.get(name)]


def ahead(cells: Mapping[str, str], names: Sequence[str], now: Any, plant: Plant) -> list[Question]:
    """A question for each time that has not come yet."""
    found = []
    for name in names:
        at = typed.time_of(cells, name)
        if at and at > now + typed.AHEAD:
            minutes = (at - now).total_seconds() / 60
            values = {"at": typed.clock_text(at, plant), "minutes": f"{minutes:.0f}"}
            found.append(Question("ahead", name, values=values, stands=False))
    return found


def by_rules(kind: str, cells: Cells, plant: Plant, beside: Sequence[Mapping[str, str]] = ()) -> list[Question]:
    """The log's truth rules held against one row, as they will be once it is dropped. beside: earlier rows of the same place,
    which show what is usual there. A column that is still empty is not asked about."""
    from models.judging import checks, derive
    from models.judging.rules import truth_rules
    from models.reader import intake, reading

    text = typed.log_text(kind, [*beside, cells])
    read = reading.typed(intake.read(kind, text.encode(), plant), plant)
    last = len(read.frame) - 1
    asked = [
        Question("unreadable", slip.column, slip.why, proposal=slip.proposal, stands=False)
        for slip in read.slips
        if slip.row == last and slip.rule != "required"
    ]
    import pandas as pd

    rows = derive.for_truth(kind, read.frame, pd.Series(0, index=read.frame.index), plant)
    mine, row = rows.iloc[[last]], rows.iloc[last]
    filled = set(rows.columns[mine.notna().to_numpy()[0]])
    able = [rule for rule in truth_rules(kind) if filled.issuperset(rule.needs)]
    return asked + [_of_rule(rule, row, cells, plant) for rule in able if checks.verdict(rule, mine).broken[0]]


def _of_rule(rule: Rule, row: pd.Series, cells: Mapping[str, str], plant: Plant) -> Question:
    from models.judging import checks, proposals

    table = TABLES[rule.kind]
    meant = proposals.propose(rule, row, plant)
    return Question(
        rule.code,
        rule.column,
        _on_a_screen(checks.explain(rule, row, plant, cells.get(rule.column, ""))),
        proposal=proposals.in_words(meant, table, plant),
        cells={name: proposals.as_text(value, plant) for name, value in (meant or {}).items()},
    )


def _on_a_screen(says: str) -> str:
    """A rule's sentence without its last words, which are for paper."""
    for words in (" or correct the sheet", ", and correct the sheet", " Correct the sheet"):
        says = says.removesuffix(words)
    return says if says.endswith((".", "?")) else f"{says}."


def stood_by(cells: Cells, questions: Sequence[Question], initials: str, at: str) -> Cells:
    """The row with who stands by it, and by what; as it is where nothing was asked."""
    if not questions:
        return cells
    codes = dict.fromkeys([*cells.get("confirmed", "").split(), *(one.code for one in questions)])
    return cells | {"confirmed_by": initials, "confirmed_at": at, "confirmed": " ".join(codes)}
