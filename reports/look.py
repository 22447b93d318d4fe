"""The look of every drawing: one template of our own, one configuration, colours and shapes with their meaning.

Colours after ISO 22324 (red: danger, yellow: caution, green: safe, blue: information), in shades that people with
a red-green weakness tell apart; a shape and a word always stand beside them.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from html import escape
from typing import Any

INK = "#2a211b"
QUIET = "#6a5c4f"
RULE = "#d9cdbb"
CARD = "#fffdf8"
VEIL = "rgba(251,247,239,0.85)"
BAND = "#f3ecdf"
INNER = "#e8dcc6"
CRUST = "#c2a27c"
EARLIER = "#9c8b79"
TODAY = "#1d4f73"
RED = "#b3261e"
AMBER = "#b97900"
FONT = '"Segoe UI", Roboto, "Helvetica Neue", "Liberation Sans", Arial, sans-serif'

CONFIG: dict[str, Any] = {
    "displayModeBar": False,
    "displaylogo": False,
    "showSendToCloud": False,
    "responsive": True,
    "scrollZoom": False,
}


def plain(text: str) -> str:
    """Text for a drawing: a name from a log is never markup."""
    return escape(text, quote=False)


def plains(texts: list[str]) -> list[str]:
    """`plain` of each text: all in one go, which is several times faster, unless one of them holds what parts them."""
    found = plain(_PARTS.join(texts)).split(_PARTS)
    return found if len(found) == len(texts) else [plain(text) for text in texts]


_PARTS = "\x1f"


def one_or_each(values: list[Any]) -> Any:
    """What all marks have alike, said once; else the value of each: a page has tens of thousands of marks."""
    return values[0] if values and values.count(values[0]) == len(values) else values


# plotly's template "none", written out: what it says is left of a figure when no look but ours is put on it
TEMPLATE: dict[str, Any] = {"data": {"scatter": [{"type": "scatter"}]}}


def trace(kind: str, **more: Any) -> dict[str, Any]:
    """One trace of a figure, as plotly's JSON has it. kind: scatter or bar."""
    return {"type": kind, **more}


def layout(height: int, **more: Any) -> dict[str, Any]:
    """The layout that all figures share; `more` wins."""
    axis = {
        "showgrid": False,
        "zeroline": False,
        "linecolor": RULE,
        "tickcolor": RULE,
        "ticks": "outside",
        "ticklen": 4,
        "fixedrange": True,
    }
    base: dict[str, Any] = {
        "template": TEMPLATE,
        "height": height,
        "margin": {"l": 46, "r": 16, "t": 18, "b": 30},
        "font": {"family": FONT, "size": 12.5, "color": INK},
        "paper_bgcolor": "rgba(0,0,0,0)",
        "plot_bgcolor": "rgba(0,0,0,0)",
        "showlegend": False,
        "hovermode": "closest",
        "hoverlabel": {
            "bgcolor": CARD,
            "bordercolor": INK,
            "font": {"family": FONT, "size": 12.5, "color": INK},
            "align": "left",
        },
        "separators": ".\u202f",
        "xaxis": axis,
        "yaxis": axis,
    }
    for name in ("xaxis", "yaxis", "margin"):
        base[name] = {**base[name], **more.pop(name, {})}
    return {**base, **more}


# widths of letters, em, by their kind, rounded up: of DejaVu Sans, the widest that systems commonly come with, as a browser measures it
_KINDS = {"ijl'": 0.28, " \xa0.,:;|/\\I": 0.34, "tfr()[]-!": 0.42, "mMW%@": 1.0}
_EM = {letter: wide for letters, wide in _KINDS.items() for letter in letters}
_BESIDE_PX, _BESIDE_OFF = 11, 5


def em(letter: str) -> float:
    """How wide a letter is at most, em."""
    return _EM.get(letter) or (0.64 if letter.isascii() and (letter.islower() or letter.isdigit()) and letter != "w" else 0.84)


def room(words: Iterable[str]) -> int:
    """The margin that words `beside` the right end of lines need so that none is cut in any common font, px. No less than 86, so
    that charts of like words stand under each other; a tenth on top, by which a browser may set small text wider."""
    longest = max((sum(map(em, text)) for text in words), default=0.0)
    return max(86, math.ceil(_BESIDE_OFF + 1.1 * _BESIDE_PX * longest))


def beside(at: float, text: str) -> dict[str, Any]:
    """A word beside the right end of a line at this height."""
    return {
        "xref": "paper",
        "x": 1,
        "xanchor": "left",
        "xshift": _BESIDE_OFF,
        "yref": "y",
        "y": round(at, 4),
        "yanchor": "middle",
        "text": plain(text),
        "showarrow": False,
        "font": {"size": _BESIDE_PX, "color": QUIET},
    }
