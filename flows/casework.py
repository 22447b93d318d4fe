"""`loaftrace alerts` and `loaftrace case`: what is open, and what people did about it."""

from __future__ import annotations

import argparse
import json
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

from flows.options import plant_and_store

if TYPE_CHECKING:
    from models.shapes import Alert, Finding
    from models.storage.cases import Act

FOUND: dict[str, Finding] = {"real": "real", "nothing": "nothing found"}


def add_parsers(commands: Any) -> None:
    """Add both commands and their options."""
    listing = commands.add_parser("alerts", help="list the alerts in the store that are not closed and over")
    plant_and_store(listing)
    listing.add_argument("--all", action="store_true", help="those closed and over, too")
    listing.add_argument("--json", action="store_true", help="the contract's alerts as one JSON list, and nothing else")
    case = commands.add_parser("case", help="record that an alert was seen, acted on, handed over or closed")
    case.add_argument("alert", metavar="ALERT", help="the alert's name, as on its page")
    plant_and_store(case)
    case.add_argument("--out", type=Path, required=True, metavar="DIR", help="folder for the reports")
    case.add_argument("--by", required=True, metavar="WHO", help="initials or a role")
    case.add_argument("--note", default="", metavar="TEXT", help="what was found or done")
    act = case.add_mutually_exclusive_group(required=True)
    act.add_argument("--seen", action="store_true", help="somebody has it")
    act.add_argument("--done", action="store_true", help="something was done; say what in --note")
    act.add_argument("--hand-over", action="store_true", help="to the next shift")
    act.add_argument("--close", choices=tuple(FOUND), help="closed: the cause was real, or nothing was found")


def alerts(args: argparse.Namespace) -> int:
    """List alerts, the newest last."""
    from models import plant
    from models.alarms.alerts import local, to_json
    from models.storage import ledger, store

    loaded = plant.load(args.plant)
    con = store.open_for_reading(args.store)
    try:
        found = [a for a in ledger.stored_alerts(con) if args.all or a.case != "closed" or a.signal == "on"]
    finally:
        con.close()
    if args.json:
        print(json.dumps([to_json(alert, loaded) for alert in found], ensure_ascii=False, indent=1))
        return 0
    for alert in found:
        print(f"{alert.alert}  {local(alert.signalled_at, loaded):%Y-%m-%d %H:%M}  {_state(alert)}  {_what(alert)}")
    if not found:
        print("No alert is open.")
    return 0


def _state(alert: Alert) -> str:
    """Urgency, signal and case; a hold is not over because its signal is."""
    held = alert.urgency == "hold" and alert.signal == "over"
    return ", ".join((alert.urgency, *(() if held else (alert.signal,)), alert.case))


def _what(alert: Alert) -> str:
    """What and how big, as the pages say it; of a traced change also the cause."""
    from models.pages.held import headline

    return f"{headline(alert)}. {alert.says}" if alert.causes else headline(alert)


def case(args: argparse.Namespace) -> int:
    """Record one act and print the pages that show it again."""
    from flows.job import Job
    from flows.work import record_case
    from models import plant
    from models.storage import store
    from models.storage.cases import CaseEvent

    store.open_for_reading(args.store).close()
    act: Act = "seen" if args.seen else "done" if args.done else "handed over" if args.hand_over else "closed"
    event = CaseEvent(
        args.alert,
        datetime.now(UTC).replace(tzinfo=None, microsecond=0),
        args.by,
        act,
        FOUND.get(args.close),
        args.note,
    )
    job = Job(plant.load(args.plant), "", args.store.parent, args.store, args.out)
    for page in record_case(job, event):
        print(page)
    return 0
