"""A workbook's packed parts, measured before a reader is let at them.

A reader sets memory aside by what a workbook says of itself: by the furthest cell, by counts of strings, by repeats.
Here every part is unpacked within a bound, those figures are checked, and only then are the parts packed again,
plainly, so that the reader sees exactly what was measured. Macros and everything else that is no XML stays behind.
"""

from __future__ import annotations

import io
import posixpath
import re
import struct
import zipfile
import zlib
from collections.abc import Iterator
from dataclasses import dataclass, field

from models.reader.numbers import NOT_WORKED_OUT
from models.reader.sheet import Refused

MOST_UNPACKED = 128 << 20
MOST_CELLS = 2_000_000
MOST_PARTS = 2000
MOST_ALIKE = 1000
MOST_ROWS, MOST_COLUMNS = 1_048_576, 16_384
_ATTRIBUTES = rb"""((?:\s+[\w:.-]+\s*=\s*(?:"[^"<]*"|'[^'<]*'))*\s*/?)>"""
_PREFIX = rb"<(?:[^\s<>/]*:)?"
_ROW_OR_CELL = re.compile(_PREFIX + rb"(row|c)" + _ATTRIBUTES)
_ANY_ROW_OR_CELL = re.compile(_PREFIX + rb"(?:row|c)(?=[\s/>])")
_PLACE = re.compile(rb"""\sr\s*=\s*["']([^"']*)["']""")
_CELL_NAME = re.compile(rb"([A-Za-z]{1,3})([0-9]{1,7})")
_STRINGS = re.compile(_PREFIX + rb"sst" + _ATTRIBUTES)
_ANY_STRINGS = re.compile(_PREFIX + rb"sst(?=[\s/>])")
_COUNT = re.compile(rb"""[cC]ount\s*=\s*["']([^"']*)["']""")
_ODS_TAG = re.compile(rb"<(/?)table:(table|table-row|table-cell|covered-table-cell)" + _ATTRIBUTES)
_ANY_ODS_TAG = re.compile(rb"</?table:(?:table|table-row|table-cell|covered-table-cell)(?=[\s/>])")
_REPEATED = re.compile(rb"""\stable:number-(?:rows|columns)-repeated\s*=\s*["']([^"']*)["']""")
_ERROR_CELL = re.compile(rb"""<c(\s[^<>]*\bt="e"[^<>]*)>(?:<f[^<>]*>[^<]*</f>|<f[^<>]*/>)?<v>([^<]*)</v></c>""")
_NOT_WORKED_OUT = re.compile(rb"""<c(\s[^<>]*)>(?:<f[^<>]*>[^<]*</f>|<f[^<>]*/>)(?:<v\s*/>|<v></v>)?</c>""")
_SHEET = re.compile(_PREFIX + rb"sheet" + _ATTRIBUTES)
_RELATION = re.compile(_PREFIX + rb"Relationship" + _ATTRIBUTES)
_FAR_TOO_LARGE = f"the workbook is larger than {MOST_CELLS:,} cells: save the log as CSV, or a file a day"
_BROKEN = "the workbook is broken: open it in a spreadsheet program and save it again"


@dataclass
class Parts:
    """A workbook ready for the reader.

    kind: xlsx or ods; odd: for each sheet's part, its cells that hold no value, by (row, column) from 0; sheets: the
    part of each sheet in workbook order; bare: sheets' parts of no line or one.
    """

    kind: str
    packed: io.BytesIO
    odd: dict[str, dict[tuple[int, int], str]] = field(default_factory=dict)
    sheets: list[str] = field(default_factory=list)
    bare: set[str] = field(default_factory=set)


def measured(content: bytes) -> Parts:
    """Unpack, check and pack again. Raises Refused for what is broken, locked, no workbook, or too large."""
    try:
        with zipfile.ZipFile(io.BytesIO(content)) as book:
            entries = book.infolist()
    except (zipfile.BadZipFile, NotImplementedError, struct.error, ValueError, EOFError, OSError):
        raise Refused(f"{_BROKEN}, or copy it again") from None
    parts = Parts(_kind(entries), io.BytesIO())
    left = MOST_UNPACKED
    relations = workbook = b""
    with zipfile.ZipFile(parts.packed, "w", zipfile.ZIP_STORED) as packed:
        for entry in _wanted(entries):
            part = _unpacked(content, entry, left)
            left -= len(part)
            _check(parts, entry.filename, part)
            packed.writestr(zipfile.ZipInfo(entry.filename), part)
            if entry.filename == "xl/workbook.xml":
                workbook = part
            elif entry.filename == "xl/_rels/workbook.xml.rels":
                relations = part
    parts.sheets = _sheet_parts(workbook, relations)
    parts.packed.seek(0)
    return parts


