"""A folder of ugly files, as they come from floors and mail: `python -m tests.ugly [FOLDER]` runs the job on it.

Every file is an invented bakery's. `FILES` says beside each what becomes of it; `tests/flows/test_ugly.py` holds it there.
"""

from __future__ import annotations

import io
import os
import sys
import tempfile
import zipfile
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime
from pathlib import Path
from typing import Any

from tests.unit import books

PLANT = """plant = "north"
timezone = "Europe/Lisbon"
[shifts]
early = "06:00"
late = "14:00"
night = "22:00"
[pastes.water-2]
liquid_ratio = 2.0
usual_loss_pct = 2.0
[kettles.K1]
pastes = ["water-2"]
[lines.L1]
kettle = "K1"
products = ["milk-loaf"]
[products.milk-loaf]
paste = "water-2"
hydration_pct = 63.0
paste_flour_pct = 20.0
yeast_pct = 3.0
scaled_g = 450.0
[columns.output]
"Linha" = "line"
"Produto" = "product"
"""
OUTPUT = ("line", "product", "shift_date", "shift", "pieces_made", "pieces_wasted")
PASTE = (
    "paste_batch", "kettle", "shift_date", "shift", "flour_kg", "liquid_kg", "weight_before_kg", "weight_after_kg",
    "cook_start", "cook_end", "cook_temp_c", "note",
)  # fmt: skip
PROOF = ("dough_batch", "line", "proof_in", "proof_out", "proof_temp_c")
LOAF = ("loaf", "dough_batch", "line", "measured_at", "baked_g", "volume_ml")


@dataclass(frozen=True)
class Ugly:
    """One file and what becomes of it. says: what its `why` or its notes hold; rows: received; waits: of them in quarantine.

    passed_over: its lines that are no rows.
    """

    name: str
    content: bytes
    kind: str | None
    rows: int = 0
    waits: int = 0
    passed_over: tuple[str, ...] = ()
    says: str = ""


def made(day: int, pieces: Any = 900, shift: str = "early", wasted: Any = 6) -> list[Any]:
    """One output row of May 2026."""
    return ["L1", "milk-loaf", f"2026-05-{day:02}", shift, pieces, wasted]


def cooked(
    batch: str, day: int, after: str = "35.2", before: str = "36.0", temp: str = "66", note: str = ""
) -> list[str]:
    """One paste row of May 2026."""
    at = f"2026-05-{day:02}"
    return [batch, "K1", at, "early", "12", "24", before, after, f"{at} 06:10", f"{at} 06:20", temp, note]


def text(*lines: Sequence[Any], mark: str = ",", end: str = "\n", code: str = "utf-8") -> bytes:
    """Lines as a text file."""
    return end.join([*(mark.join(map(str, line)) for line in lines), ""]).encode(code)


def _comma(line: Sequence[Any]) -> list[str]:
    return [str(cell).replace(".", ",") for cell in line]


def _dated(line: list[Any], shown: str) -> list[Any]:
    return [*line[:2], shown, *line[3:]]


def _merged_title() -> bytes:
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


def _behind_a_cover() -> bytes:
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


def _bomb() -> bytes:
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


LATE = ("2026-10-25 00:40", "2026-10-25 02:10")  # an hour and a half by the clock, two and a half in truth
NEVER = ("2026-03-29 01:20", "2026-03-29 02:20")  # a time that Lisbon's clocks leap over

FORMULA, MARKUP = "=1+1", "<script>alert(1)</script>"

