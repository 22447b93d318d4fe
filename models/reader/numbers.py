"""Numbers as the floor writes them. One decision a file on comma and point, from all its numbers."""

from __future__ import annotations

import math
import re
import unicodedata
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np

from models.logbook import Column
from models.reader.headers import unit_of

NOT_RECORDED = frozenset(("", "-", "--", "---", "n/a", "n.a.", "na", "nan", "null", "n.r."))
DITTO_MARKS = frozenset(('"', '""', "''", "″", "”", "“", "„", "〃", ",,", "'"))
DITTO = DITTO_MARKS | {
    "ditto", "dito", "d:o", "do.", "do", "idem", "ídem", "id.", "same", "as above", "wie oben", "s.o.", "j.w.", "jw.", "jw",
}  # fmt: skip
_MARKED = re.compile(r"[+-]?\d+([.,])\d+")
_GROUPED = re.compile(r"[+-]?[1-9]\d{0,2}([.,])\d{3}")
_ERROR = re.compile(r"#[\w/]+[!?]?")
NOT_WORKED_OUT = "#FORMULA!"  # stands for a workbook's formula that has no value
_SOME_DIGITS = re.compile(r"[+-]?\d[\d., ']*")
_WITH_UNIT = re.compile(r"([+-]?\d(?:[\d., ']*\d)?)[.,]?\s*([^\d\s.,*?~'\"].*)")
_FACTOR = {
    ("g", "kg"): 0.001, ("kg", "g"): 1000.0, ("L", "mL"): 1000.0, ("lb", "kg"): 0.45359237, ("lb", "g"): 453.59237,
    ("h", "min"): 60.0, ("s", "min"): 1 / 60, ("cm", "mm"): 10.0, ("t", "kg"): 1000.0,
}  # fmt: skip
_LETTER_BESIDE = re.compile(r"\d[^\W\d_]|[^\W\d_]\d")
_LOOKS_LIKE = str.maketrans("OoQlI", "00011")
_SAYS = {".": "point", ",": "comma"}
_OTHER = {".": ",", ",": "."}
_FORMS = {
    mark: re.compile(
        rf"[+-]?(?:\d+|\d{{1,3}}(?:{re.escape(other)}\d{{3}})+|\d{{1,3}}(?: \d{{3}})+|\d{{1,3}}(?:'\d{{3}})+)?"
        rf"(?:{re.escape(mark)}\d*)?(?:[eE][+-]?\d{{1,3}})?"
    )
    for mark, other in _OTHER.items()
}


class Undecidable(ValueError):
    """Something of the whole file can be read two ways; `str()` is the question to a person."""


@dataclass(frozen=True)
class Misread:
    """Why a text cannot be read, and what it may be."""

    why: str
    proposal: str | None = None


def plain(text: str) -> str:
    """A cell without the variants of one sign: full-width digits, narrow blanks, long minus."""
    if not text.isascii():
        text = unicodedata.normalize("NFKC", text.replace("º", "°")).replace("\u2212", "-").replace("\u2013", "-").replace("\u2014", "-")
        text = text.replace("\u2019", "'").replace("\u066b", ".")
        text = "".join(str(unicodedata.decimal(c)) if c.isdecimal() else c for c in text)
    return text.strip()


def parse(text: str, column: Column, decimal: str) -> float | Misread | None:
    """One cell as a number in the column's unit; None where nothing was recorded."""
    bare = plain(text)
    if bare.casefold() in NOT_RECORDED:
        return None
    value = number(bare, decimal)
    if value is None and column.unit and (parts := _WITH_UNIT.fullmatch(bare)) is not None:
        said = parts[2].strip("()[] ")
        if unit_of(said) == column.unit or (column.unit == "°C" and said == "°"):
            value = number(parts[1], decimal)
    return value if value is not None else _misread(bare, column, decimal)


def number(text: str, decimal: str) -> float | None:
    """A bare number under a decimal mark; None where the text is none."""
    if not _FORMS[decimal].fullmatch(text) or not any("0" <= c <= "9" for c in text) or not text.isascii():
        return None
    for mark in (_OTHER[decimal], " ", "'"):
        text = text.replace(mark, "")
    try:
        value = float(text.replace(decimal, "."))
    except ValueError:
        return None
    return value if math.isfinite(value) else None


def thousands(text: str, decimal: str) -> str | None:
    """The whole number that a text may be if its decimal mark is a thousands mark; None where it cannot be one."""
    found = _GROUPED.fullmatch(plain(text))
    return found[0].replace(decimal, "") if found and found[1] == decimal else None


