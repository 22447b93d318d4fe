"""The board's screens: plain data in, one HTML page out. Words stand in `models.texts`, one file a screen, never in code.

A screen is a template under `templates/board`; what changes while one looks is marked `data-live` and is exchanged
by `static/board.js` whenever the service says that something changed.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, Any

from jinja2 import Environment, FileSystemLoader, StrictUndefined

from models.pages import words
from models.texts import texts
from reports import figures, inked

if TYPE_CHECKING:
    from markupsafe import Markup

    from models.pages.shown import Curve

HERE = Path(__file__).parent
STATIC = HERE / "static"


@dataclass(frozen=True)
class Frame:
    """What every screen carries. here: its address; who: initials, "" where nobody has tapped; signs: people sign in here;
    follows: may see charts and months; tap: initials to choose from in a form; unrecorded: a form was sent, and nothing of it kept."""

    plant: str
    here: str
    nonce: str
    token: str
    who: str = ""
    role: str = "floor"
    signs: bool = False
    said: str = ""
    follows: bool = False
    tap: tuple[str, ...] = ()
    unrecorded: bool = False


@cache
def _environment() -> Environment:
    loader = FileSystemLoader(HERE / "templates")
    environment = Environment(
        loader=loader, autoescape=True, undefined=StrictUndefined, trim_blocks=True, lstrip_blocks=True
    )
    environment.globals.update(inked=_inked, number=words.number, sentence=words.sentence)
    return environment


def _inked(shown: Curve, width: int, height: int) -> Markup:
    """A curve as its page draws it, without a script."""
    return inked.svg(figures.curve(shown, height), shown.summary, width)


def screen(name: str, frame: Frame, **shown: Any) -> str:
    """One screen: `templates/board/<name>.html` with its words as `t`, the board's as `b`, and what is shown."""
    template = _environment().get_template(f"board/{name}.html")
    return template.render(frame=frame, t=texts(name), b=texts("board"), **shown)