def _kind(entries: list[zipfile.ZipInfo]) -> str:
    names = {entry.filename for entry in entries}
    if len(entries) > MOST_PARTS or len(names) < len(entries):
        raise Refused(_BROKEN)
    if "xl/workbook.xml" in names:
        return "xlsx"
    if "xl/workbook.bin" in names:
        raise Refused("a binary workbook: save it as XLSX")
    if "content.xml" in names and "mimetype" in names:
        return "ods"
    raise Refused("a packed file, but no workbook: put the log itself into the folder, as CSV or XLSX")


def _wanted(entries: list[zipfile.ZipInfo]) -> Iterator[zipfile.ZipInfo]:
    for entry in entries:
        if entry.filename.lower().endswith((".xml", ".rels")) or entry.filename == "mimetype":
            if entry.flag_bits & 1:
                raise Refused("the workbook is protected by a password: save it without one")
            yield entry


def _unpacked(content: bytes, entry: zipfile.ZipInfo, most: int) -> bytes:
    """A part's true content, whatever the directory says of its size."""
    fixed = content[entry.header_offset : entry.header_offset + 30]
    if len(fixed) < 30 or fixed[:4] != b"PK\x03\x04":
        raise Refused(_BROKEN)
    start = entry.header_offset + 30 + sum(struct.unpack("<HH", fixed[26:30]))
    data = memoryview(content)[start : start + entry.compress_size]
    if entry.compress_type == zipfile.ZIP_STORED:
        part = bytes(data[: most + 1])
    elif entry.compress_type == zipfile.ZIP_DEFLATED:
        try:
            part = zlib.decompressobj(-15).decompress(data, most + 1)
        except zlib.error:
            raise Refused(_BROKEN) from None
    else:
        raise Refused(_BROKEN)
    if len(part) > most:
        raise Refused(
            f"the workbook unpacks to more than {MOST_UNPACKED >> 20} MB: save the log as CSV, or a file a day"
        )
    return part


def _check(parts: Parts, name: str, part: bytes) -> None:
    if part.count(b"<si") > MOST_CELLS or part.count(b"<c") + part.count(b"<row") > 3 * MOST_CELLS:
        raise Refused(_FAR_TOO_LARGE)
    has_strings = _ANY_STRINGS.search(part) is not None
    is_sheet = name == "content.xml" if parts.kind == "ods" else b"sheetData" in part
    if not (is_sheet or has_strings):
        return
    if b"<!" in part or part.rfind(b"<?") > 3 or b"\0" in part[:200]:
        raise Refused(_BROKEN)
    if has_strings:
        _measure_strings(part)
    if is_sheet and part.count(b"row ") + part.count(b"row>") < 4:  # an opening and an end each
        parts.bare.add(name)
    if is_sheet and parts.kind == "ods":
        _measure_ods(part)
    elif is_sheet:
        _measure_xlsx(part)
        parts.odd[name] = _without_value(part)


def _tags(part: bytes, well_formed: re.Pattern[bytes], any_: re.Pattern[bytes]) -> Iterator[re.Match[bytes]]:
    """Every tag of a kind. One that is not well formed is read in one way by one reader and otherwise by another."""
    if sum(1 for _ in any_.finditer(part)) != sum(1 for _ in well_formed.finditer(part)):
        raise Refused(_BROKEN)
    return well_formed.finditer(part)


def _once(pattern: re.Pattern[bytes], attributes: bytes) -> bytes | None:
    """An attribute's value; None where it is not there. Raises Refused where it stands twice."""
    found = pattern.findall(attributes)
    if len(found) > 1:
        raise Refused(_BROKEN)
    return found[0] if found else None


def _measure_strings(part: bytes) -> None:
    for tag in _tags(part, _STRINGS, _ANY_STRINGS):
        for count in _COUNT.findall(tag[1]):
            if not count.isdigit() or len(count) > 9 or int(count) > len(part):
                raise Refused(_BROKEN)


