"""What the board says, in one place so that it can be translated: a file a subject, {..} filled in by whoever says it."""

from __future__ import annotations

import hashlib
import tomllib
from functools import cache
from importlib import resources
from typing import Any

FOLDER = resources.files("models.texts")


@cache
def texts(subject: str) -> dict[str, Any]:
    """The words of one subject, as the file of that name has them. Do not change what is returned."""
    file = FOLDER.joinpath(f"{subject}.toml")
    return tomllib.loads(file.read_text(encoding="utf-8"))


@cache
def fingerprint() -> str:
    """What tells these texts from others: sentences that are kept hang on it."""
    found = hashlib.sha256()
    for file in sorted(FOLDER.iterdir(), key=lambda file: file.name):
        if file.name.endswith(".toml"):
            found.update(file.name.encode() + b"\0" + file.read_bytes() + b"\0")
    return found.hexdigest()[:12]
