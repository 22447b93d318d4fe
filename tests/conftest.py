"""What every test needs: nothing phones home, no server starts by itself, missing browsers are counted."""

from __future__ import annotations

import atexit
import os
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent
BROWSERS = ("chromium", "chromium-browser", "google-chrome", "google-chrome-stable")
ONE_WORKER_EACH = ("prefect", "browser")

_home = tempfile.mkdtemp(prefix="loaftrace-tests-")
atexit.register(shutil.rmtree, _home, ignore_errors=True)
os.environ.update(
    DO_NOT_TRACK="1",
    PREFECT_SERVER_ANALYTICS_ENABLED="false",
    GX_ANALYTICS_ENABLED="false",
    PREFECT_HOME=_home,
    # a test that would start a server without saying so fails instead; tests/flows start theirs on purpose
    PREFECT_SERVER_EPHEMERAL_ENABLED="false",
    PREFECT_SERVER_EPHEMERAL_STARTUP_TIMEOUT_SECONDS="120",
    PREFECT_LOGGING_LEVEL="WARNING",
)
for _name in ("PREFECT_API_URL", "PREFECT_API_KEY", "PREFECT_PROFILE"):
    os.environ.pop(_name, None)


def _browser() -> tuple[str | None, str | None]:
    """Paths of Chromium and of its driver; None for what is missing."""
    return next(filter(None, map(shutil.which, BROWSERS)), None), shutil.which("chromedriver")


def _missing_browser() -> str:
    named = zip(("Chromium", "its driver (chromedriver)"), _browser(), strict=True)
    return " and ".join(name for name, path in named if path is None)


def pytest_configure(config: pytest.Config) -> None:
    """The marker is pytest-xdist's; without that plug-in it must still be known."""
    config.addinivalue_line("markers", "xdist_group(name): tests of one group run on one worker")


@pytest.hookimpl(tryfirst=True)
def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Tests that share a server or a browser stay on one worker; a missing browser is said, test by test."""
    missing = _missing_browser()
    for item in items:
        for name in ONE_WORKER_EACH:
            if item.get_closest_marker(name):
                item.add_marker(pytest.mark.xdist_group(name))
        if missing and item.get_closest_marker("browser") and not _browser_required():
            item.add_marker(pytest.mark.skip(reason=f"not run: {missing} not found"))


def pytest_runtest_setup(item: pytest.Item) -> None:
    """Where a browser is required, its absence is a failure of every test that needs it."""
    if _browser_required() and item.get_closest_marker("browser") and (missing := _missing_browser()):
        pytest.fail(f"{missing} not found, and LOAFTRACE_BROWSER_REQUIRED=1 says that it must be there", pytrace=False)


def _browser_required() -> bool:
    return os.environ.get("LOAFTRACE_BROWSER_REQUIRED") == "1"


def pytest_terminal_summary(terminalreporter) -> None:
    """How many browser tests were not run: a count of its own, so that a skip is not read as a pass."""
    not_run = [r for r in terminalreporter.stats.get("skipped", []) if "browser" in r.keywords]
    if not_run:
        terminalreporter.write_line(
            f"NOT RUN: {len(not_run)} browser tests ({_missing_browser() or 'see above'} not found); "
            "install Chromium and its driver to run them",
            yellow=True,
        )


@pytest.fixture(scope="session")
def browser_paths() -> tuple[str, str]:
    """Paths of Chromium and of its driver, for tests marked `browser`."""
    browser, driver = _browser()
    if browser is None or driver is None:
        pytest.fail(f"{_missing_browser()} not found: is the test marked `browser`?")
    return browser, driver


@pytest.fixture(scope="session")
def root() -> Path:
    """The project's top folder."""
    return ROOT


Loaftrace = Callable[..., subprocess.CompletedProcess[str]]


@pytest.fixture(scope="session")
def loaftrace() -> Loaftrace:
    """Runs the command in a process of its own: `loaftrace("run", "--json", cwd=folder, env={...})`."""

    def run(*words: str | Path, cwd: Path, env: dict[str, str] | None = None, seconds: float = 240):
        line = [sys.executable, "-c", "from flows.cli import main; raise SystemExit(main())", *map(str, words)]
        world = {**os.environ, "PYTHONPATH": str(ROOT), "PYTHONIOENCODING": "utf-8", **(env or {})}
        return subprocess.run(
            line, cwd=cwd, env=world, capture_output=True, text=True, encoding="utf-8", timeout=seconds, check=False
        )

    return run


@dataclass(frozen=True)
class Demo:
    """What `loaftrace demo` did in an empty folder: its words, its exit, and whom it tried to reach outside."""

    done: subprocess.CompletedProcess[str]
    folder: Path
    outside: str


@pytest.fixture(scope="session")
def demo(loaftrace: Loaftrace, tmp_path_factory: pytest.TempPathFactory) -> Demo:
    """The demo, run once for all tests that ask (mark them `prefect`), watched by tests/guard."""
    folder = tmp_path_factory.mktemp("demo")
    log = tmp_path_factory.mktemp("guard") / "outside.txt"
    world = {
        "PYTHONPATH": f"{ROOT / 'tests' / 'guard'}{os.pathsep}{ROOT}",
        "LOAFTRACE_GUARD": str(log),
        "PREFECT_SERVER_EPHEMERAL_ENABLED": "true",
        "PREFECT_HOME": str(tmp_path_factory.mktemp("prefect")),
    }
    done = loaftrace("demo", cwd=folder, env=world, seconds=500)
    return Demo(done, folder, log.read_text(encoding="utf-8") if log.exists() else "")
