"""`loaftrace hold`, `loaftrace release` and `loaftrace holds`: what is held, why, and who decided on it."""

from __future__ import annotations

import argparse
import json
from collections.abc import Callable, Mapping, Sequence
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

from flows.options import plant_and_store
from models.fixed import GROUNDS, ROLES

if TYPE_CHECKING:
    import duckdb

    from flows.job import Job
    from models.floor.holds import Hold, HoldEvent
    from models.people import Person
    from models.plant import Plant

Doing = Callable[["duckdb.DuckDBPyConnection", "Job", int], "HoldEvent"]


def add_parsers(commands: Any) -> None:
    """Add the three commands and their options."""
    hold = commands.add_parser("hold", help="hold a paste, with every dough it went into, or a dough")
    hold.add_argument(
        "batch",
        nargs="+",
        metavar="BATCH",
        help="like 2026-10-31/K1/03; K1/03 is the latest of that name, L1/03.. all that the line made since",
    )
    hold.add_argument("--ground", choices=GROUNDS, default="other", help="what kind of doubt (other)")
    hold.add_argument("--under", default="", metavar="HOLD", help="more batches under a hold that is there")
    _acting(hold)
    release = commands.add_parser("release", help="QA: release what is held, or record another end of it")
    release.add_argument("held", metavar="HOLD", help="the hold's name in `loaftrace holds`")
    release.add_argument(
        "--only", nargs="+", default=[], metavar="BATCH", help="these batches of it (all that are held)"
    )
    other = release.add_mutually_exclusive_group()
    other.add_argument("--disposed", action="store_true", help="not released: thrown away")
    other.add_argument("--left", action="store_true", help="not released: found to have left the house; stays held")
    _acting(release)
    listing = commands.add_parser("holds", help="what is held, why, batches and loaves, how long")
    plant_and_store(listing)
    listing.add_argument("--all", action="store_true", help="those that QA has decided on, too")
    listing.add_argument("--json", action="store_true", help="the list as JSON, and nothing else")


def _acting(command: argparse.ArgumentParser) -> None:
    plant_and_store(command)
    command.add_argument("--out", type=Path, required=True, metavar="DIR", help="folder for the reports")
    command.add_argument("--because", required=True, metavar="TEXT", help="why")
    command.add_argument("--by", required=True, metavar="WHO", help='initials, a role, or both: "QA MK"')
    command.add_argument("--people", type=Path, metavar="FILE", help="the people file: WHO must be in it, and may")


def holds(args: argparse.Namespace) -> int:
    """List holds, those that stand first, the gravest before all."""
    from models import plant
    from models.floor.holds import gravest_first
    from models.floor.holdsays import to_json
    from models.storage import holds as kept
    from models.storage import store

    loaded, now = plant.load(args.plant), _now()
    con = store.open_for_reading(args.store)
    try:
        found = [one for one in gravest_first(kept.holds(con, now)) if one.stands or args.all]
    finally:
        con.close()
    found.sort(key=lambda one: not one.stands)
    if args.json:
        print(json.dumps([to_json(one, loaded, now) for one in found], ensure_ascii=False, indent=1))
        return 0
    for line in [line for one in found for line in lines(one, loaded, now)] or ["Nothing is held."]:
        print(line)
    return 0


def lines(one: Hold, plant: Plant, now: datetime) -> list[str]:
    """A hold as a person reads it."""
    from models.floor import holdsays
    from models.floor.holds import how_long
    from models.pages import words

    long = holdsays.lasted(how_long(one, now))
    state = f"held for {long}" if one.stands else f"held for {long}, over"
    by = f", by {one.by}" if one.by else ""
    said = [f"{one.hold}  {state}, since {words.when(one.since, plant.zone)}{by}. {holdsays.title(one)}"]
    if one.stands:
        said += [f"  {line}" for line in (*holdsays.batches(one), holdsays.loaves(one.loaves), holdsays.in_house(one))]
    return said + [f"  {line}" for line in (holdsays.ended(one, plant),) if line]


def hold(args: argparse.Namespace) -> int:
    """Hold batches by hand and print what is held now."""

    def event(con: duckdb.DuckDBPyConnection) -> HoldEvent:
        from models.floor.holds import HoldEvent
        from models.storage.holds import named

        pastes, doughs = named(args.batch, *_keys(con))
        return HoldEvent(args.under, _now(), args.by, "held", args.because, pastes, doughs, args.ground)

    return _done(args, event)


