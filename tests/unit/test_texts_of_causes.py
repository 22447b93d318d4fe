"""What calls, charts and messages say stands in models/texts: no sentence is written in the modules that say it."""

from __future__ import annotations

import ast
import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest

from models.causes.effects import EFFECTS
from models.causes.suspects import SHARED
from models.charts.characteristics import CHARACTERISTICS, DECLARED
from models.storage import memo
from models.texts import fingerprint, texts
from tests.tree import ROOT

SPOKEN_OF_CAUSES = (
    "models/calls.py",
    "models/causes/asking.py",
    "models/causes/attribute.py",
    "models/causes/drivers.py",
    "models/causes/effects.py",
    "models/causes/field.py",
    "models/causes/findings.py",
    "models/causes/hypotheses.py",
    "models/causes/levels.py",
    "models/causes/measure.py",
    "models/causes/moved.py",
    "models/causes/naming.py",
    "models/causes/overproof.py",
    "models/causes/positive.py",
    "models/causes/response.py",
    "models/causes/rows.py",
    "models/causes/saying.py",
    "models/causes/story.py",
    "models/causes/suspects.py",
    "models/causes/unchecked.py",
    "models/causes/words.py",
    "models/charts/baseline.py",
    "models/charts/believed.py",
    "models/charts/chart.py",
    "models/charts/promise.py",
    "models/charts/windows.py",
    "models/charts/worth.py",
    "models/pages/changes.py",
    "models/pages/curves.py",
    "models/pages/marks.py",
    "models/pages/stories.py",
    "models/pages/words.py",
)
SENTENCE = 3
"""Words from which a string counts as one that somebody reads."""
EXCEPT = {
    **dict.fromkeys(CHARACTERISTICS, "a characteristic's name, the key of its words"),
    "lot test level": "a block of the response model",
    "dough test levels": "a block of the response model",
    "not enough data": "a state in data",
    "far from the level at once": "a kind of episode, the key of its words",
    "small lasting shift": "a kind of episode, the key of its words",
    "a new level that was taken up as the baseline": "a kind of episode, the key of its words",
}


def _unread(tree: ast.Module) -> Iterator[ast.AST]:
    """Docstrings and notes beside a constant; errors, which are the command line's."""
    for node in ast.walk(tree):
        if isinstance(node, ast.Expr) and isinstance(node.value, ast.Constant):
            yield node.value
        elif isinstance(node, ast.Raise):
            yield from ast.walk(node)


def _written(tree: ast.Module) -> Iterator[str]:
    """Every string of a module; of one that is filled in, what stands between."""
    skipped = {id(node) for node in _unread(tree)}
    for node in ast.walk(tree):
        if isinstance(node, ast.JoinedStr) and id(node) not in skipped:
            skipped |= {id(part) for part in node.values}
            yield "".join(part.value if isinstance(part, ast.Constant) else "{}" for part in node.values)
    for node in ast.walk(tree):
        if isinstance(node, ast.Constant) and isinstance(node.value, str) and id(node) not in skipped:
            yield node.value


def _sentences(path: str) -> set[str]:
    tree = ast.parse((ROOT / path).read_text(encoding="utf-8"))
    return {said for said in _written(tree) if sum(any(map(str.isalpha, word)) for word in said.split()) >= SENTENCE}


@pytest.mark.parametrize("path", SPOKEN_OF_CAUSES)
def test_no_sentence_is_written_where_it_is_said(path: str):
    assert _sentences(path) <= set(EXCEPT)


def test_a_sentence_in_a_module_would_be_found():
    said = (
        'def f(n):\n    """Not this one here."""\n    raise ValueError("nor this one")\n    return f"only {n} of it"\n'
    )
    found = set(_written(ast.parse(said)))
    assert found == {"only {} of it"}
    assert set(_written(ast.parse("x = 'so it is said'"))) == {"so it is said"}


def test_what_is_excepted_is_still_there():
    found = {said for path in SPOKEN_OF_CAUSES for said in _sentences(path)}
    assert {said for said in EXCEPT if said not in CHARACTERISTICS} <= found


def test_every_driver_has_its_words_and_no_words_are_left_over():
    spoken = {effect.name for effect in EFFECTS if effect.least < 1e9}
    assert set(texts("drivers")) == spoken
    for effect in EFFECTS:
        if effect.name in spoken:
            assert effect.quantity and effect.check and effect.unchecked
            assert "2.5" in effect.moved(2.5) and "2.5" in effect.moved(-2.5)


def test_everything_shared_and_every_chart_has_its_words():
    assert set(texts("causes")["something"]) == {"plant", *SHARED}
    assert {shown.name for shown in DECLARED} == set(texts("words")["characteristic"])


def test_sentences_kept_from_before_are_said_anew_once_a_text_is_another(monkeypatch, tmp_path: Path):
    """A trace keeps its sentences; translated texts must reach the episodes that were traced before."""
    shutil.copytree(ROOT / "models" / "texts", tmp_path / "texts")
    monkeypatch.setattr("models.texts.FOLDER", tmp_path / "texts")
    before = fingerprint.__wrapped__()
    assert before == fingerprint() and before in memo.made_by("1.0")
    other = tmp_path / "texts" / "causes.toml"
    other.write_text(other.read_text(encoding="utf-8").replace("Nothing recorded", "Nada"), encoding="utf-8")
    assert fingerprint.__wrapped__() != before
