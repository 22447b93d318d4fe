"""Workbooks: the first visible sheet as a person sees it, and nothing that only claims to be one."""

from __future__ import annotations

import datetime as dt
import io
import subprocess
import sys
import zipfile

import pytest

from models.reader import intake, unpack, workbook
from models.reader.sheet import Refused
from tests.unit import books

HEAD = ["line", "product", "shift_date", "shift", "pieces_made", "pieces_wasted"]
LINE = ["L1", "milk-loaf", dt.date(2026, 5, 6), "early", 900, 6]
FAR = '<sheetData><row r="1"><c r="A1"><v>1</v></c></row><row r="{0}"><c r="{1}{0}"><v>1</v></c></row></sheetData>'


def test_a_plain_workbook_is_read():
    read = books.typed(books.workbook(HEAD, LINE))
    assert read.frame.iloc[0].tolist()[:2] == ["L1", "milk-loaf"] and not read.slips
    assert read.frame["shift_date"].tolist() == [dt.datetime(2026, 5, 6)]
    assert read.frame["pieces_made"].tolist() == [900.0]


def test_rows_are_counted_as_the_sheet_shows_them():
    sheet = books.sheet(books.workbook(["OUTPUT"], [], HEAD, LINE, [], LINE, ["Total", None, None, None, 1800]))
    assert (sheet.header_row, sheet.row_numbers.tolist()) == (3, [4, 6])
    assert [(over.row, over.why) for over in sheet.passed_over] == [
        (1, "above the header"),
        (2, "blank"),
        (5, "blank"),
        (7, "totals or averages"),
    ]


def test_a_hidden_sheet_is_passed_over_and_said():
    sheet = books.sheet(books.workbook(HEAD, LINE, codes=[["x", "y"]]))
    assert len(sheet.rows) == 1 and "hidden sheet 'codes' passed over" in sheet.notes


def test_a_second_sheet_with_lines_of_its_own_is_said_to_be_unread():
    """But not an empty one, nor the example of a blank log."""
    assert not books.sheet(_with(Sheet2=[], Sheet3=[HEAD], example=[HEAD, LINE])).notes
    (note,) = books.sheet(_with(Sheet2=[], again=[HEAD, LINE])).notes
    assert note == "sheet 'again' not read: a log is the first sheet, so save it as a file of its own if it is one"


def test_a_log_behind_a_cover_is_refused_and_told_where_it_may_be():
    """The contract's log is the first sheet; what else the workbook holds is named."""
    with pytest.raises(Refused, match="no row holds") as alone:
        books.sheet(books.workbook(["Weekly report"], ["signed", "KL"]))
    assert "sheet" not in str(alone.value).replace("blank sheets", "")
    with pytest.raises(Refused, match="only the first sheet, .*, is read: is the log on 'Output'[?] Put that sheet first"):
        books.sheet(_with([["Weekly report"]], Output=[HEAD, LINE]))


def _with(first: list[list] | None = None, **behind: list[list]) -> bytes:
    """A log of one line, or another first sheet, with other sheets behind it."""
    from openpyxl import load_workbook

    book = load_workbook(io.BytesIO(books.workbook(*(first or (HEAD, LINE)))))
    for name, lines in behind.items():
        sheet = book.create_sheet(name)
        for line in lines:
            sheet.append(line)
    file = io.BytesIO()
    book.save(file)
    return file.getvalue()


def test_cells_of_every_type_become_the_text_a_person_sees():
    cells = [
        dt.datetime(2026, 3, 14, 13, 10),
        dt.date(2026, 3, 14),
        dt.time(13, 10),
        0.1 + 0.2,
        7.0,
        "00123",
        True,
        1e15,
        -0.5,
    ]
    (line,) = workbook.grid(books.workbook(cells)).rows
    assert line == ["2026-03-14T13:10:00", "2026-03-14", "13:10:00", "0.3", "7", "00123", "TRUE", "1e+15", "-0.5"]


def test_identities_lose_no_zero_and_gain_no_point():
    head = ["gas_test", "tested_at", "gas_produced_ml"]
    at = dt.datetime(2026, 5, 6, 9, 0)
    read = books.typed(books.workbook(head, ["00123", at, 410], [7.0, at, 410], ["1E5", at, 410]))
    assert read.frame["gas_test"].tolist() == ["00123", "7", "1E5"]


def test_day_fractions_are_rounded_to_the_second():
    from openpyxl import Workbook

    book = Workbook()
    assert book.active is not None
    book.active.append(["gas_test", "tested_at", "gas_produced_ml"])
    book.active.append(["G1", 46148.3749999999, 410])
    book.active["B2"].number_format = "dd/mm/yyyy hh:mm"
    file = io.BytesIO()
    book.save(file)
    assert books.typed(file.getvalue()).frame["tested_at"].tolist() == [dt.datetime(2026, 5, 6, 8, 0)]


