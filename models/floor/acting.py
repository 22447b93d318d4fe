"""What people may do with an alert on the board, and with what role: one act from a posted form, or why it is refused."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING, Literal, cast, get_args

from models.floor.typed import one_line
from models.shapes import Finding
from models.storage.cases import Act, CaseEvent

if TYPE_CHECKING:
    from models.fixed import Role
    from models.people import Person
    from models.shapes import Alert

Why = Literal["no such act", "nobody", "may not", "closed", "no finding", "no note", "too long"]
ACTS: tuple[Act, ...] = get_args(Act)
LONGEST_NOTE = 500


@dataclass
class ActRefused(ValueError):
    """The act is refused. why: the key of its words; needs: the role that may, where a role decides."""

    why: Why
    needs: Role | None = None

    def __str__(self) -> str:
        return f"{self.why} ({self.needs})" if self.needs else self.why


def needs(alert: Alert, act: Act) -> Role:
    """The role an act needs: whoever is on the floor sees and hands over; a supervisor closes; only QA closes a hold.

    A hold is one by what it was stored as, whatever the hour. Closing its case releases nothing; still it says that all is done.
    """
    if act != "closed":
        return "floor"
    return "QA" if alert.urgency == "hold" else "supervisor"


def refused(alert: Alert, act: Act, person: Person | None, who: str) -> ActRefused | None:
    """Why this act cannot be done now by this person with these initials; None where it can. alert: as it is now."""
    role = needs(alert, act)
    if person is None or not who.strip():
        return ActRefused("nobody")
    if not person.may(role):
        return ActRefused("may not", role)
    return ActRefused("closed") if alert.case == "closed" else None


def act_of(form: Mapping[str, str], alert: Alert, person: Person | None, who: str, at: datetime) -> CaseEvent:
    """The act a form asks for: fields `act`, `found` and `note`. at: naive UTC.

    Raises ActRefused for an act that is none, that this person may not do, or that lacks its finding or its note.
    """
    act, note = form.get("act", ""), one_line(form.get("note", ""))
    found = form.get("found", "") if act == "closed" else ""
    if act not in ACTS:
        raise ActRefused("no such act")
    if no := refused(alert, act, person, who):
        raise no
    if act == "closed" and found not in get_args(Finding):
        raise ActRefused("no finding")
    if act in ("done", "handed over") and not note:
        raise ActRefused("no note")
    if len(note) > LONGEST_NOTE:
        raise ActRefused("too long")
    return CaseEvent(alert.alert, at, who.strip(), act, cast(Finding, found) if found else None, note)
