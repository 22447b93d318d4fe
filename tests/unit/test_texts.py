"""What the board says stands in `models/texts` alone: no sentence in code, none that nobody says, each of them whole."""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from fnmatch import fnmatch
from functools import cache
from string import Formatter
from typing import Any, get_args

import numpy as np
import pytest

from models.texts import Text, in_number, texts
from tests import tree

SPOKEN = (
    "models/alarms/alerts.py",
    "models/alarms/limits.py",
    "models/alarms/paste_part.py",
    "models/alarms/raising.py",
    "models/alarms/reaction.py",
    "models/alarms/short_weight.py",
    "models/floor/*.py",
    "models/judging/independence.py",
    "models/pages/comparing.py",
    "models/pages/footing.py",
    "models/pages/holes.py",
    "models/pages/money.py",
    "models/pages/month.py",
    "models/pages/notice.py",
    "models/pages/patterns.py",
    "models/trade/cautions.py",
    "models/trade/dough.py",
    "models/trade/kettle.py",
    "reports/board.py",
    "reports/figures.py",
    "reports/intervals.py",
    "reports/said.py",
    "reports/signin.py",
    "reports/tablets.py",
    "flows/door/*.py",
    "flows/floor/acts.py",
    "flows/floor/owner.py",
    "flows/floor/screens.py",
)
# how a text begins that nobody reads on the board, and why
NOT_SAID = {
    " or correct the sheet": "the end of a rule's sentence, which is for paper and is taken off",
    ", and correct the sheet": "likewise",
    "default-src 'none'; ": "a policy, for browsers",
    "no water goes in beside the paste": "the error of a caller; the mixer's screen asks first",
    "the product has no paste": "the error of a caller; the kettle's screen asks first",
    "{}: there is no such folder of logs": "said to `loaftrace run`, which handed its folder over",
    "people file: only this machine": "said in the terminal, before there is a board",
    "no guard stands before this app": "the error of a caller",
    "on the quarter hour": "a pattern's name, the key of its words",
    "sum of the charge": "likewise",
    "{}: there is no such month": "the error of a caller; the board chooses among the printed months",
}
SUBJECTS = tuple(sorted(path.stem for path in tree.files() if path.match("models/texts/*.toml")))
BOARD = "reports/templates/board"
# drawn into several screens
SHARED = (f"{BOARD}/base.html", f"{BOARD}/curves.html", f"{BOARD}/signs.html", f"{BOARD}/tablet.html")
# screens that are handed their words by another module
HANDED = {"board": f"{BOARD}/*.html", "signin": "reports/templates/signin.html"}
# pages that are printed and hold no words of their own
PRINTED = ("reports/templates/footing.html", "reports/templates/month.html")


# --- no sentence in code ------------------------------------------------------------------------


def _text(node: ast.Constant | ast.JoinedStr) -> str:
    """A text as it is written, {} where something is filled in."""
    if isinstance(node, ast.Constant):
        return node.value if isinstance(node.value, str) else ""
    return "".join(_text(part) if isinstance(part, ast.Constant) else "{}" for part in node.values)


def _unsaid(module: ast.Module) -> Iterator[ast.AST]:
    """Docstrings, the names a Literal lists (codes, not words), what goes into the log, and the parts of longer texts."""
    for node in ast.walk(module):
        if isinstance(node, ast.Expr) and isinstance(node.value, ast.Constant):
            yield node.value
        elif isinstance(node, ast.JoinedStr):
            yield from (inner for part in node.values for inner in ast.walk(part) if isinstance(inner, ast.Constant))
        elif isinstance(node, ast.Call) and ast.unparse(node.func).startswith("log."):
            yield from ast.walk(node)


def _codes(modules: tuple[ast.Module, ...]) -> set[str]:
    lists = (
        node for module in modules for node in ast.walk(module)
        if isinstance(node, ast.Subscript) and ast.unparse(node.value) == "Literal"
    )  # fmt: skip
    return {inner.value for node in lists for inner in ast.walk(node.slice) if isinstance(inner, ast.Constant)}


@cache
def _all_codes() -> set[str]:
    return _codes(tuple(tree.parsed(path) for path in tree.modules("models")))


def sentences(module: ast.Module) -> Iterator[tuple[int, str]]:
    """Texts of four words and more, what is filled in counted as one, with their lines."""
    unsaid = {id(node) for node in _unsaid(module)}
    for node in ast.walk(module):
        if isinstance(node, ast.Constant | ast.JoinedStr) and id(node) not in unsaid:
            parts = _text(node).split()
            words = [part for part in parts if re.fullmatch(r"[\"'(]*[^\W\d_][^\W\d_'-]+[\"').,:;?!]*", part)]
            if len(words) >= 2 and len(words) + sum("{}" in part for part in parts) >= 4:
                yield node.lineno, _text(node)


