"""The measuring of the benches itself."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest

from tests.bench import machine


def test_a_process_that_takes_memory_is_seen_to(tmp_path: Path):
    small = machine.measure("small", [sys.executable, "-c", "pass"], tmp_path)
    large = machine.measure("large", [sys.executable, "-c", "x = b'x' * (64 << 20); print('made')"], tmp_path, times=2)
    assert 50 < large.peak_mib - small.peak_mib < 110
    assert len(large.seconds) == 2
    assert large.said.strip() == "made"
    assert "n = 2" in large.line()


def test_a_command_that_fails_is_no_measurement(tmp_path: Path):
    with pytest.raises(RuntimeError, match="exit 3"):
        machine.measure("broken", [sys.executable, "-c", "raise SystemExit(3)"], tmp_path)


def test_machine_is_named():
    named = machine.machine()
    assert f"{machine.cores()} cores" in named
    assert "Python 3." in named
