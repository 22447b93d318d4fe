"""What the board says, in one place so that it can be translated: a file a subject, {..} filled in by whoever says it."""

from __future__ import annotations

import hashlib
import tomllib
from collections.abc import Mapping
from functools import cache
from importlib import resources
from numbers import Real
from string import Formatter
from typing import Any

FOLDER = resources.files("models.texts")
MINUS = "\u2212"


class _Filling(Formatter):
    """Fills in numbers with the minus sign; texts go in as they are."""

    def format_field(self, value: Any, format_spec: str) -> str:
        shown = super().format_field(value, format_spec)
        if not isinstance(value, Real):
            return shown
        if format_spec and not any(digit in shown for digit in "123456789"):
            return shown.lstrip("+-")  # what rounds to nothing is neither above nor below it
        return shown.replace("-", MINUS)


_FILLING = _Filling()


class Text(str):
    """A text that somebody fills in: `format` writes a number below zero with the minus sign, as every page does."""

    __slots__ = ()

    def format(self, *args: object, **filled: object) -> str:
        """The text with everything filled in, as `str.format` does it but for the minus sign."""
        if not args and all(type(value) is str or (type(value) is int and value >= 0) for value in filled.values()):
            return str.format(self, **filled)  # a page has some hundred thousand of these, and no minus sign is in them
        return _FILLING.vformat(self, args, filled)


def _as_texts(value: Any) -> Any:
    if isinstance(value, dict):
        return {key: _as_texts(inner) for key, inner in value.items()}
    return [_as_texts(inner) for inner in value] if isinstance(value, list) else Text(value)


@cache
def texts(subject: str) -> dict[str, Any]:
    """The words of one subject, as the file of that name has them. Do not change what is returned."""
    file = FOLDER.joinpath(f"{subject}.toml")
    return _as_texts(tomllib.loads(file.read_text(encoding="utf-8")))


def in_number(said: Text | Mapping[str, Text], number: object) -> Text:
    """The form of a text that goes with a number, as it is shown: 1 or "1" takes `one`, all others `many`; a text of one form, itself."""
    if isinstance(said, Text):
        return said
    return said["one" if str(number) == "1" else "many"]


@cache
def fingerprint() -> str:
    """What tells these texts from others: sentences that are kept hang on it."""
    found = hashlib.sha256()
    for file in sorted(FOLDER.iterdir(), key=lambda file: file.name):
        if file.name.endswith(".toml"):
            found.update(file.name.encode() + b"\0" + file.read_bytes() + b"\0")
    return found.hexdigest()[:12]
