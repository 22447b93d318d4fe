"""Backup and restore: the same answers after, and a damaged backup is refused."""

from __future__ import annotations

import shutil
import zipfile
from pathlib import Path

import pytest

from models.storage import backup, store
from tests.faults.killer import pieces, put, run


@pytest.fixture(scope="module")
def kept(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("kept")
    (folder / "logs").mkdir()
    for (name, text), _ in zip(pieces(), range(6), strict=False):
        put(folder / "logs", name, text)
    run(folder, folder / "logs")
    return folder


def test_a_restored_store_gives_the_same_answers(kept: Path, tmp_path: Path) -> None:
    con = store.open_for_writing(kept / "s.duckdb")  # in use
    n = backup.make(kept / "s.duckdb", tmp_path / "b.zip")
    con.close()
    assert n == 6
    assert backup.restore(tmp_path / "b.zip", tmp_path / "s.duckdb") == 6
    shutil.copytree(kept / "s-out", tmp_path / "s-out")
    again, first = run(tmp_path, kept / "logs"), run(kept, kept / "logs")
    assert all(again[name] == first[name] for name in ("rows", "quarantine", "alerts", "files"))


def test_what_is_no_backup(kept: Path, tmp_path: Path) -> None:
    with pytest.raises(store.StoreError, match="there already"):
        backup.restore(tmp_path / "b.zip", kept / "s.duckdb")
    with pytest.raises(store.StoreError, match="no such file"):
        backup.restore(tmp_path / "none.zip", tmp_path / "s.duckdb")
    with zipfile.ZipFile(tmp_path / "bad.zip", "w") as pack:
        pack.writestr("store.duckdb", "x")
        pack.writestr("archive/ab/" + "ab" * 32, "changed")
    with pytest.raises(store.StoreError, match="no whole backup"):
        backup.restore(tmp_path / "bad.zip", tmp_path / "s.duckdb")
    assert not (tmp_path / "s.duckdb").exists()


def test_no_store_yet(tmp_path: Path) -> None:
    with pytest.raises(store.StoreError, match="no store"):
        backup.make(tmp_path / "s.duckdb", tmp_path / "b.zip")


def test_what_is_there_is_not_written_over(kept: Path, tmp_path: Path) -> None:
    (tmp_path / "b.zip").write_bytes(b"another")
    for there in (tmp_path / "b.zip", tmp_path):
        with pytest.raises(store.StoreError, match="is there already"):
            backup.make(kept / "s.duckdb", there)
    assert (tmp_path / "b.zip").read_bytes() == b"another"
    assert not tmp_path.with_name(f"{tmp_path.name}.part").exists()
