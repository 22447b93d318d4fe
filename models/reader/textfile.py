"""CSV as spreadsheets and people write it: encoding, delimiter, quotes, line ends."""

from __future__ import annotations

import csv
import io
import unicodedata
import warnings
from collections import deque
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from itertools import islice

import numpy as np
import pandas as pd

from models.plant import Plant
from models.reader import headers
from models.reader.sheet import Refused

LONGEST_LINE = 1 << 20
LONGEST_CELL = 1 << 17
HEAD_BYTES = 1 << 21
MOST_ODD = 20
_PIECE = 1 << 22
_DELIMITERS = {",": "comma", ";": "semicolon", "\t": "tab"}
# older code pages, the most common first, and how much of a file is looked at to tell them
_PAGES = {
    "cp1252": "Windows-1252", "cp1250": "Windows-1250", "cp1254": "Windows-1254", "cp1257": "Windows-1257",
    "cp1251": "Windows-1251", "cp1253": "Windows-1253", "mac_roman": "Mac Roman",
}  # fmt: skip
_PAGE_TOLD_BY = 1 << 16
_OTHER_FILES = {
    b"%PDF": "a PDF", b"\x89PNG": "a picture", b"\xff\xd8\xff": "a picture", b"GIF8": "a picture",
    b"\x1f\x8b": "a compressed file", b"7z\xbc\xaf": "a compressed file", b"Rar!": "a compressed file",
    b"{\\rtf": "a text document", b"<html": "a web page", b"<!DOCTYPE": "a web page", b"<?xml": "an XML file", b"<table": "a web page",
    b"SQLite format": "a database",
}  # fmt: skip
# What a byte is to a table: 0 never in a text, 1 no sign that is seen, | between cells, a blank, x anything else.
_CLASSES = bytearray(b"x" * 256)
_CLASSES[0:32], _CLASSES[0x7F], _CLASSES[0x20] = b"\0" + b"\1" * 31, 1, 0x20
for _byte in b",;\t\r\n":
    _CLASSES[_byte] = ord("|")


@dataclass(frozen=True)
class Text:
    """A text file: `content` is UTF-8 without mark.

    plain: no quotes, and every line ends with a line feed; tidy: no cell needs trimming.
    """

    content: bytes
    encoding: str
    plain: bool
    tidy: bool


@dataclass(frozen=True)
class Body:
    """The lines under the header. frame: str, as many columns as headings and one more for what stands beyond."""

    frame: pd.DataFrame
    notes: tuple[str, ...] = ()


def decode(content: bytes, plant: Plant | None = None) -> Text:
    """Bytes to UTF-8 text. Raises Refused for what is no text, and for lines no log has.

    plant: whose headings and codes tell an older code page; without it, and where they do not tell, Windows-1252.
    """
    for mark, what in _OTHER_FILES.items():
        if content[:64].lstrip().startswith(mark):
            raise Refused(f"this is {what}, not a table: save the log as CSV or XLSX")
    _lines_bounded(content)
    content, encoding = _utf8(content, plant)
    quoted = b'"' in content
    if not quoted and b"\r" in content and content.count(b"\r") != content.count(b"\r\n"):
        content = content.replace(b"\r\n", b"\n").replace(b"\r", b"\n")
    return Text(content, encoding, not quoted, _tidy_already(content))


def _tidy_already(content: bytes) -> bool:
    """Whether no cell begins or ends with a blank or holds an odd character. Raises Refused for binary content."""
    tidy_already = content.isascii() and not (b"\t" in content and b"," in content)
    odd = 0
    for start in range(0, len(content), _PIECE):
        piece = content[max(start - 1, 0) : start + _PIECE]
        if _plainly_tidy(piece):
            continue
        piece = piece.translate(_CLASSES)
        odd += piece.count(b"\1")
        if b"\0" in piece and b"\0" not in content.rstrip(b"\0"):
            raise Refused("the file ends in empty bytes: it was not copied whole, copy it again")
        if b"\0" in piece or odd > MOST_ODD + (start + len(piece)) // 100:
            raise Refused("binary content, not a table: save the log as CSV or XLSX")
        blank = b" " in piece and (b" |" in piece or b"| " in piece)
        tidy_already = tidy_already and not (odd or blank)
    return tidy_already and not content.startswith(b" ") and not content.endswith(b" ")


def _plainly_tidy(piece: bytes) -> bool:
    """Whether nothing but line ends and signs that are seen is in a piece: true of most, and several times quicker to tell."""
    unseen = int(np.count_nonzero(np.frombuffer(piece, dtype=np.uint8) < 0x20))
    return b" " not in piece and b"\x7f" not in piece and unseen == piece.count(b"\n")


