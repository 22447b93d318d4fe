"""Workbooks as a spreadsheet program saves them, and one that is made to do harm."""

from __future__ import annotations

import io
import zipfile
from datetime import date, datetime

from tests.ugly.sheets import OUTPUT, made
from tests.unit import books


def merged_title() -> bytes:
    """A title over merged cells, real dates, and a hidden sheet before it."""
    from openpyxl import Workbook

    book = Workbook()
    sheet = book.active
    assert sheet is not None
    sheet["A1"] = "Output, week 19"
    sheet.merge_cells("A1:F1")
    sheet.append(list(OUTPUT))
    sheet.append(["L1", "milk-loaf", date(2026, 5, 11), "early", 900, 6])
    sheet.append(["L1", "milk-loaf", datetime(2026, 5, 11), "late", 901, 6])
    hidden = book.create_sheet("old", 0)
    hidden.sheet_state = "hidden"
    hidden.append(["not", "this"])
    file = io.BytesIO()
    book.save(file)
    return file.getvalue()


def behind_a_cover() -> bytes:
    """The log on the second sheet."""
    from openpyxl import Workbook

    book = Workbook()
    cover, sheet = book.active, book.create_sheet("Output")
    assert cover is not None
    cover["A1"] = "Week 20"
    for line in (OUTPUT, made(13)):
        sheet.append(list(line))
    file = io.BytesIO()
    book.save(file)
    return file.getvalue()


def bomb() -> bytes:
    """A workbook of some kilobytes that would unpack to 192 MB of one sheet."""
    file = io.BytesIO()
    with (
        zipfile.ZipFile(io.BytesIO(books.workbook(list(OUTPUT), made(1))), "r") as whole,
        zipfile.ZipFile(file, "w", zipfile.ZIP_DEFLATED, compresslevel=9) as book,
    ):
        for part in whole.namelist():
            if part == "xl/worksheets/sheet1.xml":
                with book.open(part, "w", force_zip64=True) as sheet:
                    for _ in range(3):
                        sheet.write(b" " * (1 << 26))
            else:
                book.writestr(part, whole.read(part))
    return file.getvalue()
