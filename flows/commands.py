"""What each command does, once its heavy libraries may be imported."""

from __future__ import annotations

import argparse
import json
import os
import re
import sys
from collections.abc import Sequence
from datetime import date
from typing import Any

from flows.job import Job


class WrongCommand(ValueError):
    """The command line cannot be done. `str()` is one line."""


def run(args: argparse.Namespace) -> int:
    """`loaftrace run`: under Prefect where a server is configured, else plainly; says which."""
    from flows.job import read_job

    job = read_job(args.plant, args.logs, args.store, args.out, args.single_file)
    result = conduct(job)
    return _show(result, args.json)


def conduct(job: Job) -> dict[str, Any]:
    """Do the job: as a flow where PREFECT_API_URL names a server, else the same steps directly."""
    from flows import handing
    from flows.work import work

    served = handing.over(job.store, job.logs)
    if served is not None:
        _note(
            f"the service at {served.address} owns this store and took the logs; it writes the reports in {served.out}"
        )
        return _of_service(job, served.files)
    server = os.environ.get("PREFECT_API_URL")
    if not server:
        result = work(job)
        _note("no Prefect server is configured (PREFECT_API_URL): the steps ran directly")
        return result
    from flows import pipeline

    _note(f"running as a flow on the Prefect server at {server}")
    return pipeline.run_flow(job)


def _of_service(job: Job, files: list[dict[str, Any]]) -> dict[str, Any]:
    """The contract's result of work that was handed over, from the copy that the service published."""
    from flows import pulling, steps
    from models.storage import store

    con = store.open_for_reading(job.store)
    try:
        return steps.summary(con, job, pulling.Pulled(files))
    finally:
        con.close()


def demo(args: argparse.Namespace) -> int:
    """`loaftrace demo`: the invented bakery, the whole job as one flow on a local server started and stopped here."""
    from flows.job import read_job
    from seed_data import bakery

    if args.days < 1:
        raise WrongCommand("--days: must be at least 1")
    _note(f"writing the invented bakery's logs to {args.folder}")
    written = bakery.write(args.folder, days=args.days)
    _note(f"{len(written.files)} files written")
    job = read_job(
        args.folder / "plant.toml", args.folder / "logs", args.folder / "store.duckdb", args.folder / "reports"
    )
    from flows import pipeline

    result = pipeline.run_on_local_server(job, _note)
    return _show(result, args.json)


def day(args: argparse.Namespace) -> int:
    """`loaftrace day DATE`: a day's page again from the store."""
    _is_form(args.which, r"\d{4}-\d{2}-\d{2}", "DATE", "2026-10-26")
    return _page(args, f"day:{args.which}")


def month(args: argparse.Namespace) -> int:
    """`loaftrace month YYYY-MM`: a month's page again from the store."""
    _is_form(args.which, r"\d{4}-(0[1-9]|1[0-2])", "MONTH", "2026-10")
    return _page(args, f"month:{args.which}")


def _is_form(text: str, form: str, name: str, example: str) -> None:
    if not re.fullmatch(form, text):
        raise WrongCommand(f"{name}: {text!r} is not of the form {example}")
    try:
        date.fromisoformat(text if len(text) == 10 else f"{text}-01")
    except ValueError:
        raise WrongCommand(f"{name}: {text!r} is not in the calendar") from None


def _page(args: argparse.Namespace, page: str) -> int:
    from flows import printing
    from models import plant
    from models.storage import account, store

    loaded = plant.load(args.plant)
    con = store.open_for_reading(args.store)
    try:
        _has_data(account.days(con), args.which)
        job = Job(loaded, "", args.store.parent, args.store, args.out, args.single_file)
        picture = printing.picture(con, job, None, [page])
    finally:
        con.close()
    print(printing.print_page(picture, page, args.out, args.single_file))
    return 0


def _has_data(days: Sequence[date], which: str) -> None:
    """A day or month that no log speaks of has no page. Raises WrongCommand: which days there are."""
    if not days:
        raise WrongCommand(f"{which}: the store holds no row yet, so there is no page; take logs with `loaftrace run`")
    if any(str(day).startswith(which) for day in days):
        return
    if len(which) == 7:
        have = _few(list(dict.fromkeys(f"{day:%Y-%m}" for day in days)))
    else:
        near = [str(day) for day in days if f"{day:%Y-%m}" == which[:7]]
        have = f"{days[0]} to {days[-1]}" + (f", of {which[:7]} {_few(near)}" if near else "")
    raise WrongCommand(f"{which}: no log in the store speaks of it, so there is no page; it has {have}")


def _few(names: Sequence[str]) -> str:
    return ", ".join(names) if len(names) <= 12 else f"{', '.join(names[:3])} ... {', '.join(names[-3:])}"


def sheets(args: argparse.Namespace) -> int:
    """`loaftrace sheets DIR`: blank log sheets for this plant."""
    from models import plant
    from reports import sheets as blank

    for path in blank.write(plant.load(args.plant), args.folder):
        print(path)
    return 0


def schedule(args: argparse.Namespace) -> int:
    """`loaftrace schedule`: serve the scheduled flows until stopped."""
    from flows import pipeline
    from flows.job import read_job

    read_job(args.plant, args.logs, args.store, args.out)
    if not pipeline.is_cron(args.cron):
        raise WrongCommand(
            f"--cron: {args.cron!r} is no cron line; it may be five fields, minute hour day month weekday, like '*/15 * * * *'"
        )
    pipeline.serve(args.plant, args.logs, args.store, args.out, args.cron)
    return 0


def _show(result: dict[str, Any], as_json: bool) -> int:
    if as_json:
        # a line each, not indented: the library indents slowly, and a plant's logs of years are all named
        print(json.dumps(result, ensure_ascii=False, separators=(",\n", ": ")))
        return 0
    from flows.spoken import spoken

    for line in spoken(result):
        print(line)
    return 0


def _note(text: str) -> None:
    print(f"loaftrace: {text}", file=sys.stderr, flush=True)