def _utf8(content: bytes, plant: Plant | None) -> tuple[bytes, str]:
    try:
        if content.startswith((b"\xff\xfe", b"\xfe\xff")):
            return content.decode("utf-16").encode(), "UTF-16"
        if (wide := _unmarked_utf16(content)) is not None:
            return content.decode(wide).encode(), "UTF-16"
    except UnicodeDecodeError:
        raise Refused("UTF-16 text that breaks off in the middle of a character: copy the file again") from None
    if content.startswith(b"\xef\xbb\xbf"):
        content = content[3:]
    try:
        if not content.isascii():
            content.decode("utf-8")
        return content, "UTF-8"
    except UnicodeDecodeError as error:
        if error.reason == "unexpected end of data":
            raise Refused("the file breaks off in the middle of a character: copy it again") from None
    page = _page(content[:_PAGE_TOLD_BY], _odd_words(plant) if plant else ())
    try:
        return content.decode(page).encode(), _PAGES[page]
    except UnicodeDecodeError:
        raise Refused("neither UTF-8, UTF-16 nor Windows-1252 text: save the log as CSV (UTF-8) or XLSX") from None


def _page(head: bytes, words: Iterable[str]) -> str:
    """The code page under which most of the plant's own words stand at the beginning of a file; Western Europe's where none do."""
    texts = {page: head.decode(page, "ignore").casefold() for page in _PAGES}
    found = {page: sum(word in text for word in words) for page, text in texts.items()}
    return max(found, key=lambda page: found[page])


def _odd_words(plant: Plant) -> list[str]:
    """The plant's own headings and codes that are more than ASCII, in small letters."""
    headings = [theirs for own in plant.columns.values() for theirs in own]
    words = {*headings, *plant.kettles, *plant.lines, *plant.products, *plant.shifts, *plant.pastes}
    return sorted(unicodedata.normalize("NFC", word).casefold() for word in words if not word.isascii())


