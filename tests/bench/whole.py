"""From files to calls: invented bakeries' logs through the whole program, its alerts held against what was put in.

`python -m tests.bench.whole [--bakeries 64] [--first 0]`. The bakeries are `tests.bench.bakeries`', another simulator than
the one the causes were set on. Everything but the pages is done, in this process.
"""

from __future__ import annotations

import argparse
import tempfile
import time
from collections import Counter
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from models.shapes import GROUPS
from tests.bench import plants
from tests.bench.bakeries import DAYS_BEFORE, LINES, START, USUAL_VOLUME, Bakery, draw
from tests.bench.judged import Judged, confident_wrong, covered, near_tie, right
from tests.bench.machine import machine


@dataclass(frozen=True)
class Heard:
    """What the program said of one bakery. call: of the fault's line, None if its volume was not found to have moved.

    after: sampled batches from the fault to the signal. told: an alert of another kind on what the fault is of.
    before: charts that signalled before there was a fault, of any characteristic. rows, accepted: the row account.
    """

    bakery: Bakery
    call: Judged | None
    after: int
    told: str
    before: int
    moved: float
    rows: int
    accepted: int


def listen(number: int, folder: Path) -> Heard:
    """Write bakery `number`'s logs, take them, and hold the alerts against the truth."""
    from flows import work
    from flows.job import read_job

    bakery = draw(number)
    bakery.write(folder)
    job = read_job(folder / "plant.toml", folder / "logs", folder / "s.duckdb", folder / "out")
    result = work.take(job).result
    alerts, rows_of = result["alerts"], result["rows"].values()
    began = START + pd.Timedelta(hours=bakery.fault.hour)
    since = [a for a in alerts if _instant(a["signalled_at"]) >= began]
    before = sum(a["kind"] == "chart" and _instant(a["signalled_at"]) < began for a in alerts)
    mine = [
        a for a in since if a["characteristic"] == "specific volume" and a["line"] == bakery.fault.line and a["causes"]
    ]
    rows = _sampled(bakery)
    faulty = rows & (bakery.doughs["hour"].to_numpy() >= bakery.fault.hour)
    moved = bakery.effects[faulty].sum(axis=1).mean() - bakery.effects[rows & ~faulty].sum(axis=1).mean()
    call, after = (None, 0) if not mine else (_judged(bakery, mine[0]), _batches_after(bakery, mine[0]))
    received, accepted = (sum(counts[name] for counts in rows_of) for name in ("received", "accepted"))
    return Heard(bakery, call, after, _told(bakery, since), before, float(moved), received, accepted)


def _instant(text: str) -> pd.Timestamp:
    return pd.Timestamp(text).tz_convert("UTC").tz_localize(None)


def _sampled(bakery: Bakery) -> np.ndarray:
    return (bakery.doughs["line"] == bakery.fault.line).to_numpy() & bakery.doughs["measured"].to_numpy()


def _batches_after(bakery: Bakery, alert: dict[str, Any]) -> int:
    keys = bakery.doughs["key"][_sampled(bakery) & (bakery.doughs["hour"].to_numpy() >= bakery.fault.hour)].tolist()
    return keys.index(alert["signalled_at_batch"]) + 1


def _told(bakery: Bakery, alerts: list[dict[str, Any]]) -> str:
    """The first other alert on the fault's line or kettle since it began."""
    places = (bakery.fault.line, LINES[bakery.fault.line].kettle)
    found = [
        a["characteristic"]
        for a in alerts
        if (a["line"] in places or a["kettle"] in places) and a["characteristic"] != "specific volume"
    ]
    return found[0] if found else ""


