"""A drawing as SVG: what the figure says at its place, small, without a style or a script, and no text of a log is markup."""

from __future__ import annotations

import re
from dataclasses import replace
from datetime import date
from functools import cache
from itertools import pairwise
from xml.etree import ElementTree

import pytest

from models.pages.curves import Seen, curve
from models.pages.day import day
from models.pages.notice import notice
from models.pages.shown import Curve
from models.snapshot import Snapshot
from reports import figures, inked, look
from tests.unit.snapshots import BAD, snapshot

DOT = re.compile(r"M([\d.]+) ([\d.]+)h0")


@cache
def shown() -> Curve:
    return day(snapshot(), BAD).lines[0].main[0]


def drawn(curve: Curve, width: int = 760) -> ElementTree.Element:
    return ElementTree.fromstring(inked.svg(figures.curve(curve, 280), curve.summary, width))


def dots(svg: ElementTree.Element) -> list[tuple[float, float]]:
    return [(float(x), float(y)) for path in svg.iter("path") for x, y in DOT.findall(path.get("d", ""))]


def test_each_batch_is_drawn_once_and_higher_where_it_is_more() -> None:
    curve = replace(shown(), dots=tuple(dot._replace(outside=False) for dot in shown().dots))
    found = dots(drawn(curve))
    assert len(found) == len(curve.dots)
    heights = [y for _, y in sorted(found)]
    values = [dot.value for dot in sorted(curve.dots, key=lambda dot: dot.at)]
    for (one, a), (other, b) in pairwise(zip(values, heights, strict=True)):
        assert (one < other) == (a > b) or abs(a - b) < 0.2


def test_a_value_lies_where_the_axis_says() -> None:
    """The lines of two and a batch on one of them are at one height."""
    curve = shown()
    assert curve.lower is not None
    on_it = replace(curve, dots=(*curve.dots[:-1], curve.dots[-1]._replace(value=curve.lower, outside=False)))
    svg = drawn(on_it)
    dashed = [path.get("d", "") for path in svg.iter("path") if path.get("stroke-dasharray") == "7 5"]
    heights = {float(d.split("L")[1].split()[1]) for d in dashed}
    assert min(abs(dots(svg)[-1][1] - y) for y in heights) < 0.11


@pytest.mark.parametrize("outside", [True, False])
def test_what_is_outside_has_a_shape_of_its_own(outside: bool) -> None:
    one = replace(
        shown(), dots=tuple(dot._replace(value=4.0 + i / 1000, outside=outside) for i, dot in enumerate(shown().dots))
    )
    assert bool(dots(drawn(one))) is not outside
    assert any(path.get("fill") == look.RED for path in drawn(one).iter("path")) is outside


def test_all_of_it_stays_on_its_sheet_and_says_what_it_is() -> None:
    for width in (760, 350):
        svg = drawn(shown(), width)
        assert svg.get("role") == "img" and svg.get("aria-label") == shown().summary
        for text in svg.iter("text"):
            wide = 0.5 * float(text.get("font-size", 0)) * len(text.text or "")
            x, anchor = float(text.get("x", 0)), text.get("text-anchor")
            left = x - {"start": 0, "middle": wide / 2, "end": wide}[anchor]
            assert left > -2 and left + wide < width + 12, (width, text.text)
        assert all(-1 <= x <= width for x, _ in dots(svg))


def test_no_word_hides_a_batch() -> None:
    told = next(one for one in (day(snapshot(), BAD).lines[0].main) if one.spans)
    order = [
        part.tag if part.tag == "rect" and part.get("opacity") else part.get("stroke-linecap") for part in drawn(told)
    ]
    assert "rect" in order and order.index("round") > max(n for n, one in enumerate(order) if one == "rect")


def test_no_style_no_script_no_address_and_small() -> None:
    text = inked.svg(figures.curve(shown(), 280), shown().summary)
    assert "style" not in text and "<script" not in text and "http" not in text
    assert len(text) < 40_000


def test_words_of_a_log_are_never_markup() -> None:
    bad = '<img src=x onerror="1">'
    svg = drawn(replace(shown(), window_name=bad, summary=f'{bad}"', window=(4.3, 4.9)))
    assert svg.get("aria-label") == f'{bad}"' and not list(svg.iter("img"))
    dotted = replace(shown(), dots=tuple(dot._replace(label="<b>1</b>"[:6]) for dot in shown().dots))
    assert not list(drawn(dotted).iter("b"))


def test_the_board_draws_what_the_printed_page_draws() -> None:
    """The same points, limits and episodes; only the story of each batch is left to the printed page."""
    whole: Snapshot = snapshot()
    alert = next(one for one in whole.alerts if one.characteristic == "specific volume")
    printed = notice(whole, alert).curves[0]
    charted = next(
        c for c in whole.charted if c.stream.line == alert.line and c.stream.characteristic == "specific volume"
    )
    seen = Seen(whole.plant, whole.changes)
    first, last = (date.fromisoformat(at[:10]) for at in (printed.dots[0].at, printed.dots[-1].at))
    live = curve(charted, seen, first, last, today=BAD)
    assert (live.lower, live.upper, live.level, live.lasting) == (
        printed.lower,
        printed.upper,
        printed.level,
        printed.lasting,
    )
    assert live.spans == printed.spans and live.limits_say == printed.limits_say
    assert {dot.at: dot.value for dot in live.dots}.items() <= {dot.at: dot.value for dot in printed.dots}.items()
    assert any(mark.kind == "change" for mark in live.marks) or not any(m.kind == "change" for m in printed.marks)


def test_an_episodes_words_stand_where_no_batch_lies_on_them() -> None:
    """As near to the episode as may be; where there are batches at every height, on the fewest."""
    body = inked._Scale(0.0, 1.0, 200.0, 20.0)
    word = inked._Words(50.0, 100.0, 80.0, 12.0, "4.1 % small", look.RED, False, True)
    crowd = [(60.0 + x, float(y)) for x in range(0, 60, 10) for y in range(80, 131, 5)]
    placed = inked._beside(word, crowd, body)
    assert not [dot for dot in crowd if placed.y - 12 - 4 < dot[1] < placed.y + 4]
    assert placed.y - 12 >= 20 and placed.y <= 200 and abs(placed.y - 100) < 45
    assert inked._beside(word, [], body) == word and inked._beside(word, [(10.0, 100.0)], body) == word
    everywhere = [(90.0, float(y)) for y in range(15, 205, 2) if y not in (151, 153, 155)]
    fewest = inked._beside(word, everywhere, body)
    assert fewest.y - 16 < 153 < fewest.y + 4
