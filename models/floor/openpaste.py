"""What was begun on a screen and is not a row yet, and the rows that screens made: kept in a file that outlives a kill.

Two screens share it: the kettle (a paste weighed before its cook) and the mixer (a dough worked out before it is
mixed). A line is added for everything that happens, and what stands is worked out from their order; lines that are of no
use any more are cleared away.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from typing import Literal

from models.floor import typed
from models.floor.typed import Cells
from models.logbook import PASTE_REACH_H
from models.storage.journal import Journal, Record

Kind = Literal["paste", "dough"]
Stage = Literal["open", "recorded"]
KEPT = timedelta(hours=PASTE_REACH_H)  # older lines are of no use to a screen: no dough may name that paste


@dataclass(frozen=True)
class Work:
    """One batch at a screen. cells: contract columns and what else the screen asked (`more`); since, at: naive UTC of its
    first and its last line."""

    kind: Kind
    key: str
    cells: Cells
    more: Cells
    since: datetime
    at: datetime
    stage: Stage = "open"


@dataclass(frozen=True)
class Desk:
    """Everything that stands in the file: batches by key, and logs that are not known to lie in the folder yet."""

    works: Mapping[str, Work] = field(default_factory=dict)
    to_drop: tuple[tuple[str, str], ...] = ()

    def open(self, kind: Kind) -> tuple[Work, ...]:
        """Batches begun and not recorded, the oldest first."""
        return self._of(kind, "open")

    def recorded(self, kind: Kind) -> tuple[Work, ...]:
        """Batches that are rows, in the order in which they were last written."""
        return self._of(kind, "recorded")

    def _of(self, kind: Kind, stage: Stage) -> tuple[Work, ...]:
        found = [work for work in self.works.values() if (work.kind, work.stage) == (kind, stage)]
        return tuple(sorted(found, key=lambda work: (work.at, work.key)))


def desk(journal: Journal) -> Desk:
    """What stands in the file now."""
    works: dict[str, Work] = {}
    waiting: dict[str, str] = {}
    for line in journal.read():
        name = f"{line.get('kind')}:{line.get('key')}"
        if line["what"] == "dropped":
            waiting.pop(line["name"], None)
        elif line["what"] == "withdrawn":
            works.pop(name, None)
        else:
            works[name] = _work(line, works.get(name))
            if line["what"] == "recorded":
                waiting[line["name"]] = line["log"]
    return Desk(works, tuple(waiting.items()))


def _work(line: Record, before: Work | None) -> Work:
    at = datetime.fromisoformat(line["at"])
    since = before.since if before is not None else at
    return Work(line["kind"], line["key"], line["cells"], line["more"], since, at, line["what"])


def begin(
    journal: Journal, kind: Kind, key: str, cells: Cells, more: Cells, now: datetime, was: str | None = None
) -> None:
    """Keep a batch that is not a row yet, or what changed of it. was: the name it had before, where that changed."""
    journal.append(*_renamed(kind, key, now, was), _line("open", kind, key, cells, more, now))


def record(
    journal: Journal, kind: Kind, key: str, cells: Cells, more: Cells, now: datetime, was: str | None = None
) -> tuple[str, str]:
    """Keep a batch that is a row now, with its log, before anything is dropped. Returns the log's file name and text."""
    log = typed.log_text(kind, [cells])
    name = typed.log_name(kind, log)
    line = _line("recorded", kind, key, cells, more, now) | {"name": name, "log": log}
    journal.append(*_renamed(kind, key, now, was), line)
    return name, log


def withdraw(journal: Journal, kind: Kind, key: str, who: str, now: datetime) -> None:
    """Take back a batch that was begun by mistake; who did it stays in the file."""
    journal.append({"what": "withdrawn", "kind": kind, "key": key, "who": who, "at": now.isoformat()})


def dropped(journal: Journal, name: str, now: datetime) -> None:
    """The log lies in the folder: it need not be dropped again after a kill."""
    journal.append({"what": "dropped", "name": name, "at": now.isoformat()})


def tidy(journal: Journal, now: datetime) -> None:
    """Forget lines older than `KEPT`, but never a batch that is open or a log that is not dropped."""
    lines, stands = journal.read(), desk(journal)
    waiting = {name for name, _ in stands.to_drop}
    begun = {(work.kind, work.key) for work in stands.works.values() if work.stage == "open"}
    kept = [
        line
        for line in lines
        if now - datetime.fromisoformat(line["at"]) <= KEPT
        or line.get("name") in waiting
        or (line.get("kind"), line.get("key")) in begun
    ]
    if len(kept) < len(lines):
        journal.replace(kept)


def _line(what: str, kind: str, key: str, cells: Cells, more: Cells, now: datetime) -> Record:
    return {"what": what, "kind": kind, "key": key, "cells": cells, "more": more, "at": now.isoformat()}


def _renamed(kind: str, key: str, now: datetime, was: str | None) -> list[Record]:
    if was is None or was == key:
        return []
    return [{"what": "withdrawn", "kind": kind, "key": was, "who": "", "at": now.isoformat()}]
