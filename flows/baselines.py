"""`loaftrace baseline`: what every chart compares with, and a person setting, extending or restarting one."""

from __future__ import annotations

import argparse
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from flows.options import plant_and_store

if TYPE_CHECKING:
    from models.shapes import Stream


class BaselineError(ValueError):
    """The baseline cannot be set. `str()` is one line."""


@dataclass(frozen=True)
class ChosenBaseline:
    """A stretch of one chart's batches that a person makes its baseline."""

    stream: Stream
    first_key: str
    last_key: str
    who: str
    because: str


def add_parser(commands: Any) -> None:
    """Add the command and its options."""
    parser = commands.add_parser(
        "baseline", help="list the charts' baselines, or set one anew (new recipe, new instrument)"
    )
    option = parser.add_argument
    option("chart", nargs="?", type=int, metavar="N", help="the chart by its number in the list")
    plant_and_store(parser)
    option("--out", type=Path, metavar="DIR", help="folder for the reports")
    option("--first", metavar="BATCH", help="the first batch of the new baseline, as in the list")
    option("--last", metavar="BATCH", help="the last batch of the new baseline")
    option("--by", default="", metavar="WHO", help="initials or a role of the person who approves it")
    option("--because", default="", metavar="TEXT", help="why")


def baseline(args: argparse.Namespace) -> int:
    """List the baselines, or set one."""
    from models import plant
    from models.alarms.charting import chart_plant
    from models.storage import ledger, store, wide

    loaded = plant.load(args.plant)
    con = store.open_for_reading(args.store)
    try:
        rows = wide.whole(con)
        charted = [one for one, _ in chart_plant(loaded, rows.pastes, rows.batches, ledger.baselines(con))]
        history = ledger.baseline_history(con)
    finally:
        con.close()
    if args.chart is None:
        print(
            "\n".join(line for n, one in enumerate(charted, 1) for line in _lines(n, one, history)) or "No chart yet."
        )
        return 0
    return _set(args, loaded, [one.stream for one in charted])


def _lines(n: int, charted: Any, history: list[dict]) -> list[str]:
    from models.charts.baseline import row_changed
    from models.pages import words
    from models.texts import texts

    stream, base = charted.stream, charted.baseline
    place = " ".join(part for part in (stream.kettle, stream.line, stream.product) if part) or "plant"
    if base is None:
        return [f"{n:>3}  {place}: {stream.characteristic}: no baseline yet, {words.counted(len(charted.points), 'batch')}"]
    word, t = "learning" if base.learning else "frozen", texts("curve")["counted"]
    of = [(base.batches, "batch", "batches"), (base.days, "day", "days")]
    if any(charted.points.lot):  # where none is recorded, days stand in for lots
        of.append((base.lots, "lot", "lots"))
    made_of = ", ".join(words.count(many, t[one], t[more]) for many, one, more in of)
    said = [
        f"{n:>3}  {place}: {stream.characteristic}: {word}, {made_of}, "
        f"{base.first_key} to {base.last_key}, level {base.level:.4g} {stream.unit}"
    ]
    if row_changed(base, charted.points):
        said.append(f"       {texts('curve')['baseline']['corrected']}")
    return said + [
        f"       set by {h['set_by']}: {h['first_key']} to {h['last_key']}, {h['because']}"
        for h in history
        if h["stream"] == stream and h["set_by"]
    ]


def _set(args: argparse.Namespace, loaded: Any, streams: list[Stream]) -> int:
    from flows.job import Job
    from flows.work import set_baseline

    if not 1 <= args.chart <= len(streams):
        raise BaselineError(f"{args.chart}: there are charts 1 to {len(streams)}; `loaftrace baseline` lists them")
    missing = [f"--{name}" for name in ("first", "last", "by", "because", "out") if not getattr(args, name)]
    if missing:
        raise BaselineError(f"{', '.join(missing)}: must be given; a baseline is set by a named person, with a reason")
    chosen = ChosenBaseline(streams[args.chart - 1], args.first, args.last, args.by, args.because)
    job = Job(loaded, "", args.store.parent, args.store, args.out)
    try:
        pages = set_baseline(job, chosen)
    except ValueError as error:
        raise BaselineError(str(error)) from None
    print(
        f"baseline of chart {args.chart} set by {args.by}: {args.first} to {args.last}; {len(pages)} pages printed again"
    )
    return 0