FILES: tuple[Ugly, ...] = (
    # separators, decimal marks, encodings, line ends
    Ugly(
        "01-semicolon-comma-latin1.csv",
        text(
            PASTE,
            _comma(cooked("01", 4, note="bem cozido, não pegou")),
            _comma(cooked("02", 4, "35.15")),
            mark=";",
            end="\r\n",
            code="latin-1",
        ),
        "paste",
        2,
        says="decimal comma",
    ),
    Ugly(
        "02-tab-utf16.txt",
        text(OUTPUT, made(5), made(5, shift="late"), mark="\t", code="utf-16"),
        "output",
        2,
        says="UTF-16",
    ),
    Ugly("03-mark-and-thousands.csv", text(OUTPUT, made(6, '"1,900.0"', wasted="6.0"), code="utf-8-sig"), "output", 1),
    Ugly(
        "04-either-mark.csv", text(OUTPUT, made(7, '"1,900"', wasted=6)), "output", 1, says="told by what can be true"
    ),
    Ugly(
        "05-mixed-marks.csv",
        text(PASTE, _comma(cooked("05", 5)), _comma(cooked("06", 5)), cooked("07", 5), mark=";"),
        "paste",
        3,
        waits=1,
        says="mixed",
    ),
    Ugly("06-old-mac-ends.csv", text(OUTPUT, made(8), end="\r"), "output", 1),
    Ugly(
        "07-says-its-separator.csv",
        b"sep=;\r\n" + text(OUTPUT, made(22), mark=";", end="\r\n"),
        "output",
        1,
        passed_over=("above the header",),
    ),
    Ugly(
        "08-thin-blanks.csv",
        text(OUTPUT, made(22, "1\u202f900", "late"), made(22, "1 850,0", "night"), mark=";", code="utf-8-sig"),
        "output",
        2,
        says="decimal comma",
    ),
    Ugly(
        "09-counts-with-marks.csv",
        text(OUTPUT, made(25, "1.900"), made(25, "2.000", "late"), made(25, "950", "night")),
        "output",
        3,
        waits=2,
    ),
    # title rows, units, totals, blanks, columns of the plant's own
    Ugly(
        "10-title-units-total.csv",
        text(
            ["Output", "week 19", "", "", "", "", "", ""],
            [],
            [*OUTPUT, "", ""],
            ["", "", "", "", "pieces", "pieces", "", ""],
            [*made(9), "", ""],
            [*made(9, shift="late"), "", ""],
            [],
            ["Total", "", "", "", 1800, 12, "", ""],
        ),
        "output",
        2,
        passed_over=("above the header", "blank", "units", "blank", "totals or averages"),
    ),
    Ugly("11-own-headings.csv", text(["LINHA", "Produto", *OUTPUT[2:]], made(10)), "output", 1),
    Ugly(
        "12-second-table.csv",
        text(OUTPUT, made(26), [], LOAF, ["1", "D1", "L1", "2026-05-26 11:00", 402, 1890]),
        None,
        says="a second table begins in row 4, with the column names of a log of kind loaf",
    ),
    Ugly("13-headings-down.csv", text(*([name, "L1", "L2"] for name in OUTPUT)), None, says="turn the table"),
    # workbooks
    Ugly(
        "20-merged-title-hidden-sheet.xlsx",
        _merged_title(),
        "output",
        2,
        passed_over=("above the header",),
        says="hidden",
    ),
    Ugly("21-open-document.ods", books.ods(books.ods_row(*OUTPUT) + books.ods_row(*made(12))), "output", 1),
    Ugly("22-bomb.xlsx", _bomb(), None, says="unpack"),
    Ugly("23-half-copied.xlsx", books.workbook(list(OUTPUT), made(13))[:2000], None, says="the workbook is broken"),
    Ugly("24-behind-a-cover.xlsx", _behind_a_cover(), None, says="is the log on 'Output'? Put that sheet first"),
    # dates and clocks
    Ugly(
        "30-serial-dates.csv",
        text(OUTPUT, _dated(made(14), "46156"), _dated(made(14, shift="late"), "46156.0")),
        "output",
        2,
        says="serial",
    ),
    Ugly(
        "31-month-first.csv",
        text(OUTPUT, _dated(made(15), "5/15/2026"), _dated(made(5, shift="night"), "5/5/2026")),
        "output",
        2,
        says="month",
    ),
    Ugly("32-clock-change.csv", text(PROOF, ["D1", "L1", *LATE, 38], ["D2", "L1", *NEVER, 38]), "proof", 2, waits=1),
    Ugly(
        "33-a-year-off.csv",
        text(
            OUTPUT,
            *(made(16, 900 + n, shift) for n, shift in enumerate(("early", "late", "night"))),
            made(17),
            _dated(made(17, shift="late"), "2025-05-17"),
        ),
        "output",
        5,
        waits=1,
    ),
    Ugly(
        "34-month-names.csv",
        text(OUTPUT, _dated(made(23), "23. Mai 2026"), _dated(made(23, shift="late"), "23-mai-26"), mark=";"),
        "output",
        2,
    ),
    Ugly("35-day-or-month.csv", text(OUTPUT, _dated(made(5), "5/4/2026")), None, says="in the plant file, [sheets] dates"),
    Ugly(
        "36-no-such-days.csv",
        text(OUTPUT, *(_dated(made(30), day) for day in ("31.06.2026", "2206-05-30", "30.13.2026"))),
        "output",
        3,
        waits=3,
        says="day first",
    ),
    # identities, texts
    Ugly(
        "40-identities.csv",
        text(
            LOAF,
            ["00123", "D1", "L1", "2026-05-04 11:00", 402, 1890],
            ["1E5", "D1", "L1", "2026-05-04 11:02", 403, 1880],
        ),
        "loaf",
        2,
    ),
    Ugly(
        "41-formula-and-markup.csv",
        text(PASTE, cooked("41", 6, note=FORMULA), cooked("42", 6, note=MARKUP)),
        "paste",
        2,
    ),
    # the same again, corrected, later
    Ugly("50-duplicates.csv", text(PASTE, cooked("51", 7), cooked("51", 7), cooked("52", 7)), "paste", 3),
    Ugly("51-corrected.csv", text(PASTE, cooked("52", 7, "35.1")), "paste", 1),
    Ugly(
        "52-same-content.csv",
        text(PASTE, cooked("52", 7, "35.1")),
        "paste",
        0,
        says="the same content was taken before",
    ),
    # units
    Ugly("60-fahrenheit.csv", text(PASTE, cooked("61", 8, temp="151"), cooked("62", 8)), "paste", 2, waits=1),
    Ugly(
        "61-headed-in-fahrenheit.csv",
        text([*PASTE[:10], "cook_temp_c (°F)", "note"], cooked("63", 8, temp="151")),
        None,
        says="°F",
    ),
    Ugly(
        "62-shifted-cells.csv",
        text(PASTE, _comma(cooked("64", 9)), cooked("65", 9)),
        "paste",
        2,
        waits=1,
    ),
    # no logs
    Ugly("70-shopping.csv", text(["what", "how many"], ["flour", 2]), None, says="no row holds the column names"),
    Ugly("71-lacks-a-column.csv", text(OUTPUT[:4], made(18)[:4]), None, says="has no column pieces_made"),
    Ugly("72-empty.csv", b"", None, says="empty"),
    Ugly("73-picture.csv", bytes(range(256)) * 40, None, says="neither UTF-8, UTF-16 nor Windows-1252"),
    Ugly("75-parted-by-bars.csv", text(OUTPUT, made(27), mark="|"), None, says="parted by '|'"),
    Ugly(
        "77-parted-in-two-ways.csv",
        text(OUTPUT, mark=";") + text(made(28), made(28, shift="late")),
        None,
        says="parted by semicolons, but 2 of 2 rows under them by commas",
    ),
    Ugly("76-empty-tail.csv", text(OUTPUT, made(27)) + bytes(512), None, says="not copied whole"),
    Ugly("74-one-long-line.csv", b"x" * (20 << 20), None, says="a line is longer than"),
)
# what lies beside them and is no file to be read: name -> what is said of it
BESIDE = {
    "80-pipe.csv": "no ordinary file (a pipe",
    "81-link-out.csv": "a link, which is not followed",
}
# unfinished by their names: not even looked at
UNFINISHED = ("90-still-copied.csv.part", ".91-hidden.csv", "~$92-open-elsewhere.xlsx")


