"""What a run is told, checked before anything is touched."""

from __future__ import annotations

import os
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from models.plant import Plant
    from models.storage.decisions import Decision


@dataclass(frozen=True)
class Job:
    """What one run is told: where the plant file, the logs, the store and the reports are."""

    plant: Plant
    plant_text: str
    logs: Path
    store: Path
    out: Path
    single_file: bool = False
    decisions: tuple[Decision, ...] = ()
    only: frozenset[str] | None = None  # names below `logs`, where not all that lies there is looked at

    def is_ours(self, path: str | Path) -> bool:
        """Whether a file or folder is the store, lies beside it under its name, or holds the reports: never a log.

        So a store kept among the logs takes in neither itself nor its archive.
        """
        name = os.path.basename(path)
        if name != self.out.name and not f"{name}.".startswith(f"{self.store.name}."):
            return False  # most files, at once: a plant's logs of years are asked about in every run
        path, store_file, out = Path(path).absolute(), self.store.absolute(), self.out.absolute()
        if path.parent == store_file.parent and (f"{path.name}.".startswith(f"{store_file.name}.")):
            return True
        return path == out


def read_job(plant_file: Path, logs: Path, store_file: Path, out: Path, single_file: bool = False) -> Job:
    """Check what a run is told before anything is touched. Raises PlantFileError or FileNotFoundError, one line each."""
    from models import plant

    loaded = plant.load(plant_file)
    if not logs.is_dir():
        raise FileNotFoundError(f"{logs}: there is no such folder of logs")
    there = next(place for place in (out, *out.absolute().parents) if place.exists())
    if not there.is_dir() or not os.access(there, os.W_OK):
        raise FileNotFoundError(
            f"{there}: no folder that reports may be written to; name another with --out (nothing was changed)"
        )
    return Job(loaded, plant_file.read_text(encoding="utf-8-sig"), logs, store_file, out, single_file)


def version() -> str:
    """The program's version."""
    from importlib.metadata import PackageNotFoundError
    from importlib.metadata import version as of

    try:
        return of("loaftrace")
    except PackageNotFoundError:
        return "not installed"
