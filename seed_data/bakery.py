"""Writes the invented demo bakery: its plant file and its shift logs, the same bytes for the same seed.

python -m seed_data.bakery FOLDER
"""

from __future__ import annotations

import argparse
from collections import Counter
from dataclasses import dataclass
from pathlib import Path

from seed_data.answers import Hidden, hidden
from seed_data.folder import sheets_of
from seed_data.plan import DAYS, PLANT_FILE, SEED
from seed_data.sheets import Sheet, as_csv
from seed_data.simulate import simulate
from seed_data.slips import Slip, put_in
from seed_data.workbook import as_xlsx


@dataclass(frozen=True)
class Written:
    """What `write` wrote: paths below the folder in bytewise order, and rows by kind of log."""

    folder: Path
    files: tuple[str, ...]
    rows: dict[str, int]


class NotOursError(ValueError):
    """The folder holds a plant file or a log that the demo did not write. `str()` is one line."""


def write(folder: Path, *, seed: int = SEED, days: int = DAYS) -> Written:
    """Write plant.toml and logs/ below `folder`, which is made if need be.

    The files are the same to the last byte for one seed and number of days. Raises NotOursError, before anything is
    written, where a plant file or a log is there that would not be the same, or anything at all where no demo was made.
    """
    sheets, files = _files(seed, days)
    _refuse_others(folder, files)
    for path in sorted(files, key=lambda path: (path != PLANT_FILE.name, path)):  # by it a folder is known again
        target = folder / path
        target.parent.mkdir(parents=True, exist_ok=True)
        target.write_bytes(files[path])
    rows: Counter[str] = Counter()
    for sheet in sheets.values():
        rows[sheet.kind] += len(sheet.rows)
    return Written(folder, tuple(sorted(files)), dict(sorted(rows.items())))


def _refuse_others(folder: Path, files: dict[str, bytes]) -> None:
    if folder.is_dir() and not (folder / PLANT_FILE.name).exists() and any(folder.iterdir()):
        raise NotOursError(f"{folder}: holds something, and no demo's plant file; name an empty folder (nothing was changed)")
    for path in (folder / "plant.toml", *sorted((folder / "logs").rglob("*"))):
        if path.is_file() and files.get(path.relative_to(folder).as_posix()) != path.read_bytes():
            raise NotOursError(f"{path}: was not written by this demo; name an empty folder (nothing was changed)")


def _files(seed: int, days: int) -> tuple[dict[str, Sheet], dict[str, bytes]]:
    sheets, _ = _sheets(seed, days)
    logs = {path: _content(sheet) for path, sheet in sheets.items()}
    return sheets, {"plant.toml": PLANT_FILE.read_bytes()} | logs


def _content(sheet: Sheet) -> bytes:
    return as_xlsx(sheet) if sheet.path.endswith(".xlsx") else as_csv(sheet)


def answers(*, seed: int = SEED, days: int = DAYS) -> list[Hidden]:
    """What is hidden in the data that `write` writes for this seed and number of days, in order of time."""
    return hidden(simulate(seed, days))


def slips(*, seed: int = SEED, days: int = DAYS) -> list[Slip]:
    """The errors of sheets in the data that `write` writes, with the file and line each stands on."""
    return _sheets(seed, days)[1]


def _sheets(seed: int, days: int) -> tuple[dict[str, Sheet], list[Slip]]:
    sheets = sheets_of(simulate(seed, days))
    return sheets, put_in(sheets)


def main(arguments: list[str] | None = None) -> int:
    """Command line: write the demo bakery and say what was written."""
    parser = argparse.ArgumentParser(prog="python -m seed_data.bakery", description="Write the invented demo bakery.")
    parser.add_argument("folder", type=Path, metavar="FOLDER")
    parser.add_argument("--seed", type=int, default=SEED)
    parser.add_argument("--days", type=int, default=DAYS)
    asked = parser.parse_args(arguments)
    written = write(asked.folder, seed=asked.seed, days=asked.days)
    told = ", ".join(f"{n} {kind}" for kind, n in written.rows.items())
    print(f"{len(written.files)} files below {written.folder}; rows: {told}")
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