def test_midnight_is_a_time_where_the_column_has_times_and_a_bare_date_elsewhere():
    head = ["gas_test", "tested_at", "gas_produced_ml"]
    midnight, later = dt.datetime(2026, 5, 7), dt.datetime(2026, 5, 7, 0, 10)
    assert not books.typed(books.workbook(head, ["G1", midnight, 410], ["G2", later, 410])).slips
    (slip,) = books.typed(books.workbook(head, ["G1", midnight, 410])).slips
    assert (slip.column, slip.value) == ("tested_at", "2026-05-07") and "no time" in slip.why


def test_real_numbers_are_no_vote_for_comma_or_point():
    """A text with a decimal comma beside real numbers: the real ones stay what they are."""
    text = [*LINE[:4], "900", "6,0"]
    read = books.typed(books.workbook(HEAD, text, [*LINE[:4], 1850.125, 7.5]))
    assert read.frame["pieces_wasted"].tolist() == [6.0, 7.5] and read.frame["pieces_made"].tolist() == [
        900.0,
        1850.125,
    ]


def test_cells_merged_downwards_stand_in_every_row_but_no_weight_is_multiplied():
    from openpyxl import load_workbook

    book = load_workbook(io.BytesIO(books.workbook(HEAD, LINE, [None, *LINE[1:]], LINE)))
    assert book.active is not None
    book.active.merge_cells("A2:A3")
    book.active.merge_cells("F2:F4")
    file = io.BytesIO()
    book.save(file)
    read = books.typed(file.getvalue())
    assert read.frame["line"].tolist() == ["L1", "L1", "L1"] and not read.slips
    assert read.frame["pieces_wasted"].isna().tolist() == [False, True, True]
    assert "merged cells of line filled downwards" in read.notes


def test_cached_formula_values_are_read_and_formulas_without_one_are_asked_about():
    heading = "".join(
        f'<c r="{c}1" t="inlineStr"><is><t>{n}</t></is></c>'
        for c, n in zip("ABC", ("gas_test", "tested_at", "gas_produced_ml"), strict=True)
    )
    line = '<c r="A{0}" t="inlineStr"><is><t>G{0}</t></is></c>'
    line += '<c r="B{0}" t="inlineStr"><is><t>2026-05-06 09:00</t></is></c>'
    body = f'<sheetData><row r="1">{heading}</row>'
    for row, cell in enumerate(("<f>400+10</f><v>410</v>", "<f>1/0</f><v>#DIV/0!</v>", "<f>A1*2</f>"), 2):
        kind = ' t="e"' if "DIV" in cell else ""
        body += f'<row r="{row}">{line.format(row)}<c r="C{row}"{kind}>{cell}</c></row>'
    read = books.typed(books.xlsx(body + "</sheetData>"))
    assert read.frame["gas_produced_ml"].tolist()[0] == 410.0
    assert [(slip.row, slip.value) for slip in read.slips] == [(1, "#DIV/0!"), (2, "#FORMULA!")]


def test_an_open_document_sheet_is_read_with_its_repeats():
    row = books.ods_row("L1", "milk-loaf", "2026-05-06", "early", 900)
    cells = '<table:table-cell table:number-columns-repeated="16384"/>'
    empty = f'<table:table-row table:number-rows-repeated="1048570">{cells}</table:table-row>'
    sheet = books.sheet(books.ods(books.ods_row(*HEAD[:5]) + row + row + empty))
    assert len(sheet.rows) == 2 and sheet.rows["pieces_made"].tolist() == ["900", "900"]


BOMBS = {
    "a cell in the far corner": books.xlsx(FAR.format(1048576, "XFD")),
    "a cell beyond any sheet": books.xlsx(FAR.format(99999999999, "ZZZZZZZ")),
    "a row beyond any sheet": books.xlsx('<sheetData><row r="4294967290"><c><v>1</v></c></row></sheetData>'),
    "a far cell behind a bracket": books.xlsx(
        '<sheetData><row r="1"><c foo=">" r="XFD1"><v>1</v></c></row><row r="1048576">'
        '<c r="A1048576"><v>1</v></c></row></sheetData>'
    ),
    "a far cell behind a comment": books.xlsx(
        '<sheetData><!-- <c " --><row r="1"><c r="XFD1048576"><v>1</v></c></row></sheetData>'
    ),
    "a far cell named twice": books.xlsx(
        '<sheetData><row r="1"><c r="A1" t="n"r="XFD1048576"><v>1</v></c><c r="B1"><v>1</v></c></row></sheetData>'
    ),
    "a far cell under a prefix": books.xlsx(
        '<sheetData><a-b:row r="1"><a-b:c r="A1"><v>1</v></a-b:c><a-b:c r="XFD1048576"><v>1</v></a-b:c></a-b:row></sheetData>'
    ),
    "a count of four thousand million strings": books.xlsx(
        '<sheetData><row r="1"><c r="A1" t="s"><v>0</v></c></row></sheetData>',
        sharedStrings=f'<sst xmlns="{books.MAIN}" count="4000000000" uniqueCount="4000000000"><si><t>a</t></si></sst>',
    ),
    "a gigabyte of blanks": books.xlsx("<sheetData>" + " " * (160 << 20) + "</sheetData>"),
    "a row repeated without end": books.ods(books.ods_row(*range(50), rows=100_000_000)),
    "a cell repeated without end": books.ods(
        '<table:table-row><table:table-cell office:value-type="float" office:value="5" '
        'table:number-columns-repeated="4000000000"/></table:table-row>'
    ),
}


