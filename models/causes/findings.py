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
_OPPOSITES = tuple(tuple(pair.split("/")) for pair in texts("causes")["last"]["opposite"])


@dataclass(frozen=True)
class Finding:
    """What was found behind one alert. group, driver: what the call had named; closed_at: naive UTC.

    found: "real" where the named cause was there, "nothing found" where it was looked for and was not. direction: "" where
    it is not known, which is like any.
    """

    alert: str
    group: Group
    driver: str
    closed_at: datetime
    found: Found
    note: str = ""
    line: str | None = None
    direction: str = ""


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
        if self.closed == 1:
            return t["one_real" if self.real else "one_not"].format(group=self.group)
        return t["record"].format(
            group=self.group, real=self.real, closed=self.closed, low=100 * self.low, high=100 * self.high
        )


def likeness(one: str, other: str) -> float:
    """0 to 1: how many words of two drivers are the same, sizes and lot names left aside; 0 where they say opposites."""
    a, b = (set(_WORD.findall(text.lower())) for text in (one, other))
    if any((x in a - b and y in b - a) or (y in a - b and x in b - a) for x, y in _OPPOSITES):
        return 0.0
    return len(a & b) / len(a | b) if a | b else 0.0


def _alike(f: Finding, group: Group, driver: str, line: str | None, direction: str) -> float:
    """How like an earlier episode is to this one: 0 where group or direction differ.

    What names nothing, and handling, which is told by what somebody wrote of it, is like on the same line alone.
    """
    if f.group != group or (direction and f.direction and f.direction != direction):
        return 0.0
    nothing, same_line = texts("causes")["within"], bool(line) and f.line == line
    score = likeness(f.driver, driver)
    if nothing in (f.driver, driver):
        return 1.0 if same_line and f.driver == driver else 0.0
    if group == "handling" and same_line:
        score = max(score, ALIKE_FROM)
    return score + (0.1 if same_line and score else 0.0)


def like(
    findings: Sequence[Finding], group: Group, driver: str, line: str | None = None, direction: str = ""
) -> list[Finding]:
    """Findings of like episodes, the most alike first, of these the latest: same group and about the same driver."""
    ranked = [(_alike(f, group, driver, line, direction), f) for f in findings]
    kept = [(score, f) for score, f in ranked if score >= ALIKE_FROM]
    return [f for _, f in sorted(kept, key=lambda x: (-round(x[0], 6), -x[1].closed_at.timestamp(), x[1].alert))]


def last_time(
    findings: Sequence[Finding], group: Group, driver: str, line: str | None = None, direction: str = ""
) -> str | None:
    """One sentence on the last like episode; None where there was none."""
    found = like(findings, group, driver, line, direction)
    if not found:
        return None
    last = max(found, key=lambda f: (f.closed_at, f.alert))
    t, day = texts("causes")["last"], f"{last.closed_at:%Y-%m-%d}"
    said = t["time"] if len(found) == 1 else t["times"]
    return said.format(
        where=f"{last.line}, " if last.line else "",
        when=day,
        alert=last.alert,
        found=t["noted"].format(found=last.found, note=last.note) if last.note else last.found,
        real=sum(f.found == "real" for f in found),
        n=len(found),
    )


def told(
    findings: Sequence[Finding], group: Group, driver: str, line: str | None = None, direction: str = ""
) -> tuple[str, ...]:
    """What earlier findings say beside a call: the last like episode, and how often calls of its group were right."""
    last = last_time(findings, group, driver, line, direction)
    of_group = next(r for r in record(findings) if r.group == group)
    return tuple(filter(None, (last, of_group.says if of_group.closed else None)))


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
    return rates([(f.group, f.found) for f in findings])


def rates(closed: Sequence[tuple[Group, Found]]) -> tuple[Record, ...]:
    """The same of what each closed call had named first and what was found."""
    out = []
    for group in GROUPS:
        mine = [found for named, found in closed if named == group]
        real = sum(found == "real" for found in mine)
        out.append(Record(group, len(mine), real, *_wilson(real, len(mine))))
    return tuple(out)
