"""The machine a figure was measured on, and how it is measured: wall time and peak memory of whole processes.

A figure from one machine is compared with another only as a ratio to an `EMPTY` process, measured in the same run.
"""

from __future__ import annotations

import importlib.metadata
import os
import platform
import statistics
import subprocess
import sys
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
LIBRARIES = ("duckdb", "great-expectations", "numpy", "pandas", "plotly", "prefect")
PROGRAM = (sys.executable, "-c", "from flows.cli import main; raise SystemExit(main())")


@dataclass(frozen=True)
class Measured:
    """Runs of one command: seconds each, peak resident memory in MiB of the heaviest (with the processes it began), and the last one's words."""

    what: str
    seconds: tuple[float, ...]
    peak_mib: float
    said: str

    @property
    def median_s(self) -> float:
        """Median wall time in seconds."""
        return statistics.median(self.seconds)

    def line(self) -> str:
        """The figures in one line: median, range, n, memory."""
        low, high = min(self.seconds), max(self.seconds)
        return (
            f"{self.what}: median {self.median_s:.3f} s (lowest {low:.3f}, highest {high:.3f}, "
            f"n = {len(self.seconds)}), peak {self.peak_mib:.0f} MiB"
        )


def processor() -> str:
    """The processor's own name, where the system tells it."""
    try:
        for line in Path("/proc/cpuinfo").read_text(encoding="utf-8").splitlines():
            if line.startswith("model name"):
                return line.split(":", 1)[1].strip()
    except OSError:
        pass
    return platform.processor() or platform.machine()


def cores() -> int:
    """Cores that this process may use."""
    return len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1


def machine() -> str:
    """One line: processor, cores, memory, system, Python and the libraries' versions."""
    memory = os.sysconf("SC_PAGE_SIZE") * os.sysconf("SC_PHYS_PAGES") / 2**30
    versions = ", ".join(f"{name} {importlib.metadata.version(name)}" for name in LIBRARIES)
    return (
        f"{processor()}, {cores()} cores, {memory:.0f} GiB, {platform.system()} {platform.machine()}, "
        f"Python {platform.python_version()}; {versions}"
    )


def measure(
    what: str, command: Sequence[str | Path], cwd: Path, times: int = 1, good: tuple[int, ...] = (0,)
) -> Measured:
    """Run a command so many times, each in a process of its own; an exit other than `good` stops the measurement."""
    seconds, peak, said = [], 0.0, ""
    for _ in range(times):
        one, mebibytes, status, said = _once(command, cwd)
        if status not in good:
            raise RuntimeError(f"{what}: exit {status}\n{said[-2000:]}")
        seconds.append(one)
        peak = max(peak, mebibytes)
    return Measured(what, tuple(seconds), peak, said)


def side_by_side(commands: Mapping[str, Sequence[str | Path]], cwd: Path, times: int) -> list[Measured]:
    """Run the commands in turn, so many rounds: what else the machine does then meets all of them alike."""
    rounds = [[measure(what, command, cwd) for what, command in commands.items()] for _ in range(times)]
    return [
        Measured(same[0].what, tuple(one.seconds[0] for one in same), max(one.peak_mib for one in same), same[-1].said)
        for same in zip(*rounds, strict=True)
    ]


# A process starts with the peak of the one that started it (Linux keeps it over exec), so a small one starts it. Where the
# system tells which processes a process has begun, theirs counts with its own: both hold memory at the same time.
LAUNCHER = """
import os, sys, threading, time

def held(pid):
    found = 0
    try:
        with open(f"/proc/{pid}/statm") as said:
            found = int(said.read().split()[1]) * os.sysconf("SC_PAGE_SIZE") // 1024
        for thread in os.listdir(f"/proc/{pid}/task"):
            with open(f"/proc/{pid}/task/{thread}/children") as said:
                found += sum(held(int(child)) for child in said.read().split())
    except OSError:
        pass
    return found

def watch(pid, ended):
    global most
    while not ended.wait(0.1):
        most = max(most, held(pid))

began = time.perf_counter()
child = os.fork()
if child == 0:
    os.execv(sys.argv[1], sys.argv[1:])
most, ended = 0, threading.Event()
threading.Thread(target=watch, args=(child, ended), daemon=True).start()
_, status, usage = os.wait4(child, 0)
took = time.perf_counter() - began
ended.set()
sys.stderr.write(f"{took} {max(most, usage.ru_maxrss)} {os.waitstatus_to_exitcode(status)}")
"""


def _once(command: Sequence[str | Path], cwd: Path) -> tuple[float, float, int, str]:
    """Seconds, peak MiB, exit status and words of one run; what it says as an error comes with its words."""
    words = ["/bin/sh", "-c", 'exec "$@" 2>&1', "sh", *map(str, command)]
    world = {**os.environ, "PYTHONPATH": str(ROOT)}
    done = subprocess.run(
        [sys.executable, "-S", "-c", LAUNCHER, *words], cwd=cwd, env=world, capture_output=True, text=True, check=True
    )
    took, peak, status = done.stderr.split()
    # counted in kilobytes on Linux, in bytes on a Mac
    return float(took), int(peak) / (2**20 if sys.platform == "darwin" else 2**10), int(status), done.stdout


EMPTY = (sys.executable, "-c", "pass")


def report(*found: Measured, against: Measured) -> None:
    """Print the machine, then each figure with its ratio to the empty process of the same run."""
    print(machine())
    print(against.line())
    for one in found:
        print(f"{one.line()}; {one.median_s / against.median_s:.1f} times an empty process")
