"""Day by day or all at once: alerts, traces and weight verdicts are those worked out anew from all rows."""

from __future__ import annotations

from collections import defaultdict
from pathlib import Path

import pytest

from flows.job import Job, read_job
from flows.work import print_due, take
from models.alarms import short_weight
from models.alarms.alerts import reconcile, to_text
from models.alarms.charting import chart_plant
from models.alarms.raising import Found, raise_alerts
from models.charts.parted import of_pages
from models.storage import gather, ledger, store, weighings, wide

DAYS = 23
CORRECTED = "2026-10-25"


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The invented bakery's logs, one file a kind and day."""
    from seed_data.bakery import write

    folder = tmp_path_factory.mktemp("growth")
    write(folder, days=DAYS)
    for day in sorted((folder / "logs").iterdir()):
        alike = defaultdict(list)
        for path in sorted(day.glob("*.csv")):
            head, _, rows = path.read_text(encoding="utf-8").partition("\n")
            alike[path.stem.rsplit("-", 1)[-1], head].append(rows)
        for path in day.iterdir():
            path.unlink()
        for n, ((kind, head), rows) in enumerate(alike.items()):
            (day / f"{kind}-{n}.csv").write_text(head + "\n" + "".join(rows), encoding="utf-8")
    return folder


def put(made: Path, logs: Path, first: str, last: str) -> None:
    """The days first to last, one file a kind, into the logs folder."""
    alike: dict[tuple[str, str], list[str]] = defaultdict(list)
    for day in sorted((made / "logs").iterdir()):
        if first <= day.name <= last:
            for path in sorted(day.iterdir()):
                head, _, rows = path.read_text(encoding="utf-8").partition("\n")
                alike[path.stem.rsplit("-", 1)[0], head].append(rows)
    for n, ((kind, head), rows) in enumerate(alike.items()):
        (logs / f"{last}-{kind}-{n}.csv").write_text(head + "\n" + "".join(rows), encoding="utf-8")


def correct(logs: Path, day: str) -> None:
    """Every loaf of a day weighed again, a little lighter: as a newer file would say it."""
    for path in sorted(logs.glob(f"{day}-loaf-*.csv")):
        lines = path.read_text(encoding="utf-8").splitlines()
        place = lines[0].split(",").index("baked_g")
        changed = [lines[0]]
        for line in lines[1:]:
            cells = line.split(",")
            cells[place] = f"{float(cells[place]) - 3:.1f}" if cells[place] else ""
            changed.append(",".join(cells))
        (logs / f"z-{path.name}").write_text("\n".join(changed) + "\n", encoding="utf-8")


def anew(job: Job) -> list[str]:
    """The alerts as they are without anything kept, under the names in the store."""
    con = store.open_for_reading(job.store)
    try:
        pastes, batches = wide.load(con, "pastes"), wide.load(con, "batches")
        checks = gather.log(con, "check")
        days = sorted({str(day.date()) for day in batches["shift_date"]})
        charted = of_pages(one for one, _ in chart_plant(job.plant, pastes, batches, ledger.baselines(con)))
        weighed = short_weight.weigh(job.plant, batches, weighings.of_days(con, job.plant, days), gather.log(con, "output"), checks)
        found = Found(
            pastes,
            batches,
            gather.findings(con),
            gather.log(con, "change"),
            checks,
            charted,
            gather.newest(con),
            tuple(weighed),
        )
        return sorted(to_text(alert) for alert in reconcile(raise_alerts(job.plant, found), ledger.stored_alerts(con)))
    finally:
        con.close()


def stored(job: Job) -> list[str]:
    con = store.open_for_reading(job.store)
    try:
        return sorted(to_text(alert) for alert in ledger.stored_alerts(con))
    finally:
        con.close()


def kept(job: Job) -> dict[str, tuple[str, str]]:
    con = store.open_for_reading(job.store)
    try:
        return {
            name: (key, body) for name, key, body in con.execute("SELECT what || name, key, body FROM memo").fetchall()
        }
    finally:
        con.close()


def test_alerts_taken_day_by_day_are_those_worked_out_anew(made: Path, tmp_path: Path) -> None:
    logs = tmp_path / "logs"
    logs.mkdir()
    job = read_job(made / "plant.toml", logs, tmp_path / "s.duckdb", tmp_path / "out")
    put(made, logs, "2026-10-01", "2026-10-24")
    take(job)
    assert stored(job) == anew(job)
    put(made, logs, "2026-10-25", "2026-10-25")
    first = take(job)
    assert any(alert["causes"] for alert in first.result["alerts"]) and first.changed
    assert stored(job) == anew(job)
    before = kept(job)
    put(made, logs, "2026-10-26", "2026-10-27")
    take(job)
    assert stored(job) == anew(job)
    same = sum(
        before[name] == piece for name, piece in kept(job).items() if name in before and name.startswith("weight")
    )
    assert same > 15  # of about twenty days: those that the two new ones could not touch were not weighed again
    correct(logs, CORRECTED)
    assert take(job).changed
    assert stored(job) == anew(job)
    said = stored(job)
    con = store.open_for_writing(job.store)
    con.execute("DROP TABLE memo")
    con.close()
    (logs / "note.csv").write_text(
        "changed_at,scope,name,what\n2026-10-27T23:00,plant,demo-bakery,nothing\n", encoding="utf-8"
    )
    again = take(job)
    assert [f["outcome"] for f in again.result["files"] if f["file"] == "note.csv"] == ["taken"]
    assert stored(job) == anew(job) and len(stored(job)) == len(said)
    assert again.result["reports"] == [] and again.due
    printed = print_due(job)
    assert len(printed) == len(again.due) and print_due(job) == []
