"""A store written by an earlier version opens, keeps what it holds and goes on; one of a later version says so."""

from __future__ import annotations

import json
import shutil
from dataclasses import replace
from pathlib import Path

import duckdb
import pytest

from models.logbook import KINDS, TABLES, Column
from models.storage import backup, decisions, holds, ledger, store
from tests.conftest import Loaftrace
from tests.faults.killer import SAMPLE, pieces, put, run
from tests.stores import unread
from tests.unit.heldrows import AT, missed

STORES = Path(__file__).resolve().parents[1] / "stores"
RELEASED = sorted(STORES.glob("version-*.zip"))


@pytest.fixture(params=RELEASED, ids=lambda path: path.stem)
def old(request: pytest.FixtureRequest, tmp_path: Path) -> tuple[Path, dict]:
    """A folder with an earlier version's store put back as `s.duckdb`, and what that version said of it."""
    backup.restore(request.param, tmp_path / "s.duckdb")
    (tmp_path / "logs").mkdir()
    return tmp_path, json.loads(request.param.with_suffix(".json").read_text(encoding="utf-8"))


def send_again(logs: Path) -> int:
    """Every paste log of the sample once more, with a blank line at its end so that its hash is another; returns its rows."""
    sent = 0
    for name, text in pieces():
        if "paste" in name:
            put(logs, name, f"{text}\n")
            sent += text.count("\n") - 1
    return sent


def widened(monkeypatch: pytest.MonkeyPatch) -> None:
    """The next version: the paste log has one more column."""
    paste = TABLES["paste"]
    more = Column("stirrer_rpm", "number", "speed of the stirrer", unit="1/min")
    monkeypatch.setitem(TABLES, "paste", replace(paste, columns=(*paste.columns, more)))
    monkeypatch.setattr(store, "VERSION", store.VERSION + 1)


def test_there_is_a_store_of_every_version() -> None:
    assert [path.stem for path in RELEASED] == [f"version-{n}" for n in range(1, store.VERSION + 1)]


def test_it_says_what_it_said(old: tuple[Path, dict]) -> None:
    folder, said = old
    again = run(folder, folder / "logs")
    assert {name: again[name] for name in ("rows", "quarantine")} == {
        name: said[name] for name in ("rows", "quarantine")
    }
    assert [alert["alert"] for alert in again["alerts"]] == said["alerts"]
    held = [[one["hold"], [batch["state"] for batch in one["batches"]]] for one in again["holds"]]
    assert held == said.get("holds", [])
    assert again["reports"]


def test_rows_sent_again_are_known(old: tuple[Path, dict]) -> None:
    folder, said = old
    sent = send_again(folder / "logs")
    paste = run(folder, folder / "logs")["rows"]["paste"]
    assert sent > 5
    assert paste == said["rows"]["paste"] | {
        "received": said["rows"]["paste"]["received"] + sent,
        "duplicate": said["rows"]["paste"]["duplicate"] + sent,
    }


def test_a_new_column_is_added_and_the_rows_stay(old: tuple[Path, dict], monkeypatch: pytest.MonkeyPatch) -> None:
    folder, said = old
    widened(monkeypatch)
    with pytest.raises(store.StoreError, match="older loaftrace.*run.*brings"):
        store.open_for_reading(folder / "s.duckdb")
    assert backup.make(folder / "s.duckdb", folder / "before.zip") > 0
    sent = send_again(folder / "logs")
    rows = run(folder, folder / "logs")["rows"]
    assert rows["paste"]["duplicate"] == said["rows"]["paste"]["duplicate"] + sent
    assert rows["loaf"] == said["rows"]["loaf"]
    con = store.open_for_reading(folder / "s.duckdb")
    assert con.execute("SELECT count(*), count(stirrer_rpm) FROM log_paste").fetchone() == (
        rows["paste"]["received"],
        0,
    )
    assert con.execute("SELECT count(*) FROM paste_batches").fetchone()[0] > 0
    con.close()


