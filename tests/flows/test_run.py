"""The whole job on the committed sample: the contract's result, the same answer again, and nothing written twice."""

from __future__ import annotations

import csv
import hashlib
import io
import random
import shutil
from pathlib import Path
from typing import Any

import pandas as pd
import pytest

from flows.floor import watch
from flows.job import read_job
from flows.work import work
from models.storage import gather, store, wide

SAMPLE = Path(__file__).resolve().parents[2] / "seed_data" / "sample"


def run(folder: Path, logs: Path, name: str = "s") -> dict[str, Any]:
    return work(read_job(SAMPLE / "plant.toml", logs, folder / f"{name}.duckdb", folder / f"{name}-out"))


def batches(folder: Path, name: str = "s") -> tuple[pd.DataFrame, pd.DataFrame]:
    con = store.open_for_reading(folder / f"{name}.duckdb")
    try:
        return wide.load(con, "pastes"), wide.load(con, "batches")
    finally:
        con.close()


@pytest.fixture(scope="module")
def taken(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, dict[str, Any]]:
    folder = tmp_path_factory.mktemp("run")
    shutil.copytree(SAMPLE / "logs", folder / "logs")
    return folder, run(folder, folder / "logs")


def test_the_account_adds_up_and_has_every_log(taken) -> None:
    _, result = taken
    assert list(result) == ["rows", "files", "quarantine", "alerts", "holds", "reports"]
    assert set(result["rows"]) == {"paste", "dough", "proof", "gas", "loaf", "output", "change", "check"}
    for counts in result["rows"].values():
        words = ("accepted", "waiting", "quarantined", "duplicate", "superseded")
        assert counts["received"] == sum(counts[name] for name in words)
        assert set(counts) == {"received", *words}
    assert result["rows"]["loaf"]["received"] > 100
    assert len(result["quarantine"]) == sum(counts["quarantined"] for counts in result["rows"].values())


def test_files_are_taken_in_bytewise_order_and_archived(taken) -> None:
    folder, result = taken
    names = [file["file"] for file in result["files"]]
    assert names == sorted(names, key=lambda name: name.encode())
    for file in result["files"]:
        kept = store.archive_folder(folder / "s.duckdb") / file["sha256"][:2] / file["sha256"]
        assert kept.read_bytes() == (folder / "logs" / file["file"]).read_bytes()


def test_quarantine_names_the_cell_as_written(taken) -> None:
    folder, result = taken
    assert {row["kind"] for row in result["quarantine"]} >= {"paste"}, "the sample holds rows that cannot be true"
    for row in result["quarantine"]:
        with (folder / "logs" / row["file"]).open(encoding="utf-8", newline="") as handle:
            lines = list(csv.reader(handle))
        header = next(line for line in lines if row["column"] in line)
        assert lines[row["row"] - 1][header.index(row["column"])] == row["value"]
        assert row["why"] and row["rule"].startswith(row["kind"])


def _prints(folder: Path) -> dict[str, str]:
    return {
        str(p.relative_to(folder)): hashlib.sha256(p.read_bytes()).hexdigest()
        for p in sorted(folder.rglob("*"))
        if p.is_file()
    }


def test_a_second_run_writes_nothing(taken) -> None:
    folder, first = taken
    before = _prints(folder)
    again = run(folder, folder / "logs")
    assert _prints(folder) == before
    assert again["reports"] == []
    assert {file["outcome"] for file in again["files"]} == {"already taken"}
    assert all(again[name] == first[name] for name in ("rows", "quarantine", "alerts"))


def _rewritten(taken: Path, target: Path, change) -> Path:
    """The sample's CSV files, each rewritten row by row; workbooks as they are."""
    for path in sorted((taken / "logs").rglob("*")):
        if path.suffix == ".csv":
            rows = list(csv.reader(io.StringIO(path.read_text(encoding="utf-8"))))
            for name, text in change(path.stem, rows).items():
                to = target / path.parent.relative_to(taken / "logs") / name
                to.parent.mkdir(parents=True, exist_ok=True)
                to.write_text(text, encoding="utf-8")
        elif path.is_file():
            to = target / path.relative_to(taken / "logs")
            to.parent.mkdir(parents=True, exist_ok=True)
            shutil.copy(path, to)
    return target


def _csv(rows: list[list[str]], delimiter: str = ",") -> str:
    text = io.StringIO()
    csv.writer(text, delimiter=delimiter, lineterminator="\n").writerows(rows)
    return text.getvalue()


def _shuffled(stem: str, rows: list[list[str]]) -> dict[str, str]:
    body = rows[1:]
    random.Random(stem).shuffle(body)
    return {f"{stem}.csv": _csv([rows[0], *body])}


