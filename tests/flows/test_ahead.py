"""Files looked at ahead of their turn keep their turn."""

from __future__ import annotations

import hashlib
import os
import sys
import threading
import time
from collections.abc import Iterator
from pathlib import Path

import duckdb
import pytest

from flows import ahead
from models.reader import bulk as reader
from models.reader import intake
from models.storage import bulk, store
from tests.unit.test_rules import NORTH

HEAD = "loaf,dough_batch,line,measured_at,scaled_g,baked_g,volume_ml\n"


def large(first: int) -> str:
    """A loaf log just large enough to be read in bulk."""
    rows = reader.FEWEST_BYTES // 40
    return HEAD + "".join(
        f"{n},01,L1,2026-05-06T{9 + n // 7200:02}:{n // 120 % 60:02}:{n // 2 % 60:02},450.0,{400 + n % 3}.5,1900\n"
        for n in range(first, first + rows)
    )


@pytest.fixture
def logs(tmp_path: Path) -> Path:
    """Small and very large files in turn, one that cannot be fetched, and one that came before."""
    folder = tmp_path / "logs"
    folder.mkdir()
    for name, text in {
        "1": large(0),
        "2": HEAD,
        "3": large(1),
        "4": large(2),
        "5": HEAD + "x\n",
        "7": large(3),
        "8": HEAD + "y\n",
    }.items():
        (folder / f"{name}.csv").write_text(text)
    return folder


def arrivals(folder: Path, taken: dict[str, str]) -> Iterator[ahead.Arrived]:
    """As a run asks for them, with one file gone since it was found."""
    found = intake.find(folder)[0]
    found = dict(sorted([*found.items(), ("6.csv", folder / "6.csv")]))
    with duckdb.connect() as con:
        yield from ahead.arrivals(con, found, taken, folder.parent / "archive", NORTH)


def test_files_come_in_order_each_archived_and_the_large_ones_looked_at(logs: Path):
    before = hashlib.sha256((logs / "8.csv").read_bytes()).hexdigest()
    came = []
    for one in arrivals(logs, {before: "loaf"}):
        came.append((one.name, bool(one.refused), one.checked()))
        kept = store.archived(logs.parent / "archive", one.sha256)
        assert one.refused or one.sha256 == before or kept.read_bytes() == (logs / one.name).read_bytes()
    assert [name for name, *_ in came] == [f"{n}.csv" for n in range(1, 9)]
    assert [name for name, refused, _ in came if refused] == ["6.csv"]
    assert [name for name, _, found in came if found] == ["1.csv", "3.csv", "4.csv", "7.csv"]
    assert not store.archived(logs.parent / "archive", before).exists(), "what was taken before is not looked at again"


def test_no_more_than_a_few_are_looked_at_at_once_and_they_are_at_once(logs: Path, monkeypatch: pytest.MonkeyPatch):
    now, most, guard, check = [0], [0], threading.Lock(), bulk.check
    together = threading.Barrier(
        ahead.AT_ONCE, timeout=60
    )  # broken, and the look with it, where one has to wait for the other

    def met(*args):
        with guard:
            now[0] += 1
            most[0] = max(most[0], now[0])
        together.wait()
        try:
            return check(*args)
        finally:
            with guard:
                now[0] -= 1

    monkeypatch.setattr(bulk, "check", met)
    assert len([one.checked() for one in arrivals(logs, {})]) == 8
    assert most[0] == ahead.AT_ONCE


def test_what_goes_wrong_in_a_look_is_told_in_its_turn(logs: Path, monkeypatch: pytest.MonkeyPatch):
    monkeypatch.setattr(bulk, "check", lambda *_: 1 / 0)
    coming = arrivals(logs, {})
    first = next(coming)
    with pytest.raises(ZeroDivisionError):
        first.checked()
    coming.close()


@pytest.mark.skipif(sys.platform != "linux", reason="other systems do not say who writes a file")
def test_a_file_that_is_held_open_is_known_again_but_not_taken_as_new(tmp_path: Path):
    folder, minutes_ago = tmp_path / "logs", time.time() - 600
    folder.mkdir()
    known = (HEAD + "x\n").encode()
    taken = {hashlib.sha256(known).hexdigest(): "loaf"}
    held = [(folder / name).open("wb") for name in ("known.csv", "new.csv")]
    for file, content in zip(held, (known, known + b"y\n"), strict=True):
        file.write(content)
        file.flush()
        os.utime(file.name, (minutes_ago, minutes_ago))
    came = {one.name: (bool(one.refused), one.sha256 in taken) for one in arrivals(folder, taken)}
    assert came == {"6.csv": (True, False), "known.csv": (False, True), "new.csv": (True, False)}
    for file in held:
        file.close()
    come_now = {one.name: bool(one.refused) for one in arrivals(folder, taken)}
    assert come_now == {"6.csv": True, "known.csv": False, "new.csv": False}
