"""The process beside the service is begun again whenever it ends, also where it ends while it is being told."""

from __future__ import annotations

import subprocess
import time

import pytest

from flows.floor import clerk as beside


def begun(clerk: beside.Clerk, after: subprocess.Popen[str] | None) -> subprocess.Popen[str]:
    """The process that was begun after another one; fails after 20 s."""
    end = time.monotonic() + 20
    while time.monotonic() < end:
        if clerk._process is not None and clerk._process is not after:
            return clerk._process
        time.sleep(0.01)
    raise AssertionError("it was not begun again")


def test_a_process_that_dies_while_it_is_told_is_begun_again(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(beside, "LONGEST_REST_S", 0.05)
    clerk = beside.Clerk(["json.tool"])  # reads to the end of its input, as the real one does
    clerk.start()
    try:
        process = begun(clerk, None)
        for n in range(8):
            process.kill()
            clerk.note({"n": n, "much": "x" * 100_000})  # more than a pipe holds, into one that breaks
            process = begun(clerk, process)
        assert clerk._thread.is_alive()
    finally:
        clerk.stop()
    assert not clerk.alive