def _split(stem: str, rows: list[list[str]]) -> dict[str, str]:
    middle = max(1, len(rows) // 2)
    parts = {f"{stem}-a.csv": rows[:middle], f"{stem}-b.csv": [rows[0], *rows[middle:]]}
    return {name: _csv(part) for name, part in parts.items() if len(part) > 1}


def _decimal_comma(stem: str, rows: list[list[str]]) -> dict[str, str]:
    def cell(text: str) -> str:
        return text.replace(".", ",") if text.removeprefix("-").replace(".", "", 1).isdigit() else text

    return {f"{stem}.csv": _csv([[cell(c) for c in row] for row in rows], ";")}


@pytest.mark.slow
@pytest.mark.parametrize("change", [_shuffled, _split, _decimal_comma])
def test_the_same_logs_in_another_dress_give_the_same_batches(taken, tmp_path: Path, change) -> None:
    folder, first = taken
    logs = _rewritten(folder, tmp_path / "logs", change)
    other = run(tmp_path, logs)
    assert {kind: counts["accepted"] for kind, counts in other["rows"].items()} == {
        kind: counts["accepted"] for kind, counts in first["rows"].items()
    }
    for mine, theirs in zip(batches(folder), batches(tmp_path), strict=True):
        pd.testing.assert_frame_equal(mine, theirs, check_exact=False, rtol=1e-12)


@pytest.mark.slow
def test_day_by_day_is_the_same_as_at_once(taken, tmp_path: Path) -> None:
    folder, first = taken
    last = first
    for day in sorted((folder / "logs").iterdir()):
        shutil.copytree(day, tmp_path / "logs" / day.name)
        last = run(tmp_path, tmp_path / "logs")
    assert all(last[name] == first[name] for name in ("rows", "quarantine", "alerts"))
    for mine, theirs in zip(batches(folder), batches(tmp_path), strict=True):
        pd.testing.assert_frame_equal(mine, theirs)


def test_readers_see_no_operators_names(taken) -> None:
    folder, _ = taken
    con = store.open_for_reading(folder / "s.duckdb")
    try:
        views = [name for (name,) in con.execute("SELECT view_name FROM duckdb_views() WHERE NOT internal").fetchall()]
        assert {"paste_batches", "dough_batches", "loaves", "alerts", "findings"} <= set(views)
        for view in views:
            columns = {name for name, *_ in con.execute(f"DESCRIBE {view}").fetchall()}
            assert not columns & {"operator", "note"}
            con.execute(f"SELECT * FROM {view}").fetchall()
    finally:
        con.close()


def test_a_changed_plant_file_is_held_against_rows_taken_before(taken, tmp_path: Path) -> None:
    folder, _ = taken
    shutil.copytree(folder / "logs", tmp_path / "logs")
    text = (SAMPLE / "plant.toml").read_text(encoding="utf-8")
    narrow = text.replace("[kettles.K1]\npastes", "[kettles.K7]\npastes").replace('kettle = "K1"', 'kettle = "K7"')
    (tmp_path / "plant.toml").write_text(narrow, encoding="utf-8")
    places = (tmp_path / "logs", tmp_path / "s.duckdb", tmp_path / "s-out")
    first = work(read_job(tmp_path / "plant.toml", *places))
    assert any(row["rule"] == "paste.unknown-kettle" for row in first["quarantine"])
    (tmp_path / "plant.toml").write_text(text, encoding="utf-8")
    second = work(read_job(tmp_path / "plant.toml", *places))
    assert not any(row["rule"] == "paste.unknown-kettle" for row in second["quarantine"])
    assert second["rows"] == run(folder, folder / "logs")["rows"]


def test_a_store_and_reports_among_the_logs_take_in_nothing_of_their_own(tmp_path: Path) -> None:
    logs = tmp_path / "logs"
    shutil.copytree(SAMPLE / "logs", logs)
    places = (SAMPLE / "plant.toml", logs, logs / "s.duckdb", logs / "pages")
    first, before = work(read_job(*places)), digests(logs)
    again = work(read_job(*places))
    assert not [file["file"] for file in first["files"] if file["outcome"] == "refused"]
    assert {file["outcome"] for file in again["files"]} == {"already taken"}
    assert again["rows"] == first["rows"]
    assert digests(logs) == before
    job = read_job(*places)
    assert watch.Watch(logs, job.is_ours).changed() == {file["file"] for file in first["files"]}
    assert job.is_ours(logs / "s.duckdb.wal") and not job.is_ours(logs / "s.duckdb2.csv")


def test_one_row_with_a_wrong_year_does_not_age_everything(tmp_path: Path) -> None:
    logs = tmp_path / "logs"
    shutil.copytree(SAMPLE / "logs", logs)
    run(tmp_path, logs)
    con = store.open_for_reading(tmp_path / "s.duckdb")
    before = gather.newest(con)
    con.close()
    head = "instrument,checked_at,quantity,standard,as_found\n"
    for day, moves in (("2027-10-05", False), ("2028-02-05", False), ("2028-02-06", True)):
        (logs / f"{day}.csv").write_text(f"{head}V1,{day} 10:00,volume,1000,1001\n")
        run(tmp_path, logs)
        con = store.open_for_reading(tmp_path / "s.duckdb")
        assert con.execute("SELECT max(checked_at) FROM log_check WHERE status = 'accepted'").fetchone()[0].year > 2026
        assert (gather.newest(con) != before) == moves
        con.close()


def digests(folder: Path) -> dict[Path, str]:
    return {path: hashlib.sha256(path.read_bytes()).hexdigest() for path in sorted(folder.rglob("*")) if path.is_file()}
