"""What people do with an alert: seen, done, handed over, closed with a finding. Kept for good, in order.

A finding comes back at the next like episode ("last time ..."), and tells how often the charts were right.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from typing import TYPE_CHECKING, Literal, cast

from models.causes.findings import Finding, told
from models.shapes import Alert, Cause
from models.shapes import Finding as Found
from models.texts import texts

if TYPE_CHECKING:
    import duckdb

    from models.shapes import Group

Act = Literal["seen", "done", "closed", "handed over"]


class CaseError(ValueError):
    """The act cannot be recorded. `str()` is one line."""


@dataclass(frozen=True)
class CaseEvent:
    """One act on one alert. at: naive UTC; found: of a closing only."""

    alert: str
    at: datetime
    who: str
    act: Act
    found: Found | None = None
    note: str = ""


def events(con: duckdb.DuckDBPyConnection) -> list[CaseEvent]:
    """Every act, in the order they were recorded."""
    rows = con.execute("SELECT alert, done_at, who, act, found, note FROM case_event ORDER BY rowid").fetchall()
    return [CaseEvent(*row) for row in rows]


def _no(why: str, **filled: str) -> CaseError:
    return CaseError(texts("acts")["case"][why].format(**filled))


def record(con: duckdb.DuckDBPyConnection, event: CaseEvent, alerts: Sequence[Alert]) -> None:
    """Record an act. Raises CaseError for an alert that is not there, a name left out, or a closing without a finding."""
    alert = next((a for a in alerts if a.alert == event.alert), None)
    if alert is None:
        raise _no("no_such", alert=event.alert)
    if not event.who.strip():
        raise _no("who")
    if (event.act == "closed") != (event.found is not None):
        raise _no("no_finding", alert=event.alert)
    if alert.case == "closed" and event.act in ("closed", "seen"):
        raise _no("closed_with" if alert.finding else "closed", alert=event.alert, found=alert.finding or "")
    con.execute(
        "INSERT INTO case_event VALUES (?, ?, ?, ?, ?, ?)",
        [event.alert, event.at, event.who.strip(), event.act, event.found, event.note.strip()],
    )


def applied(alerts: Sequence[Alert], acts: Sequence[CaseEvent]) -> list[Alert]:
    """Alerts with their case, their finding, and what was found the last time of the like of each."""
    findings = _findings(alerts, acts)
    return [_applied(alert, [a for a in acts if a.alert == alert.alert], findings) for alert in alerts]


def _applied(alert: Alert, acts: Sequence[CaseEvent], findings: Sequence[Finding]) -> Alert:
    closed = [a for a in acts if a.act == "closed"]
    case: Literal["open", "seen", "closed"] = "closed" if closed else "seen" if acts else "open"
    lead = lead_cause(alert)
    before = [f for f in findings if f.alert != alert.alert and f.closed_at <= _known_until(closed)]
    said = told(before, lead.group, lead.driver or alert.says, alert.line, alert.direction) if lead else ()
    found, named = closed[-1].found if closed else None, called(alert) if closed else ()
    return replace(alert, case=case, finding=found, last_time=said, closed_as=named)


def _known_until(closed: Sequence[CaseEvent]) -> datetime:
    """Once a case is closed, what it was shown as the last time stays."""
    return closed[0].at if closed else datetime.max


def lead_cause(alert: Alert) -> Cause | None:
    """The group with the largest share; None for an alert that is not traced: no call was made that could be right."""
    lead = max(alert.causes, key=lambda cause: cause.share, default=None)
    return None if lead is None or lead.driver == texts("causes")["untraced"] else lead


def called(alert: Alert) -> tuple[str, ...]:
    """Group and driver that the call named when its case was closed, now where it is not; empty where nothing was traced.

    What people found is held against what they were shown, though later batches may have changed the call.
    """
    lead = lead_cause(alert)
    return alert.closed_as or ((lead.group, lead.driver or alert.says) if lead else ())


def _findings(alerts: Sequence[Alert], acts: Sequence[CaseEvent]) -> list[Finding]:
    """Closings of traced alerts, as `models.causes.findings` takes them."""
    by_name = {alert.alert: alert for alert in alerts}
    found = []
    for act in acts:
        alert = by_name.get(act.alert)
        named = called(alert) if alert else ()
        if act.found and alert and named:
            group, driver = cast("Group", named[0]), named[1]
            found.append(Finding(act.alert, group, driver, act.at, act.found, act.note, alert.line, alert.direction))
    return found
