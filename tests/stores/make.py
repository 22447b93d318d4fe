"""Write the store that stands for this version: `python -m tests.stores.make FILE.zip`.

Two days of the sample's logs and a few bad rows, one of them confirmed, one rejected and one corrected in its workbook, a limit
broken, and two doughs held by hand, one of them released. Made once, when a store's version
is released, and never again: what an earlier program wrote is the point.
"""

from __future__ import annotations

import hashlib
import json
import sys
import tempfile
from datetime import datetime
from pathlib import Path

from models import plant as plant_file
from models.storage import backup, decisions, store
from tests.faults.killer import SAMPLE, pieces, put, run

BAD = """loaf,dough_batch,line,measured_at,scaled_g,baked_g,volume_ml
91,01,L1,2026-10-05 10:30,460,1850,405
92,01,L1,2026-10-05 10:31,460,405,1.850
93,01,L1,2026-10-05 10:32,460,?,1860
94,01,L1,2026-10-05 10:33,460,?,1865
"""
HOT = """paste_batch,kettle,recipe,shift_date,shift,weight_before_kg,weight_after_kg,tare_kg,cook_start,cook_end,cook_temp_c,probe
77,K2,water-5,2026-10-06,early,186.27,181.57,48.20,2026-10-06 12:14,2026-10-06 12:25,92.5,contact
"""


def fill(folder: Path, logs: Path) -> dict:
    """The sample's logs and the bad rows into a store `s.duckdb` in `folder`, and a person's decisions on two rows; returns
    what the last run said."""
    for name, text in pieces():
        put(logs, name, text)
    put(logs, "bad-loaf.csv", BAD)
    put(logs, "hot-paste.csv", HOT)
    put(logs, "shopping.csv", "milk,eggs\n2,12\n")
    run(folder, logs)
    _hold(folder)
    _correct(folder, logs)
    return _decide(folder)


def _hold(folder: Path) -> None:
    """Two doughs held by hand, and one of them released."""
    from flows import holding
    from flows.job import read_job
    from models.floor.holds import HoldEvent
    from models.people import Person

    job = read_job(SAMPLE / "plant.toml", folder / "logs", folder / "s.duckdb", folder / "s-out")
    con = store.open_for_reading(folder / "s.duckdb")
    names = con.execute(
        "SELECT batch_key FROM batches WHERE line = 'L1' ORDER BY mixed_at, batch_key LIMIT 2"
    ).fetchall()
    con.close()
    doughs, at = tuple(name for (name,) in names), datetime(2026, 10, 6, 15, 0)
    held = HoldEvent("", at, "JS", "held", "a shard of a pan", doughs=doughs, ground="foreign body")
    kept, _ = holding.record_hold(job, held, Person(initials="JS", role="floor"))
    release = HoldEvent(kept.hold, at, "MK", "released", "sieved, nothing found", doughs=doughs[:1])
    holding.record_hold(job, release, Person(initials="MK", role="QA"))


def _correct(folder: Path, logs: Path) -> None:
    """The weight of one loaf, in the workbook that waits for it."""
    from openpyxl import load_workbook

    from models.storage import replacing
    from reports import slips

    plan = plant_file.load(SAMPLE / "plant.toml")
    con = store.open_for_reading(folder / "s.duckdb")
    mine = [row for row in decisions.waiting(con) if row.rule == "loaf.number"][-1:]
    cells = {
        row.seq: decisions.as_typed(con, plan, row.kind, row.seq) | {replacing.COLUMN: replacing.name_of(con, row.seq)}
        for row in mine
    }
    con.close()
    (book,) = (path for path in slips.write(plan, mine, cells, folder / "slips") if path.suffix == ".xlsx")
    filled = load_workbook(book)
    heads = [cell.value for cell in filled.active[1]]
    for name, text in (("baked_g", "406"), (replacing.BY, "MK")):
        filled.active.cell(2, heads.index(name) + 1).value = text
    filled.save(logs / "corrected-loaf.xlsx")
    run(folder, logs)


def _decide(folder: Path) -> dict:
    from flows.job import Job
    from flows.work import work

    plan = plant_file.load(SAMPLE / "plant.toml")
    con = store.open_for_reading(folder / "s.duckdb")
    rows = {row.rule: row for row in decisions.waiting(con)}
    at = datetime(2026, 10, 7, 8, 0)
    swapped, unread = rows["loaf.weight-and-volume-swapped"], rows["loaf.number"]
    logs = decisions.correction(con, plan, [swapped], "QA", at)
    con.close()
    corrections = folder / "corrections"
    corrections.mkdir()
    for name, content in logs.items():
        (corrections / name).write_bytes(content)
    sha = hashlib.sha256(logs[next(iter(logs))]).hexdigest()
    chosen = (
        decisions.Decision(swapped.seq, "confirmed", "QA", at, "", sha),
        decisions.Decision(unread.seq, "rejected", "QA", at, "the loaf was cut before it was weighed"),
    )
    text = (SAMPLE / "plant.toml").read_text(encoding="utf-8")
    return work(Job(plan, text, corrections, folder / "s.duckdb", folder / "s-out", decisions=chosen))


def main(to: Path) -> None:
    """Write the backup, and beside it what the run said of it."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        (folder / "logs").mkdir()
        said = fill(folder, folder / "logs")
        answer = {name: said[name] for name in ("rows", "quarantine")} | {
            "alerts": [a["alert"] for a in said["alerts"]],
            "holds": [[one["hold"], [b["state"] for b in one["batches"]]] for one in said["holds"]],
        }
        to.with_suffix(".json").write_text(json.dumps(answer, ensure_ascii=False, indent=1) + "\n", encoding="utf-8")
        print(f"{to}: {backup.make(folder / 's.duckdb', to)} archived files, {to.stat().st_size} bytes")


if __name__ == "__main__":
    main(Path(sys.argv[1]))