def release(args: argparse.Namespace) -> int:
    """Record QA's decision on a hold, or that some of it left the house."""

    def event(con: duckdb.DuckDBPyConnection) -> HoldEvent:
        from models.floor.holds import Act, HoldEvent
        from models.storage.holds import named

        act: Act = "disposed" if args.disposed else "left the house" if args.left else "released"
        pastes, doughs = named(args.only, *_keys(con)) if args.only else ((), ())
        return HoldEvent(args.held, _now(), args.by, act, args.because, pastes, doughs)

    return _done(args, event)


def _done(args: argparse.Namespace, event: Callable[[duckdb.DuckDBPyConnection], HoldEvent]) -> int:
    from flows.job import Job
    from models import plant
    from models.storage import store

    by = _person(args.people, args.by, releases=args.command == "release")
    job = Job(plant.load(args.plant), "", args.store.parent, args.store, args.out)
    con = store.open_for_reading(args.store)
    try:
        asked = event(con)
    finally:
        con.close()
    kept, pages = record_hold(job, asked, by)
    print(f"{kept.hold}: {kept.act} by {kept.who}: {', '.join((*kept.pastes, *kept.doughs))}")
    for page in pages:
        print(page)
    return 0


def _keys(con: duckdb.DuckDBPyConnection) -> tuple[Sequence[str], Sequence[str]]:
    """Every paste and every dough, in order of production."""
    pastes = con.execute("SELECT paste_key FROM pastes ORDER BY cook_end, paste_key").fetchall()
    doughs = con.execute("SELECT batch_key FROM batches ORDER BY mixed_at, batch_key").fetchall()
    return [key for (key,) in pastes], [key for (key,) in doughs]


def _person(people: Path | None, who: str, releases: bool = False) -> Person:
    """Who acts: of the people file where one is given; else with the role that was named, as in "QA MK", or with none.

    Raises PeopleFileError, one line, for who is not in the file, and for a release that does not say it is QA's.
    """
    from models.people import ALONE, PeopleFileError, Person, load

    if people is not None:
        found = load(people).people.get(who)
        if found is None:
            raise PeopleFileError(f"--by: {who} is not in {people}; `loaftrace person list` says who is")
        return found
    first, _, initials = who.strip().partition(" ")
    role = next((role for role in ROLES if role.lower() == first.lower()), None)
    if role:
        return Person(initials=initials.strip() or role, role=role)
    if releases:
        raise PeopleFileError(
            f'--by {who}: only QA decides on a hold; write --by QA, or "QA" and the initials, or name the people file with --people'
        )
    return ALONE


def _now() -> datetime:
    return datetime.now(UTC).replace(tzinfo=None, microsecond=0)


def record_hold(job: Job, event: HoldEvent, by: Person) -> tuple[HoldEvent, list[str]]:
    """Record what a person did with a hold, and print the pages that show it; returns the act as kept, and their paths.

    Raises HoldError, one line, where it cannot be recorded.
    """
    from flows import steps, work
    from models.storage import ledger, store

    con = store.open_for_writing(job.store)
    try:
        with store.transaction(con):
            kept = note_hold(con, event, by, ledger.last_run(con) + 1)
        con.execute("CHECKPOINT")
    finally:
        con.close()
    steps.publish(job)
    return kept, work.print_due(job)


def note_hold(con: duckdb.DuckDBPyConnection, event: HoldEvent, by: Person, run: int) -> HoldEvent:
    """Record what a person did with a hold; the pages that show it are due again. Call inside a transaction."""
    from flows import pulling
    from models.storage import holds as kept
    from models.storage import ledger

    event = kept.record(con, event, by)
    (hold,) = [one for one in kept.holds(con, event.at) if one.hold == event.hold]
    printed = ledger.pages(con)
    since = min(key.split("/")[0] for _, key in event.keys)
    days = {page for page in printed if page.startswith("day:") and page >= f"day:{since}"}
    ledger.keep_pages(con, days | ({f"alert:{hold.alert}"} & set(printed)), run)
    pulling.store_changed(con, run)
    return event


def held_by_form(form: Mapping[str, str], by: Person, who: str, at: datetime) -> Doing:
    """What POST /holds asks for, to be done by the owner of the store. Gives the act as kept; raises HoldError, one line."""

    def doing(con: duckdb.DuckDBPyConnection, job: Job, run: int) -> HoldEvent:
        from models.floor.holdform import to_hold

        return note_hold(con, to_hold(form, who, at, *_keys(con)), by, run)

    return doing


def ended_by_form(hold: str, form: Mapping[str, str], by: Person, who: str, at: datetime) -> Doing:
    """What POST /holds/<hold>/release asks for, likewise."""

    def doing(con: duckdb.DuckDBPyConnection, job: Job, run: int) -> HoldEvent:
        from models.floor.holdform import to_end

        return note_hold(con, to_end(form, hold, who, at), by, run)

    return doing
