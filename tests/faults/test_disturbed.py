"""Locks, two runs at once, a full disk, odd things in the folder: one line each, nothing half-done, nothing lost."""

from __future__ import annotations

import os
import sqlite3
import subprocess
import sys
import threading
from pathlib import Path

import duckdb
import pytest

from models.storage import store
from tests.conftest import Loaftrace
from tests.faults.killer import SAMPLE, pieces, put, run

ROOT = Path(__file__).resolve().parents[2]
HOLD = """
import duckdb, sys, time
con = duckdb.connect(sys.argv[1])
con.execute("BEGIN"); con.execute("CREATE TABLE IF NOT EXISTS held (x INTEGER)")
print("held", flush=True)
sys.stdin.readline()
con.execute("ROLLBACK"); con.close()
"""


def fill(folder: Path, n: int = 6) -> Path:
    logs = folder / "logs"
    logs.mkdir(exist_ok=True)
    for (name, text), _ in zip(pieces(), range(n), strict=False):
        put(logs, name, text)
    return logs


def words(folder: Path, logs: Path) -> list[str]:
    return [
        "run",
        "--plant",
        str(SAMPLE / "plant.toml"),
        "--logs",
        str(logs),
        "--store",
        str(folder / "s.duckdb"),
        "--out",
        str(folder / "out"),
    ]


def one_line(done: subprocess.CompletedProcess[str], status: int) -> str:
    """The command's one line of error; no traceback, nothing on standard output."""
    assert done.returncode == status, done.stderr
    assert done.stdout == ""
    lines = done.stderr.splitlines()
    assert len(lines) == 1, done.stderr
    return lines[0]


@pytest.fixture
def holder(tmp_path: Path):
    """Another process that holds the store."""
    process = subprocess.Popen(
        [sys.executable, "-c", HOLD, str(tmp_path / "s.duckdb")],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
    )
    assert process.stdout and process.stdout.readline().strip() == "held"
    yield process
    if process.poll() is None:
        process.communicate("\n")


def test_a_held_store_says_who_holds_it(tmp_path: Path, holder) -> None:
    with pytest.raises(store.StoreError, match=f"held by another program \\(process {holder.pid}\\)"):
        store.open_for_writing(tmp_path / "s.duckdb", wait_s=0.3)


@pytest.mark.slow
def test_a_run_waits_for_the_one_before(tmp_path: Path, holder, loaftrace: Loaftrace) -> None:
    logs = fill(tmp_path)
    threading.Timer(3.0, lambda: holder.communicate("\n")).start()
    done = loaftrace(*words(tmp_path, logs), "--json", cwd=tmp_path)
    assert done.returncode == 0, done.stderr


@pytest.mark.slow
def test_two_runs_at_once_take_every_row_once(tmp_path: Path, loaftrace: Loaftrace) -> None:
    logs = fill(tmp_path, 10)
    done: list[subprocess.CompletedProcess[str]] = []
    threads = [
        threading.Thread(target=lambda: done.append(loaftrace(*words(tmp_path, logs), "--json", cwd=tmp_path)))
        for _ in range(2)
    ]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert [one.returncode for one in done] == [0, 0], [one.stderr for one in done]
    assert run(tmp_path, logs)["rows"] == run(tmp_path, logs, "other")["rows"]


@pytest.mark.slow
def test_readers_read_while_a_run_writes(tmp_path: Path) -> None:
    logs = fill(tmp_path, 25)
    run(tmp_path, logs)
    con = store.open_for_writing(tmp_path / "s.duckdb")
    try:
        with store.transaction(con):
            con.execute("DELETE FROM batches")
            reader = store.open_for_reading(tmp_path / "s.duckdb")
            assert reader.execute("SELECT count(*) FROM dough_batches").fetchall()[0][0] > 0
            reader.close()
            con.execute("INSERT INTO batches (batch_key) VALUES ('x')")
    finally:
        con.close()


def test_a_store_newer_than_the_program_is_left_alone(tmp_path: Path, loaftrace: Loaftrace) -> None:
    con = store.open_for_writing(tmp_path / "s.duckdb")
    con.execute("UPDATE meta SET value = '99' WHERE key = 'version'")
    con.close()
    before = (tmp_path / "s.duckdb").read_bytes()
    assert "newer loaftrace" in one_line(loaftrace(*words(tmp_path, fill(tmp_path)), cwd=tmp_path), 1)
    assert (tmp_path / "s.duckdb").read_bytes() == before


def test_a_store_that_is_none(tmp_path: Path, loaftrace: Loaftrace) -> None:
    (tmp_path / "s.duckdb").write_text("not a store, " * 1000)
    assert "s.duckdb" in one_line(loaftrace(*words(tmp_path, fill(tmp_path)), cwd=tmp_path), 1)
    assert (tmp_path / "s.duckdb").read_text().startswith("not a store")


def test_a_database_of_something_else_is_not_written_to(tmp_path: Path, loaftrace: Loaftrace) -> None:
    con = duckdb.connect(str(tmp_path / "s.duckdb"))
    con.execute("CREATE TABLE wages (name VARCHAR)")
    con.close()
    before = (tmp_path / "s.duckdb").read_bytes()
    assert "something else" in one_line(loaftrace(*words(tmp_path, fill(tmp_path)), cwd=tmp_path), 1)
    assert (tmp_path / "s.duckdb").read_bytes() == before


