"""Numbers as the floor writes them. One decision a file on comma and point, from all its numbers."""

from __future__ import annotations

import math
import re
import unicodedata
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np

from models.headers import unit_of
from models.logbook import Column

NOT_RECORDED = frozenset(("", "-", "--", "---", "–", "—", "−", "n/a", "n.a.", "na", "nan", "null", "n.r."))
DITTO = frozenset(('"', "''", "″", "”", "“", "〃", ",,", "ditto", "do.", "do", "idem", "id.", "same", "as above", '""', "„"))
_WHOLE = re.compile(r"[+-]?\d+")
_MARKED = re.compile(r"[+-]?\d+([.,])\d+")
_GROUPED = re.compile(r"[+-]?[1-9]\d{0,2}([.,])\d{3}")
_ERROR = re.compile(r"#[\w/]+[!?]?")
_FORMS = {
    mark: re.compile(rf"[+-]?(?:\d+|\d{{1,3}}(?:[{re.escape(other)} ']\d{{3}})+)?(?:{re.escape(mark)}\d*)?(?:[eE][+-]?\d{{1,3}})?")
    for mark, other in ((".", ","), (",", "."))
}


class Undecidable(ValueError):
    """Comma and point cannot be told apart; `str()` is the question to a person."""


@dataclass(frozen=True)
class Misread:
    """Why a text is no number, and what it may be."""

    why: str
    proposal: str | None = None


def plain(text: str) -> str:
    """A cell without the variants of one sign: full-width digits, narrow blanks, long minus, raised comma."""
    text = unicodedata.normalize("NFKC", text) if not text.isascii() else text
    return text.replace("−", "-").replace("–", "-").replace("’", "'").replace("\u066b", ".").strip()


def parse(text: str, column: Column, decimal: str) -> float | Misread | None:
    """One cell as a number in the column's unit; None where nothing was recorded."""
    bare = plain(text)
    if bare.casefold() in NOT_RECORDED:
        return None
    number = _number(bare, decimal)
    if number is None:
        without = re.fullmatch(r"(.*?\d[.,]?)\s*([^\d\s.,*?~'\"].*)", bare)
        if without and column.unit and unit_of(without[2].strip("()[] ")) == column.unit:
            number = _number(without[1].strip(), decimal)
        elif without and column.unit == "°C" and without[2].strip() in ("°", "º", "o"):
            number = _number(without[1].strip(), decimal)
    return number if number is not None else _misread(bare, column, decimal)


def _number(text: str, decimal: str) -> float | None:
    if not text or not _FORMS[decimal].fullmatch(text) or not any(c.isdigit() for c in text):
        return None
    other = "," if decimal == "." else "."
    number = float(text.replace(other, "").replace(" ", "").replace("'", "").replace(decimal, "."))
    return number if math.isfinite(number) else None


def _misread(text: str, column: Column, decimal: str) -> Misread:
    name = f"{column.name} in {column.unit}" if column.unit else column.name
    if text.casefold() in DITTO:
        return Misread(f"a ditto mark is no number: write {name} again, or leave it empty if it was not measured")
    if _ERROR.fullmatch(text):
        return Misread(f"a formula that gave an error: write {name} as it was read")
    digits = re.search(r"[+-]?\d[\d., ']*", text)
    inner = digits[0].strip(" '.,") if digits else ""
    if not inner:
        return Misread(f"no number: write {name}, 0 if it was none, or leave it empty if it was not measured")
    other = "," if decimal == "." else "."
    if inner == text and (value := _number(text, other)) is not None:
        says = {".": "point", ",": "comma"}
        return Misread(f"the other numbers of this file have a decimal {says[decimal]}, this one has a {says[other]}", number_text(value))
    rest = (text[: digits.start()] + text[digits.end() :]).strip() if digits else ""
    value = _number(inner, decimal)
    if value is not None and (swapped := _converted(value, rest, column.unit)):
        return Misread(f"written in {swapped[0]}: write {name}", number_text(swapped[1]))
    return Misread(
        f"more than a number: is it {inner}? write {name} alone, remarks into the note", number_text(value) if value is not None else None
    )


_FACTOR = {("g", "kg"): 0.001, ("kg", "g"): 1000.0, ("L", "mL"): 1000.0, ("lb", "kg"): 0.45359237, ("h", "min"): 60.0, ("cm", "mm"): 10.0}


def _converted(value: float, written: str, unit: str) -> tuple[str, float] | None:
    said = unit_of(written)
    if said == "°F" and unit == "°C":
        return said, round((value - 32) / 1.8, 1)
    factor = _FACTOR.get((said or "", unit))
    return (said or "", value * factor) if factor else None


def number_text(number: float) -> str:
    """A number in the standard form: fifteen digits, whole numbers without a point."""
    if number == int(number) and abs(number) < 1e15:
        return str(int(number))
    return format(number, ".15g")


def decide(cells: Iterable[tuple[Column, Sequence[str], np.ndarray]]) -> tuple[str, str]:
    """The file's decimal mark and the note that says so.

    cells: for each number column its distinct texts and how often each occurs. Marks that can only be
    decimal are counted; where none is, what can be true decides. Raises Undecidable with the question.
    """
    sure = {".": 0, ",": 0}
    open_: list[tuple[str, str, Column, int]] = []
    for column, texts, counts in cells:
        for text, count in zip(map(plain, texts), counts, strict=True):
            mark, certain = _evidence(text)
            if mark and certain:
                sure[mark] += int(count)
            elif mark:
                open_.append((text, mark, column, int(count)))
    if sure["."] or sure[","]:
        decimal = "," if sure[","] > sure["."] else "."
        return decimal, f"decimal {'comma' if decimal == ',' else 'point'}"
    return _by_what_can_be(open_) if open_ else (".", "")


def _evidence(text: str) -> tuple[str | None, bool]:
    """The mark that is decimal if this text stands alone, and whether it can be nothing else."""
    if (m := _MARKED.fullmatch(text)) is not None:
        return m[1], not _GROUPED.fullmatch(text)
    if "," in text and "." in text:
        last = max(text.rfind(","), text.rfind("."))
        return (text[last], True) if _FORMS[text[last]].fullmatch(text) else (None, False)
    for mark, other in ((".", ","), (",", ".")):
        if text.count(mark) > 1 and _FORMS[other].fullmatch(text):
            return other, True
        if mark in text and _FORMS[mark].fullmatch(text):
            return mark, True
    return None, False


def _by_what_can_be(cells: list[tuple[str, str, Column, int]]) -> tuple[str, str]:
    votes = {".": 0, ",": 0}
    for text, mark, column, count in cells:
        other = "," if mark == "." else "."
        low, high = column.can_be or (-math.inf, math.inf)
        fits = {d: low <= (_number(text, d) or 0.0) <= high for d in (mark, other)}
        if fits[mark] != fits[other]:
            votes[mark if fits[mark] else other] += count
    if bool(votes["."]) == bool(votes[","]):
        text, mark, column, _ = cells[0]
        whole = text.replace(mark, "")
        parts = text.replace(mark, ".")
        raise Undecidable(f"is {text} in {column.name} {parts} or {whole}? write the numbers with a decimal point and no thousands mark")
    decimal = "," if votes[","] else "."
    return decimal, f"decimal {'comma' if decimal == ',' else 'point'}, told by what can be true"