@pytest.mark.parametrize("name", BOMBS)
def test_bombs_are_refused_before_a_reader_sees_them(name: str):
    with pytest.raises(Refused, match="larger than|broken|unpacks to more|times one below the other"):
        unpack.measured(BOMBS[name])


@pytest.mark.parametrize(
    "name", ["a cell in the far corner", "a count of four thousand million strings", "a gigabyte of blanks"]
)
def test_bombs_are_refused_in_bounded_memory(name: str, tmp_path):
    """In a process of its own that may not take more than 1.5 GB."""
    (tmp_path / "bomb").write_bytes(BOMBS[name])
    program = (
        "import resource, sys, pathlib; resource.setrlimit(resource.RLIMIT_AS, (3 << 29, 3 << 29))\n"
        "from models.reader import intake; from tests.unit import rows\n"
        f"try: intake.read('x', pathlib.Path({str(tmp_path / 'bomb')!r}).read_bytes(), rows.plant())\n"
        "except intake.Refused as why: print('refused', why)"
    )
    done = subprocess.run([sys.executable, "-c", program], capture_output=True, text=True, timeout=60, check=False)
    assert done.stdout.startswith("refused"), done.stderr[-2000:]


def test_a_directory_that_lies_about_a_size_is_not_believed():
    """The part says it unpacks to ten bytes; what it really holds counts."""
    bomb = bytearray(BOMBS["a gigabyte of blanks"])
    at = bomb.rfind(b"PK\x01\x02")
    while at >= 0:
        bomb[at + 24 : at + 28] = (10).to_bytes(4, "little")
        at = bomb.rfind(b"PK\x01\x02", 0, at)
    with pytest.raises(Refused, match="unpacks to more"):
        unpack.measured(bytes(bomb))


def test_ordinary_workbooks_pass_near_the_bombs():
    styled = (
        '<sheetData><row r="1"><c r="A1"><v>1</v></c></row><row r="1048576"><c r="XFD1048576" s="0"/></row></sheetData>'
    )
    assert workbook.grid(books.xlsx('<dimension ref="A1:XFD1048576"/>' + styled)).rows == [["1"]]
    assert len(workbook.grid(books.xlsx(FAR.format(2000, "Z"))).rows) == 2000


@pytest.mark.parametrize(
    ("content", "why"),
    [
        (books.workbook(HEAD, LINE)[:3000], "broken"),
        (b"PK\x03\x04", "broken"),
        (b"PK\x03\x04" + b"\0" * 500, "broken"),
        (books.packed({"notes.txt": "x"}), "no workbook"),
        (books.packed({"xl/workbook.bin": "x"}), "binary workbook"),
        (b"\xd0\xcf\x11\xe0" + b"\0" * 600, "password"),
        (books.packed({"xl/workbook.xml": "<nothing"}), "cannot be read"),
        (books.xlsx("<sheetData><row"), "cannot be read|no row"),
        (books.xlsx(""), "no row holds"),
        (books.xlsx('<sheetData><row r="1"><c r="A1" t="s"><v>99</v></c></row></sheetData>'), "cannot be read|no row"),
    ],
    ids=lambda given: (
        given if isinstance(given, str) else "bytes"
    ),  # a workbook holds the time it was made: as a name it would differ between workers
)
def test_broken_locked_and_foreign_files_are_refused_with_a_reason(content: bytes, why: str):
    with pytest.raises(Refused, match=why):
        intake.read("x.xlsx", content, books.PLANT)


def test_a_password_on_the_parts_is_said():
    file = bytearray(books.workbook(HEAD, LINE))
    at = file.find(b"PK\x01\x02")
    while at >= 0:
        file[at + 8] |= 1
        at = file.find(b"PK\x01\x02", at + 4)
    with pytest.raises(Refused, match="password"):
        unpack.measured(bytes(file))


def test_macros_are_left_behind():
    file = io.BytesIO(books.workbook(HEAD, LINE))
    with zipfile.ZipFile(file, "a") as book:
        book.writestr("xl/vbaProject.bin", b"Sub Auto_Open()")
    with zipfile.ZipFile(unpack.measured(file.getvalue()).packed) as left:
        assert not [name for name in left.namelist() if not name.endswith((".xml", ".rels"))]
    assert len(books.sheet(file.getvalue()).rows) == 1
