"""A drawing of `figures` as SVG, for the board: no script draws it, no style is in it, and it is small.

It knows what curves are made of: circles, triangles and ticks, bands, lines and words, on one value axis and at most two
stretches of time. Ordinary points of one look are one path of dots, so that a month of batches is a few kilobytes.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from html import unescape
from typing import Any

from markupsafe import Markup, escape

from reports import look

NARROW = 480
_LETTER = 0.55
_DOT = 4.0  # px from a mark's middle within which a word lies on it
_HOURS = (1, 2, 3, 4, 6, 8, 12, 24)
_STEPS = (1.0, 2.0, 2.5, 5.0, 10.0)


@dataclass(frozen=True)
class _Scale:
    """From a range of values to a stretch of pixels."""

    first: float
    last: float
    start: float
    end: float

    def __call__(self, value: Any) -> float:
        return self.start + (_plain(value) - self.first) / (self.last - self.first or 1.0) * (self.end - self.start)

    def holds(self, value: Any) -> bool:
        """Whether a value lies within the range."""
        return self.first <= _plain(value) <= self.last


@dataclass(frozen=True)
class _Sheet:
    """The figure's axes in pixels. x, y: by the names that traces, shapes and words use for them, "paper" too."""

    x: dict[str, _Scale]
    y: dict[str, _Scale]
    narrow: bool


def _plain(value: Any) -> float:
    """A number, or a time on the plant's clock as seconds of that clock."""
    return datetime.fromisoformat(value).replace(tzinfo=UTC).timestamp() if isinstance(value, str) else float(value)


def svg(figure: dict[str, Any], says: str, width: int = 760) -> Markup:
    """The figure as one element. says: what it shows, for those who do not see it; width: px that it is laid out for."""
    layout = figure["layout"]
    height, sheet = layout["height"], _sheet(layout, width)
    size = 12 if sheet.narrow else layout["font"]["size"]
    parts = [
        *(_shape(shape, sheet) for shape in layout["shapes"]),
        *_axes(layout, sheet, size - 1),
        *_words(layout["annotations"], sheet, [place for trace in figure["data"] for place in _places(trace, sheet)]),
        *(part for trace in figure["data"] for part in _trace(trace, sheet)),  # no word hides a batch
    ]
    head = (
        f'viewBox="0 0 {width} {height}" role="img" aria-label="{escape(says)}" font-size="{size:g}" fill="{look.INK}"'
    )
    return Markup(f'<svg class="inked" {head}>{"".join(parts)}</svg>')  # noqa: S704


def _sheet(layout: dict[str, Any], width: int) -> _Sheet:
    margin, narrow = layout["margin"], width < NARROW
    left, right, top, bottom = margin["l"], width - margin["r"], margin["t"], layout["height"] - margin["b"]
    x, y = {"paper": _Scale(0, 1, left, right)}, {"paper": _Scale(0, 1, bottom, top)}
    for name, axis in layout.items():
        if name.startswith(("xaxis", "yaxis")) and "range" in axis:
            place, scales = (x["paper"], x) if name[0] == "x" else (y["paper"], y)
            first, last = (_plain(end) for end in axis["range"])
            start, end = (place(share) for share in axis["domain"])
            scales[name.replace("axis", "")] = _Scale(first, last, start, end)
    return _Sheet(x, y, narrow)


# --- axes ---------------------------------------------------------------------------------------


def _axes(layout: dict[str, Any], sheet: _Sheet, size: float) -> Iterable[str]:
    foot, left = sheet.y["paper"].start, sheet.x["paper"].start
    value = sheet.y["y"]
    yield _line(left, value.start, left, value.end)
    marked = _round_values(value.first, value.last, layout["yaxis"]["nticks"])
    places = max((len(f"{at:g}".partition(".")[2]) for at in marked), default=0)
    for at in marked:
        yield _line(left - 4, value(at), left, value(at))
        yield _text(left - 6, value(at) + size / 3, f"{at:.{places}f}", size, "end")
    for name in (name for name in sheet.x if name != "paper"):
        scale = sheet.x[name]
        yield _line(scale.start, foot, scale.end, foot)
        for at, said in _times(layout[name.replace("x", "xaxis")], scale, sheet.narrow):
            yield _line(scale(at), foot, scale(at), foot + 4)
            yield _text(scale(at), foot + 5 + size, said, size, "middle")


