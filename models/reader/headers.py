"""Recognising a log from its header, never from its file name."""

from __future__ import annotations

import difflib
import re
import unicodedata
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import lru_cache

from models.logbook import TABLES, Column
from models.plant import Plant
from models.reader.sheet import Refused

MOST_COLUMNS = 1000
SEARCHED = 60

_SPOKEN = {
    "°c": "°C", "c": "°C", "deg c": "°C", "degc": "°C", "celsius": "°C",
    "kg": "kg", "kgs": "kg", "kilogram": "kg", "kilograms": "kg", "g": "g", "gram": "g", "grams": "g", "gr": "g",
    "ml": "mL", "cm3": "mL", "cc": "mL", "min": "min", "mins": "min", "minutes": "min", "%": "%", "pct": "%",
    "percent": "%", "% rh": "%", "mm": "mm", "wh/kg": "Wh/kg", "pieces": "pieces", "pcs": "pieces", "pc": "pieces",
    "date": "date", "local time": "local time", "time": "local time", "hh:mm": "local time", "h:mm": "local time",
    "°f": "°F", "f": "°F", "fahrenheit": "°F", "lb": "lb", "lbs": "lb", "oz": "oz", "l": "L", "litre": "L",
    "liter": "L", "h": "h", "hours": "h", "s": "s", "sec": "s", "cm": "cm", "kj/kg": "kJ/kg", "t": "t",
}  # fmt: skip
_IN_A_NAME = {
    "kg": ("kg",), "g": ("g",), "°C": ("c",), "mL": ("ml",), "%": ("pct",), "mm": ("mm",), "min": ("minutes",),
    "Wh/kg": ("wh", "kg"),
}  # fmt: skip
_BRACKETS = re.compile(r"[(\[{]([^)\]}]*)[)\]}]")


@dataclass(frozen=True)
class Header:
    """Where the header is (0-based) and what each of its cells means; None: an extra column or nothing."""

    index: int
    kind: str
    contract: tuple[str | None, ...]
    cells: tuple[str, ...]
    units_below: bool


@lru_cache(maxsize=16384)
def unit_of(text: str) -> str | None:
    """The unit a cell names, in the logbook's spelling; None where it names none."""
    plain = unicodedata.normalize("NFKC", text.replace("º", "°"))  # what Spanish keyboards have for it is no degree sign
    return _SPOKEN.get(" ".join(plain.casefold().split()).strip("."))


@lru_cache(maxsize=16384)
def tokens(text: str) -> tuple[str, ...]:
    """The words of a heading: case, spaces, underscores and hyphens make no difference."""
    return tuple(re.findall(r"[^\W_]+", unicodedata.normalize("NFKC", text).casefold()))


def _bare(column: Column) -> tuple[str, ...]:
    words, unit = tokens(column.name), _IN_A_NAME.get(column.unit, ())
    for start in range(len(words) - len(unit), 0, -1):
        if unit and words[start : start + len(unit)] == unit:
            return words[:start] + words[start + len(unit) :]
    return ()


_FULL = {kind: {tokens(c.name): c for c in table.columns} for kind, table in TABLES.items()}
_BARE = {kind: {_bare(c): c for c in table.columns if _bare(c)} for kind, table in TABLES.items()}


def _own_names(kind: str, plant: Plant) -> dict[tuple[str, ...], Column]:
    known = TABLES[kind].by_name
    return {tokens(theirs): known[ours] for theirs, ours in plant.columns.get(kind, {}).items() if ours in known}


def _said(cell: str, below: str) -> str | None:
    return next((unit for text in [*_BRACKETS.findall(cell), below] if (unit := unit_of(text))), None)


def _meaning(cell: str, below: str, kind: str, own: dict[tuple[str, ...], Column]) -> Column | None:
    """The column a heading stands for. `below`: the cell under it where that row holds units, else empty."""
    words, whole = tokens(_BRACKETS.sub(" ", cell)), tokens(cell)
    full = _FULL[kind]
    column = own.get(whole) or own.get(words) or full.get(words) or full.get(whole)
    if column is None and (bare := _BARE[kind].get(words)) is not None and _said(cell, below) == bare.unit:
        column = bare
    return column


