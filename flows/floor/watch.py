"""Which logs in the watched folder are new or changed, told from their state on the disk and not yet from their content."""

from __future__ import annotations

import os
from collections.abc import Iterator
from pathlib import Path

from models.reader.inbox import Apart, is_passed_over

State = dict[str, tuple[int, int, int]]


class Watch:
    """Remembers the state of each file that was taken in, refused, or is to be looked at again."""

    def __init__(self, folder: Path, apart: Apart | None = None) -> None:
        self.folder, self._apart = folder, apart
        self._known: State = {}

    def changed(self) -> frozenset[str]:
        """Names below the folder of files whose state is not the one that was settled. Raises OSError where there is no folder."""
        now = dict(_states(self.folder, self._apart))
        self._known = {name: state for name, state in self._known.items() if name in now}
        return frozenset(name for name, state in now.items() if self._known.get(name) != state)

    def states(self, names: frozenset[str]) -> State:
        """The states of these files at this moment; to be settled with once they were read."""
        return {name: state for name, state in _states(self.folder, self._apart) if name in names}

    def settle(self, states: State) -> None:
        """These were looked at in this state; they need not be again until it changes."""
        self._known |= states


def _states(folder: Path, apart: Apart | None, below: str = "") -> Iterator[tuple[str, tuple[int, int, int]]]:
    with os.scandir(folder) as entries:
        for entry in entries:
            if is_passed_over(entry.name) or (apart and apart(entry.path)):
                continue
            if entry.is_dir(follow_symlinks=False):
                try:
                    yield from _states(folder / entry.name, apart, f"{below}{entry.name}/")
                except OSError:
                    continue
                continue
            try:
                state = entry.stat(follow_symlinks=False)
            except OSError:
                continue
            yield f"{below}{entry.name}", (state.st_ino, state.st_size, state.st_mtime_ns)
