"""A small disk of its own."""

from __future__ import annotations

import os
import shutil
import subprocess
from pathlib import Path

import pytest


@pytest.fixture
def small_disk(tmp_path: Path):
    """A file system of 6 MiB, for root only; grown by remounting."""
    disk = tmp_path / "disk"
    disk.mkdir()
    mounted = (
        hasattr(os, "geteuid")
        and os.geteuid() == 0
        and shutil.which("mount")
        and subprocess.run(
            ["mount", "-t", "tmpfs", "-o", "size=6m", "tmpfs", str(disk)], check=False, capture_output=True
        ).returncode
        == 0
    )
    if not mounted:
        pytest.skip("not run: mounting a small file system needs root")
    yield disk
    subprocess.run(["umount", "-l", str(disk)], check=False)
