"""Contrast of the board's colours, computed after WCAG 2.2 (success criterion 1.4.3, relative luminance): 4.5 for text, 3 for signs."""

from __future__ import annotations

import re

import pytest

from reports.board import STATIC

CSS = {name: (STATIC / name).read_text(encoding="utf-8") for name in ("board.css", "floor.css")}
COLOURS = dict(re.findall(r"--([\w-]+):\s*(#[0-9a-f]{6})", CSS["board.css"]))


def luminance(colour: str) -> float:
    parts = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    red, green, blue = (c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in parts)
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def contrast(one: str, other: str) -> float:
    light, dark = sorted((luminance(one), luminance(other)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


def whole(colour: str) -> str:
    """A colour of the sheets as six figures: var(--red), #fff."""
    if named := re.fullmatch(r"var\(--([\w-]+)\)", colour):
        return COLOURS[named.group(1)]
    return f"#{''.join(c * 2 for c in colour[1:])}" if len(colour) == 4 else colour


def rules() -> list[tuple[str, str, str]]:
    """Every rule that sets a text colour: selector, colour, and its ground, "" where it sets none."""
    found = []
    for sheet in CSS.values():
        for selector, body in re.findall(r"([^{}]+)\{([^{}]*)\}", re.sub(r"/\*.*?\*/", "", sheet, flags=re.S)):
            colour = re.search(r"(?<![\w-])color:\s*([^;\s]+)", body)
            ground = re.search(r"background(?:-color)?:\s*(#\w+|var\([\w-]+\))", body)
            if colour and colour.group(1) != "inherit":
                found.append((selector.strip(), whole(colour.group(1)), whole(ground.group(1)) if ground else ""))
    return found


def test_the_formula_gives_the_standards_own_ends() -> None:
    """Black on white is 21 : 1 (WCAG 2.2, definition of contrast ratio)."""
    assert contrast("#000000", "#ffffff") == pytest.approx(21)
    assert contrast("#767676", "#ffffff") == pytest.approx(4.54, abs=0.01)  # from memory: the usual example of enough


# a rule that sets a colour and no ground: what it stands on
ON = {
    r"\.(hold|now)\b.*\.since": [COLOURS["red"]],
    r"\.review\b.*\.since": [COLOURS["yellow"]],
}


@pytest.mark.parametrize(("selector", "colour", "ground"), rules(), ids=lambda value: str(value)[-40:])
def test_text_stands_out_from_its_ground(selector: str, colour: str, ground: str) -> None:
    paper = [COLOURS["paper"], COLOURS["card"]]
    grounds = [ground] if ground else next((on for pattern, on in ON.items() if re.search(pattern, selector)), paper)
    assert all(contrast(colour, one) >= 4.5 for one in grounds), (selector, colour, grounds)


@pytest.mark.parametrize("name", ["ink", "crust", "red", "green", "blue", "focus", "quiet"])
def test_signs_and_focus_stand_out(name: str) -> None:
    assert min(contrast(COLOURS[name], COLOURS[on]) for on in ("paper", "card")) >= 3


def test_a_sign_on_its_own_ground_is_turned_white_or_dark() -> None:
    assert contrast("#ffffff", COLOURS["red"]) >= 4.5 and contrast("#1a1410", COLOURS["yellow"]) >= 4.5


def test_nothing_flashes_or_moves() -> None:
    assert not [name for name, text in CSS.items() if re.search(r"@keyframes|(animation|transition):(?!\s*none)", text)]
