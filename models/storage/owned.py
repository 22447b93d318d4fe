"""A service owns its store for as long as it runs: a lock beside the store says so, and goes with the process.

The file `<store>.served` tells who and where; that it is locked tells that this is still so. Its key lets programs of
the same account hand work over to the service, and nobody else: the file is readable by that account alone.
"""

from __future__ import annotations

import json
import os
import sys
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import IO

from models.storage.store import StoreError


@dataclass(frozen=True)
class Owner:
    """Who serves a store. address: of its board; key: for handing work over to it."""

    pid: int
    address: str
    key: str


class Claim:
    """A store that this process serves, until `release`."""

    def __init__(self, file: IO[str]) -> None:
        self._file = file

    def release(self) -> None:
        """Give the store free; what the file said is wiped first."""
        if not self._file.closed:
            self._file.truncate(0)
            self._file.close()


def served_file(store: Path) -> Path:
    """Where it stands who serves a store."""
    return store.with_name(store.name + ".served")


def claim(store: Path, owner: Owner) -> Claim:
    """Own the store. Raises StoreError, one line, where another service does."""
    store.parent.mkdir(parents=True, exist_ok=True)
    path = served_file(store)
    file = open(os.open(path, os.O_RDWR | os.O_CREAT, 0o600), "r+", encoding="utf-8")  # noqa: SIM115 (held while serving)
    if not _lock(file):
        file.close()
        raise StoreError(f"{store}: {_says(owner_of(store))}; one service owns a store, stop that one first")
    file.truncate(0)
    file.write(json.dumps(asdict(owner)))
    file.flush()
    return Claim(file)


def owner_of(store: Path) -> Owner | None:
    """Who serves a store at this moment, this process itself included; None where nobody does."""
    try:
        with served_file(store).open("r+", encoding="utf-8") as file:
            if _lock(file):
                return None
    except OSError:
        return None
    try:
        return Owner(**json.loads(served_file(store).read_text(encoding="utf-8")))
    except (ValueError, TypeError, OSError):
        return Owner(0, "", "")


def refuse_if_served(store: Path) -> None:
    """Raises StoreError, one line, where another process serves this store."""
    owner = owner_of(store)
    if owner is not None and owner.pid != os.getpid():
        raise StoreError(f"{store}: {_says(owner)}; put logs into its folder, or do this on its board")


def _says(owner: Owner | None) -> str:
    known = owner is not None and owner.pid
    return f"is served at {owner.address} (process {owner.pid})" if owner and known else "is served by another process"


def _lock(file: IO[str]) -> bool:
    """Lock the file's second kilobyte, so that who reads the first is never held up; false where another has it."""
    if sys.platform == "win32":
        import msvcrt

        try:
            file.seek(1024)
            msvcrt.locking(file.fileno(), msvcrt.LK_NBLCK, 1)
        except OSError:
            return False
        file.seek(0)
        return True
    import fcntl

    try:
        fcntl.flock(file.fileno(), fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError:
        return False
    return True
