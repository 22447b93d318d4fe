"""Drawings of the month: shares and differences with their intervals, and the holes in the records."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from models.pages.comparing import Comparison, Share
from models.pages.holes import Grid
from models.pages.rates import Rate
from models.pages.shown import Tallies, Tally
from models.pages.words import number
from models.texts import texts
from reports import look
from reports.look import plain

_ROW_PX = 46
_PER = 1000.0
_SYMBOLS = {"loaves": "circle", "doughs only": "circle-open", "nothing": "x-thin-open"}


def shares(shown: Sequence[Share]) -> dict[str, Any]:
    """Loaves per 1000 outside the window: this month filled, the month before hollow, each with its interval."""
    said, rows = texts("figures")["shares"], [share for share in reversed(shown) if share.now.n or share.before.n]
    traces = [
        _ranges([(i - 0.14, share.now) for i, share in enumerate(rows)], said["now"], "circle"),
        _ranges([(i + 0.16, share.before) for i, share in enumerate(rows)], said["before"], "circle-open"),
    ]
    layout = _rows([share.name for share in rows])
    layout["xaxis"] = {**layout["xaxis"], "rangemode": "tozero"}
    return {"data": traces, "layout": layout}


def _ranges(rows: list[tuple[float, Rate]], name: str, symbol: str) -> Any:
    known, told = [(y, rate) for y, rate in rows if rate.n], texts("figures")["shares"]["told"]
    return look.trace(
        "scatter",
        x=[round(_PER * rate.share, 1) for _, rate in known],
        y=[y for y, _ in known],
        mode="markers",
        name=name,
        hovertext=[told.format(name=name, share=number(_PER * rate.share, "", 0), n=rate.n) for _, rate in known],
        hoverinfo="text",
        marker={"symbol": symbol, "size": 11, "color": look.TODAY, "line": {"width": 2, "color": look.TODAY}},
        error_x={
            "type": "data",
            "symmetric": False,
            "array": [round(_PER * (rate.high - rate.share), 1) for _, rate in known],
            "arrayminus": [round(_PER * (rate.share - rate.low), 1) for _, rate in known],
            "color": look.INK,
            "thickness": 1.4,
            "width": 5,
        },
    )


def tallies(shown: Tallies) -> dict[str, Any]:
    """Each day's share in 1000: a dot within the limits made for its number, a triangle beyond; the limits as steps."""
    days, said = [tally.day for tally in shown.days], texts("figures")["tallies"]
    beyond = [_side(tally) for tally in shown.days]
    steps = [
        look.trace(
            "scatter",
            x=days,
            y=[round(_PER * edge / t.size, 1) for edge, t in zip(edges, shown.days, strict=True)],
            mode="lines",
            name=name,
            hoverinfo="skip",
            line={"shape": "hvh", "width": 1.2, "dash": "dash", "color": look.QUIET},
        )
        for name, edges in (("lower", [t.low for t in shown.days]), ("upper", [t.high for t in shown.days]))
    ]
    dots = look.trace(
        "scatter",
        x=days,
        y=[round(_PER * t.count / t.size, 1) for t in shown.days],
        mode="markers",
        name="days",
        hovertext=[
            said["told"].format(day=t.day, count=t.count, size=t.size, low=t.low, high=t.high) for t in shown.days
        ],
        hoverinfo="text",
        cliponaxis=False,
        marker={
            "symbol": [{1: "triangle-up", 0: "circle", -1: "triangle-down"}[side] for side in beyond],
            "opacity": 1,
            "size": [10 if side else 7 for side in beyond],
            "color": [look.RED if side else look.TODAY for side in beyond],
        },
    )
    axis = {"type": "date", "nticks": 6, "tickformat": "%-d %b", "tickangle": 0}
    last = shown.days[-1]
    limit = said["limit"].format(high=last.high, size=last.size)
    ends = ((_PER * last.high / last.size, limit), (shown.level, said["usual"]))
    margin = {"r": look.room(words for _, words in ends)}
    layout = look.layout(170, yaxis={"rangemode": "tozero", "nticks": 5}, xaxis=axis, margin=margin)
    layout["annotations"] = [look.beside(round(at, 1), words) for at, words in ends]
    level = {"type": "line", "xref": "paper", "x0": 0, "x1": 1, "y0": shown.level, "y1": shown.level, "layer": "below"}
    layout["shapes"] = [{**level, "line": {"width": 1.6, "color": look.INK}}]
    return {"data": [*steps, dots], "layout": layout}


