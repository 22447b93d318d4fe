"""What the board says, in one place so that it can be translated: a file a subject, {..} filled in by whoever says it."""

from __future__ import annotations

import tomllib
from functools import cache
from importlib import resources
from typing import Any


@cache
def texts(subject: str) -> dict[str, Any]:
    """The words of one subject, as the file of that name has them. Do not change what is returned."""
    file = resources.files("models.texts").joinpath(f"{subject}.toml")
    return tomllib.loads(file.read_text(encoding="utf-8"))
