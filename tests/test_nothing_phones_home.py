"""Nothing the program does opens a connection to another machine; telemetry of its libraries is off."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent
GUARD = ROOT / "tests" / "guard"
TELEMETRY = ("DO_NOT_TRACK", "PREFECT_SERVER_ANALYTICS_ENABLED", "GX_ANALYTICS_ENABLED", "CI")


def _python(program: str, log: Path, cwd: Path) -> subprocess.CompletedProcess[str]:
    """A guarded process in which nothing has turned telemetry off: no setting of the tests, no CI variable."""
    world = {name: value for name, value in os.environ.items() if name not in TELEMETRY}
    world |= {"PYTHONPATH": f"{GUARD}{os.pathsep}{ROOT}", "LOAFTRACE_GUARD": str(log)}
    line = [sys.executable, "-c", program]
    return subprocess.run(line, cwd=cwd, env=world, capture_output=True, text=True, check=False, timeout=120)


@pytest.mark.parametrize(
    "attempt",
    [
        # 192.0.2.1 is TEST-NET-1, an address that no machine has (RFC 5737); .invalid is no name (RFC 6761)
        "import socket; socket.create_connection(('192.0.2.1', 80), timeout=1)",
        "import socket; socket.socket(type=socket.SOCK_DGRAM).sendto(b'x', ('192.0.2.1', 53))",
        "import socket; socket.getaddrinfo('telemetry.invalid', 443)",
        "import asyncio; asyncio.run(asyncio.open_connection('192.0.2.1', 80))",
        "import subprocess, sys; subprocess.run([sys.executable, '-c', "
        "'import socket; socket.gethostbyname(\"telemetry.invalid\")'], check=True)",
    ],
    ids=["tcp", "udp", "name", "asyncio", "child"],
)
def test_the_guard_sees_an_attempt(attempt: str, tmp_path: Path):
    log = tmp_path / "log"
    done = _python(attempt, log, tmp_path)
    assert done.returncode != 0
    assert "refused by the test's guard" in done.stderr
    assert log.read_text(encoding="utf-8").count("\n") == 1


def test_the_guard_lets_this_machine_talk_to_itself(tmp_path: Path):
    program = (
        "import socket; door = socket.create_server(('127.0.0.1', 0));"
        "socket.create_connection(('localhost', door.getsockname()[1]), timeout=5).close()"
    )
    done = _python(program, tmp_path / "log", tmp_path)
    assert done.returncode == 0, done.stderr
    assert not (tmp_path / "log").exists()


@pytest.mark.slow
def test_run_on_the_sample_opens_no_outside_connection(tmp_path: Path):
    sample = ROOT / "seed_data" / "sample"
    words = ["run", "--plant", str(sample / "plant.toml"), "--logs", str(sample / "logs")]
    words += ["--store", "store.duckdb", "--out", "reports", "--json"]
    program = f"from flows.cli import main; raise SystemExit(main({words!r}))"
    done = _python(program, tmp_path / "log", tmp_path)
    assert done.returncode == 0, done.stderr
    assert list((tmp_path / "reports").rglob("*.html"))
    assert not (tmp_path / "log").exists(), (tmp_path / "log").read_text(encoding="utf-8")


@pytest.mark.slow
@pytest.mark.prefect
@pytest.mark.timeout(600)
def test_demo_opens_no_outside_connection(demo):
    """With its own Prefect server, and every process that starts."""
    assert demo.done.returncode == 0, demo.done.stderr
    assert not demo.outside, demo.outside


def test_the_program_turns_telemetry_off_by_itself(tmp_path: Path):
    """Before any library is imported, whatever the caller's environment says."""
    program = (
        "import os; os.environ['DO_NOT_TRACK'] = '0'; os.environ['GX_ANALYTICS_ENABLED'] = 'true'\n"
        "os.environ['PREFECT_SERVER_ANALYTICS_ENABLED'] = 'true'\n"
        "from flows.cli import main\n"
        "try:\n    main(['--help'])\nexcept SystemExit:\n    pass\n"
        "from prefect.settings import get_current_settings\n"
        "assert get_current_settings().server.analytics_enabled is False\n"
        "print('off', os.environ['DO_NOT_TRACK'], os.environ['GX_ANALYTICS_ENABLED'])"
    )
    done = _python(program, tmp_path / "log", tmp_path)
    assert done.stdout.splitlines()[-1:] == ["off 1 false"], done.stderr
