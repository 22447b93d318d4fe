"""CSV as spreadsheets and people write it: encoding, delimiter, quotes, line ends."""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Iterator
from dataclasses import dataclass

import pandas as pd

from models import headers
from models.plant import Plant
from models.sheet import Refused

LONGEST_LINE = 1 << 20
_DELIMITERS = {",": "comma", ";": "semicolon", "\t": "tab"}
_OTHER_FILES = {
    b"%PDF": "a PDF", b"\x89PNG": "a picture", b"\xff\xd8\xff": "a picture", b"GIF8": "a picture", b"\x1f\x8b": "a compressed file",
    b"7z\xbc\xaf": "a compressed file", b"Rar!": "a compressed file", b"{\\rtf": "a text document", b"<html": "a web page",
    b"<!DOCTYPE": "a web page", b"<?xml": "an XML file", b"SQLite format": "a database",
}  # fmt: skip
_CONTROL = bytes(c for c in range(32) if c not in b"\t\n\r\x0b\x0c\x1a\x1c\x1d\x1e\x1f")
_UNTIDY = re.compile(rb"[ \t]*[,;\t]")


@dataclass(frozen=True)
class Text:
    """A text file: `content` is UTF-8 without mark; `plain`: no quotes and every line ends with a line feed."""

    content: bytes
    encoding: str
    plain: bool


@dataclass(frozen=True)
class Body:
    """The lines under the header. frame: str, as many columns as headings and one more for what stands beyond."""

    frame: pd.DataFrame
    notes: tuple[str, ...] = ()


def decode(content: bytes) -> Text:
    """Bytes to UTF-8 text. Raises Refused for what is no text, and for lines no log has."""
    for mark, what in _OTHER_FILES.items():
        if content[:64].lstrip().startswith(mark):
            raise Refused(f"this is {what}, not a table: save the log as CSV or XLSX")
    content, encoding = _utf8(content)
    if len(content) != len(content.translate(None, _CONTROL)):
        raise Refused("binary content, not a table: save the log as CSV or XLSX")
    _lines_bounded(content)
    quoted = b'"' in content
    if not quoted and content.count(b"\r") != content.count(b"\r\n"):
        content = content.replace(b"\r\n", b"\n").replace(b"\r", b"\n")
    return Text(content, encoding, not quoted)


def _utf8(content: bytes) -> tuple[bytes, str]:
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
    try:
        return content.decode("cp1252").encode(), "Windows-1252"
    except UnicodeDecodeError:
        raise Refused("neither UTF-8, UTF-16 nor Windows-1252 text: save the log as CSV (UTF-8) or XLSX") from None


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


def _records(text: Text, delimiter: str, strict: bool = True) -> Iterator[list[str]]:
    lines = io.TextIOWrapper(io.BytesIO(text.content), "utf-8", newline="")
    quoting = csv.QUOTE_NONE if text.plain else csv.QUOTE_MINIMAL
    yield from csv.reader(lines, delimiter=delimiter, quoting=quoting, strict=strict)


def head(text: Text, delimiter: str) -> list[list[str]]:
    """The first lines of the file, cells trimmed."""
    rows: list[list[str]] = []
    try:
        for record in _records(text, delimiter, strict=False):
            rows.append([tidy(cell) for cell in record])
            if len(rows) >= headers.SEARCHED:
                break
    except csv.Error:
        pass
    return rows


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


def body(text: Text, delimiter: str, header: int, columns: int) -> Body:
    """Every line under the header (0-based record `header`), as a frame of columns + 1 text columns."""
    if text.plain:
        try:
            return Body(_fast(text, delimiter, header, columns))
        except pd.errors.ParserError:
            pass
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
    frame = pd.read_csv(
        stream, sep=delimiter, header=None, names=list(range(columns + 1)), index_col=False, dtype=str, engine="c",
        keep_default_na=False, na_values=[""], skip_blank_lines=False, quoting=csv.QUOTE_NONE, encoding="utf-8",
    )  # fmt: skip
    return _tidied(frame, text.content)


def _tidied(frame: pd.DataFrame, content: bytes) -> pd.DataFrame:
    untidy = not content.isascii() or any(mark in content for mark in _blanks())
    return frame.apply(tidied) if untidy else frame


def _blanks() -> Iterator[bytes]:
    for mark in (",", ";", "\t", "\n", "\r"):
        yield f"{mark} ".encode()
        yield f" {mark}".encode()
    yield from (b"\x0b", b"\x0c", b"\x1a", b"\x1c", b"\x1d", b"\x1e", b"\x1f", b"\x7f", b"\n\t", b"\t\t")


def tidied(column: pd.Series) -> pd.Series:
    """A text column with every cell tidied; empty cells become missing."""
    codes, distinct = pd.factorize(column.to_numpy(dtype=object))
    clean = [tidy(text) or None for text in distinct]
    return pd.Series([clean[c] if c >= 0 else None for c in codes], dtype="str")


def _slow(text: Text, delimiter: str, header: int, columns: int) -> Body:
    cells: list[list[str | None]] = [[] for _ in range(columns + 1)]
    known: dict[str, str | None] = {}
    try:
        for number, record in enumerate(_records(text, delimiter)):
            if number <= header:
                continue
            if len(record) > columns:
                record = [*record[:columns], delimiter.join(record[columns:]).strip(delimiter + " ")]
            for index, cell in enumerate(record):
                if cell not in known:
                    known[cell] = tidy(cell) or None
                cells[index].append(known[cell])
            for index in range(len(record), columns + 1):
                cells[index].append(None)
    except csv.Error as error:
        raise Refused(f"line {len(cells[0]) + header + 2} cannot be read as CSV ({error}): look for a quotation mark that is not closed") from None
    return Body(_frame(cells))


def _frame(cells: list[list[str | None]]) -> pd.DataFrame:
    return pd.DataFrame({i: pd.Series(column, dtype="str") for i, column in enumerate(cells)})
