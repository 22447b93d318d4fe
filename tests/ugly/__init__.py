"""A folder of ugly files, as they come from floors and mail: `python -m tests.ugly [FOLDER]` runs the job on it.

Every file is an invented bakery's. `FILES` says beside each what becomes of it; `tests/flows/test_ugly.py` holds it there.
"""

from __future__ import annotations

import os
from pathlib import Path

from tests.ugly.files import FILES, FORMULA, MARKUP
from tests.ugly.sheets import OUTPUT, PLANT, Ugly, made, text

__all__ = ["BESIDE", "FILES", "FORMULA", "MARKUP", "PLANT", "UNFINISHED", "Ugly", "build", "words"]

# what lies beside them and is no file to be read: name -> what is said of it
BESIDE = {
    "80-pipe.csv": "no ordinary file (a pipe",
    "81-link-out.csv": "a link, which is not followed",
}
# unfinished by their names: not even looked at
UNFINISHED = ("90-still-copied.csv.part", ".91-hidden.csv", "~$92-open-elsewhere.xlsx")


def build(folder: Path) -> Path:
    """The plant file and the logs below a folder; returns the folder of logs."""
    logs = folder / "logs"
    logs.mkdir(parents=True, exist_ok=True)
    (folder / "plant.toml").write_text(PLANT, encoding="utf-8")
    for one in FILES:
        (logs / one.name).write_bytes(one.content)
    for name in UNFINISHED:
        (logs / name).write_bytes(text(OUTPUT, made(20))[:60])
    (folder / "outside.csv").write_bytes(text(OUTPUT, made(21)))
    if hasattr(os, "mkfifo"):
        os.mkfifo(logs / "80-pipe.csv")
    (logs / "81-link-out.csv").symlink_to(folder / "outside.csv")
    return logs


def words(folder: Path) -> list[str]:
    """The command that runs the job on it."""
    places = {
        "plant": folder / "plant.toml",
        "logs": folder / "logs",
        "store": folder / "s.duckdb",
        "out": folder / "out",
    }
    return ["run", *(word for name, place in places.items() for word in (f"--{name}", str(place)))]
