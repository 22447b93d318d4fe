"""The reader on files nobody would write: it refuses with one line or accounts for every line; it never breaks.

LOAFTRACE_FUZZ sets how many files each test makes; by default a short run.
"""

from __future__ import annotations

import csv
import io
import os
import random
import zipfile
from typing import Literal

import numpy as np
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from models.logbook import TABLES
from models.reader import intake, numbers, reading
from models.reader.sheet import Sheet
from tests.unit import books, rows

FILES = int(os.environ.get("LOAFTRACE_FUZZ", "150"))
fuzzed = settings(
    max_examples=FILES,
    deadline=None,
    derandomize=True,
    database=None,
    suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large, HealthCheck.filter_too_much],
)

WRITTEN = st.sampled_from(
    [
        "36.0",
        "36,0",
        "1,850",
        "1.850,5",
        "65*",
        "ok",
        "?",
        '"',
        '""',
        "-",
        "n/a",
        "151 F",
        "36 kg",
        "1E5",
        "00123",
        "=1+1",
        "#REF!",
        "2026-05-06",
        "2026-05-06T06:10",
        "2026-10-25 01:30",
        "2026-03-29 01:30",
        "6/5/2026",
        "13/5/2026 6:10",
        "06:10",
        "25:99",
        "46148.375",
        "0.25",
        "Total",
        "kg",
        "K1",
        "k1",
        "L1",
        "early",
        "IR",
        "seed",
        " ",
        "\t",
        "a,b",
        "a;b",
        "a\nb",
        'a"b',
        "'",
        "ü",
        "\u202e",
        "\x07",
        "x" * 300,
        "2026-05-06T06:10+01:00",
        "1e999",
        "-0",
        "٣٦",
        "³⁶",
        "９９",
        "NaN",
        "inf",
        "1_000",
        "0x10",
        "24:00",
        "99/99/9999",
        "1" * 400,
    ]
)
CELL = st.one_of(
    WRITTEN, st.text(max_size=12), st.integers(-(10**7), 10**7).map(str), st.floats(allow_nan=False).map(repr)
)


@st.composite
def logs(draw: st.DrawFn) -> list[list[str]]:
    """The lines of a log of some kind: sound rows with cells, lines and headings bent."""
    kind = draw(st.sampled_from(list(TABLES)))
    sound = {name: str(value) for name, value in rows.SOUND[kind].items()}
    names = list(sound)
    bent = {"as it is": str, "upper": str.upper, "spaced": lambda n: n.replace("_", " "), "starred": lambda n: n + "*"}
    heading = bent[draw(st.sampled_from(list(bent)))]
    lines: list[list[str]] = [draw(st.lists(CELL, max_size=3)) for _ in range(draw(st.integers(0, 2)))]
    lines.append([heading(name) for name in names] + draw(st.lists(CELL, max_size=2)))
    for _ in range(draw(st.integers(0, 6))):
        line = list(sound.values())
        for _ in range(draw(st.integers(0, 3))):
            line[draw(st.integers(0, len(line) - 1))] = draw(CELL)
        what = draw(st.integers(0, 9))
        lines.append({0: [], 1: line[: draw(st.integers(0, len(line)))], 2: [*line, draw(CELL)]}.get(what, line))
    return lines


def _accounted(content: bytes) -> Sheet | None:
    """Read and type; every line under the header is a row or passed over, and no cell is silently lost."""
    try:
        sheet = intake.read("log", content, books.PLANT)
    except intake.Refused as refused:
        assert str(refused) and len(str(refused).splitlines()) == 1
        return None
    lines = np.sort([*sheet.row_numbers, *(over.row for over in sheet.passed_over), sheet.header_row])
    assert lines.tolist() == list(range(1, len(lines) + 1))
    assert (np.diff(sheet.row_numbers) > 0).all() and len(sheet.row_numbers) == len(sheet.rows)
    assert tuple(sheet.rows.columns) == sheet.columns and len({c.casefold() for c in sheet.columns}) == len(
        sheet.columns
    )
    typed = reading.typed(sheet, books.PLANT)
    assert list(typed.frame.columns) == list(TABLES[sheet.kind].by_name) and len(typed.frame) == len(sheet.rows)
    slips = {(slip.row, slip.column) for slip in typed.slips}
    assert len(slips) == len(typed.slips) or sheet.surplus
    for name in set(sheet.columns) & set(TABLES[sheet.kind].by_name):
        written, read = sheet.rows[name].notna().to_numpy(), typed.frame[name].notna().to_numpy()
        assert not (read & ~written).any()
        for row in np.flatnonzero(written & ~read).tolist():
            text = numbers.plain(sheet.rows[name].iloc[row]).casefold()
            assert (row, name) in slips or text in numbers.NOT_RECORDED or set(text) <= set("?-–—"), (name, text)
        for row in np.flatnonzero(read).tolist():
            assert (row, name) not in slips
    return sheet


def _text(lines: list[list[str]], delimiter: str, quoting: Literal[0, 1, 3], end: str) -> str:
    """The lines as a program writes them, or as a person does who knows nothing of quotes (QUOTE_NONE)."""
    if quoting == csv.QUOTE_NONE:
        return end.join(delimiter.join(line) for line in lines)
    file = io.StringIO()
    csv.writer(file, delimiter=delimiter, quoting=quoting, lineterminator=end).writerows(lines)
    return file.getvalue()


