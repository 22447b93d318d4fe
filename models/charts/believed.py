"""Was the chart believed? Counts of what people found when they closed its alarms."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta

from models.shapes import Finding
from models.texts import in_number, texts


@dataclass(frozen=True)
class Closing:
    """One alarm of a chart and what a person found; None: still open."""

    alert: str
    signalled_at: datetime
    finding: Finding | None


@dataclass(frozen=True)
class Believed:
    """Alarms of the last `days`, by what was found; `says` is the sentence."""

    days: int
    alarms: int
    real: int
    nothing: int
    open: int
    says: str


def believed(closings: list[Closing], until: datetime, days: int = 60, recorded: int | None = None) -> Believed:
    """Count the alarms that signalled in the `days` up to `until` (both ends inside), each alert once.

    recorded: days up to then that anything is recorded of, where those may be fewer: no alarm in a day is not none in sixty.
    """
    whole = recorded is not None and recorded < days
    days = recorded if recorded is not None and whole else days
    since = until - timedelta(days=days)
    latest = {c.alert: c for c in closings if since <= c.signalled_at <= until}
    found = [c.finding for c in latest.values()]
    real, nothing, still = found.count("real"), found.count("nothing found"), found.count(None)
    t = texts("curve")["believed"]
    parts = [t[word].format(n=n) for word, n in (("real", real), ("nothing", nothing), ("open", still)) if n]
    span = in_number(t["span"], days).format(n=days)
    span = t["all_there_is"].format(span=span) if whole else span
    said = t["none"] if not found else t["one"] if len(found) == 1 else t["some"]
    says = said.format(span=span, n=len(found), found=", ".join(parts))
    return Believed(days, len(found), real, nothing, still, says)