def _spoken() -> list[Any]:
    return [path for path in tree.modules() if any(fnmatch(tree.name(path), pattern) for pattern in SPOKEN)]


@pytest.mark.parametrize("path", _spoken(), ids=tree.name)
def test_no_sentence_stands_in_code(path):
    codes = _all_codes()
    found = [
        f"{tree.name(path)}:{line} {text!r}"
        for line, text in sentences(tree.parsed(path))
        if text not in codes and not text.startswith(tuple(NOT_SAID))
    ]
    assert not found, "\n".join(found)


def test_every_module_and_every_exception_that_is_listed_is_there():
    names = [tree.name(path) for path in tree.modules()]
    assert not [pattern for pattern in SPOKEN if not any(fnmatch(name, pattern) for name in names)]
    said = [text for path in _spoken() for _, text in sentences(tree.parsed(path))]
    assert not [begins for begins in NOT_SAID if not any(text.startswith(begins) for text in said)]


@pytest.mark.parametrize(
    ("code", "found"),
    [
        ('say = "nobody has seen it yet"', 1),
        ('say = f"{n} rows wait here"', 1),
        ('say = f"{n} of {all_of}: {what}"', 0),
        ('say = ("two parts of", f"one {n} two three")', 1),
        ('"""A docstring of some words."""', 0),
        ('log.error("this goes to the log")', 0),
        ('say = "stir and measure again"', 1),
        ('say = "not met"', 0),
    ],
)
def test_what_counts_as_a_sentence(code: str, found: int):
    assert len(list(sentences(ast.parse(code)))) == found


def test_names_of_a_literal_are_codes():
    module = ast.parse('Do = Literal["stir and measure again", "fine"]')
    assert _codes((module,)) == {"stir and measure again", "fine"}
    from models.trade.kettle import Do

    assert set(get_args(Do)) <= _all_codes()


# --- every text is said -------------------------------------------------------------------------


@cache
def _sources() -> dict[str, str]:
    """What can say a text: code and templates, by name."""
    return {
        tree.name(path): path.read_text(encoding="utf-8")
        for path in tree.files()
        if path.suffix in (".py", ".html", ".j2") and tree.name(path).startswith(("models/", "reports/", "flows/"))
    }


def _of_subject(subject: str) -> str:
    """The sources that read this subject's file: modules that name it, its screen, and what is drawn into that."""
    handed = HANDED.get(subject, f"{BOARD}/{subject}.html")
    return "\n".join(
        source
        for name, source in _sources().items()
        if f'texts("{subject}")' in source or name in SHARED or fnmatch(name, handed)
    )


@cache
def _quoted() -> frozenset[str]:
    """Everything that stands in quotes in code or a template, the parts of an f-string too."""
    everything = "\n".join(_sources().values())
    found = set(re.findall(r'"([^"\n]*)"', everything)) | set(re.findall(r"'([^'\n]*)'", everything))
    return frozenset(found | {name.split("{")[0] for name in found if "{" in name})


def _is_named(key: str, source: str) -> bool:
    return bool(re.search(rf"\.{re.escape(key)}\b|[\"']{re.escape(key)}[\"']", source))


def _is_code(key: str, source: str) -> bool:
    """Whether a key inside a table is a name that code uses: whole, or made of a word and a column or stage."""
    first, _, last = key.partition(".")
    made = f"{first}." in _quoted() and not {last, last.replace("-", " ")}.isdisjoint(_quoted())
    return key in _quoted() or _is_named(key, source) or (bool(last) and made)


def _tables(table: dict[str, Any]) -> Iterator[str]:
    """Keys of the tables below the first level."""
    for value in table.values():
        if isinstance(value, dict):
            yield from value
            yield from _tables(value)


@pytest.mark.parametrize("subject", SUBJECTS)
def test_every_text_is_said_somewhere(subject: str):
    source, table = _of_subject(subject), texts(subject)
    dead = [key for key in table if not _is_named(key, source)]
    dead += [key for key in _tables(table) if not _is_code(key, source)]
    assert table and not dead


def test_a_text_that_nobody_says_is_found():
    assert not _is_named("farewell", _of_subject("board")) and _is_named("skip", _of_subject("board"))
    assert not _is_code("missing.nobody's column", "") and _is_code("missing.kettle", "")


# --- every text is whole ------------------------------------------------------------------------


def _leaves(value: Any) -> Iterator[str]:
    if isinstance(value, str):
        yield value
    else:
        for inner in value.values() if isinstance(value, dict) else value:
            yield from _leaves(inner)


