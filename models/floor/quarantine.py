"""What waits in quarantine for a person, alike rows together, and what QA asks to be done with it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Literal

from models.floor.typed import one_line
from models.logbook import TABLES
from models.pages import words
from models.texts import texts

if TYPE_CHECKING:
    from models.fixed import Role
    from models.floor.view import View
    from models.people import Person
    from models.storage.decisions import Verdict

Why = Literal["nobody", "may not", "no such act", "no such row", "no reason", "nothing proposed", "too long"]
NEEDS: Role = "QA"
ROWS_SHOWN = 25
LONGEST_REASON = 500
VERDICTS: dict[str, Verdict] = {"confirm": "confirmed", "reject": "rejected"}


@dataclass
class DecisionRefused(ValueError):
    """The decision is refused. why: the key of its words."""

    why: Why

    def __str__(self) -> str:
        return self.why


@dataclass(frozen=True)
class Row:
    """One row. value: as written, "" where it names a person; proposal: the reading that would fit, "" where none does."""

    seq: int
    where: str
    column: str
    value: str
    why: str
    proposal: str


@dataclass(frozen=True)
class Group:
    """Rows that break one rule. n: all of them, of which `rows` are shown; confirmable: something is proposed for each."""

    rule: str
    title: str
    n: int
    rows: tuple[Row, ...]
    confirmable: bool


@dataclass(frozen=True)
class QuarantineScreen:
    """What waits, by consequence. no: why the one who looks may not decide, None where they may; longest: of a reason."""

    groups: tuple[Group, ...]
    waiting: int
    refused: tuple[tuple[str, str], ...]
    no: Why | None
    longest: int = LONGEST_REASON


@dataclass(frozen=True)
class Asked:
    """What QA asks for: `models.storage.decisions.chosen(rows, seqs, alike)` gives the rows meant. because: may be ""."""

    verdict: Verdict
    seqs: tuple[int, ...]
    alike: str | None
    because: str


def quarantine(view: View, person: Person | None = None, who: str = "") -> QuarantineScreen:
    """The rows of the view in the order in which `loaftrace quarantine` lists them."""
    groups: dict[str, list[dict[str, Any]]] = {}
    for row in view.quarantine:
        groups.setdefault(row["rule"], []).append(row)
    return QuarantineScreen(
        groups=tuple(_group(rule, rows) for rule, rows in groups.items()),
        waiting=len(view.quarantine),
        refused=view.refused[-ROWS_SHOWN:][::-1],
        no=may_not(person, who),
    )


def may_not(person: Person | None, who: str) -> Why | None:
    """Why this person with these initials may not decide; None where they may."""
    if person is None or not who.strip():
        return "nobody"
    return None if person.may(NEEDS) else "may not"


def asked(form: Mapping[str, str], view: View, person: Person | None, who: str) -> Asked:
    """What a form asks for: fields `act` (confirm or reject), `row` or `alike`, and `because`.

    Raises DecisionRefused for an act that is none, rows that do not wait (any more), a rejection without a reason, a
    confirmation of what nothing is proposed for, and for whoever may not.
    """
    if no := may_not(person, who):
        raise DecisionRefused(no)
    act, because = form.get("act", ""), one_line(form.get("because", ""))
    if act not in VERDICTS:
        raise DecisionRefused("no such act")
    alike, row = form.get("alike", ""), form.get("row", "")
    meant = [r for r in view.quarantine if (r["rule"] == alike if alike else str(r["seq"]) == row)]
    if not meant:
        raise DecisionRefused("no such row")
    _sound(act, because, meant)
    return Asked(VERDICTS[act], () if alike else (meant[0]["seq"],), alike or None, because)


def _sound(act: str, because: str, meant: Sequence[dict[str, Any]]) -> None:
    if act == "confirm" and not all(row["cells"] for row in meant):
        raise DecisionRefused("nothing proposed")
    if act == "reject" and not because:
        raise DecisionRefused("no reason")
    if len(because) > LONGEST_REASON:
        raise DecisionRefused("too long")


def _group(rule: str, rows: Sequence[dict[str, Any]]) -> Group:
    kind = rows[0]["kind"]
    return Group(
        rule=rule,
        title=f"{kind.capitalize()}: {words.rule(rule)}",
        n=len(rows),
        rows=tuple(_row(row) for row in rows[:ROWS_SHOWN]),
        confirmable=all(row["cells"] for row in rows),
    )


def _row(row: Mapping[str, Any]) -> Row:
    column = TABLES[row["kind"]].by_name.get(row["column"]) if row["kind"] in TABLES else None
    personal = column is not None and column.personal
    return Row(
        seq=row["seq"],
        where=texts("quarantine")["at"].format(file=row["file"], row=row["row"]),
        column="" if words.missing(row["column"]) else row["column"],
        value="" if personal or words.missing(row["value"]) else str(row["value"]),
        why="" if personal else words.sentence(row["why"]),
        proposal="" if personal or not row["proposal"] or not row["cells"] else str(row["proposal"]),
    )