def _unmarked_utf16(content: bytes) -> str | None:
    head = content[:400]
    half = max(len(head) // 2, 1)
    if len(content) % 2 == 0 and head[1::2].count(0) > 0.8 * half and head[::2].count(0) == 0:
        return "utf-16-le"
    if len(content) % 2 == 0 and head[::2].count(0) > 0.8 * half and head[1::2].count(0) == 0:
        return "utf-16-be"
    return None


def _lines_bounded(content: bytes) -> None:
    start, end = 0, len(content)
    while end - start > LONGEST_LINE:
        line_end = max(content.rfind(mark, start, start + LONGEST_LINE) for mark in (b"\n", b"\r"))
        if line_end < start:
            raise Refused(f"a line is longer than {LONGEST_LINE:,} characters: this is no log")
        start = line_end + 1


def _records(
    text: Text, delimiter: str, header: int = -1, columns: int = 0, odd: list[int] | None = None
) -> Iterator[list[str]]:
    """The file's records, as a spreadsheet counts rows: a quoted line break adds none.

    columns: how many cells a line below record `header` should have, 0 while that is not known. Lines whose quotation
    marks do not close are read as they stand, and their record numbers (0-based) put into `odd`: a lone mark (ditto)
    swallows no row.
    """
    lines = io.TextIOWrapper(io.BytesIO(text.content), "utf-8", newline="")
    if text.plain:
        yield from (_cells(line, delimiter) for line in lines)
        return
    waiting: deque[str] = deque()
    number = 0
    while True:
        line = waiting.popleft() if waiting else next(lines, "")
        if not line:
            return
        if '"' not in line:
            yield _cells(line, delimiter)
        else:
            record = _parsed([line], delimiter) or _joined(
                line, waiting, lines, delimiter, columns if number > header else 0
            )
            if record is None:
                record = [_unquoted(cell) for cell in _cells(line, delimiter)]
                if odd is not None:
                    odd.append(number)
            yield record
        number += 1


def _cells(line: str, delimiter: str) -> list[str]:
    line = line.rstrip("\r\n")
    return line.split(delimiter) if line else []


def _unquoted(cell: str) -> str:
    bare = cell.strip()
    return bare[1:-1].replace('""', '"') if len(bare) > 2 and bare[0] == bare[-1] == '"' else cell


def _parsed(lines: list[str], delimiter: str) -> list[str] | None:
    """The one record these lines hold; None where the quotation marks do not work out."""
    try:
        records = list(csv.reader(lines, delimiter=delimiter, strict=True))
    except csv.Error:
        return None
    return records[0] if len(records) == 1 else None


def _joined(line: str, waiting: deque[str], lines: Iterator[str], delimiter: str, columns: int) -> list[str] | None:
    """A record that goes on over several lines, taken off `waiting`; None where it is none."""
    if line.count('"') % 2 == 0:
        return None
    parts, at, size = [line], 0, len(line)
    while size <= LONGEST_CELL:
        if at == len(waiting):
            following = next(lines, "")
            if not following:
                return None
            waiting.append(following)
        parts.append(waiting[at])
        at, size = at + 1, size + len(parts[-1])
        if parts[-1].count('"') % 2:
            break
    record = _parsed(parts, delimiter)
    if record is None or (columns and (len(record) > columns or all(p.count(delimiter) == columns - 1 for p in parts))):
        return None
    for _ in range(at):
        waiting.popleft()
    return record


def head(text: Text, delimiter: str) -> list[list[str]]:
    """The first lines of the file, cells trimmed."""
    content = text.content
    if len(content) > HEAD_BYTES:
        content = content[: max(content.rfind(mark, 0, HEAD_BYTES) for mark in (b"\n", b"\r")) + 1]
    records = _records(replace(text, content=content), delimiter)
    return [[tidy(cell) for cell in record] for record in islice(records, headers.SEARCHED)]


def delimiter_of(text: Text, plant: Plant) -> str:
    """The delimiter under which the first lines hold most of a log's headings."""
    best = {mark: headers.score(head(text, mark), plant) for mark in _DELIMITERS}
    if max(best.values()) == 0:
        counts = {mark: text.content[:4096].count(mark.encode()) for mark in _DELIMITERS}
        return max(counts, key=lambda mark: counts[mark])
    return max(best, key=lambda mark: best[mark])


def name_of(delimiter: str) -> str:
    """A delimiter in words."""
    return _DELIMITERS[delimiter]


def tidy(text: str) -> str:
    """A cell as it is kept: outer blanks, control characters and text-direction marks gone, otherwise verbatim."""
    text = " ".join(text.splitlines()) if not text.isprintable() else text
    if not text.isprintable():
        text = "".join(c for c in text.replace("\t", " ") if c.isprintable() or c in "\xa0\u2009\u202f\u3000")
    return text.strip("\ufeff\u200b \xa0\u2009\u202f\u3000")


def as_parted(text: Text, delimiter: str, header: int, columns: int, places: set[int]) -> Iterator[tuple[int, list[str]]]:
    """Rows under record `header` as the file's delimiter parts them, untrimmed, each with its number as a spreadsheet shows it.

    places: which, 0-based under the header.
    """
    for place, record in enumerate(islice(_records(text, delimiter, header, columns), header + 1, None)):
        if place in places:
            yield header + 2 + place, record


def breaks_off(text: Text, delimiter: str, columns: int) -> bool:
    """Whether the file ends in the middle of its last line: no line end, too few cells, and the line before has all.

    Told for plain files only; with quotes the last record may go on over several lines.
    """
    before, _, last = text.content[-2 * LONGEST_LINE :].rpartition(b"\n")
    mark, full = delimiter.encode(), columns - 1
    return text.plain and len(last) > 0 and last.count(mark) < full and before.rpartition(b"\n")[2].count(mark) >= full


def body(text: Text, delimiter: str, header: int, columns: int) -> Body:
    """Every line under the header (0-based record `header`), as a frame of columns + 1 text columns."""
    if text.plain:
        try:
            return Body(_fast(text, delimiter, header, columns))
        except (pd.errors.ParserError, pd.errors.ParserWarning):
            pass  # more cells than headings in some line: counted out below
    return _slow(text, delimiter, header, columns)


def _fast(text: Text, delimiter: str, header: int, columns: int) -> pd.DataFrame:
    start = 0
    for _ in range(header + 1):
        start = text.content.find(b"\n", start) + 1
        if not start:
            return _frame([[] for _ in range(columns + 1)])
    if start >= len(text.content):
        return _frame([[] for _ in range(columns + 1)])
    stream = io.BytesIO(text.content)
    stream.seek(start)
    with warnings.catch_warnings():
        warnings.simplefilter("error", pd.errors.ParserWarning)
        frame = pd.read_csv(
            stream, sep=delimiter, header=None, names=list(range(columns + 1)), index_col=False, dtype=str, engine="c",
            keep_default_na=False, na_values=[""], skip_blank_lines=False, quoting=csv.QUOTE_NONE, encoding="utf-8",
        )  # fmt: skip
    return frame if text.tidy else frame.apply(tidied)


def tidied(column: pd.Series) -> pd.Series:
    """A text column with every cell tidied; empty cells become missing."""
    codes, distinct = pd.factorize(column.to_numpy(dtype=object))
    clean = [tidy(text) or None for text in distinct]
    return pd.Series([clean[c] if c >= 0 else None for c in codes], dtype="str")


def _slow(text: Text, delimiter: str, header: int, columns: int) -> Body:
    cells: list[list[str | None]] = [[] for _ in range(columns + 1)]
    known: dict[str, str | None] = {}
    odd: list[int] = []
    for record in islice(_records(text, delimiter, header, columns, odd), header + 1, None):
        if len(record) > columns:
            record = [*record[:columns], delimiter.join(record[columns:]).strip(delimiter + " ")]
        for index, cell in enumerate(record):
            if cell not in known:
                known[cell] = tidy(cell) or None
            cells[index].append(known[cell])
        for index in range(len(record), columns + 1):
            cells[index].append(None)
    rows = ", ".join(str(n + 1) for n in odd[:5]) + (" and more" if len(odd) > 5 else "")
    notes = (f"quotation marks that do not close in row {rows}: read as they stand",) if odd else ()
    return Body(_frame(cells), notes)


def _frame(cells: list[list[str | None]]) -> pd.DataFrame:
    return pd.DataFrame({i: pd.Series(column, dtype="str") for i, column in enumerate(cells)})
