"""Words whose meaning is fixed, each list declared once. Nothing heavy: the command line offers them at once."""

from __future__ import annotations

from typing import Literal, get_args

Urgency = Literal["hold", "now", "review"]
URGENCIES: tuple[Urgency, ...] = get_args(Urgency)

Role = Literal["floor", "supervisor", "QA", "manager"]
ROLES: tuple[Role, ...] = get_args(Role)

# what kind of doubt a hold rests on, in the order in which holds are told: first what can harm a person at the first bite, then
# what makes ill, then law (common practice, no source)
Ground = Literal["allergen", "foreign body", "cooling", "under-baked", "short weight", "other"]
GROUNDS: tuple[Ground, ...] = get_args(Ground)

# initials or a role, as they are typed
LONGEST_NAME = 40

# what became of a row: together all that were received
STATUSES = ("accepted", "waiting", "quarantined", "duplicate", "superseded")