def test_text_logs_with_bent_cells():
    taken: list[bool] = []

    @fuzzed
    @given(
        logs(),
        st.sampled_from([",", ";", "\t"]),
        st.sampled_from([csv.QUOTE_MINIMAL, csv.QUOTE_ALL, csv.QUOTE_NONE]),
        st.sampled_from(["\n", "\r\n", "\r"]),
        st.sampled_from(["utf-8", "utf-8-sig", "utf-16", "cp1252"]),
    )
    def bent(lines: list[list[str]], delimiter: str, quoting: Literal[0, 1, 3], end: str, encoding: str):
        sheet = _accounted(_text(lines, delimiter, quoting, end).encode(encoding, "replace"))
        taken.append(sheet is not None and len(sheet.rows) > 0)

    bent()
    assert len(taken) >= FILES // 2 and sum(taken) > len(taken) / 3, "most of these are logs: the reader must take them"


@fuzzed
@given(logs(), st.sampled_from([",", ";"]), st.randoms(use_true_random=False))
def test_text_logs_with_bytes_knocked_out(lines: list[list[str]], delimiter: str, chance: random.Random):
    content = bytearray(_text(lines, delimiter, csv.QUOTE_MINIMAL, "\n").encode("utf-8", "replace"))
    for _ in range(chance.randint(1, 6)):
        at = chance.randrange(len(content) + 1)
        content[at : at + chance.randint(0, 3)] = bytes(
            chance.choice(b'",;\n\r\t\x00\xff\xc3 19.-') for _ in range(chance.randint(0, 3))
        )
    _accounted(bytes(content[: chance.choice([len(content), chance.randrange(len(content) + 1)])]))


@fuzzed
@given(
    st.one_of(
        st.binary(max_size=400),
        st.binary(max_size=200).map(lambda tail: b"PK\x03\x04" + tail),
        st.text(max_size=300).map(lambda text: text.encode("utf-8", "replace")),
    )
)
def test_anything_at_all(content: bytes):
    _accounted(content)


def _sheet_xml(lines: list[list[str]], chance: random.Random) -> str:
    made = []
    for number, line in enumerate(lines, 1):
        cells = []
        for place, text in enumerate(line):
            safe = "".join(c for c in text if c.isprintable()).replace("&", "&amp;").replace("<", "&lt;")
            name = f'r="{chr(65 + place % 26)}{number}"' if chance.random() < 0.9 else ""
            cell = f'<c {name} t="inlineStr"><is><t>{safe}</t></is></c>'
            if chance.random() < 0.3:
                cell = f"<c {name}><v>{chance.choice([chance.uniform(-10, 1000), 46148.375, 7, 0.25, 1e300])}</v></c>"
            cells.append(cell)
        made.append(f'<row r="{number}">{"".join(cells)}</row>')
    return f"<sheetData>{''.join(made)}</sheetData>"


@fuzzed
@given(logs(), st.randoms(use_true_random=False))
def test_workbooks_with_bent_cells_and_parts(lines: list[list[str]], chance: random.Random):
    body = _sheet_xml(lines, chance)
    if chance.random() < 0.4:
        at = chance.randrange(len(body))
        body = (
            body[:at]
            + chance.choice(
                [
                    'r="XFD1048576"',
                    ' r="XFD1048576" ',
                    "<a:c r='ZZZ9'/>",
                    "<c>",
                    "</row>",
                    "<row>",
                    "&",
                    "<!--",
                    "<![CDATA[",
                    "\x00",
                    '"',
                ]
            )
            + body[at:]
        )
    _accounted(books.xlsx(body))


@fuzzed
@given(logs(), st.randoms(use_true_random=False), st.booleans())
def test_workbooks_with_bytes_knocked_out(lines: list[list[str]], chance: random.Random, stored: bool):
    content = books.xlsx(_sheet_xml(lines, chance))
    if stored:
        content = _stored(content)
    broken = bytearray(content)
    for _ in range(chance.randint(1, 5)):
        broken[chance.randrange(len(broken))] = chance.randrange(256)
    _accounted(bytes(broken[: chance.choice([len(broken), chance.randrange(4, len(broken))])]))


def _stored(content: bytes) -> bytes:
    file = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(content)) as packed, zipfile.ZipFile(file, "w") as book:
        for name in packed.namelist():
            book.writestr(name, packed.read(name))
    return file.getvalue()


@fuzzed
@given(
    st.lists(
        st.lists(
            st.one_of(st.none(), st.floats(-10, 1000), st.sampled_from(["L1", "early", "2026-05-06"])), max_size=6
        ),
        max_size=5,
    ),
    st.integers(1, 1 << 33),
    st.booleans(),
)
def test_open_document_sheets_with_odd_repeats(lines: list[list[object]], repeats: int, header: bool):
    body = books.ods_row(*TABLES["output"].required) if header else ""
    body += "".join(books.ods_row(*line) for line in lines) + books.ods_row(
        "x" if repeats % 3 == 0 else None, rows=repeats
    )
    _accounted(books.ods(body))
