"""The process beside the service is begun again whenever it ends, also where it ends while it is being told."""

from __future__ import annotations

import json
import subprocess
import time
from pathlib import Path
from typing import Any

import pytest

from flows.floor import clerk as beside
from tests.flows.serving import until


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


def told(path: Path) -> list[dict[str, Any]]:
    return [json.loads(line) for line in path.read_text(encoding="utf-8").splitlines()] if path.exists() else []


# what stands for the real process: it writes down each line that it is told
LISTENER = """import sys, pathlib
file = pathlib.Path(sys.argv[1]).open("a")
for line in sys.stdin:
    file.write(line); file.flush()
"""


@pytest.fixture
def listener(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    (tmp_path / "listener_for_a_test.py").write_text(LISTENER, encoding="utf-8")
    monkeypatch.setenv("PYTHONPATH", str(tmp_path))
    return tmp_path / "told"


def test_every_event_is_told_though_many_wait_and_of_commits_the_newest(listener: Path) -> None:
    """As when the process is away for long: 500 events and 300 commits wait before it begins."""
    clerk = beside.Clerk(["listener_for_a_test", str(listener)])
    for n in range(500):
        clerk.note({"event": "raised", "alert": f"A{n}", "payload": {}})
        if n < 300:
            clerk.note({"rows": n})
    assert clerk.events == {"waiting": 500, "lost": 0}
    clerk.start()
    try:
        until(lambda: len(told(listener)) >= 501)
    finally:
        clerk.stop()
    assert [said["alert"] for said in told(listener) if "event" in said] == [f"A{n}" for n in range(500)]
    assert [said for said in told(listener) if "rows" in said] == [{"rows": 299}]
    assert clerk.events == {"waiting": 0, "lost": 0}


def test_events_beyond_what_is_kept_are_counted_and_said(monkeypatch: pytest.MonkeyPatch, caplog) -> None:
    monkeypatch.setattr(beside, "KEPT", 20)
    clerk = beside.Clerk(["json.tool"])
    for n in range(25):
        clerk.note({"event": "raised", "alert": f"A{n}", "payload": {}})
        clerk.note({"rows": n})
    assert clerk.events == {"waiting": 20, "lost": 5}
    assert [line.message for line in caplog.records if "Prefect events wait" in line.message] == [
        "more than 20 Prefect events wait for the process that sends them: the oldest are lost"
    ]
    untold = [clerk._untold.take(0) for _ in range(21)]
    assert [json.loads(one[0]).get("alert") for one in untold if one] == [f"A{n}" for n in range(5, 25)] + [None]


def test_events_that_a_stop_leaves_unsent_are_said(caplog) -> None:
    clerk = beside.Clerk(["json.tool"])
    clerk.note({"event": "raised", "alert": "A1", "payload": {}})
    clerk.stop()
    assert "Prefect events not sent before the service stopped: 1" in caplog.text