def _misread(text: str, column: Column, decimal: str) -> Misread:
    name = f"{column.name} in {column.unit}" if column.unit else column.name
    if text.casefold() in DITTO:
        return Misread(f"a ditto mark is no number: write {name} again, or leave it empty if it was not measured")
    if text == NOT_WORKED_OUT:
        return Misread(f"a formula whose result was not saved: open the workbook, save it and drop it in again, or write {name}")
    if _ERROR.fullmatch(text):
        return Misread(f"a formula that gave an error: write {name} as it was read")
    if text.startswith("="):
        return Misread(f"a formula in place of its number: show the numbers, copy again, or write {name}")
    if set(text) == {"#"}:
        return Misread(f"the column was too narrow to show the number: widen it and copy again, or write {name}")
    found = [m[0].strip(" '.,") for m in _SOME_DIGITS.finditer(text)]
    if not found:
        return Misread(f"no number: write {name}, 0 if it was none, or leave it empty if it was not measured")
    value = number(found[0], decimal)
    rest = text.replace(found[0], "", 1).strip("()[] ")
    converted = _converted(value, rest, column.unit) if value is not None else None
    if converted is not None:
        return Misread(f"written in {unit_of(rest)}: write {name}", number_text(converted))
    if (said := unit_of(rest)) not in (None, column.unit):
        return Misread(f"written in {said}: write {name}")
    if found[0] == text:
        return _odd_marks(text, name, decimal)
    likely = number(text.translate(_LOOKS_LIKE), decimal)
    if likely is not None or (len(found) == 1 and _LETTER_BESIDE.search(text)):
        return Misread(f"letters among the digits: write {name} again", None if likely is None else number_text(likely))
    if len(found) > 1:
        return Misread(f"two numbers in one cell: write {name} alone, remarks into the note")
    return Misread(
        f"more than a number: is it {found[0]}? write {name} alone, remarks into the note",
        None if value is None else number_text(value),
    )


def _odd_marks(text: str, name: str, decimal: str) -> Misread:
    value = number(text, _OTHER[decimal])
    if value is None:
        return Misread(f"comma and point do not work out: write {name} with one decimal mark and no thousands mark")
    says = (
        f"this file's numbers have a decimal {_SAYS[decimal]}, this one a {_SAYS[_OTHER[decimal]]}: write {name} again"
    )
    return Misread(says, number_text(value))


def _converted(value: float, written: str, unit: str) -> float | None:
    said = unit_of(written)
    if said == "°F" and unit == "°C":
        return round((value - 32) / 1.8, 1)
    factor = _FACTOR.get((said or "", unit))
    return float(f"{value * factor:.6g}") if factor else None


def number_text(value: float) -> str:
    """A number in the standard form: fifteen digits, whole numbers without a point."""
    if value == int(value) and abs(value) < 1e15:
        return str(int(value))
    return format(value, ".15g")


def decide(
    cells: Iterable[tuple[Column, Sequence[str], np.ndarray]], comma_separated: bool, meant: str | None = None
) -> tuple[str, str]:
    """The file's decimal mark and the note that says so, empty where no number needs it.

    cells: for each number column its distinct texts and how often each occurs. comma_separated: the file is of the
    contract's own form, where a point is always decimal. Marks that can only be decimal are
    counted and the more frequent wins, the point where they are equal; where there is none, what can be true
    decides; where that leaves it open, the mark that the plant says is meant. Raises Undecidable with the question.
    """
    sure = {".": 0, ",": 0}
    open_: list[tuple[str, str, Column, int]] = []
    for column, texts, counts in cells:
        for text, count in zip(texts, counts, strict=True):
            bare = _without_unit(plain(text), column)
            mark, certain = _evidence(bare)
            if mark and (certain or (comma_separated and mark == ".")):
                sure[mark] += int(count)
            elif mark:
                open_.append((bare, mark, column, int(count)))
    if sure["."] or sure[","]:
        decimal = "," if sure[","] > sure["."] else "."
        return decimal, f"decimal {_SAYS[decimal]}" + (" (mixed with the other)" if all(sure.values()) else "")
    return _by_what_can_be(open_, meant) if open_ else (".", "")


def _without_unit(text: str, column: Column) -> str:
    """A number's text where the column's own unit stands behind it; any other text as it is."""
    parts = _WITH_UNIT.fullmatch(text) if column.unit and not text[-1:].isdigit() else None
    return parts[1] if parts and unit_of(parts[2].strip("()[] ")) == column.unit else text


def _evidence(text: str) -> tuple[str | None, bool]:
    """The mark that is decimal if this text is a number, and whether it can be nothing else."""
    if (m := _MARKED.fullmatch(text)) is not None:
        return m[1], not _GROUPED.fullmatch(text)
    for mark in _OTHER:
        fits, fits_other = _FORMS[mark].fullmatch(text), _FORMS[_OTHER[mark]].fullmatch(text)
        if fits and not fits_other and ("," in text or "." in text):
            return mark, True
    return None, False


def _can_be(text: str, mark: str, column: Column) -> bool:
    value, (low, high) = number(text, mark), column.can_be or (-math.inf, math.inf)
    return value is not None and low <= value <= high and (column.unit != "pieces" or value == int(value))


def _by_what_can_be(cells: list[tuple[str, str, Column, int]], meant: str | None) -> tuple[str, str]:
    """Every number looks like 1,234: the mark under which they can be true, all to one side."""
    votes = {".": 0, ",": 0}
    for text, mark, column, count in cells:
        if _can_be(text, mark, column) != _can_be(text, _OTHER[mark], column):
            votes[mark if _can_be(text, mark, column) else _OTHER[mark]] += count
    undecided = bool(votes["."]) == bool(votes[","])
    if undecided and meant is not None:
        return meant, f"decimal {_SAYS[meant]}, as the plant file says"
    if undecided:
        text, mark, column, _ = cells[0]
        question = f"is {text} in {column.name} {text.replace(mark, '.')} or {text.replace(mark, '')}?"
        raise Undecidable(
            f"{question} write the file's numbers with a decimal point and no thousands mark, or answer for all such "
            'sheets in the plant file, [sheets] decimal = "point" or "comma": the next run takes this one'
        )
    decimal = "," if votes[","] else "."
    return decimal, f"decimal {_SAYS[decimal]}, told by what can be true"