def _contract(cells: Sequence[str], below: Sequence[str], kind: str, plant: Plant) -> list[Column | None]:
    own = _own_names(kind, plant)
    under = [*below, *[""] * len(cells)]
    return [_meaning(cell, under[i], kind, own) if cell else None for i, cell in enumerate(cells)]


def _same_units(cells: Sequence[str], below: Sequence[str], contract: Sequence[Column | None]) -> None:
    for cell, under, column in zip(cells, [*below, *[""] * len(cells)], contract, strict=False):
        said = _said(cell, under) if column is not None and column.type == "number" else None
        if column is not None and said and said != column.unit and column.unit in _SPOKEN.values():
            where = (
                f"the line of units says {said} under {cell!r}"
                if _said(cell, "") is None
                else f"the heading {cell!r} says {said}"
            )
            raise Refused(f"{where}, but {column.name} is kept in {column.unit}: convert the column")


def is_units(cells: Sequence[str]) -> bool:
    """Whether a row holds units and nothing else."""
    filled = [c.strip("()[] ") for c in cells if c]
    named = [unit_of(c) for c in filled]
    return any(u not in (None, "date", "local time") for u in named) and all(
        u or c.casefold() in ("-", "text", "code", "", "no.", "nr", "yyyy-mm-dd")
        for u, c in zip(named, filled, strict=True)
    )


def _found(contract: Sequence[Column | None], kind: str) -> set[str]:
    return {c.name for c in contract if c} & set(TABLES[kind].required)


def _words(plant: Plant) -> set[tuple[str, ...]]:
    """Every heading that means something in some log."""
    own = {name for kind in TABLES for name in _own_names(kind, plant)}
    return own.union(*_FULL.values(), *_BARE.values())


def _known(cells: Sequence[str], words: set[tuple[str, ...]]) -> int:
    """How many cells of a row could be headings; most rows are told from a header by this alone."""
    return sum(1 for c in cells if c and (tokens(c) in words or tokens(_BRACKETS.sub(" ", c)) in words))


def score(rows: Sequence[Sequence[str]], plant: Plant) -> int:
    """How many headings of a log the best of these rows holds."""
    words = _words(plant)
    return max((_known(cells, words) for cells in rows[:SEARCHED] if len(cells) <= MOST_COLUMNS), default=0)


def find(rows: Sequence[Sequence[str]], plant: Plant) -> Header:
    """The header among the first rows of a file: the first row that holds every required column of a kind.

    Raises Refused where no row does (naming what the nearest kind lacks), or where two kinds fit.
    """
    nearest: tuple[int, int, str, set[str]] | None = None
    words = _words(plant)
    for index, cells in enumerate(rows[:SEARCHED]):
        if len(cells) > MOST_COLUMNS:
            raise Refused(f"row {index + 1} has {len(cells)} columns; a log has at most {MOST_COLUMNS}")
        if _known(cells, words) < 2:
            continue
        below = next((r for r in rows[index + 1 : index + 3] if any(r)), [])
        units = below if is_units(below) else []
        fits = {}
        for kind in TABLES:
            contract = _contract(cells, units, kind, plant)
            missing = set(TABLES[kind].required) - _found(contract, kind)
            if not missing:
                fits[kind] = contract
            elif nearest is None or len(missing) < nearest[0]:
                nearest = len(missing), index, kind, missing
        if fits:
            return _settle(index, cells, units, fits)
    raise Refused(_none(rows, nearest))


def written_again(rows: Iterable[tuple[int, Sequence[str]]], header: Header, plant: Plant) -> tuple[int, str] | None:
    """The first row that is the header of another table: its number as given, and which log; None where none is.

    The same columns in the same order are the same table's.
    """
    for number, cells in rows:
        for kind in TABLES:
            contract = _contract(cells, (), kind, plant)
            same = [c.name if c else None for c in contract][: len(header.contract)] == list(header.contract)
            if not same and set(TABLES[kind].required) <= _found(contract, kind):
                return number, kind
    return None


