"""A browser test that could not run is never read as one that passed."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from pathlib import Path

HERE = Path(__file__).resolve().parent
TWO_TESTS = """
import pytest

@pytest.mark.browser
def test_page(): pass

def test_sum(): pass
"""


def _run(folder: Path, **world: str) -> subprocess.CompletedProcess[str]:
    """The two tests under this project's conftest, on a machine whose PATH holds no browser."""
    shutil.copy(HERE / "conftest.py", folder / "conftest.py")
    (folder / "test_two.py").write_text(TWO_TESTS, encoding="utf-8")
    line = [sys.executable, "-m", "pytest", "-q", "-p", "no:cacheprovider", "-c", str(HERE.parent / "pyproject.toml")]
    clean = {k: v for k, v in os.environ.items() if not k.startswith(("PYTEST_", "LOAFTRACE_"))}
    clean |= {"PATH": str(folder), **world}
    line += [f"--rootdir={folder}", str(folder)]
    return subprocess.run(line, cwd=folder, env=clean, capture_output=True, text=True, check=False, timeout=60)


def test_missing_browser_is_counted(tmp_path: Path):
    done = _run(tmp_path)
    assert done.returncode == 0
    assert "NOT RUN: 1 browser tests (Chromium and its driver (chromedriver) not found)" in done.stdout
    assert "1 passed, 1 skipped" in done.stdout


def test_missing_browser_fails_where_it_is_required(tmp_path: Path):
    done = _run(tmp_path, LOAFTRACE_BROWSER_REQUIRED="1")
    assert done.returncode == 1
    assert "LOAFTRACE_BROWSER_REQUIRED=1 says that it must be there" in done.stdout
    assert "1 passed, 1 error" in done.stdout
