"""Rows parted by another mark than their header: a file of them is refused once, a few among others are asked about one by one.

What a spreadsheet of another locale writes, or rows pasted under a header: common practice, no source.
"""

from __future__ import annotations

from itertools import permutations

import pytest

from models.reader import intake
from models.reader.sheet import Refused
from tests.unit import books
from tests.unit.books import OUTPUT, ROW

LOAF = "loaf,dough_batch,line,measured_at,baked_g,volume_ml\n"
LOAVES = [[str(n), "D1", "L1", "2026-05-06 11:00", "402,5", "1890,0"] for n in range(1, 6)]
NAMED = {",": "commas", ";": "semicolons", "\t": "tabs"}


def _under(header: str, mark: str, rows: list[list[str]], other: str) -> str:
    return header.replace(",", mark) + "".join(other.join(row) + "\n" for row in rows)


@pytest.mark.parametrize(("mark", "other"), list(permutations(NAMED, 2)))
@pytest.mark.parametrize("quoted", [False, True])
def test_a_file_of_rows_parted_otherwise_is_refused_once(mark: str, other: str, quoted: bool):
    rows = [[f'"{cell}"' for cell in row] for row in LOAVES] if quoted else LOAVES
    with pytest.raises(Refused) as refused:
        books.sheet("Week 19\n\n" + _under(LOAF, mark, rows, other))
    said = str(refused.value)
    assert f"row 3 are parted by {NAMED[mark]}, but 5 of 5 rows under them by {NAMED[other]} (the first is row 4)" in said
    assert "save it" in said and "\n" not in said


def test_bars_count_as_another_mark():
    with pytest.raises(Refused, match="by bars"):
        books.sheet(OUTPUT + ROW.replace(",", "|"))


@pytest.mark.parametrize(("mark", "other"), [(",", ";"), (";", ",")])
def test_a_few_among_others_are_asked_about_one_by_one(mark: str, other: str):
    text = _under(LOAF, mark, LOAVES if mark != "," else [[c.replace(",", ".") for c in r] for r in LOAVES], mark)
    read = books.typed(text + other.join(LOAVES[0]) + "\n")
    assert len(read.frame) == 6 and {slip.row for slip in read.slips} == {5}
    (shape,) = [slip for slip in read.slips if slip.rule == "shape"]
    assert f"parted by {NAMED[other]}" in shape.why and shape.value.startswith("1" + other)


def test_half_of_them_is_enough_and_one_more_is_not():
    pasted = _under("", ",", LOAVES[:2], ";")
    point = [[c.replace(",", ".") for c in row] for row in LOAVES]
    with pytest.raises(Refused, match="2 of 4 rows"):
        books.sheet(_under(LOAF, ",", point[:2], ",") + pasted)
    assert len(books.sheet(_under(LOAF, ",", point[:3], ",") + pasted).rows) == 5


@pytest.mark.parametrize(
    "note", ["one; two; three; four; five; six; seven", "1;D1;L1;2026-05-06 11:00;402;1890", "a|b|c|d|e|f", "8; 9; 10"]
)
def test_marks_within_a_text_are_no_sign(note: str):
    read = books.typed(LOAF.replace("\n", ",remark\n") + f"1,D1,L1,2026-05-06 11:00,402,1890,{note}\n")
    assert len(read.frame) == 1 and not read.slips


def test_a_line_of_text_with_commas_is_still_no_row():
    sheet = books.sheet((OUTPUT + ROW).replace(",", ";") + "Stopped, cleaned, oven, belt, and started again\n")
    assert [over.why for over in sheet.passed_over] == ["a line of text"] and len(sheet.rows) == 1


@pytest.mark.parametrize(
    "content",
    [
        b'"line,product,shift_date,shift,pieces_made"\r\n"L1,milk-loaf,2026-05-05,early,900"\r\n',
        books.workbook(["line;product;shift_date;shift;pieces_made"], ["L1;milk-loaf;2026-05-05;early;900"]),
    ],
    ids=["quotation marks around whole lines", "a workbook's first column"],
)
def test_a_table_in_one_cell_a_line_is_refused_with_what_to_do(content: bytes):
    with pytest.raises(Refused, match="stand in one cell: split the text into columns"):
        intake.read("log", content, books.PLANT)
