"""Traces and weight verdicts of earlier runs, each with what it was made from, and those in force now."""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping
from dataclasses import asdict, dataclass, field

from models.alarms.alerts import tuples
from models.shapes import Call, Cause

Piece = tuple[str, str]
Digests = Mapping[str, Mapping[str, str]]
"""Log or wide table -> day ("2026-05-06") -> digest of the rows of that day."""


@dataclass
class Kept:
    """made_by: what else the pieces hang on (program, plant file); days: digests of the rows in force, by day.

    traces, weights: pieces of earlier runs, name -> key and text; traces_now, weights_now: all that this run used.
    """

    made_by: str
    days: Digests
    traces: Mapping[str, Piece] = field(default_factory=dict)
    weights: Mapping[str, Piece] = field(default_factory=dict)
    traces_now: dict[str, Piece] = field(default_factory=dict)
    weights_now: dict[str, Piece] = field(default_factory=dict)

    def trace(self, name: str, key: str, make: Callable[[], Call]) -> Call:
        """The trace of that name as it was kept, if it was made from the same; else made now."""
        key = f"{self.made_by} {key}"
        before = self.traces.get(name)
        if before and before[0] == key:
            self.traces_now[name] = before
            body = json.loads(before[1])
            causes = tuple(Cause(**tuples(cause)) for cause in body.pop("causes"))
            return Call(causes, **tuples(body))
        call = make()
        self.traces_now[name] = key, json.dumps(asdict(call), ensure_ascii=False, sort_keys=True)
        return call


