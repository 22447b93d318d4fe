"""The commands. Nothing heavy is imported before a command needs it."""

from __future__ import annotations

import argparse
import sys
from collections.abc import Sequence
from pathlib import Path
from typing import NoReturn

from flows.options import plant_and_store
from flows.quiet import quiet
from models.fixed import LONGEST_NAME

DONE, FAILED, WRONG = 0, 1, 2


class _Parser(argparse.ArgumentParser):
    def error(self, message: str) -> NoReturn:
        """One line, as every error of a command."""
        said = " ".join(message.split())
        self.exit(WRONG, f"{self.prog}: {said}; `{self.prog} --help` lists what may be asked\n")


def parser() -> argparse.ArgumentParser:
    """All commands and their options."""
    from flows import baselines, casework, holding, keeping, makeup, people, quarantine
    from flows.floor import serve

    top = _Parser(
        prog="loaftrace",
        description="From a bakery's shift logs to a water ledger, control charts, alerts and three reports.",
    )
    top.add_argument("--version", action="store_true", help="print the version")
    commands = top.add_subparsers(dest="command", metavar="COMMAND")
    _demo(commands.add_parser("demo", help="make an invented bakery's logs and run the whole job on them"))
    _run(commands.add_parser("run", help="take every new shift log and do the whole job"))
    _page(
        commands.add_parser("day", help="print a day's page again from the store"),
        "DATE",
        "the production day, like 2026-10-26",
    )
    _page(
        commands.add_parser("month", help="print a month's page again from the store"),
        "MONTH",
        "the month, like 2026-10",
    )
    makeup.add_parser(commands)
    casework.add_parsers(commands)
    holding.add_parsers(commands)
    quarantine.add_parser(commands)
    baselines.add_parser(commands)
    keeping.add_parsers(commands)
    people.add_parser(commands)
    serve.add_parser(commands)
    sheets = commands.add_parser("sheets", help="write blank log sheets for this plant")
    sheets.add_argument("folder", metavar="DIR", type=Path, help="where to put them")
    sheets.add_argument("--plant", type=Path, required=True, metavar="FILE", help="the plant file")
    schedule = commands.add_parser("schedule", help="run the job on a schedule, until stopped")
    _places(schedule)
    schedule.add_argument(
        "--cron", default="*/15 * * * *", help="when to pull, as a cron line in the plant's time zone"
    )
    return top


def _places(command: argparse.ArgumentParser) -> None:
    command.add_argument("--plant", type=Path, required=True, metavar="FILE", help="the plant file")
    command.add_argument(
        "--logs", type=Path, required=True, metavar="DIR", help="folder of shift logs, with its subfolders"
    )
    command.add_argument(
        "--store", type=Path, required=True, metavar="FILE", help="the store; made where there is none"
    )
    command.add_argument("--out", type=Path, required=True, metavar="DIR", help="folder for the reports")


def _run(command: argparse.ArgumentParser) -> None:
    _places(command)
    command.add_argument("--json", action="store_true", help="print the result as one JSON object, and nothing else")
    command.add_argument("--single-file", action="store_true", help="each page whole in one file, to mail")


def _demo(command: argparse.ArgumentParser) -> None:
    command.add_argument(
        "--folder", type=Path, default=Path("demo-bakery"), metavar="DIR", help="where to put it (demo-bakery)"
    )
    command.add_argument("--days", type=int, default=35, help="days of logs (35)")
    command.add_argument("--json", action="store_true", help="print the result as one JSON object, and nothing else")


def _page(command: argparse.ArgumentParser, name: str, says: str) -> None:
    command.add_argument("which", metavar=name, help=says)
    plant_and_store(command)
    command.add_argument("--out", type=Path, required=True, metavar="DIR", help="folder for the page")
    command.add_argument("--single-file", action="store_true", help="the page whole in one file, to mail")


def main(argv: Sequence[str] | None = None) -> int:
    """Run one command; 0 done, 2 the command or the plant file is wrong, 1 anything else: one line, no traceback."""
    quiet()
    top = parser()
    args = top.parse_args(argv)
    if args.version:
        return _say_version()
    if args.command is None:
        return _fail("say what to do: `loaftrace --help` lists the commands", WRONG)
    who = getattr(args, "by", None) or ""
    if len(who) > LONGEST_NAME or not who.isprintable():
        return _fail(f"--by: at most {LONGEST_NAME} characters on one line; initials or a role", WRONG)
    try:
        return _command(args)
    except KeyboardInterrupt:
        return _fail("stopped; what was committed stays, run again to go on")
    except BrokenPipeError:
        return FAILED
    except Exception as error:
        return _explain(error)


def _command(args: argparse.Namespace) -> int:
    if args.command == "makeup":
        return args.run(args)
    from flows import baselines, casework, commands, holding, keeping, people, quarantine
    from flows.floor import serve

    for module in (baselines, casework, commands, holding, keeping, people, quarantine, serve):
        if hasattr(module, args.command):
            return getattr(module, args.command)(args)
    raise AttributeError(args.command)


def _say_version() -> int:
    from importlib.metadata import version

    print(f"loaftrace {version('loaftrace')}")
    return DONE


def _explain(error: Exception) -> int:
    """One line for whatever went wrong; a wrong command or plant file is 2, anything else 1."""
    wrong = type(error).__name__ in {
        "PlantFileError",
        "WrongCommand",
        "WrongOptionError",
        "NoStoreError",
        "NotOursError",
        "CaseError",
        "HoldError",
        "DecisionError",
        "BaselineError",
        "PeopleFileError",
        "PassphraseError",
    }
    if isinstance(error, FileNotFoundError) and error.errno is None:
        wrong = True
    if isinstance(error, FileExistsError) and error.errno is None:
        return _fail(str(error))
    if refused := _refused_by_system(error):
        return _fail("{}: {}; free or fix it, then run again (nothing was half-done)".format(*refused))
    known = type(error).__module__.partition(".")[0] in {"models", "flows", "reports"} or wrong
    text = " ".join(str(error).split())
    return _fail(
        text if known else f"{type(error).__name__}: {text or 'unknown'} (nothing was half-done; run again)",
        WRONG if wrong else FAILED,
    )


def _refused_by_system(error: Exception) -> tuple[str, str] | None:
    """Where the file system said no, and why: a full disk, a folder that may not be written."""
    if isinstance(error, OSError) and error.errno is not None:
        return error.filename or "what this command writes to", error.strerror or type(error).__name__
    if not type(error).__module__.startswith(("duckdb", "_duckdb")):
        return None
    from models.storage.store import refused_by_system

    return refused_by_system(error)


def _fail(text: str, status: int = FAILED) -> int:
    print(f"loaftrace: {text}", file=sys.stderr)
    return status


if __name__ == "__main__":
    raise SystemExit(main())
