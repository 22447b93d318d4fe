"""A log sheet as an XLSX workbook, the same bytes each time: nothing compressed, no clock in it (ECMA-376)."""

from __future__ import annotations

import io
import zipfile
from xml.sax.saxutils import escape

from models.logbook import TABLES
from seed_data.sheets import Sheet, lines

_HEAD = '<?xml version="1.0" encoding="UTF-8" standalone="yes"?>\n'
_MAIN = "http://schemas.openxmlformats.org/spreadsheetml/2006/main"
_OFFICE = "http://schemas.openxmlformats.org/officeDocument/2006/relationships"
_PACKAGE = "http://schemas.openxmlformats.org/package/2006"
_TYPE = "application/vnd.openxmlformats-officedocument.spreadsheetml"
_PARTS = {
    "[Content_Types].xml": (
        f'<Types xmlns="{_PACKAGE}/content-types">'
        '<Default Extension="rels" ContentType="application/vnd.openxmlformats-package.relationships+xml"/>'
        '<Default Extension="xml" ContentType="application/xml"/>'
        f'<Override PartName="/xl/workbook.xml" ContentType="{_TYPE}.sheet.main+xml"/>'
        f'<Override PartName="/xl/worksheets/sheet1.xml" ContentType="{_TYPE}.worksheet+xml"/></Types>'
    ),
    "_rels/.rels": (
        f'<Relationships xmlns="{_PACKAGE}/relationships">'
        f'<Relationship Id="rId1" Type="{_OFFICE}/officeDocument" Target="xl/workbook.xml"/></Relationships>'
    ),
    "xl/workbook.xml": (
        f'<workbook xmlns="{_MAIN}" xmlns:r="{_OFFICE}"><sheets>'
        '<sheet name="log" sheetId="1" r:id="rId1"/></sheets></workbook>'
    ),
    "xl/_rels/workbook.xml.rels": (
        f'<Relationships xmlns="{_PACKAGE}/relationships">'
        f'<Relationship Id="rId1" Type="{_OFFICE}/worksheet" Target="worksheets/sheet1.xml"/></Relationships>'
    ),
}


def as_xlsx(sheet: Sheet) -> bytes:
    """The sheet as a workbook: numbers as numbers, everything else as text."""
    held = io.BytesIO()
    with zipfile.ZipFile(held, "w", zipfile.ZIP_STORED) as book:
        for name, content in (_PARTS | {"xl/worksheets/sheet1.xml": _worksheet(sheet)}).items():
            entry = zipfile.ZipInfo(name, date_time=(2026, 1, 1, 0, 0, 0))
            entry.create_system = 3
            entry.external_attr = 0o644 << 16
            book.writestr(entry, (_HEAD + content).encode())
    return held.getvalue()


def _worksheet(sheet: Sheet) -> str:
    numeric = {i for i, column in enumerate(TABLES[sheet.kind].columns) if column.type == "number"}
    header = len(sheet.above)
    rows = []
    for r, cells in enumerate(lines(sheet)):
        made = [_cell(r, c, text, r > header and c in numeric) for c, text in enumerate(cells) if text]
        rows.append(f'<row r="{r + 1}">{"".join(made)}</row>')
    return f'<worksheet xmlns="{_MAIN}"><sheetData>{"".join(rows)}</sheetData></worksheet>'


def _cell(row: int, column: int, text: str, number: bool) -> str:
    place = f"{chr(65 + column)}{row + 1}"
    if number:
        return f'<c r="{place}"><v>{text}</v></c>'
    return f'<c r="{place}" t="inlineStr"><is><t xml:space="preserve">{escape(text)}</t></is></c>'
