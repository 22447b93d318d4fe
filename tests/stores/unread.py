"""Rows with cells that nobody can read, otherwise alike: `python -m tests.stores.unread FILE.zip` made `unread.zip` with the
program before version 5, which counted them as one row sent twice. Run by a later program it says something else."""

from __future__ import annotations

import sys
import tempfile
from datetime import datetime
from pathlib import Path

PASTE = "paste_batch,kettle,shift_date,shift,weight_before_kg,weight_after_kg,cook_start,cook_end,cook_temp_c\n"
_COOK = "36.0,35.1,2026-10-05 06:10,2026-10-05 06:20,66\n"
# what is sent, by name: dates and a clock that cannot be read, a row that is one sent twice, cells that are shifted
LOGS = {
    "a-pastes.csv": PASTE
    + "".join(f"61,K1,{day},early,{_COOK}" for day in ("31.06.2026", "2206-10-05", "30.13.2026", "30.13.2026"))
    + "".join(f"62,K1,2026-10-05,early,36.0,35.1,2026-10-05 06:30,{end},66\n" for end in ("24:70", "24:80"))
    + "".join(f"63,K1,2026-10-05,early,36,0,35,{minute},66,9,9\n" for minute in ("x1", "x2")),
    "b-doughs.csv": "dough_batch,line,product,shift_date,shift,mixed_at,flour_kg,liquid_kg,yeast_kg,dough_temp_c\n"
    + "".join(f"61,L1,milk-loaf,{day},early,2026-10-05 08:00,100,50,3,26\n" for day in ("5.10.26?", "6.10.26?")),
    "c-loaves.csv": "loaf,dough_batch,line,measured_at,baked_g,volume_ml\n"
    + "".join(f"1,61,L1,{at},402,1890\n" for at in ("26:10", "26:20", "26:20"))
    + "2,61,L1,-,402,1890\n2,61,L1,,402,1890\n",
}


def fill(folder: Path, logs: Path) -> dict:
    """These logs into a store `s.duckdb` in `folder`; returns what the run said."""
    from tests.faults.killer import put, run

    for name, text in LOGS.items():
        put(logs, name, text)
    return run(folder, logs)


def main(to: Path) -> None:
    """Write the backup; the first of the pastes is rejected in it."""
    from flows.job import Job
    from flows.work import work
    from models import plant as plant_file
    from models.storage import backup, decisions, store
    from tests.faults.killer import SAMPLE

    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        (folder / "logs").mkdir()
        fill(folder, folder / "logs")
        plan, text = plant_file.load(SAMPLE / "plant.toml"), (SAMPLE / "plant.toml").read_text(encoding="utf-8")
        con = store.open_for_reading(folder / "s.duckdb")
        first = min(row.seq for row in decisions.waiting(con))
        con.close()
        chosen = (decisions.Decision(first, "rejected", "QA", datetime(2026, 10, 7, 8, 0), "nobody knows the day"),)
        said = work(Job(plan, text, folder / "none", folder / "s.duckdb", folder / "s-out", decisions=chosen))
        print(f"{to}: {backup.make(folder / 's.duckdb', to)} archived files; {said['rows']}")


if __name__ == "__main__":
    main(Path(sys.argv[1]))
