"""The pages on which a device or a person signs in or out, on which initials are tapped, and which say that nothing was recorded."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from pathlib import Path

from jinja2 import Environment, FileSystemLoader, StrictUndefined

from models.texts import texts

TEMPLATES = Path(__file__).parent / "templates"
TEXTS: dict[str, str] = texts("signin")


@dataclass(frozen=True)
class Asked:
    """What one such page shows. initials: to tap, empty where they are typed; next: where to go afterwards; who: is signed in."""

    what: str  # "sign in", "signed in", "tap", "type"; of a form that was not recorded: "signed out", "not recorded"
    token: str
    nonce: str
    next: str = "/"
    said: str = ""
    initials: tuple[str, ...] = ()
    who: str = ""


@cache
def _environment() -> Environment:
    loader = FileSystemLoader(TEMPLATES)
    return Environment(loader=loader, autoescape=True, undefined=StrictUndefined, trim_blocks=True, lstrip_blocks=True)


def page(asked: Asked) -> str:
    """The page as HTML."""
    return _environment().get_template("signin.html").render(asked=asked, texts=TEXTS)