def test_a_database_of_another_kind_fetches_no_extension(tmp_path: Path, loaftrace: Loaftrace) -> None:
    with sqlite3.connect(tmp_path / "s.duckdb") as other:
        other.execute("CREATE TABLE wages (name TEXT)")
    said = one_line(loaftrace(*words(tmp_path, fill(tmp_path)), cwd=tmp_path), 1)
    assert "not a store of this program" in said and "http" not in said


def test_no_connection_may_fetch_an_extension(tmp_path: Path) -> None:
    con = store.open_for_writing(tmp_path / "s.duckdb")
    con.close()
    store.publish(tmp_path / "s.duckdb")
    for opened in (store.open_for_writing, store.open_for_reading):
        con = opened(tmp_path / "s.duckdb")
        for setting in ("autoinstall_known_extensions", "autoload_known_extensions"):
            assert con.execute(f"SELECT current_setting('{setting}')").fetchone() == (False,)
        con.close()


@pytest.mark.slow
def test_reports_folder_that_is_a_file(tmp_path: Path, loaftrace: Loaftrace) -> None:
    logs = fill(tmp_path)
    (tmp_path / "out").write_text("in the way")
    assert "out: no folder" in one_line(loaftrace(*words(tmp_path, logs), cwd=tmp_path), 2)
    assert not (tmp_path / "s.duckdb").exists()
    (tmp_path / "out").unlink()
    again = loaftrace(*words(tmp_path, logs), cwd=tmp_path)
    assert again.returncode == 0 and list((tmp_path / "out").glob("day-*.html")), again.stderr


@pytest.mark.slow
def test_odd_things_in_the_folder_are_never_followed_or_waited_for(tmp_path: Path) -> None:
    logs = fill(tmp_path)
    (tmp_path / "secret.csv").write_text(
        "loaf,dough_batch,line,measured_at,baked_g,volume_ml\n1,1,L1,2026-10-05 10:00,400,1800\n"
    )
    (logs / "link.csv").symlink_to(tmp_path / "secret.csv")
    (logs / "loop").symlink_to(logs, target_is_directory=True)
    os.mkfifo(logs / "pipe.csv")
    (logs / "a folder.csv").mkdir()
    (logs / ".half.csv.part").write_text("half")
    result = run(tmp_path, logs)
    said = {Path(file["file"]).name: file for file in result["files"]}
    assert said["link.csv"]["outcome"] == said["pipe.csv"]["outcome"] == "refused"
    assert ".half.csv.part" not in said and "a folder.csv" not in said
    assert result["rows"]["loaf"]["received"] == 0


def test_power_cut_between_archive_and_commit(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    logs = fill(tmp_path, 3)
    from models.storage import take

    monkeypatch.setattr(take, "put_raw", lambda *_: (_ for _ in ()).throw(OSError(5, "cut")))
    with pytest.raises(OSError, match="cut"):
        run(tmp_path, logs)
    assert list(store.archive_folder(tmp_path / "s.duckdb").rglob("*"))
    monkeypatch.undo()
    result = run(tmp_path, logs)
    assert {file["outcome"] for file in result["files"]} == {"taken"}
    assert result["rows"] == run(tmp_path, logs, "other")["rows"]


@pytest.mark.slow
def test_a_full_disk_loses_nothing(small_disk: Path, tmp_path: Path, loaftrace: Loaftrace) -> None:
    logs = fill(tmp_path, 12)
    said = one_line(loaftrace(*words(small_disk, logs), cwd=tmp_path), 1)
    assert "No space left on device" in said and "nothing was half-done" in said
    subprocess.run(["mount", "-o", "remount,size=200m", str(small_disk)], check=True)
    after = run(small_disk, logs)
    assert after["rows"] == run(tmp_path, logs, "other")["rows"]


def test_a_store_that_may_not_be_written_says_so_and_what_to_do(small_disk: Path, tmp_path: Path, loaftrace: Loaftrace) -> None:
    logs, there = fill(tmp_path, 2), small_disk / "s.duckdb"
    store.open_for_writing(there).close()
    subprocess.run(["mount", "-o", "remount,ro", str(small_disk)], check=True)
    asked = words(small_disk, logs)
    asked[-1] = str(tmp_path / "out")
    said = one_line(loaftrace(*asked, cwd=tmp_path), 1)
    assert said == (
        f"loaftrace: {there}: cannot be written (Read-only file system); let this account write there, or name another store "
        "(nothing was changed)"
    )


@pytest.mark.parametrize(
    ("error", "said"),
    [
        (
            duckdb.FatalException(
                'FATAL Error: Failed to create checkpoint because of error: Could not write file "/srv/s.duckdb": '
                "No space left on device\n\nStack Trace:\n"
            ),
            "/srv/s.duckdb: No space left on device",
        ),
        (OSError(28, "No space left on device"), "what this command writes to: No space left on device"),
        (PermissionError(13, "Permission denied", "/srv/out"), "/srv/out: Permission denied"),
    ],
)
def test_what_the_file_system_refuses_names_the_place_and_what_to_do(
    error: Exception, said: str, capsys: pytest.CaptureFixture[str]
) -> None:
    """The first: as the database said it on a disk of 3 MiB."""
    from flows import cli

    assert cli._explain(error) == 1
    assert capsys.readouterr().err == f"loaftrace: {said}; free or fix it, then run again (nothing was half-done)\n"