def _side(tally: Tally) -> int:
    return (tally.count > tally.high) - (tally.count < tally.low)


def differences(shown: Sequence[Comparison]) -> dict[str, Any]:
    """Second line less first, mL/g, with the interval; an interval over zero is no difference."""
    rows, gap_of = list(reversed(shown)), texts("figures")["differences"]["gap"]
    gaps = [row.difference for row in rows]
    trace = look.trace(
        "scatter",
        x=[round(gap.value, 3) for gap in gaps],
        y=list(range(len(rows))),
        mode="markers",
        hovertext=[plain(row.says) for row in rows],
        hoverinfo="text",
        marker={
            "symbol": ["diamond" if gap.clear else "circle-open" for gap in gaps],
            "size": 11,
            "color": look.TODAY,
            "line": {"width": 2, "color": look.TODAY},
        },
        error_x={
            "type": "data",
            "symmetric": False,
            "array": [round(gap.high - gap.value, 3) for gap in gaps],
            "arrayminus": [round(gap.value - gap.low, 3) for gap in gaps],
            "color": look.INK,
            "thickness": 1.4,
            "width": 5,
        },
    )
    layout = _rows([gap_of.format(second=row.second, first=row.first) for row in rows])
    layout["xaxis"] = {**layout["xaxis"], "zeroline": True, "zerolinecolor": look.INK}
    return {"data": [trace], "layout": layout}


def _rows(names: list[str]) -> dict[str, Any]:
    widest = max((len(name) for name in names), default=0)
    return look.layout(
        _ROW_PX * max(1, len(names)) + 44,
        margin={"l": min(150, 14 + 7 * widest), "r": 20, "t": 8, "b": 30},
        xaxis={"nticks": 6, "showgrid": True, "gridcolor": look.BAND},
        yaxis={
            "tickmode": "array",
            "tickvals": list(range(len(names))),
            "ticktext": [plain(name) for name in names],
            "range": [-0.6, len(names) - 0.4],
            "ticks": "",
            "linecolor": "rgba(0,0,0,0)",
        },
    )


def grid(shown: Grid) -> dict[str, Any]:
    """One mark a line and day: filled where loaves were measured, hollow for doughs only, a cross for nothing."""
    traces = []
    for kind, symbol in _SYMBOLS.items():
        cells = [
            (day, line)
            for line, marks in zip(shown.lines, shown.marks, strict=True)
            for day, mark in zip(shown.days, marks, strict=True)
            if mark == kind
        ]
        traces.append(
            look.trace(
                "scatter",
                x=[day for day, _ in cells],
                y=[plain(line) for _, line in cells],
                mode="markers",
                name=kind,
                hovertext=[plain(f"{line}, {day}: {kind}") for day, line in cells],
                hoverinfo="text",
                marker={"symbol": symbol, "size": 8, "color": look.TODAY, "line": {"width": 1.6, "color": look.TODAY}},
            )
        )
    layout = look.layout(
        24 * len(shown.lines) + 46,
        margin={"l": 44, "r": 12, "t": 6, "b": 30},
        xaxis={"type": "date", "tickformat": "%-d %b", "nticks": 8},
        yaxis={
            "type": "category",
            "categoryorder": "array",
            "categoryarray": [plain(line) for line in reversed(shown.lines)],
            "ticks": "",
            "linecolor": "rgba(0,0,0,0)",
        },
    )
    return {"data": traces, "layout": layout}
