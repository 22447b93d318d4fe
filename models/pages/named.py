"""Batches that sentences name, so that each can be opened where it is named: what is known of it, a line each."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Sequence
from typing import TYPE_CHECKING, NamedTuple

if TYPE_CHECKING:
    from models.pages.stories import Stories

_DAY = re.compile(r"\d{4}-\d{2}-\d{2}/")
LONGEST_KEY = 100
"""Characters of a batch's key that are looked for: a day, a line or kettle, and the number on the sheet."""


class Named(NamedTuple):
    """A batch that is named, by its key. says: what else is known of it."""

    key: str
    says: tuple[str, ...]


class Piece(NamedTuple):
    """A stretch of a sentence. batch: the place of the batch that it names, from 1; 0: it names none."""

    says: str
    batch: int = 0


def batches_named(lines: Iterable[str], stories: Sequence[Stories]) -> tuple[Named, ...]:
    """The batches that the lines name, in the order they are first named; a batch nobody has rows of is none."""
    found = dict.fromkeys(key for line in lines for key in _keys(line, stories))
    return tuple(Named(key, next(of.of([key])[key] for of in stories if key in of)) for key in found)


def _keys(line: str, stories: Sequence[Stories]) -> Iterator[str]:
    """Keys in a line, of each the longest that fits whole words: numbers on sheets may hold blanks and slashes."""
    at = 0
    while day := _DAY.search(line, at):
        start = day.start()
        ends = range(min(len(line), start + LONGEST_KEY), day.end(), -1)
        fits = (line[start:end] for end in ends if not line[end : end + 1].isalnum())
        key = next((key for key in fits if any(key in of for of in stories)), "")
        if key:
            yield key
        at = start + len(key) if key else day.end()


def pieces(line: str, named: Sequence[Named]) -> tuple[Piece, ...]:
    """A line cut where it names one of these batches."""
    place = {one.key: i for i, one in enumerate(named, 1)}
    if not place:
        return (Piece(line),)
    any_key = "|".join(re.escape(key) for key in sorted(place, key=len, reverse=True))
    return tuple(Piece(part, place.get(part, 0)) for part in re.split(rf"((?:{any_key})(?![^\W_]))", line) if part)
