"""What people found when they closed an alert: shown at the next like episode, and counted by kind of call."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from math import sqrt
from typing import Literal

from models.shapes import GROUPS, Group
from models.texts import texts

Found = Literal["real", "nothing found"]
Z90 = 1.645
ALIKE_FROM = 0.5
_WORD = re.compile(r"[^\W\d_]{3,}")


@dataclass(frozen=True)
class Finding:
    """What was found behind one alert. group, driver: what the call had named; closed_at: naive UTC.

    found: "real" where the named cause was there, "nothing found" where it was looked for and was not.
    """

    alert: str
    group: Group
    driver: str
    closed_at: datetime
    found: Found
    note: str = ""
    line: str | None = None


@dataclass(frozen=True)
class Record:
    """How often one kind of call was right: calls closed, of these real, and the 90 % bounds of the rate."""

    group: Group
    closed: int
    real: int
    low: float
    high: float

    @property
    def says(self) -> str:
        """The record in words."""
        t = texts("causes")["last"]
        if not self.closed:
            return t["no_record"].format(group=self.group)
        return t["record"].format(
            group=self.group, real=self.real, closed=self.closed, low=100 * self.low, high=100 * self.high
        )


def likeness(one: str, other: str) -> float:
    """0 to 1: how many words of two drivers are the same, sizes and lot names left aside."""
    a, b = (set(_WORD.findall(text.lower())) for text in (one, other))
    return len(a & b) / len(a | b) if a | b else 0.0


def like(findings: Sequence[Finding], group: Group, driver: str, line: str | None = None) -> list[Finding]:
    """Findings of like episodes, the most alike first, of these the latest: same group and about the same driver."""
    ranked = [
        (likeness(f.driver, driver) + (0.1 if line and f.line == line else 0.0), f)
        for f in findings
        if f.group == group
    ]
    kept = [(score, f) for score, f in ranked if score >= ALIKE_FROM]
    return [f for _, f in sorted(kept, key=lambda x: (-round(x[0], 6), -x[1].closed_at.timestamp(), x[1].alert))]


def last_time(findings: Sequence[Finding], group: Group, driver: str, line: str | None = None) -> str | None:
    """One sentence on the last like episode; None where there was none."""
    found = like(findings, group, driver, line)
    if not found:
        return None
    last = max(found, key=lambda f: (f.closed_at, f.alert))
    t, day = texts("causes")["last"], f"{last.closed_at:%Y-%m-%d}"
    return t["time"].format(
        when=f"{day}, {last.line}" if last.line else day,
        alert=last.alert,
        found=t["noted"].format(found=last.found, note=last.note) if last.note else last.found,
        real=sum(f.found == "real" for f in found),
        n=len(found),
    )


def _wilson(real: int, closed: int) -> tuple[float, float]:
    """Wilson's interval of a rate (1927, formula from memory); the whole range where nothing was closed."""
    if not closed:
        return 0.0, 1.0
    p, z2 = real / closed, Z90**2
    centre = (p + z2 / (2 * closed)) / (1 + z2 / closed)
    half = Z90 / (1 + z2 / closed) * sqrt(p * (1 - p) / closed + z2 / (4 * closed**2))
    return max(0.0, centre - half), min(1.0, centre + half)


def record(findings: Sequence[Finding]) -> tuple[Record, ...]:
    """How often each kind of call was right, in the order of the groups."""
    out = []
    for group in GROUPS:
        mine = [f for f in findings if f.group == group]
        real = sum(f.found == "real" for f in mine)
        out.append(Record(group, len(mine), real, *_wilson(real, len(mine))))
    return tuple(out)
