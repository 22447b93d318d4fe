"""An append-only file of JSON lines that outlives a kill: each line is on the disk before its writer goes on."""

from __future__ import annotations

import contextlib
import json
import os
from collections.abc import Iterable
from io import RawIOBase
from pathlib import Path
from typing import Any

Record = dict[str, Any]


class Journal:
    """One file, written by one program at a time. unreadable: lines that `read` passed over because the disk spoilt them."""

    def __init__(self, path: Path) -> None:
        self.path = path
        self.unreadable = 0

    def read(self) -> list[Record]:
        """Every whole record, in order. A last line that a kill cut off is cut away."""
        try:
            content = self.path.read_bytes()
        except FileNotFoundError:
            return []
        whole, _, torn = content.rpartition(b"\n")
        if torn:
            with self.path.open("r+b") as file:
                file.truncate(len(content) - len(torn))
        records: list[Record] = []
        self.unreadable = 0
        for line in whole.split(b"\n") if whole else []:
            record = _record(line)
            if record is None:
                self.unreadable += 1
            else:
                records.append(record)
        return records

    def append(self, *records: Record) -> None:
        """Add records; they are on the disk when this returns. Raises OSError where they cannot be, and adds none then."""
        if not records:
            return
        new, before = not self.path.exists(), self.size()
        try:
            with self.path.open("ab", buffering=0) as file:
                _write(file, _lines(records))
        except OSError:
            with contextlib.suppress(OSError):
                os.truncate(self.path, before)
            raise
        if new:
            _sync_folder(self.path.parent)

    def replace(self, records: Iterable[Record]) -> None:
        """Write the file anew, whole or not at all."""
        part = self.path.with_name(f"{self.path.name}.part")
        with part.open("wb", buffering=0) as file:
            _write(file, _lines(records))
        part.replace(self.path)
        _sync_folder(self.path.parent)

    def size(self) -> int:
        """Bytes on the disk."""
        return self.path.stat().st_size if self.path.exists() else 0


def _record(line: bytes) -> Record | None:
    try:
        found = json.loads(line)
    except ValueError:
        return None
    return found if isinstance(found, dict) else None


def _write(file: RawIOBase, content: bytes) -> None:
    left = memoryview(content)
    while left:
        left = left[file.write(left) or 0 :]
    os.fsync(file.fileno())


def _lines(records: Iterable[Record]) -> bytes:
    texts = (json.dumps(record, ensure_ascii=False, separators=(",", ":"), sort_keys=True) for record in records)
    return "".join(f"{text}\n" for text in texts).encode()


def _sync_folder(folder: Path) -> None:
    """A new name is on the disk only once its folder is; Windows has no such call and does it by itself."""
    if os.name == "posix":
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)
