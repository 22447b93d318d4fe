"""`loaftrace quarantine`: what waits for a person, the slips to take to the shift, and the decisions."""

from __future__ import annotations

import argparse
import hashlib
import json
import tempfile
from collections.abc import Sequence
from dataclasses import asdict
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

from flows.options import plant_and_store

if TYPE_CHECKING:
    from models.plant import Plant
    from models.storage.decisions import Decision, Verdict, Waiting


def add_parser(commands: Any) -> None:
    """Add the command and its options."""
    parser = commands.add_parser("quarantine", help="list the rows that wait for a person, and decide on them")
    option = parser.add_argument
    plant_and_store(parser)
    option("--json", action="store_true", help="the list as JSON, and nothing else")
    option(
        "--slips",
        type=Path,
        metavar="DIR",
        help="write a slip for each shift, and workbooks to correct and drop in again",
    )
    act = parser.add_mutually_exclusive_group()
    act.add_argument(
        "--confirm", action="store_true", help="the proposed reading is right: the rows named with --rows or --alike"
    )
    act.add_argument("--reject", action="store_true", help="the rows are to stay out")
    option("--rows", type=int, nargs="+", default=[], metavar="N", help="rows by the number in the list")
    option("--alike", metavar="RULE", help="every row that breaks this rule")
    option("--by", default="", metavar="WHO", help="initials or a role")
    option("--because", default="", metavar="TEXT", help="why")
    option("--out", type=Path, metavar="DIR", help="folder for the reports, to print the pages that change")


def quarantine(args: argparse.Namespace) -> int:
    """List, write slips, or decide."""
    from models import plant
    from models.storage import decisions, store

    loaded = plant.load(args.plant)
    con = store.open_for_reading(args.store)
    try:
        rows = decisions.waiting(con)
        if args.confirm or args.reject:
            verdict: Verdict = "confirmed" if args.confirm else "rejected"
            decided, logs = decide(con, loaded, verdict, args.rows, args.alike, args.by, args.because)
        cells = {row.seq: _to_correct(con, loaded, row) for row in rows} if args.slips else {}
    finally:
        con.close()
    if args.confirm or args.reject:
        return _carry_out(args, loaded, decided, logs)
    if args.slips:
        from reports import slips

        for path in slips.write(loaded, rows, cells, args.slips):
            print(path)
        return 0
    print(
        json.dumps([asdict(row) for row in rows], ensure_ascii=False, indent=1) if args.json else "\n".join(lines(rows))
    )
    return 0


def _to_correct(con: Any, plant: Plant, row: Waiting) -> dict[str, str]:
    """A row as it stands, and what a workbook calls it."""
    from models.storage import decisions, replacing

    return decisions.as_it_stands(con, plant, row.kind, row.seq) | {replacing.COLUMN: replacing.name_of(con, row.seq)}


def lines(rows: Sequence[Waiting]) -> list[str]:
    """The list as a person reads it: alike rows together, by consequence."""
    if not rows:
        return ["No row waits for a person."]
    said = []
    for rule in dict.fromkeys(row.rule for row in rows):
        alike = [row for row in rows if row.rule == rule]
        said.append(f"{rule}: {len(alike)} {'row' if len(alike) == 1 else 'rows'}")
        for row in alike:
            proposal = f"Proposed: {row.proposal}." if row.proposal else "Nothing is proposed."
            why = row.why if row.why.endswith(("?", ".")) else f"{row.why}."
            said.append(f"  {row.seq:>6}  {row.file} row {row.row}, {row.column} {row.value!r}: {why} {proposal}")
    return said


def decide(
    con: Any, plant: Plant, verdict: Verdict, seqs: Sequence[int], alike: str | None, who: str, because: str
) -> tuple[list[Decision], dict[str, bytes]]:
    """Decisions on rows that wait, and the corrections that go with them as logs. Raises DecisionError, one line."""
    from models.storage import decisions

    mine = decisions.chosen(decisions.waiting(con), seqs, alike)
    at = datetime.now(UTC).replace(tzinfo=None, microsecond=0)
    logs = decisions.correction(con, plant, mine, who, at) if verdict == "confirmed" else {}
    shas = {name.split("-")[0]: hashlib.sha256(content).hexdigest() for name, content in logs.items()}
    return [decisions.Decision(row.seq, verdict, who, at, because, shas.get(row.kind)) for row in mine], logs


def _carry_out(args: argparse.Namespace, plant: Plant, decided: list[Decision], logs: dict[str, bytes]) -> int:
    """Take the corrections as logs and keep the decisions, in one run."""
    from flows.job import Job
    from flows.work import work

    with tempfile.TemporaryDirectory(prefix="loaftrace-") as folder:
        corrections = Path(folder) / "corrections"
        corrections.mkdir()
        for name, content in logs.items():
            (corrections / name).write_bytes(content)
        out = args.out or Path(folder) / "reports"
        job = Job(
            plant, args.plant.read_text(encoding="utf-8-sig"), Path(folder), args.store, out, decisions=tuple(decided)
        )
        result = work(job)
    waits, many = len(result["quarantine"]), len(decided)
    still = f"{waits} still {'waits' if waits == 1 else 'wait'}"
    print(f"{many} {'row' if many == 1 else 'rows'} {decided[0].verdict} by {decided[0].who}; {still}.")
    for page in result["reports"] if args.out else []:
        print(page)
    return 0
