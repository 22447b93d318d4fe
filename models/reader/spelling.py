"""What a cell of text says: a code in the plant's own spelling, a choice of the logbook, nothing written."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Mapping

from models.logbook import Column
from models.plant import Plant
from models.reader import numbers
from models.reader.numbers import Misread

_SYNONYMS = {
    "contact": "probe stab stick dip needle thermocouple core",
    "infrared": "ir infra-red infra_red irgun ir-gun gun",
    "routine": "normal regular planned r",
    "suspicion": "suspect suspected suspicious doubt s",
    "seed": "seeds rapeseed rape-seed seed-displacement",
    "laser": "scanner scan laserscan laser-scan",
    "mixer": "mixing mix aftermixing",
    "divider": "dividing divide",
    "moulder": "molder moulding molding",
    "plant": "site factory bakery",
    "kettle": "kettles cooker",
    "line": "lines",
    "instrument": "instruments device",
    "lot": "lots delivery",
    "weight": "mass weighing w",
    "temperature": "temp temp. t",
    "volume": "vol vol. v",
}
UNWRITTEN = frozenset(("-", "--", "---", "–", "—", "n/a", "N/A", "n.a."))
UNKNOWN = frozenset(("?", "??", "???"))
DITTO_TEXT = numbers.DITTO_MARKS | {"ditto", "dito", "idem", "ídem", "as above", "wie oben"}
FREE = frozenset(("note", "what"))
_PARTING = re.compile(r"[\s_\-\u2010-\u2015]")
# how a spreadsheet's export keeps the zeros of a number that is a name: ="00123"
_AS_TEXT = re.compile(r'="([^"]+)"')


def read(text: str, column: Column, plant: Plant) -> str | Misread | None:
    """One cell of a text column; None where nothing was written."""
    if column.name in FREE:
        return text
    if kept := _AS_TEXT.fullmatch(text):
        text = kept[1]
    if text in UNWRITTEN or (text in UNKNOWN and not column.required):
        return None
    if text.casefold() in DITTO_TEXT:
        return Misread(f"a ditto mark: write {column.name} again in every row")
    if text in UNKNOWN:
        return Misread(f"{column.name} is needed: ask who wrote the row")
    if column.choices:
        return _choice(text, column)
    return _code(text, column, plant)


def _choice(text: str, column: Column) -> str | Misread:
    word = "-".join(text.casefold().split())
    for choice in column.choices:
        if word == choice or word in _SYNONYMS.get(choice, "").split():
            return choice
    return Misread(f"{column.name} may be {' or '.join(column.choices)}")


def _code(text: str, column: Column, plant: Plant) -> str:
    """The plant's own spelling of a code, where only case, blanks, hyphens or accents differ; any other text as it is."""
    codes = plant_codes(column, plant)
    if not codes or text in codes:
        return text
    for fold in (_bare, _unaccented):
        same = [code for code in codes if fold(code) == fold(text)]
        if same:
            return same[0] if len(same) == 1 else text
    return text


def _bare(code: str) -> str:
    return _PARTING.sub("", code).casefold()


def _unaccented(code: str) -> str:
    """Without accents, as a keyboard or a code page that lacks them writes it."""
    return "".join(letter for letter in unicodedata.normalize("NFKD", _bare(code)) if not unicodedata.combining(letter))


def plant_codes(column: Column, plant: Plant) -> tuple[str, ...]:
    """The codes a column may hold by the plant file; empty where it is free text."""
    sections: dict[str, Mapping[str, object]] = {
        "kettle": plant.kettles,
        "line": plant.lines,
        "product": plant.products,
        "shift": plant.shifts,
        "recipe": plant.pastes,
    }
    return tuple(sections.get(column.plant_code, {}))
