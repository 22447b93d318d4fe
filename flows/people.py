"""`loaftrace person add|list|remove`: the people file, without a passphrase or an address ever shown."""

from __future__ import annotations

import argparse
import getpass
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any

from models.fixed import ROLES, URGENCIES

if TYPE_CHECKING:
    from models.people import People


def add_parser(commands: Any) -> None:
    """Add the command and its options."""
    person = commands.add_parser("person", help="people and devices: who may sign in, and how messages reach them")
    acts = person.add_subparsers(dest="act", metavar="ACT", required=True)
    adding = acts.add_parser("add", help="add a person or a device; asks for the passphrase, twice")
    adding.add_argument("name", metavar="INITIALS", help="one to six letters or figures; of a device, its name")
    _file(adding)
    adding.add_argument("--device", action="store_true", help="a device on the floor, not a person")
    adding.add_argument("--role", choices=ROLES, default="floor", help="what the person may do (floor)")
    adding.add_argument("--line", action="append", default=[], metavar="LINE", help="a line to be told of (all)")
    adding.add_argument("--shift", action="append", default=[], metavar="SHIFT", help="a shift on duty (all)")
    adding.add_argument("--told", action="append", default=[], choices=URGENCIES, help="urgency to be told of (all)")
    adding.add_argument("--email", metavar="ADDRESS", help="e-mail; the file's [messages] mail names the server")
    adding.add_argument("--quiet", nargs=2, metavar=("FROM", "TO"), help="no messages then, but of holds: 22:00 06:00")
    adding.add_argument("--ask-way", action="store_true", help="ask for an address of the notifier: chat or webhook")
    adding.add_argument("--no-passphrase", action="store_true", help="floor only: taps initials, never signs in alone")
    _file(acts.add_parser("list", help="who is in the file: roles and ways, no secrets"))
    removing = acts.add_parser("remove", help="take a person or a device out; they are signed out at once")
    removing.add_argument("name", metavar="INITIALS", help="the initials, or the device's name")
    _file(removing)


def _file(command: argparse.ArgumentParser) -> None:
    command.add_argument("--people", type=Path, required=True, metavar="FILE", help="the people file; add begins one")


def person(args: argparse.Namespace) -> int:
    """Do what was asked of the people file."""
    return {"add": _add, "list": _list, "remove": _remove}[args.act](args)


def _add(args: argparse.Namespace) -> int:
    from models import passphrases, peoplefile
    from models.people import PeopleFileError

    text = peoplefile.text_of(args.people)
    fields = _device_fields(args) if args.device else _person_fields(args)
    table = "devices" if args.device else "people"
    peoplefile.added(
        text, table, args.name, fields | {"passphrase": _stand_in()}
    )  # what is wrong is said before asking
    if args.no_passphrase and (args.device or args.role != "floor"):
        raise PeopleFileError("--no-passphrase: only for a person of the floor, who taps initials at a device")
    if not args.no_passphrase:
        kept = passphrases.hashed(_asked("Passphrase", again=True), names=(args.name,))
        fields["passphrase"] = kept
    if args.ask_way:
        fields["ways"] = [_usable(_asked("Address as the notifier writes it"))]
    peoplefile.write(args.people, peoplefile.added(text, table, args.name, fields))
    print(f"{args.name} is in {args.people}")
    return 0


def _stand_in() -> str:
    from models import passphrases

    return passphrases.hashed("for the check alone", cost=2)


def _person_fields(args: argparse.Namespace) -> dict[str, Any]:
    return {
        "role": args.role,
        "lines": args.line,
        "shifts": args.shift,
        "urgencies": args.told,
        "email": args.email,
        "quiet": args.quiet,
    }


def _device_fields(args: argparse.Namespace) -> dict[str, Any]:
    from models.people import PeopleFileError

    if args.role not in {"floor", "supervisor"}:
        raise PeopleFileError(
            "--role: a device is of the floor or of the supervisor; QA and managers sign in themselves"
        )
    if any((args.line, args.shift, args.told, args.email, args.quiet, args.ask_way)):
        raise PeopleFileError("--device: a device is sent no messages; leave out lines, shifts, e-mail and the like")
    return {"role": args.role}


def _asked(what: str, again: bool = False) -> str:
    """Typed unseen at a terminal; else the next line of the standard input, so that a script can give it."""
    from models.people import PeopleFileError

    if not sys.stdin.isatty():
        line = sys.stdin.readline().rstrip("\r\n")
        if not line:
            raise PeopleFileError(f"{what.lower()}: nothing was given on the standard input")
        return line
    given = getpass.getpass(f"{what} (not shown): ")
    if again and getpass.getpass("The same again: ") != given:
        raise PeopleFileError("the two are not the same; nothing was changed")
    return given


def _usable(address: str) -> str:
    from flows.telling import notifying
    from models.people import PeopleFileError

    if not notifying.usable(address):
        raise PeopleFileError("the notifier does not know such an address; its documentation shows how each is written")
    return address


def _list(args: argparse.Namespace) -> int:
    from models import people

    found = people.load(args.people)
    for line in _lines(found):
        print(line)
    if not found.people and not found.devices:
        print("Nobody is in the file.")
    return 0


def _lines(found: People) -> list[str]:
    from flows.telling import notifying

    lines = []
    for one in found.people.values():
        ways = ", ".join(notifying.ways(one, found)) or "no way to be told"
        signs = "signs in" if one.passphrase else "taps only"
        lines.append(
            f"{one.initials}  {one.role}, {signs}; lines: {_all(one.lines)}; shifts: {_all(one.shifts)}; "
            f"told of: {', '.join(one.urgencies)}; by: {ways}"
        )
    return lines + [f"{name}  device of the {device.role}" for name, device in found.devices.items()]


def _all(names: tuple[str, ...]) -> str:
    return ", ".join(names) or "all"


def _remove(args: argparse.Namespace) -> int:
    from models import people, peoplefile

    people.load(args.people)
    peoplefile.write(args.people, peoplefile.removed(peoplefile.text_of(args.people), args.name))
    print(f"{args.name} is no longer in {args.people}")
    return 0
