"""New logs in their order, fetched and archived; the very large ones are looked at a few at once, ahead of the one being read."""

from __future__ import annotations

import hashlib
from collections import deque
from collections.abc import Iterator, Mapping
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import duckdb

    from models.plant import Plant
    from models.storage.bulk import Checked

# very large files looked at together, and files held in memory until their turn comes
AT_ONCE, HELD = 2, 16


@dataclass(frozen=True)
class Arrived:
    """A file as it came. refused: why its content could not be fetched; looks: what a look at a very large one finds."""

    name: str
    content: bytes = b""
    sha256: str = ""
    refused: str = ""
    looks: Future[Checked | None] | None = None

    def checked(self) -> Checked | None:
        """The file where the database may read it as it stands; None where a frame is needed."""
        return self.looks.result() if self.looks else None


def arrivals(
    con: duckdb.DuckDBPyConnection,
    found: Mapping[str, str],
    taken: Mapping[str, object],
    archive: Path,
    plant: Plant,
) -> Iterator[Arrived]:
    """The files, each archived whole before anything is read from it. taken: hash of those that were; not looked at again."""
    from models.reader import inbox

    waiting: deque[Arrived] = deque()
    with ThreadPoolExecutor(AT_ONCE, "look") as pool:
        for name, path in found.items():
            seen = inbox.glance(path)
            if seen and (sha := hashlib.sha256(seen).hexdigest()) in taken:  # most files: a plant's logs of years
                waiting.append(Arrived(name, seen, sha))
            else:
                waiting.append(_arrived(con, pool, name, path, taken, archive, plant))
            while waiting and _is_its_turn(waiting):
                yield waiting.popleft()
        yield from waiting


def _is_its_turn(waiting: deque[Arrived]) -> bool:
    """Whether the first has been waited for long enough: nothing to wait for, or as many behind it as may be."""
    return waiting[0].looks is None or len(waiting) > HELD or sum(one.looks is not None for one in waiting) > AT_ONCE


def _arrived(
    con: duckdb.DuckDBPyConnection,
    pool: ThreadPoolExecutor,
    name: str,
    path: str,
    taken: Mapping[str, object],
    archive: Path,
    plant: Plant,
) -> Arrived:
    from models.reader import inbox

    try:
        content = inbox.fetch(path)
    except inbox.Refused as refused:
        return Arrived(name, refused=str(refused))
    sha = hashlib.sha256(content).hexdigest()
    if sha in taken:
        return Arrived(name, content, sha)
    from models.judging import checks
    from models.reader import bulk as reader
    from models.storage import store

    checks.load_suite()
    if len(content) < reader.FEWEST_BYTES:
        store.archive(archive, sha, content)
        return Arrived(name, content, sha)
    return Arrived(name, content, sha, looks=pool.submit(_look, con.cursor(), content, sha, archive, plant))


def _look(own: duckdb.DuckDBPyConnection, content: bytes, sha: str, archive: Path, plant: Plant) -> Checked | None:
    """A very large plain file that needs no frame; None for every other. own: a connection of the thread's own.

    It is archived here, first of all: the disk takes its time over that while another is looked at.
    """
    from models.reader import bulk as reader
    from models.storage import bulk, store

    with own:
        store.archive(archive, sha, content)
        layout = reader.look(content, plant)
        return None if layout is None else bulk.check(own, store.archived(archive, sha), content, layout, plant)
