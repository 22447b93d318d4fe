"""`loaftrace backup` and `loaftrace restore`."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import Any


def add_parsers(commands: Any) -> None:
    """Add both commands and their options."""
    backup = commands.add_parser("backup", help="store and archive in one file; other runs may go on")
    backup.add_argument("--store", type=Path, required=True, metavar="FILE", help="the store")
    backup.add_argument("--to", type=Path, required=True, metavar="FILE.zip", help="the backup")
    restore = commands.add_parser("restore", help="put a backup back")
    restore.add_argument("backup", type=Path, metavar="FILE.zip", help="the backup")
    restore.add_argument(
        "--store", type=Path, required=True, metavar="FILE", help="where the store is to be; none may be there"
    )


def backup(args: argparse.Namespace) -> int:
    """Make a backup."""
    from models.storage import backup as backups

    print(f"{args.to}: the store and {backups.make(args.store, args.to)} archived files")
    return 0


def restore(args: argparse.Namespace) -> int:
    """Put a backup back."""
    from models.storage import backup as backups

    print(f"{args.store}: restored, with {backups.restore(args.backup, args.store)} archived files")
    return 0
