"""Options that several commands have alike."""

from __future__ import annotations

import argparse
from pathlib import Path


def plant_and_store(command: argparse.ArgumentParser) -> None:
    """Add --plant, and --store of a store that is there."""
    command.add_argument("--plant", type=Path, required=True, metavar="FILE", help="the plant file")
    command.add_argument("--store", type=Path, required=True, metavar="FILE", help="the store")
