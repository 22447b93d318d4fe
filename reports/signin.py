"""The pages on which a device or a person signs in, on which initials are tapped, and which say that nothing was recorded."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from pathlib import Path

from jinja2 import Environment, FileSystemLoader, StrictUndefined

TEMPLATES = Path(__file__).parent / "templates"
TEXTS = {
    "sign_in": "Sign in",
    "name": "Initials, or the name of this device",
    "passphrase": "Passphrase",
    "wrong": "This name and passphrase do not go together. Try again, or ask whoever keeps the people file.",
    "too_many": "Too many wrong passphrases. Wait {minutes} min, then try again.",
    "unknown": "These initials are not known here. Tap yours.",
    "initials": "One to six letters or figures, please.",
    "who": "Who is working here?",
    "tap": "Tap your initials. What needs more than this device may do asks for your passphrase.",
    "nobody": "Nobody: only look",
    "own": "Sign in with your own passphrase",
    "type": "Your initials",
    "go": "Go on",
    "unrecorded": "Not recorded",
    "out": "Nobody is signed in here any more, so nothing was recorded. What you typed is kept in this browser: sign in, and it"
    " stands in its form again.",
    "kept": "What you typed is kept in this browser and stands in its form again when you go back.",
    "back": "Back to what was typed",
}


@dataclass(frozen=True)
class Asked:
    """What one such page shows. initials: to tap, empty where they are typed; next: where to go afterwards."""

    what: str  # "sign in", "tap", "type"; of a form that was not recorded: "signed out", "not recorded"
    token: str
    nonce: str
    next: str = "/"
    said: str = ""
    initials: tuple[str, ...] = ()


@cache
def _environment() -> Environment:
    loader = FileSystemLoader(TEMPLATES)
    return Environment(loader=loader, autoescape=True, undefined=StrictUndefined, trim_blocks=True, lstrip_blocks=True)


def page(asked: Asked) -> str:
    """The page as HTML."""
    return _environment().get_template("signin.html").render(asked=asked, texts=TEXTS)
