"""Lines of a sheet that are no rows: blank, units, totals, the header again, a line of text."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pandas as pd

from models.logbook import TABLES
from models.reader import headers, numbers, parted
from models.reader.headers import Header

_TOTALS = frozenset(
    ("total", "totals", "sum", "sums", "subtotal", "sub-total", "average", "averages", "avg", "mean", "median", "min",
     "max", "minimum", "maximum", "sd", "stdev", "count", "ø", "σ",
     "summe", "gesamt", "gesamtsumme", "zwischensumme", "mittelwert", "durchschnitt", "anzahl", "somme", "moyenne", "suma",
     "promedio", "soma", "média", "media", "totale", "somma", "totaal", "gemiddelde", "übertrag", "razem", "łącznie", "średnia",
     "celkem", "součet", "průměr", "spolu", "súčet", "priemer", "összesen", "átlag", "summa", "medel", "medelvärde",
     "gennemsnit", "gjennomsnitt", "sammenlagt", "yhteensä", "keskiarvo", "medie", "toplam", "ortalama", "ukupno", "prosjek",
     "skupaj", "povprečje", "viso", "kopā", "kokku", "σύνολο", "общо", "итого", "всього")
)  # fmt: skip


def below(header: Header, frame: pd.DataFrame) -> dict[int, str]:
    """The lines under the header that are no rows: place in the frame to the reason, in order.

    frame: every line under the header, one text column a heading. A line that fills every required column is a row
    unless it repeats the header.
    """
    required = [header.contract.index(name) for name in TABLES[header.kind].required]
    lacking = np.zeros(len(frame), dtype=bool)
    for index in required:
        lacking |= frame[index].isna().to_numpy()
    lacking |= frame[required[0]].to_numpy(dtype=object) == header.cells[required[0]]
    places = np.flatnonzero(lacking)
    columns = [frame[i].iloc[places].fillna("").tolist() for i in frame.columns]
    found: dict[int, str] = {}
    sums = _Sums(header, frame)
    for place, cells in zip(places.tolist(), zip(*columns, strict=True), strict=True):
        why = _why(cells, header) or sums.why(cells, place)
        if why == "units" and len(found) < place and found.get(place - 1) != "the header again":
            why = None  # units stand under a header: a lone letter among rows is a row that breaks off
        if why:
            found[place] = why
    return found


def _why(cells: Sequence[str], header: Header) -> str | None:
    filled = [c for c in cells if c]
    if not filled:
        return "blank"
    if cells[0] == header.cells[0] and [*cells[: len(header.cells)]] == [*header.cells]:
        return "the header again"
    if headers.is_units(cells):
        return "units"
    if _first_word(filled[0]) in _TOTALS and not _only_code(cells, header):
        return "totals or averages"
    if len(filled) == 1 and cells[0] and len(filled[0].split()) > 1 and not _a_row(cells, header):
        return "a line of text"
    return None


def _a_row(cells: Sequence[str], header: Header) -> bool:
    """Whether a line of one filled cell is a row that another mark parts."""
    return parted.mark_of(cells, header.kind, header.contract) is not None


def _first_word(cell: str) -> str:
    """Of "Total", "Total:" and "Total L1" the same; empty where a cell is marks alone."""
    words = cell.casefold().replace(":", " ").replace(".", " ").split()
    return words[0] if words else ""


def _only_code(cells: Sequence[str], header: Header) -> bool:
    """Whether the first filled cell merely reads like a word of totals: dates or times stand beside it."""
    timed = TABLES[header.kind].of_type("time", "date")
    return any(cell for cell, name in zip(cells, header.contract, strict=False) if name in timed)


class _Sums:
    """Tells unlabelled lines of sums and averages; looks at no more than `MOST` of them, `REACH` rows up."""

    MOST, REACH = 50, 5000

    def __init__(self, header: Header, frame: pd.DataFrame) -> None:
        self.header, self.frame = header, frame
        numeric = TABLES[header.kind].of_type("number")
        self.numeric = {i for i, name in enumerate(header.contract) if name in numeric}
        self.looked = 0

    def why(self, cells: Sequence[str], place: int) -> str | None:
        """The reason, where a line holds numbers only and each is the sum or average of its column above; before sums one word,
        in whatever language, may stand."""
        filled = {i for i, cell in enumerate(cells) if cell}
        start = max(0, place - self.REACH)
        if place - start < 2 or self.looked >= self.MOST:
            return None
        label = self._label(cells, filled, start, place)
        filled = filled - label
        if not filled or not filled <= self.numeric:
            return None
        self.looked += 1
        above = {i: self.frame[i].iloc[start:place].dropna().tolist() for i in filled}
        if not all(_is_sum_or_mean(cells[i], above[i], sums_only=bool(label)) for i in filled):
            return None
        return "the sum or the average of the rows above"

    def _label(self, cells: Sequence[str], filled: set[int], start: int, place: int) -> set[int]:
        """Where the line's first cell is a word that no row above has there: none has a digit, as batches and lines mostly do."""
        first = min(filled, default=-1)
        if first in self.numeric or first < 0 or any(letter.isdigit() for letter in cells[first]):
            return set()
        return set() if (self.frame[first].iloc[start:place] == cells[first]).any() else {first}


def _is_sum_or_mean(cell: str, above: Sequence[str], *, sums_only: bool = False) -> bool:
    value, values = _rough(cell), [v for text in above if (v := _rough(text)) is not None]
    if value is None or len(values) < 2:
        return False
    last = cell.replace(",", ".").rpartition(".")
    within = 0.51 * 10.0 ** -len(last[2]) if last[1] else 0.51
    total = sum(values)
    is_sum = abs(value - total) <= max(within, 1e-9 * abs(total))
    return is_sum or (not sums_only and abs(value - total / len(values)) <= within)


def _rough(text: str) -> float | None:
    """A number before the file's decimal mark is settled: whichever mark stands last."""
    text = numbers.plain(text)
    mark = "," if text.rfind(",") > text.rfind(".") else "."
    return numbers.number(text, mark)