def _times(axis: dict[str, Any], scale: _Scale, narrow: bool) -> list[tuple[Any, str]]:
    """Where the axis is marked, and with which words: its days, or hours of its one day."""
    if "tickvals" in axis:
        return list(zip(axis["tickvals"], axis["ticktext"], strict=True))[:: 2 if narrow else 1]
    first = datetime.fromtimestamp(scale.first, UTC).replace(tzinfo=None)
    hours = (scale.last - scale.first) / 3600
    step = next((one for one in _HOURS if hours / one <= (2 if narrow else axis["nticks"])), _HOURS[-1])
    at = first.replace(hour=first.hour - first.hour % step, minute=0, second=0)
    every = (at + timedelta(hours=step * n) for n in range(int(hours / step) + 2))
    return [(one.isoformat(), f"{one:%H:%M}") for one in every if scale.holds(one.isoformat())]


def _round_values(low: float, high: float, most: int) -> list[float]:
    """Round numbers within a range, at most so many."""
    tens = 10.0 ** math.floor(math.log10((high - low) / most))
    step = next(tens * one for one in _STEPS if (high - low) / (tens * one) <= most)
    first = math.ceil(low / step)
    return [round(step * n, 10) for n in range(first, math.floor(high / step) + 1)]


# --- bands, lines, words ------------------------------------------------------------------------


def _shape(shape: dict[str, Any], sheet: _Sheet) -> str:
    x, y = sheet.x[shape.get("xref", "paper")], sheet.y[shape.get("yref", "y")]
    x0, x1, y0, y1 = x(shape["x0"]), x(shape["x1"]), y(shape["y0"]), y(shape["y1"])
    if shape["type"] == "rect":
        box = f'x="{x0:.1f}" y="{min(y0, y1):.1f}" width="{x1 - x0:.1f}" height="{abs(y1 - y0):.1f}"'
        return f'<rect {box} fill="{shape["fillcolor"]}"/>'
    line = shape["line"]
    dash = {"dash": ' stroke-dasharray="7 5"', "dot": ' stroke-dasharray="2 3"'}.get(line.get("dash", ""), "")
    return _line(x0, y0, x1, y1, line["color"], line["width"], f'{dash} opacity="{shape.get("opacity", 1)}"')


def _line(
    x0: float, y0: float, x1: float, y1: float, colour: str = look.EARLIER, width: float = 1, more: str = ""
) -> str:
    return (
        f'<path d="M{x0:.1f} {y0:.1f}L{x1:.1f} {y1:.1f}" stroke="{colour}" stroke-width="{width:g}" fill="none"{more}/>'
    )


def _text(x: float, y: float, said: str, size: float, anchor: str, colour: str = look.INK) -> str:
    place = f'x="{x:.1f}" y="{y:.1f}" text-anchor="{anchor}" font-size="{size:g}" fill="{colour}"'
    return f"<text {place}>{escape(said)}</text>"


@dataclass(frozen=True)
class _Words:
    """One line of words on the sheet, px. y: of its foot; wide: about how long it is."""

    x: float
    y: float
    wide: float
    size: float
    said: str
    colour: str
    right: bool
    veiled: bool

    @property
    def left(self) -> float:
        return self.x - self.wide if self.right else self.x

    def lies_on(self, other: _Words) -> bool:
        """Whether the two would be written over each other."""
        apart = abs(self.y - other.y) >= self.size
        return not apart and self.left < other.left + other.wide and other.left < self.left + self.wide

    def drawn(self) -> str:
        veil = ""
        if self.veiled:
            box = f'x="{self.left - 2:.1f}" y="{self.y - self.size:.1f}" width="{self.wide + 4:.1f}"'
            veil = f'<rect {box} height="{self.size * 1.3:.1f}" fill="{look.CARD}" opacity="0.85"/>'
        return veil + _text(self.x, self.y, self.said, self.size, "end" if self.right else "start", self.colour)


def _words(annotations: list[dict[str, Any]], sheet: _Sheet, dots: list[tuple[float, float]]) -> Iterable[str]:
    """All that is written on the sheet; of episodes whose words would lie on each other, the newest."""
    said = [_placed(word, sheet) for word in annotations]
    said = [_beside(one, dots, sheet.y["y"]) if one.veiled else one for one in said]
    for n, one in enumerate(said):
        if not one.veiled or not any(later.veiled and one.lies_on(later) for later in said[n + 1 :]):
            yield one.drawn()


