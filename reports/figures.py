"""The drawings, as plotly figures made of plain lists: the same data give the same bytes.

A curve has two panels with one value axis: the weeks before, narrow, and the day in question, wide. A circle is a
batch within the lines of two in a row, a triangle one beyond them and points that way; the inner band is where the
mean of eight may lie; a heavy bar is a change that lasts.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta
from itertools import islice
from typing import Any

from models.pages import words
from models.pages.shown import Bars, Curve, Dot, Mark, Span
from models.pages.words import number
from models.texts import texts
from reports import look
from reports.look import plain, plains

_FOOT = (0.0, 0.1)
_BODY = (0.14, 1.0)
_MARK_AT = {"lot": 0.22, "change": 0.72}
_ROOM = 0.34
_FAR = 0.6
_DRAWN = {
    "two": {"width": 1.4, "dash": "dash", "color": look.QUIET},
    "eight": {"width": 0.8, "dash": "dot", "color": look.QUIET},
}
_WINDOW = {"width": 1.6, "dash": "dot", "color": look.AMBER}
_LEGIBLE = 6
_APART_PX = 13
_WEEKS_FROM_D = 10


@dataclass(frozen=True)
class _Panel:
    """One stretch of time: plotly's axis number ("" or "2"), its place across the figure, its first and last time."""

    axis: str
    place: tuple[float, float]
    first: str
    last: str

    def holds(self, at: str) -> bool:
        return self.first <= at < self.last

    @property
    def days(self) -> int:
        return (datetime.fromisoformat(self.last) - datetime.fromisoformat(self.first)).days

    def share(self, at: str) -> float:
        """How far along the panel a time lies, 0 to 1."""
        first, last, here = (datetime.fromisoformat(time) for time in (self.first, self.last, at))
        return (here - first) / (last - first)


def curve(shown: Curve, height: int = 300) -> dict[str, Any]:
    """One stream: limits, level, batches, episodes, yeast lots and changes. Needs at least one batch."""
    panels = _panels(shown)
    low, high = _reach(shown)
    traces = [trace for panel in panels for trace in _traces(shown, panel)]
    lines = _limit_words(shown, height)
    layout = look.layout(
        height,
        margin={"l": 44, "r": look.room(word["text"] for word in lines), "t": 20, "b": 26},
        yaxis={"domain": list(_BODY), "range": [low, high], "nticks": 6},
        yaxis2={"domain": list(_FOOT), "range": [0, 1], "visible": False, "fixedrange": True},
        shapes=[*_limit_shapes(shown, panels), *_span_shapes(shown, panels)],
        annotations=[*lines, *_span_words(shown, panels), *_panel_words(panels)],
    )
    plain_axis = layout.pop("xaxis")
    for panel in panels:
        layout[f"xaxis{panel.axis}"] = {**plain_axis, **_axis(panel, day=panel.axis == "2")}
    return {"data": traces, "layout": layout}


def _panels(shown: Curve) -> list[_Panel]:
    times = sorted(dot.at for dot in shown.dots)
    first, last = f"{times[0][:10]}T00:00:00", f"{times[-1][:10]}T23:59:59"
    if shown.day is None:
        return [_Panel("", (0.0, 1.0), first, last)]
    if times[0] >= shown.day[0]:
        return [_Panel("2", (0.0, 1.0), *shown.day)]
    return [_Panel("", (0.0, 0.56), first, shown.day[0]), _Panel("2", (0.6, 1.0), *shown.day)]


def _axis(panel: _Panel, *, day: bool) -> dict[str, Any]:
    axis: dict[str, Any] = {
        "type": "date",
        "domain": list(panel.place),
        "range": [panel.first, panel.last],
        "tickangle": 0,
        "anchor": "y2",
    }
    if day:
        return {**axis, "tickformat": "%H:%M", "nticks": 5}
    return {**axis, "tickmode": "array", **_day_ticks(panel)}