def build(folder: Path) -> Path:
    """The plant file and the logs below a folder; returns the folder of logs."""
    logs = folder / "logs"
    logs.mkdir(parents=True, exist_ok=True)
    (folder / "plant.toml").write_text(PLANT, encoding="utf-8")
    for one in FILES:
        (logs / one.name).write_bytes(one.content)
    for name in UNFINISHED:
        (logs / name).write_bytes(text(OUTPUT, made(20))[:60])
    (folder / "outside.csv").write_bytes(text(OUTPUT, made(21)))
    if hasattr(os, "mkfifo"):
        os.mkfifo(logs / "80-pipe.csv")
    (logs / "81-link-out.csv").symlink_to(folder / "outside.csv")
    return logs


def words(folder: Path) -> list[str]:
    """The command that runs the job on it."""
    places = {
        "plant": folder / "plant.toml",
        "logs": folder / "logs",
        "store": folder / "s.duckdb",
        "out": folder / "out",
    }
    return ["run", *(word for name, place in places.items() for word in (f"--{name}", str(place)))]


def account(result: dict[str, Any]) -> list[str]:
    """The row account of a run, log by log, and what became of each file."""
    lines = []
    for kind, counts in result["rows"].items():
        if counts["received"]:
            parts = " + ".join(f"{n} {name}" for name, n in counts.items() if name != "received" and n)
            lines.append(f"{kind}: {counts['received']} received = {parts}")
    for file in result["files"]:
        said = file["why"] or file["notes"] or "as it stands"
        lines.append(f"{file['file']}: {file['outcome']}{' as ' + file['kind'] if file['kind'] else ''}; {said}")
    lines += [
        f"waits: {row['file']} row {row['row']}, {row['column']} {row['value']!r}: {row['why']}"
        for row in result["quarantine"]
    ]
    return lines


def main(argv: Sequence[str]) -> int:
    """Build the folder (a new one, or the one named), run the job on it as a person would, print its account."""
    import contextlib
    import json

    from flows import cli

    folder = Path(argv[0]) if argv else Path(tempfile.mkdtemp(prefix="ugly-"))
    build(folder)
    said = io.StringIO()
    with contextlib.redirect_stdout(said):
        status = cli.main([*words(folder), "--json"])
    if status == 0:
        print("\n".join(account(json.loads(said.getvalue()))))
        print(f"in {folder}")
    return status


if __name__ == "__main__":
    raise SystemExit(main(sys.argv[1:]))
