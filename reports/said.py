"""Why the board refused what somebody asked for, in the words of the screen they asked it on."""

from __future__ import annotations

from models.floor.acting import LONGEST_NOTE, ActRefused
from models.floor.quarantine import DecisionRefused
from models.texts import texts


def act_refused(no: ActRefused) -> str:
    """One sentence for an act on an alert."""
    role = texts("board")["role"][no.needs] if no.needs else ""
    said = texts("alert")["refused"][no.why].format(role=role, longest=LONGEST_NOTE)
    return said[:1].upper() + said[1:]


def decision_refused(no: DecisionRefused) -> str:
    """One sentence for a decision on rows in quarantine."""
    return texts("quarantine")["no"][no.why]
