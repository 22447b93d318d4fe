"""A second process does its part of a run's work, the answers stay the same, and nothing is lost with it."""

from __future__ import annotations

import os
import shutil
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from functools import partial
from operator import floordiv
from pathlib import Path
from typing import Any

import pytest

from flows.job import read_job
from flows.mate import WORTH_ROWS, Mate
from flows.work import work
from models.sharing import one_by_one

ROOT = Path(__file__).resolve().parents[2]
SAMPLE = ROOT / "seed_data" / "sample"
# work is Python text here, so that both processes know it
WHO = "(__import__('time').sleep(0.05), __import__('os').getpid())[1]"


@pytest.fixture
def mate() -> Iterator[Mate]:
    with Mate() as one:
        one.start()
        assert one.shared(eval, ["1", "2"]) == [1, 2]
        yield one


def ended(pid: int, within_s: float = 10.0) -> bool:
    """Whether a process that is not ours ends."""
    until = time.monotonic() + within_s
    while time.monotonic() < until:
        try:
            os.kill(pid, 0)
        except ProcessLookupError:
            return True
        time.sleep(0.02)
    return False


def test_both_take_part_and_answers_stand_in_their_order(mate: Mate) -> None:
    until, who = time.monotonic() + 30, set[int]()
    while len(who) < 2 and time.monotonic() < until:  # the other may still be making itself ready
        who |= set(mate.shared(eval, [WHO] * 6))
    assert who == {os.getpid(), mate.pid}
    items = [f"{n} ** 2" for n in range(200)]
    assert mate.shared(eval, items) == one_by_one(eval, items) == [n**2 for n in range(200)]
    assert mate.shared(eval, items, str) == [str(n**2) for n in range(200)]
    assert mate.shared(eval, []) == []


def test_what_fails_fails_here_in_its_own_words(mate: Mate) -> None:
    with pytest.raises(ZeroDivisionError):
        mate.shared(partial(floordiv, 100), [1, 2, 0, 4, 5])
    assert mate.shared(partial(floordiv, 100), [1, 2, 4]) == [100, 50, 25]


def test_items_that_cannot_be_had_and_answers_that_cannot_be_kept_are_told(mate: Mate) -> None:
    def broken() -> Iterator[str]:
        yield from ["1"] * 3
        raise OSError(5, "cannot be read")

    def full(_: Any) -> None:
        raise OSError(28, "no room")

    for items, then in ((broken(), str), (["1"] * 9, full)):
        with pytest.raises(OSError, match="cannot be read|no room"):
            mate.shared(eval, items, then)
    assert mate.shared(eval, ["1"]) == [1]


@pytest.mark.parametrize("end", ["__import__('os')._exit(9)", "__import__('os').kill(__import__('os').getpid(), 9)"])
def test_where_it_ends_before_its_time_its_part_is_done_here(mate: Mate, end: str) -> None:
    here, pid = os.getpid(), mate.pid
    die = f"{end} if __import__('os').getpid() != {here} else {WHO}"
    assert mate.shared(eval, [die] * 8) == [here] * 8
    assert mate.pid is None and ended(pid or 0)
    assert mate.shared(eval, ["1", "2"]) == [1, 2]


def hang(mate: Mate) -> str:
    """Work that the second process never ends; the same here is done at once."""
    return f"__import__('time').sleep(3600) if __import__('os').getpid() != {os.getpid()} else {WHO}"


def halt(mate: Mate) -> str:
    """The second process is halted from outside: it neither reads nor answers, and does not end."""
    os.kill(mate.pid or 0, signal.SIGSTOP)
    return WHO


@pytest.mark.parametrize("fault", [hang, halt])
def test_one_that_hangs_is_given_up_and_its_part_is_done_here(
    mate: Mate, monkeypatch: pytest.MonkeyPatch, fault: Callable[[Mate], str]
) -> None:
    """The wait is 0.2 s or five times the run's own half: with seven or eight items of 0.05 s no more than some seconds."""
    monkeypatch.setattr("flows.mate.LEAST_WAIT_S", 0.2)
    here, pid, began = os.getpid(), mate.pid, time.monotonic()
    asked = fault(mate)
    assert mate.shared(eval, [asked] * 8) == [here] * 8
    assert mate.pid is None and ended(pid or 0) and time.monotonic() - began < 60
    assert mate.shared(eval, ["1", "2"]) == [1, 2]