def test_a_case_closed_in_version_1_released_what_it_held(tmp_path: Path) -> None:
    """A hold ended with its case then; the other one, whose case was left open, is held on."""
    backup.restore(STORES / "version-1.zip", tmp_path / "s.duckdb")
    con = duckdb.connect(str(tmp_path / "s.duckdb"))
    ledger.keep_alerts(con, [missed(), missed(alert="Ac002", case="seen")], 9)
    con.execute("INSERT INTO case_event VALUES ('Ac001', ?, 'MK', 'closed', 'nothing found', 'second probe')", [AT])
    con.close()
    con = store.open_for_writing(tmp_path / "s.duckdb")
    stands = {hold.alert: hold.stands for hold in holds.holds(con, AT)}
    assert stands["Ac001"] is False and stands["Ac002"] is True
    held, released = holds.events(con)
    assert (held.act, released.act, released.who, released.role) == ("held", "released", "MK", "")
    assert "closed as nothing found, before releases were kept: second probe" in released.because
    con.close()
    con = store.open_for_writing(tmp_path / "s.duckdb")
    assert holds.events(con) == [held, released]
    con.close()


def by_row(path: Path) -> dict[tuple[str, int], str]:
    """What became of every row: kind and place of arrival -> status."""
    con = store.open_for_writing(path)
    found = {(k, seq): s for k in KINDS for seq, s in con.execute(f"SELECT seq, status FROM log_{k}").fetchall()}
    con.close()
    return found


def test_rows_that_nobody_can_read_come_back_to_the_work_list(tmp_path: Path) -> None:
    """Before version 5 they were counted as one row sent twice: `unread.zip` was written by a program of then."""
    (tmp_path / "logs").mkdir()
    said = unread.fill(tmp_path, tmp_path / "logs")
    backup.restore(STORES / "unread.zip", tmp_path / "old.duckdb")
    con = duckdb.connect(str(tmp_path / "old.duckdb"), read_only=True)
    before = con.execute("SELECT count(*) FROM log_paste WHERE status = 'duplicate'").fetchone()
    con.close()
    assert before == (5,) and said["rows"]["paste"]["duplicate"] == 1
    assert by_row(tmp_path / "old.duckdb") == by_row(tmp_path / "s.duckdb")
    con = store.open_for_writing(tmp_path / "old.duckdb")
    waits = decisions.waiting(con)
    con.close()
    assert len(waits) == sum(counts["quarantined"] for counts in said["rows"].values()) - 1, "one of them was rejected"


@pytest.mark.parametrize("since", ["before version 5", "the version before this column"])
def test_rows_that_nobody_can_read_are_known_again(
    tmp_path: Path, since: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    logs = tmp_path / "logs"
    logs.mkdir()
    if since == "before version 5":
        backup.restore(STORES / "unread.zip", tmp_path / "s.duckdb")
    else:
        unread.fill(tmp_path, logs)
        widened(monkeypatch)
    for name, text in unread.LOGS.items():
        put(logs, name, f"{text}\n")
    for counts in run(tmp_path, logs)["rows"].values():
        assert counts["duplicate"] >= counts["received"] / 2 and counts["received"] == sum(counts.values()) / 2


def test_a_newer_store_says_so(old: tuple[Path, dict], loaftrace: Loaftrace) -> None:
    folder, _ = old
    con = store.open_for_writing(folder / "s.duckdb")
    con.execute("UPDATE meta SET value = '99' WHERE key = 'version'")
    con.close()
    shutil.copyfile(folder / "s.duckdb", store.reading_copy(folder / "s.duckdb"))
    before = (folder / "s.duckdb").read_bytes()
    places = ["--plant", SAMPLE / "plant.toml", "--store", "s.duckdb"]
    for words in (["run", *places, "--logs", "logs", "--out", "out"], ["quarantine", *places]):
        done = loaftrace(*words, cwd=folder)
        assert done.returncode == 1 and "newer loaftrace (store version 99" in done.stderr, done.stderr
        assert len([line for line in done.stderr.splitlines() if "Prefect" not in line]) == 1
    assert (folder / "s.duckdb").read_bytes() == before
