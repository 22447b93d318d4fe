"""Workbooks and text files for the reader's tests, made by hand where no spreadsheet program would make them."""

from __future__ import annotations

import io
import zipfile
from typing import Any

from models.reader import intake, reading
from models.reader.reading import Typed
from models.reader.sheet import Sheet
from tests.unit import rows

PLANT = rows.plant()
MAIN = "http://schemas.openxmlformats.org/spreadsheetml/2006/main"
_RELATIONS = "http://schemas.openxmlformats.org/package/2006/relationships"
_OFFICE = "http://schemas.openxmlformats.org/officeDocument/2006/relationships"
OUTPUT = "line,product,shift_date,shift,pieces_made,pieces_wasted\n"
ROW = "L1,milk-loaf,2026-05-06,early,900,6\n"


def sheet(text: str | bytes, **plant: Any) -> Sheet:
    """Read a text as a log of the small plant."""
    content = text.encode() if isinstance(text, str) else text
    return intake.read("log", content, rows.plant(**plant) if plant else PLANT)


def typed(text: str | bytes, **plant: Any) -> Typed:
    """Read and type a text as a log of the small plant."""
    return reading.typed(sheet(text, **plant), rows.plant(**plant) if plant else PLANT)


def packed(parts: dict[str, str | bytes]) -> bytes:
    """A zip of these parts."""
    file = io.BytesIO()
    with zipfile.ZipFile(file, "w", zipfile.ZIP_DEFLATED) as book:
        for name, part in parts.items():
            book.writestr(name, part)
    return file.getvalue()


def xlsx(body: str, **more: str) -> bytes:
    """A bare XLSX of one sheet with this inside its worksheet element. more: parts under xl/, by name."""
    parts: dict[str, str | bytes] = {
        "_rels/.rels": _relation("officeDocument", "xl/workbook.xml"),
        "xl/workbook.xml": f'<workbook xmlns="{MAIN}" xmlns:r="{_OFFICE}"><sheets>'
        '<sheet name="S" sheetId="1" r:id="rId1"/></sheets></workbook>',
        "xl/_rels/workbook.xml.rels": _relation("worksheet", "worksheets/sheet1.xml"),
        "xl/worksheets/sheet1.xml": f'<worksheet xmlns="{MAIN}">{body}</worksheet>',
    }
    return packed(parts | {f"xl/{name}.xml": part for name, part in more.items()})


def _relation(kind: str, target: str) -> str:
    relation = f'<Relationship Id="rId1" Type="{_OFFICE}/{kind}" Target="{target}"/>'
    return f'<Relationships xmlns="{_RELATIONS}">{relation}</Relationships>'


def ods(table_rows: str) -> bytes:
    """A bare ODS of one sheet with these rows."""
    names = ("office", "table", "text")
    spaces = " ".join(f'xmlns:{n}="urn:oasis:names:tc:opendocument:xmlns:{n}:1.0"' for n in names)
    content = f'<office:spreadsheet><table:table table:name="S">{table_rows}</table:table></office:spreadsheet>'
    kind = "application/vnd.oasis.opendocument.spreadsheet"
    manifest = "urn:oasis:names:tc:opendocument:xmlns:manifest:1.0"
    return packed(
        {
            "mimetype": kind,
            "META-INF/manifest.xml": f'<manifest:manifest xmlns:manifest="{manifest}"><manifest:file-entry '
            f'manifest:full-path="/" manifest:media-type="{kind}"/></manifest:manifest>',
            "content.xml": f"<office:document-content {spaces}><office:body>{content}</office:body>"
            "</office:document-content>",
        }
    )


def ods_row(*cells: object, rows: int = 1) -> str:
    """One ODS row; numbers as numbers, everything else as text, None as an empty cell."""
    made = []
    for cell in cells:
        if cell is None:
            made.append("<table:table-cell/>")
        elif isinstance(cell, (int, float)):
            kind = f'office:value-type="float" office:value="{cell}"'
            made.append(f"<table:table-cell {kind}><text:p>{cell}</text:p></table:table-cell>")
        else:
            made.append(f'<table:table-cell office:value-type="string"><text:p>{cell}</text:p></table:table-cell>')
    return f'<table:table-row table:number-rows-repeated="{rows}">{"".join(made)}</table:table-row>'


def workbook(*lines: list[Any], **sheets: list[list[Any]]) -> bytes:
    """An XLSX of these lines as a spreadsheet library writes it; `sheets`: more of them, hidden."""
    from openpyxl import Workbook

    book = Workbook()
    assert book.active is not None
    for line in lines:
        book.active.append(line)
    for place, (name, more) in enumerate(sheets.items()):
        hidden = book.create_sheet(name, place)
        hidden.sheet_state = "hidden"
        for line in more:
            hidden.append(line)
    file = io.BytesIO()
    book.save(file)
    return file.getvalue()