def test_one_that_is_slow_is_waited_for(mate: Mate) -> None:
    """Two seconds at an item that takes none here are no reason to give it up."""
    pid, own = mate.pid, f"__import__('time').sleep(2) if __import__('os').getpid() != {os.getpid()} else 0"
    until, answers = time.monotonic() + 30, set[int | None]()
    while None not in answers and time.monotonic() < until:  # the other may still be making itself ready
        answers |= set(mate.shared(eval, [own] * 2))
    assert None in answers and mate.pid == pid


def test_it_ends_with_the_run_however_that_ends() -> None:
    script = (
        "import sys, time; from flows.mate import Mate; one = Mate(); one.start(); print(one.pid, flush=True);"
        "one.shared(eval, ['1'] * 9); print('shared', flush=True); time.sleep(60)"
    )
    world = {**os.environ, "PYTHONPATH": str(ROOT)}
    with subprocess.Popen([sys.executable, "-c", script], stdout=subprocess.PIPE, text=True, env=world) as run:
        assert run.stdout is not None
        pid = int(run.stdout.readline())
        assert run.stdout.readline() == "shared\n"
        run.send_signal(signal.SIGKILL)
        assert ended(pid)


def test_a_run_starts_it_where_very_much_is_new(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A run of few rows does without; the threshold is of rows that are new, not of those that lie there."""
    started: list[Mate] = []
    monkeypatch.setattr(Mate, "start", lambda self: started.append(self))
    shutil.copytree(SAMPLE / "logs", tmp_path / "logs")
    job = read_job(SAMPLE / "plant.toml", tmp_path / "logs", tmp_path / "s.duckdb", tmp_path / "out")
    received = sum(counts["received"] for counts in work(job)["rows"].values())
    assert not started and received < WORTH_ROWS
    monkeypatch.setattr("flows.mate.WORTH_ROWS", received)
    for store, times in (("s", 0), ("t", 1)):
        work(read_job(SAMPLE / "plant.toml", job.logs, tmp_path / f"{store}.duckdb", job.out))
        assert len(started) == times


def test_where_no_process_can_be_had_all_is_done_here(monkeypatch: pytest.MonkeyPatch) -> None:
    def none(*_: Any, **__: Any) -> None:
        raise OSError(11, "no more processes")

    monkeypatch.setattr(subprocess, "Popen", none)
    with Mate() as mate:
        mate.start()
        assert mate.pid is None and mate.shared(eval, ["1"]) == [1]


def halted(mate: Mate) -> Mate:
    """One that was started and then stopped from outside before it did anything."""
    mate.start()
    os.kill(mate.pid or 0, signal.SIGSTOP)
    return mate


def test_a_run_with_without_and_with_one_that_hangs_says_and_prints_the_same(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The whole job on the sample: its result, and every file of its reports."""
    shutil.copytree(SAMPLE / "logs", tmp_path / "logs")
    begun = {"without": lambda self: self, "with": lambda self: self.start() or self, "hangs": halted}
    said, answered, asked = {}, dict[str, list[bool]](), Mate._asked
    for name, enter in begun.items():
        answers = answered.setdefault(name, [])
        monkeypatch.setattr(Mate, "__enter__", enter)
        monkeypatch.setattr(Mate, "_asked", lambda *args, of=answers: (got := asked(*args), of.append(got[0]))[0])
        monkeypatch.setattr("flows.mate.LEAST_WAIT_S", 0.2 if name == "hangs" else 60.0)
        folder = tmp_path / name
        said[name] = work(read_job(SAMPLE / "plant.toml", tmp_path / "logs", folder / "s.duckdb", folder / "out"))
    printed = {name: {path.name: path.read_bytes() for path in (tmp_path / name / "out").iterdir()} for name in said}
    assert printed["hangs"] == printed["with"] == printed["without"] and len(printed["with"]) > 5
    for result in said.values():
        result["reports"] = [Path(path).name for path in result["reports"]]
    assert said["hangs"] == said["with"] == said["without"]
    assert not answered["without"] and answered["with"] and all(answered["with"]) and answered["hangs"] == [False]