def _placed(word: dict[str, Any], sheet: _Sheet) -> _Words:
    size, said = min(word["font"]["size"], 12.5), unescape(word["text"])
    x = sheet.x[word["xref"]](word["x"]) + word.get("xshift", 0)
    y = sheet.y[word["yref"]](word["y"]) - word.get("yshift", 0)
    wide, right = _LETTER * size * len(said), word["xanchor"] == "right"
    if not right and word["xref"] != "paper":  # words that would run over the edge begin sooner
        x = min(x, sheet.x["paper"].end + 20 - wide)
    y += {"top": size, "middle": size / 3, "bottom": -3}[word["yanchor"]]
    return _Words(x, y, wide, size, said, word["font"]["color"], right, "bgcolor" in word)


def _beside(word: _Words, dots: list[tuple[float, float]], body: _Scale) -> _Words:
    """An episode's words at the height where the fewest batches lie on them, as near to their own as can be."""
    low, high = sorted((body.start, body.end))
    across = [y for x, y in dots if word.left - _DOT <= x <= word.left + word.wide + _DOT]

    def met(y: float) -> tuple[int, float]:
        return sum(y - word.size - _DOT < dot < y + _DOT for dot in across), abs(y - word.y)

    heights = [word.y, *(low + word.size + step for step in range(0, int(high - low - word.size), 3))]
    return replace(word, y=min(heights, key=met))


# --- points -------------------------------------------------------------------------------------


def _places(trace: dict[str, Any], sheet: _Sheet) -> list[tuple[float, float]]:
    x, y = sheet.x[trace["xaxis"]], sheet.y[trace.get("yaxis", "y")]
    return [(x(one), y(other)) for one, other in zip(trace["x"], trace["y"], strict=True)]


def _trace(trace: dict[str, Any], sheet: _Sheet) -> Iterable[str]:
    places = _places(trace, sheet)
    marker = trace["marker"]
    looks = zip(*(_each(marker[name], len(places)) for name in ("symbol", "size", "color")), strict=True)
    alike: dict[tuple[str, float, str], list[tuple[float, float]]] = {}
    for place, how in zip(places, looks, strict=True):
        alike.setdefault(how, []).append(place)
    for (symbol, size, colour), found in alike.items():
        yield _marks(symbol, size, colour, found)
    if not (sheet.narrow and trace["name"] in ("batches", "yeast lots")):
        yield from _labels(trace, places)


def _each(value: Any, n: int) -> list[Any]:
    return value if isinstance(value, list) else [value] * n


def _marks(symbol: str, size: float, colour: str, places: list[tuple[float, float]]) -> str:
    """All marks of one look as one path."""
    if symbol == "circle":
        path = "".join(f"M{x:.1f} {y:.1f}h0" for x, y in places)
        return f'<path d="{path}" stroke="{colour}" stroke-width="{size:g}" stroke-linecap="round" fill="none"/>'
    half = size / 2
    if symbol == "line-ns-open":
        path = "".join(f"M{x:.1f} {y - half:.1f}v{size:g}" for x, y in places)
        return f'<path d="{path}" stroke="{colour}" stroke-width="1.4" fill="none"/>'
    up = -1 if symbol == "triangle-up" else 1
    path = "".join(f"M{x - half:.1f} {y - up * half:.1f}h{size:g}l{-half:g} {up * size:g}z" for x, y in places)
    return f'<path d="{path}" fill="{colour}" stroke="{look.CARD}" stroke-width="0.5"/>'


def _labels(trace: dict[str, Any], places: list[tuple[float, float]]) -> Iterable[str]:
    if "text" not in trace["mode"]:
        return
    font, beside = trace["textfont"], trace["textposition"] == "middle right"
    free = -math.inf
    for (x, y), text in zip(places, trace["text"], strict=True):
        said = unescape(text)
        if not said or (beside and x < free):  # a name that would lie on the one before stands in the words below
            continue
        if beside:
            free = x + 6 + _LETTER * font["size"] * len(said)
            yield _text(x + 6, y + font["size"] / 3, said, font["size"], "start", font["color"])
        else:
            y += 8 + font["size"] / 2 if trace["textposition"].startswith("bottom") else -7
            yield _text(x, y, said, font["size"], "middle", font["color"])