def _judged(bakery: Bakery, alert: dict[str, Any]) -> Judged:
    """The call against the truth: mean effects over the batches it speaks of, less those before the fault."""
    keys, rows = bakery.doughs["key"], _sampled(bakery)
    first, last = (int(np.flatnonzero(keys == alert[name])[0]) for name in ("began_at_batch", "until_batch"))
    place = np.arange(len(keys))
    inside = rows & (place >= first) & (place <= last)
    usual = rows & (bakery.doughs["hour"].to_numpy() < (DAYS_BEFORE - 2) * 24)
    truth = bakery.effects[inside].mean(axis=0) - bakery.effects[usual].mean(axis=0)
    told = {cause["group"]: cause for cause in alert["causes"]}
    parts, low, high = (
        np.array([told[g][name] for g in GROUPS]) / USUAL_VOLUME for name in ("contribution", "low", "high")
    )
    kind = bakery.fault.kind
    return Judged(
        bakery.fault.name,
        kind.group,
        GROUPS[int(np.argmax(truth * np.sign(alert["change"])))],
        max(GROUPS, key=lambda g: told[g]["share"]),
        kind.group != "unexplained",
        abs(truth.sum()),
        0,
        truth,
        parts,
        low,
        high,
        False,
        False,
        bakery.gas_tests,
        "",
        "",
        0.0,
        0,
        {kind.group: plants.RECORD if kind.group != "unexplained" else plants.NOTHING},
    )


def _share(hits: list[bool]) -> str:
    return f"{sum(hits)} of {len(hits)}"


def report(heard: list[Heard]) -> list[str]:
    """The tables, one string a line."""
    calls = [h.call for h in heard if h.call is not None]
    apart = [c for c in calls if not near_tie(c)]
    weeks = len(heard) * DAYS_BEFORE / 7
    lines = [
        f"{sum(h.rows for h in heard):,} rows, {sum(h.accepted for h in heard):,} accepted",
        f"{len(heard)} bakeries; charts that signalled before the fault, all characteristics: {sum(h.before for h in heard)} "
        f"in {weeks:.0f} bakery weeks (budget 1 a week)",
        "volume on the fault's line found to have moved, by how far it truly did in the days after:",
    ]
    for low, high in ((0, 0.03), (0.03, 0.05), (0.05, 0.07), (0.07, 0.5)):
        some = [h for h in heard if low <= abs(h.moved) < high]
        found = [h.after for h in some if h.call is not None]
        middle = f", after {np.median(found):.0f} sampled batches in the middle" if found else ""
        silent = Counter(h.told or "nothing" for h in some if h.call is None)
        told = ", ".join(f"{what} {n}" for what, n in silent.most_common())
        lines.append(
            f"  {100 * low:.0f} to {100 * high:.0f} %: {_share([h.call is not None for h in some])}{middle}"
            + (f"; of the others the first to tell: {told}" if told else "")
        )
    for says, wanted in (("recorded, right group", True), ("not recorded, called unexplained", False)):
        like = [c for c in apart if c.recorded == wanted]
        lines.append(f"{says}, groups 1 % and more apart: {_share([right(c) for c in like])}")
    lines.append(f"confident and wrong: {_share([confident_wrong(c) for c in calls])}")
    moved, rest = covered(calls, True), covered(calls, False)
    lines.append(f"90 % intervals cover, groups that moved: {_share(moved)}; rest: {_share(rest)}")
    for c in calls:
        if not right(c) or confident_wrong(c):
            truth, parts = (" ".join(f"{100 * v:+.1f}" for v in x) for x in (c.truth, c.parts))
            lines.append(f"  {c.fault}: truth {truth}, call {parts} ({c.called} for {c.truth_group})")
    return lines


def main() -> None:
    """Print the tables."""
    asked = argparse.ArgumentParser(description=__doc__)
    asked.add_argument("--bakeries", type=int, default=64)
    asked.add_argument("--first", type=int, default=0)
    options = asked.parse_args()
    began, heard = time.process_time(), []
    for number in range(options.first, options.first + options.bakeries):
        with tempfile.TemporaryDirectory() as folder:
            heard.append(listen(number, Path(folder) / "bakery"))
    print(machine())
    print("\n".join(report(heard)))
    print(f"processor time {time.process_time() - began:.0f} s")


if __name__ == "__main__":
    main()