@lru_cache(maxsize=8)
def spellings(own: tuple[str, ...]) -> frozenset[str]:
    """Headings as they are mostly written: the logbook's names, as they are, with blanks, in capitals; and a plant's own."""
    names = {c.name for table in TABLES.values() for c in table.columns}
    written = names | {name.replace("_", " ") for name in names}
    return frozenset(written | {n.upper() for n in written} | {n.capitalize() for n in written} | {n.title() for n in written} | {*own})


def _settle(index: int, cells: Sequence[str], units: Sequence[str], fits: dict[str, list[Column | None]]) -> Header:
    if len(fits) > 1:
        raise Refused(_two(fits))
    (kind, contract), *_ = fits.items()
    _same_units(cells, units, contract)
    names = [c.name if c else None for c in contract]
    for name in (n for n in names if n and names.count(n) > 1):
        where = [letter(i) for i, n in enumerate(names) if n == name]
        raise Refused(
            f"{name} stands in the header twice (columns {', '.join(where)}): give one of them another heading, or put tables that "
            "stand side by side one below the other"
        )
    return Header(index, kind, tuple(names), tuple(cells), bool(units))


def _two(fits: dict[str, list[Column | None]]) -> str:
    kinds = list(fits)
    only = {
        kind: sorted(
            set(TABLES[kind].required) - {c for other in kinds if other != kind for c in TABLES[other].required}
        )
        for kind in kinds
    }
    says = " or ".join(f"without {', '.join(only[kind])} it is no {kind} log" for kind in kinds if only[kind])
    return f"fits more than one kind of log ({', '.join(kinds)}): {says}"


def _none(rows: Sequence[Sequence[str]], nearest: tuple[int, int, str, set[str]] | None) -> str:
    if not any(any(cells) for cells in rows):
        return "no row holds anything"
    if how := _laid_out(rows):
        return how
    if nearest is None or len(nearest[3]) >= len(TABLES[nearest[2]].required) - 1:
        first = next((" | ".join(c for c in r if c) for r in rows if any(r)), "")
        return (
            f"no row holds the column names of a log (it begins: {first[:60]!r}); the first row should name the columns, as the "
            "blank sheets do, or a plant's own headings be named in the plant file, [columns.KIND]"
        )
    _, index, kind, missing = nearest
    ordered = [c for c in TABLES[kind].required if c in missing]
    free = {"_".join(tokens(cell)): cell for cell in rows[index] if tokens(cell) not in _FULL[kind]}
    near = {name: difflib.get_close_matches(name, list(free), 1, 0.6) for name in ordered}
    hints = [f"{free[found[0]]!r} for {name}?" for name, found in near.items() if found]
    says = f"nearest to the {kind} log (row {index + 1}), but it has no column {', '.join(ordered)}"
    return f"{says}; is it {' '.join(hints)}" if hints else says


def _laid_out(rows: Sequence[Sequence[str]]) -> str:
    """What to do about a log whose columns are parted or laid out as no table is; empty where it is none."""
    for cells in rows:
        filled = [cell for cell in cells if cell]
        for mark, says in (("|", "'|'"), (None, "blanks")) if len(filled) == 1 else ():
            if _names_a_log(filled[0].split(mark)):
                return f"its columns are parted by {says}: save it as CSV, with commas, semicolons or tabs, or as XLSX"
        if len(filled) == 1 and any(_names_a_log(filled[0].split(mark)) for mark in ",;\t"):
            return (
                "all column names of a row stand in one cell: split the text into columns, each in its own, or take the quotation "
                "marks off whole lines, and save it again"
            )
    if _names_a_log([cells[0] for cells in rows if cells]):
        return "the column names stand one below the other: turn the table, so that they stand in the first row"
    return ""


def _names_a_log(cells: Sequence[str]) -> bool:
    """Whether these are the headings of a log: every required one of some kind, by the logbook's names."""
    found = {tokens(cell) for cell in cells}
    return any(found >= {tokens(name) for name in table.required} for table in TABLES.values())


def letter(index: int) -> str:
    """A column's letter as a spreadsheet shows it; 0 is A."""
    name = ""
    index += 1
    while index:
        index, rest = divmod(index - 1, 26)
        name = chr(65 + rest) + name
    return name