@pytest.mark.parametrize("subject", SUBJECTS)
def test_what_is_filled_in_has_a_name(subject: str):
    said = list(_leaves(texts(subject)))
    fields = [(text, name) for text in said for _, name, _, _ in Formatter().parse(text) if name is not None]
    assert said and not [text for text, name in fields if not name.isidentifier()]


COUNTED = "points|doughs|loaves|rows|batches|pieces|days|weeks|hours|minutes|files|lines|pastes|times|alerts|lots|tests|kettles|shifts|holds"
# texts with a number before a word of many, and why they need no second form
ALWAYS_MANY = {
    "curve.baseline.learning_by_lots": "out of so many, a constant",
    "curve.baseline.learning_by_days": "likewise",
    "curve.baseline.made_of": "a baseline has many batches, days and lots, or is learning",
    "curve.baseline.made_of_lots": "likewise",
    "curve.promise.days": "two and more; fewer are hours",
    "curve.worth.known": "judged from many loaves",
    "curve.worth.too_few": "out of so many, a constant",
    "holds.told.days": "two and more; fewer are hours",
    "handover.waiting_line": "waiting_one is said of one",
    "kettle.ask.ahead": "more than two minutes, by which clocks differ",
    "kettle.ask.doughs": "what was typed, which is no number",
    "kettle.figures": "with a decimal: 1.0 points",
    "message.reviews": "one is told by itself",
    "mixer.ask.ahead": "more than two minutes, by which clocks differ",
    "mixer.own_heat": "of three doughs and more",
    "mixer.points": "with a decimal: 1.0 points",
    "month.compared.few_days": "a constant",
    "month.holes.reach": "a month has 28 at least",
    "month.money.few_days": "a constant",
    **dict.fromkeys(
        ("month.readings.digit", "month.readings.equal", "month.readings.hardly_moves", "month.readings.quarter",
         "month.readings.quarter_sheet", "month.readings.summed"),
        "found in many rows only",
    ),
    "raised.net_weight.says": "as many loaves as the test wants",
    "raised.net_weight.says_beyond": "likewise",
    "unchecked.some": "on some of two and more; of one it is never",
}


def _paths(value: Any, path: str) -> Iterator[tuple[str, str, bool]]:
    """Every text with its place, and whether its form of one stands beside it."""
    if isinstance(value, str):
        yield path, value, False
    elif isinstance(value, list):
        yield from ((f"{path}.{i}", text, len(value) == 2) for i, text in enumerate(value))
    else:
        for key, inner in value.items():
            beside = (key == "many" and "one" in value) or f"{key}_one" in value
            yield from ((place, text, beside or has) for place, text, has in _paths(inner, f"{path}.{key}"))


def test_what_is_counted_has_a_form_of_one():
    found = {
        place
        for subject in SUBJECTS
        for place, text, has_one in _paths(texts(subject), subject)
        if not has_one and re.search(rf"(?<!n = )\{{(?!\w+:[^}}]*\.[1-9]f)[^}}]*\}}[ \u00a0]({COUNTED})\b", text)
    }
    assert found == set(ALWAYS_MANY)


def test_one_is_told_as_one():
    said = {"one": Text("1 row"), "many": Text("{n} rows")}
    assert [in_number(said, n) for n in (1, "1")] == ["1 row", "1 row"]
    assert {in_number(said, n) for n in (0, 2, 11, "1.1", "1.0", "-1")} == {said["many"]}
    assert in_number(Text("as it is"), 1) == "as it is"


def test_the_boards_templates_hold_no_words():
    found = []
    for name, source in _sources().items():
        if fnmatch(name, f"{BOARD}/*.html") or name in ("reports/templates/signin.html", *PRINTED):
            bare = re.sub(r"\{#.*?#\}|\{\{.*?\}\}|\{%.*?%\}|<(script|style)\b.*?</\1>", "\0", source, flags=re.DOTALL)
            read = re.findall(r'(?:aria-label|title|placeholder|alt)="([^"]*)"', bare) + re.split("<[^>]*>", bare)
            found += [f"{name}: {text.strip()}" for text in read if re.search(r"[^\W\d_]{2,}", text)]
    assert len(_sources()) > 100 and not found, "\n".join(found)


def test_a_text_of_words_and_counts_is_filled_in_as_every_other():
    text = Text("{a}, {b:>3}")
    for a, b, said in ((3, "x-y", "3, x-y"), (0, 12, "0,  12"), (-3, "x-y", "−3, x-y"), (np.float64(-2), -1, "−2.0,  −1")):
        assert text.format(a=a, b=b) == said
    assert Text("{0}").format(-1) == "−1" and Text("{a}").format(a=True) == "True"
