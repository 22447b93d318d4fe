"""What a person sent from the holds screen, as an act to be recorded. Nothing in it is believed beyond its form."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import datetime

from models.fixed import GROUNDS
from models.floor.holds import ENDS, Act, HoldEvent
from models.floor.typed import one_line
from models.storage.holds import HoldError, named
from models.texts import texts

LONGEST = 500
ACTS: tuple[Act, ...] = (*ENDS, "left the house")


def to_hold(form: Mapping[str, str], who: str, at: datetime, pastes: Sequence[str], doughs: Sequence[str]) -> HoldEvent:
    """POST /holds: fields batch (names parted by commas), ground, because, and under ("" or a hold that is there).

    pastes, doughs: every key in the store, in order of production. Raises HoldError, one line.
    """
    ground = next((ground for ground in GROUNDS if ground == form.get("ground", "other")), None)
    if ground is None:
        raise _refused("ground", GROUNDS)
    names = [name.strip() for name in form.get("batch", "").split(",") if name.strip()]
    own, into = named(names, pastes, doughs)
    return HoldEvent(form.get("under", ""), at, who, "held", _because(form), own, into, ground)


def to_end(form: Mapping[str, str], hold: str, who: str, at: datetime) -> HoldEvent:
    """POST /holds/<hold>/release: fields act (released, disposed, left the house), because, and one on:KIND:KEY a batch
    that was ticked. Raises HoldError, one line: only what the person saw and ticked is decided on."""
    act = next((act for act in ACTS if act == form.get("act", "released")), None)
    if act is None:
        raise _refused("act", ACTS)
    ticked = [name.split(":", 2)[1:] for name in form if name.startswith("on:") and name.count(":") >= 2]
    if not ticked:
        raise _refused("batches")
    pastes, doughs = (tuple(key for kind, key in ticked if kind == wanted) for wanted in ("paste", "dough"))
    if len(pastes) + len(doughs) < len(ticked):
        raise _refused("box")
    return HoldEvent(hold, at, who, act, _because(form), pastes, doughs)


def _refused(why: str, may_be: Sequence[str] = ()) -> HoldError:
    return HoldError(texts("holds")["refused"][why].format(may_be=", ".join(may_be)))


def _because(form: Mapping[str, str]) -> str:
    return one_line(form.get("because", ""))[:LONGEST]
