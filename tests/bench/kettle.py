"""How long a person at the kettle waits for the answer: `python -m tests.bench.kettle`."""

from __future__ import annotations

import tempfile
from pathlib import Path

from tests.bench.machine import EMPTY, PROGRAM, ROOT, report, side_by_side

PLANT = ROOT / "seed_data" / "plant.toml"
ASKED = ("makeup", "--plant", PLANT, "--product", "white-tin", "--before", "60", "--after", "56.5", "--temp", "66")


def main(times: int = 15) -> int:
    """Print the start times of `--help`, `--version` and `makeup`, each a process of its own."""
    with tempfile.TemporaryDirectory() as folder:
        commands = {
            "empty Python process": EMPTY,
            "loaftrace --help": (*PROGRAM, "--help"),
            "loaftrace --version": (*PROGRAM, "--version"),
            "loaftrace makeup": (*PROGRAM, *ASKED),
        }
        empty, *found = side_by_side(commands, Path(folder), times)
    report(*found, against=empty)
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