def _day_ticks(panel: _Panel) -> dict[str, list[str]]:
    """At most five days, none so near the right end that it runs into the next panel."""
    first, last = (datetime.fromisoformat(time).date() for time in (panel.first, panel.last))
    every = [first + timedelta(days=i) for i in range((last - first).days + 1)]
    step = -(-len(every) // 5)
    days = [day for day in every[step // 2 :: step] if panel.share(f"{day}T00:00:00") < 0.9]
    return {"tickvals": [day.isoformat() for day in days], "ticktext": [words.short_date(day) for day in days]}


def _reach(shown: Curve) -> tuple[float, float]:
    """The value axis: all batches, the level and the episodes; limits and window where they are not far away."""
    values = [dot.value for dot in shown.dots] + [span.level for span in shown.spans]
    values += [shown.level] if shown.level is not None else []
    low, high = min(values), max(values)
    room = _FAR * (high - low) or 1.0
    near = [edge for edge, _ in _edges(shown) if low - room <= edge <= high + room]
    low, high = min([low, *near]), max([high, *near])
    pad = 0.08 * (high - low or 1.0)
    return round(low - pad, 4), round(high + pad, 4)


def _edges(shown: Curve) -> list[tuple[float, str]]:
    """The lines of two and of eight batches and the window, with their names; some may lie beyond the axis."""
    found = [(edge, "two") for edge in (shown.lower, shown.upper) if edge is not None]
    found += [(edge, "eight") for edge in shown.lasting or ()]
    return found + [(edge, shown.window_name.split()[0]) for edge in shown.window or ()]


def _traces(shown: Curve, panel: _Panel) -> list[Any]:
    dots = [dot for dot in shown.dots if panel.holds(dot.at)]
    marks = [mark for mark in shown.marks if panel.holds(mark.at)]
    traces = [_dots(shown, dots, panel)] if dots else []
    for kind in ("lot", "change"):
        alike = [mark for mark in marks if mark.kind == kind]
        if alike:
            traces.append(_marks(shown, alike, panel))
    return traces


def _dots(shown: Curve, dots: list[Dot], panel: _Panel) -> Any:
    below = [shown.level is not None and dot.value < shown.level for dot in dots]
    symbols = [
        ("triangle-down" if low else "triangle-up") if dot.outside else "circle"
        for dot, low in zip(dots, below, strict=True)
    ]
    when = "%{x|%-d %b %H:%M}"
    size = {True: 9, False: 6}
    places = words.decimals(shown.unit)
    colour = {True: look.TODAY, False: look.EARLIER}
    named: dict[str, Any] = {"mode": "markers"}
    if panel.axis == "2" and len(dots) <= 14:
        names = plains([dot.label if len(dot.label) <= _LEGIBLE else "" for dot in dots])
        named = {"mode": "markers+text", "text": names, "textfont": {"size": 10.5, "color": look.QUIET}}
        rising = any(span.direction == "high" for span in shown.spans)
        named["textposition"] = "bottom center" if rising else "top center"
    return look.trace(
        "scatter",
        x=[dot.at for dot in dots],
        y=[dot.value for dot in dots],
        xaxis=f"x{panel.axis}",
        **named,
        name="batches",
        customdata=_told(dots),
        hovertemplate=f"%{{customdata[0]}}<br>{when}, %{{y:.{places}f}} {shown.unit}<br>%{{customdata[1]}}<extra></extra>",
        cliponaxis=False,
        marker={
            "symbol": look.one_or_each(symbols),
            "size": look.one_or_each([size[dot.today] + (3 if dot.outside else 0) for dot in dots]),
            "color": look.one_or_each([look.RED if dot.outside else colour[dot.today] for dot in dots]),
            "opacity": 1,
            "line": {"width": 0.5, "color": look.CARD},
        },
    )


def _told(dots: list[Dot]) -> list[list[str]]:
    """Name and lines of each dot, as they stand beside it when it is pointed at."""
    lines = iter(plains([line for dot in dots for line in dot.says]))
    return [
        [name, "<br>".join(islice(lines, len(dot.says)))]
        for name, dot in zip(plains([dot.name for dot in dots]), dots, strict=True)
    ]


def _marks(shown: Curve, marks: list[Mark], panel: _Panel) -> Any:
    """Yeast lots as ticks with their name, changes as numbered flags; the numbers stand below the figure."""
    change = marks[0].kind == "change"
    return look.trace(
        "scatter",
        x=[mark.at for mark in marks],
        y=[_MARK_AT[marks[0].kind]] * len(marks),
        xaxis=f"x{panel.axis}",
        yaxis="y2",
        mode="markers+text",
        text=[plain(_mark_label(shown, mark)) for mark in marks],
        textposition="middle right",
        textfont={"size": 11, "color": look.INK if change else look.QUIET},
        hovertext=[plain(mark.says) for mark in marks],
        hoverinfo="text",
        cliponaxis=False,
        marker={
            "symbol": "triangle-down" if change else "line-ns-open",
            "size": 9,
            "color": look.INK if change else look.QUIET,
            "line": {"width": 1.4, "color": look.INK if change else look.QUIET},
        },
        name="changes" if change else "yeast lots",
    )


def _mark_label(shown: Curve, mark: Mark) -> str:
    if mark.kind == "change":
        return str([m for m in shown.marks if m.kind == "change"].index(mark) + 1)
    name = mark.says.removeprefix("yeast lot ").removeprefix("flour lot ")
    return name if len(name) <= _LEGIBLE else ""


def _limit_shapes(shown: Curve, panels: list[_Panel]) -> list[dict[str, Any]]:
    low, high = _reach(shown)
    shapes: list[dict[str, Any]] = []
    if shown.lower is not None and shown.upper is not None:
        band = (max(shown.lower, low), min(shown.upper, high))
        shapes.append(_across(*band, fillcolor=look.BAND, line={"width": 0}, type="rect"))
    if shown.lasting is not None:
        inner = (max(shown.lasting[0], low), min(shown.lasting[1], high))
        shapes.append(_across(*inner, fillcolor=look.INNER, line={"width": 0}, type="rect"))
    for edge, name in _edges(shown):
        if low <= edge <= high:
            drawn = _DRAWN.get(name, _WINDOW)
            shapes.append(_across(edge, edge, line=drawn, type="line"))
    if shown.level is not None:
        shapes.append(_across(shown.level, shown.level, line={"width": 1.6, "color": look.INK}, type="line"))
    return [*shapes, *_baseline_shape(shown, panels[0])]


def _baseline_shape(shown: Curve, weeks: _Panel) -> list[dict[str, Any]]:
    """A strip at the foot of the weeks that the baseline was learned from."""
    if not shown.baseline or shown.baseline[0] >= weeks.last or shown.baseline[1] <= weeks.first:
        return []
    place = {"x0": max(shown.baseline[0], weeks.first), "x1": min(shown.baseline[1], weeks.last)}
    tall = {"yref": "paper", "y0": _BODY[0], "y1": _BODY[0] + 0.03}
    strip = {"type": "rect", "xref": f"x{weeks.axis}", "fillcolor": look.QUIET, "line": {"width": 0}, "layer": "below"}
    return [{**strip, **place, **tall}]


def _across(low: float, high: float, **more: Any) -> dict[str, Any]:
    place = {"xref": "paper", "x0": 0, "x1": 1, "yref": "y", "y0": round(low, 4), "y1": round(high, 4)}
    return {**place, "layer": "below", **more}


def _pieces(span: Span, panels: list[_Panel]) -> list[tuple[_Panel, str, str]]:
    """The parts of an episode that lie in each panel."""
    found = []
    for panel in panels:
        first, last = max(span.first, panel.first), min(span.last, panel.last)
        if first <= last:
            found.append((panel, first, last))
    return found


def _span_shapes(shown: Curve, panels: list[_Panel]) -> list[dict[str, Any]]:
    return [
        {
            "type": "line",
            "xref": f"x{panel.axis}",
            "x0": first,
            "x1": last,
            "yref": "y",
            "y0": span.level,
            "y1": span.level,
            "line": {"width": 5, "color": look.RED},
            "opacity": 0.55,
            "layer": "below",
        }
        for span in shown.spans
        for panel, first, last in _pieces(span, panels)
    ]


def _limit_words(shown: Curve, height: int) -> list[dict[str, Any]]:
    """Names beside the right end of the lines, apart from each other; a line beyond the axis is named at its edge."""
    low, high = _reach(shown)
    called = texts("figures")["curve"]["lines"]
    lines = [*_edges(shown), *([(shown.level, "level")] if shown.level is not None else [])]
    said = sorted((value, called.get(name, name)) for value, name in lines)
    step = _APART_PX * (high - low) / ((height - 46) * (_BODY[1] - _BODY[0]))
    places = _apart([min(max(value, low), high) for value, _ in said], step, high)
    arrows = ["▲ " if value > high else "▼ " if value < low else "" for value, _ in said]
    return [
        look.beside(at, f"{arrow}{name} {number(value, shown.unit).split(chr(160))[0]}")
        for at, arrow, (value, name) in zip(places, arrows, said, strict=True)
    ]


def _apart(places: list[float], step: float, top: float) -> list[float]:
    """Places in rising order, moved so that neighbours are at least a step apart and none lies above the top."""
    moved = list(places)
    for i in range(1, len(moved)):
        moved[i] = max(moved[i], moved[i - 1] + step)
    for i in range(len(moved) - 1, -1, -1):
        moved[i] = min(moved[i], top - step * (len(moved) - 1 - i))
    return moved


def _span_words(shown: Curve, panels: list[_Panel]) -> list[dict[str, Any]]:
    """A word at each episode that has room beside the one before; the caption names them all."""
    said: list[dict[str, Any]] = []
    taken: dict[str, float] = {}
    for span in shown.spans:
        pieces = _pieces(span, panels)
        if not pieces:
            continue
        panel, first, _ = pieces[-1]
        at = panel.share(first)
        if at - taken.get(panel.axis, -1.0) < _ROOM:
            continue
        taken[panel.axis] = at
        said.append(_span_word(span, panel, first))
    return said


def _span_word(span: Span, panel: _Panel, at: str) -> dict[str, Any]:
    low = span.direction == "low"
    return {
        "xref": f"x{panel.axis}",
        "x": at,
        "xanchor": "left" if panel.share(at) < 0.6 else "right",
        "yref": "y",
        "y": span.level,
        "yanchor": "top" if low else "bottom",
        "yshift": -7 if low else 7,
        "text": plain(f"{'▼' if low else '▲'} {span.says.split(' (')[0]}"),
        "showarrow": False,
        "bgcolor": look.VEIL,
        "font": {"size": 12.5, "color": look.RED},
    }


def _panel_words(panels: list[_Panel]) -> list[dict[str, Any]]:
    if len(panels) == 1:
        return []
    said = texts("figures")["curve"]
    before = said["weeks" if panels[0].days >= _WEEKS_FROM_D else "days"]
    return [
        {
            "xref": "paper",
            "x": panel.place[0],
            "xanchor": "left",
            "yref": "paper",
            "y": 1,
            "yanchor": "bottom",
            "text": name,
            "showarrow": False,
            "font": {"size": 11, "color": look.QUIET},
        }
        for panel, name in zip(panels, (before, said["day"]), strict=True)
    ]


def bars(shown: Bars) -> dict[str, Any]:
    """Contributions laid end to end from nothing to the change, with what bounds each."""
    starts, at, change = [], 0.0, texts("figures")["parts"]["change"]
    for bar in shown.bars:
        starts.append(round(at, 4))
        at += bar.contribution
    names = [bar.group.capitalize() for bar in shown.bars]
    left_over = [bar.group == "unexplained" for bar in shown.bars]
    parts = look.trace(
        "bar",
        orientation="h",
        y=names,
        x=[bar.contribution for bar in shown.bars],
        base=starts,
        marker={
            "color": [look.EARLIER if rest else look.CRUST for rest in left_over],
            "pattern": {"shape": ["/" if rest else "" for rest in left_over], "fgcolor": look.CARD},
        },
        error_x={
            "type": "data",
            "symmetric": False,
            "array": [round(b.high - b.contribution, 4) for b in shown.bars],
            "arrayminus": [round(b.contribution - b.low, 4) for b in shown.bars],
            "color": look.INK,
            "thickness": 1.2,
            "width": 4,
        },
        hovertext=[plain(f"{b.group}: {b.driver}") for b in shown.bars],
        hoverinfo="text",
        name="parts",
    )
    total = look.trace(
        "bar",
        orientation="h",
        y=[change],
        x=[shown.change],
        marker={"color": look.RED},
        hoverinfo="skip",
        name="sum",
    )
    order = [change, *reversed(names)]
    layout = look.layout(
        200,
        barmode="overlay",
        bargap=0.5,
        margin={"l": 92, "r": 20, "t": 6},
        xaxis={"zeroline": True, "zerolinecolor": look.INK, "nticks": 6},
        yaxis={"categoryorder": "array", "categoryarray": order, "ticks": "", "linecolor": "rgba(0,0,0,0)"},
    )
    return {"data": [parts, total], "layout": layout}
