"""The owner of the store gives readers their copy after each commit; what keeps it from them is said and tried again."""

from __future__ import annotations

import errno
from collections.abc import Iterator
from pathlib import Path

import pytest

from flows.floor import owner as owning
from flows.floor.owner import Owner
from flows.floor.taking import Committed
from flows.job import read_job
from models.storage import account, store
from tests.faults.killer import SAMPLE, pieces, put
from tests.flows.serving import until

pytestmark = pytest.mark.timeout(200)


class Disk:
    """Full for the copy alone: the store itself is written."""

    def __init__(self) -> None:
        self.full = False
        self.tried = 0

    def publish(self, path: Path) -> None:
        self.tried += 1
        if self.full:
            raise OSError(errno.ENOSPC, "No space left on device", str(store.reading_copy(path)))
        PUBLISH(path)


PUBLISH = store.publish


@pytest.fixture
def disk(monkeypatch: pytest.MonkeyPatch) -> Disk:
    found = Disk()
    monkeypatch.setattr(store, "publish", found.publish)
    monkeypatch.setattr(owning, "AGAIN_AFTER_S", 0.2)
    return found


Begun = tuple[Owner, list[Committed], list[Committed]]


@pytest.fixture
def begun(disk: Disk, tmp_path: Path) -> Iterator[Begun]:
    (tmp_path / "logs").mkdir()
    job = read_job(SAMPLE / "plant.toml", tmp_path / "logs", tmp_path / "s.duckdb", tmp_path / "out")
    told: list[Committed] = []
    published: list[Committed] = []
    owner = Owner(job, told.append, published.append)
    owner.begin()
    yield owner, told, published
    owner.stop()


def readers_rows(owner: Owner) -> dict:
    con = store.open_for_reading(owner.job.store)
    try:
        return account.count(con)
    finally:
        con.close()


def shown_rows(owner: Owner) -> dict:
    assert owner.view is not None
    return {kind: dict(counts) for kind, counts in owner.view.rows.items()}


def test_a_copy_that_a_full_disk_kept_from_readers_is_given_them_later(begun: Begun, disk: Disk) -> None:
    owner, told, published = begun
    (first, one), (second, two) = list(pieces())[:2]
    given = len(published)
    put(owner.job.logs, first, one)
    until(lambda: len(published) > given)
    before, version = readers_rows(owner), len(told)

    disk.full = True
    put(owner.job.logs, second, two)
    until(lambda: len(told) > version)
    until(lambda: owner.trouble)
    assert owner.trouble is not None and owner.trouble.startswith("reports wait: ") and "No space left" in owner.trouble
    assert shown_rows(owner) != before, "the board shows what is committed"
    assert readers_rows(owner) == before, "readers have what they had, whole"
    given, tried = len(published), disk.tried
    until(lambda: disk.tried > tried + 1)
    assert len(published) == given and owner.trouble, "tried again, and still said"

    disk.full = False
    until(lambda: owner.trouble is None)
    assert readers_rows(owner) == shown_rows(owner)
    assert len(published) == given + 1 and published[-1].view is owner.view, "pages are told once, of the newest"
    tried = disk.tried
    put(owner.job.logs, "again.csv", two)
    until(lambda: owner.view is not None and len(told) > version + 1)
    until(lambda: owner.trouble is None)
    assert readers_rows(owner) == shown_rows(owner)


def test_an_act_while_the_copy_waits_is_recorded_and_given_with_it(begun: Begun, disk: Disk) -> None:
    owner, told, published = begun
    (first, one) = next(pieces())
    disk.full = True
    put(owner.job.logs, first, one)
    until(lambda: owner.trouble)
    assert owner.act(lambda con, job, run: "done").result(30) == "done"
    assert owner.trouble is not None and not published[1:]
    disk.full = False
    until(lambda: owner.trouble is None)
    assert published[-1].acted, "the newest commit is the one that readers are told of"
    assert readers_rows(owner) == shown_rows(owner)


def test_the_view_knows_what_was_changed_but_not_by_whom_and_the_flour_of_what_is_held(begun: Begun) -> None:
    from datetime import datetime

    from flows import holding
    from models.floor import onhold
    from models.people import ALONE

    owner, told, published = begun
    put(owner.job.logs, "change.csv", "changed_at,scope,name,what,operator\n2026-10-05 09:00,line,L1,new pans,XQ\n")
    put(owner.job.logs, "paste.csv", (SAMPLE / "logs" / "2026-10-05" / "early-paste.csv").read_text(encoding="utf-8"))
    until(
        lambda: (
            owner.view is not None and owner.view.pastes and owner.view.changes is not None and len(owner.view.changes)
        )
    )
    assert owner.view is not None and owner.view.changes is not None
    assert list(owner.view.changes.columns) == ["changed_at", "scope", "name", "what"]
    assert owner.view.changes["what"].tolist() == ["new pans"] and owner.view.flour_lots == {}
    held = owner.view.pastes[-1]
    form = {"batch": held.paste_key, "ground": "foreign body", "because": "a shard"}
    owner.act(holding.held_by_form(form, ALONE, "MK", datetime(2026, 10, 5, 12))).result(60)
    assert list(owner.view.flour_lots) == [held.paste_key] and list(onhold.pastes(owner.view)) == [held.paste_key]
    assert list(onhold.flour_of(owner.view)) == [owner.view.flour_lots[held.paste_key]]