def _measure_xlsx(part: bytes) -> None:
    """The furthest filled cell of a sheet decides how much room a reader takes."""
    row = column = high = wide = 0
    for tag in _tags(part, _ROW_OR_CELL, _ANY_ROW_OR_CELL):
        place = _once(_PLACE, tag[2])
        if tag[1] == b"row":
            row, column = _whole(place, MOST_ROWS) if place is not None else row + 1, 0
            continue
        if place is not None:
            column, row = _cell(place)
        else:
            column += 1
        if tag[2].endswith(b"/"):
            continue
        high, wide = max(high, row), max(wide, column)
        if high * wide > MOST_CELLS:
            raise Refused(_FAR_TOO_LARGE)


def _whole(text: bytes, most: int) -> int:
    if not text.isdigit() or len(text) > 10:
        raise Refused(_BROKEN)
    number = int(text)
    if not 0 < number <= most:
        raise Refused(_BROKEN)
    return number


def _cell(name: bytes) -> tuple[int, int]:
    found = _CELL_NAME.fullmatch(name)
    if not found:
        raise Refused(_BROKEN)
    column = 0
    for letter in found[1].upper():
        column = column * 26 + letter - 64
    if column > MOST_COLUMNS:
        raise Refused(_BROKEN)
    return column, _whole(found[2], MOST_ROWS)


def _measure_ods(part: bytes) -> None:
    """Rows and cells may be repeated; what is filled, repeats included, is bounded for all sheets together."""
    rows = wide = high = column = filled = repeat = total = 0
    for tag in _tags(part, _ODS_TAG, _ANY_ODS_TAG):
        closing, name, attributes = tag[1] == b"/", tag[2], tag[3]
        times = _times(attributes)
        if name == b"table":
            total += high * wide
            rows = wide = high = 0
        elif name == b"table-row":
            if not closing:
                repeat, column, filled = times, 0, 0
            if closing and filled and repeat > MOST_ALIKE:
                raise Refused(f"a row stands {repeat:,} times one below the other: this is no log")
            if closing or attributes.endswith(b"/"):
                rows += repeat
                high, wide = (rows, max(wide, filled)) if filled else (high, wide)
        elif not closing:
            column += times
            if b"office:value-type" in attributes or not attributes.endswith(b"/"):
                filled = column
        if total + high * wide > MOST_CELLS:
            raise Refused(_FAR_TOO_LARGE)


def _times(attributes: bytes) -> int:
    repeated = _once(_REPEATED, attributes)
    return 1 if repeated is None else _whole(repeated, 1 << 31)


def _without_value(part: bytes) -> dict[tuple[int, int], str]:
    """Cells whose formula gave an error, or was never worked out, which a reader takes for empty: place to text."""
    found: list[tuple[bytes, str]] = []
    if b't="e"' in part:
        found += [
            (attributes, value.decode("utf-8", "replace")[:20]) for attributes, value in _ERROR_CELL.findall(part)
        ]
    if b"<f" in part:
        found += [
            (attributes, NOT_WORKED_OUT) for attributes in _NOT_WORKED_OUT.findall(part) if b't="str"' not in attributes
        ]
    odd = {}
    for attributes, text in found:
        if place := _PLACE.search(attributes):
            column, row = _cell(place[1])
            odd[row - 1, column - 1] = text
    return odd


def _sheet_parts(workbook: bytes, relations: bytes) -> list[str]:
    """The part of each sheet, in workbook order; empty where it is not told."""
    targets = {}
    for tag in _RELATION.finditer(relations):
        targets[_attribute(tag[1], rb"Id")] = _attribute(tag[1], rb"Target")
    found = []
    for tag in _SHEET.finditer(workbook):
        target = targets.get(_attribute(tag[1], rb"\w+:id"), "")
        found.append(target.lstrip("/") if target.startswith("/") else posixpath.normpath(f"xl/{target}"))
    return found


def _attribute(attributes: bytes, name: bytes) -> str:
    found = re.search(rb"""(?:^|\s)""" + name + rb"""\s*=\s*["']([^"']*)["']""", attributes)
    return found[1].decode("utf-8", "replace") if found else ""
