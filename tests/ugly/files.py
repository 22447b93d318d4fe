"""Every ugly file, and what becomes of it."""

from __future__ import annotations

from tests.ugly import workbooks
from tests.ugly.sheets import LOAF, OUTPUT, PASTE, PROOF, Ugly, commas, cooked, dated, made, text
from tests.unit import books

LATE = ("2026-10-25 00:40", "2026-10-25 02:10")  # an hour and a half by the clock, two and a half in truth
NEVER = ("2026-03-29 01:20", "2026-03-29 02:20")  # a time that Lisbon's clocks leap over

FORMULA, MARKUP = "=1+1", "<script>alert(1)</script>"

FILES: tuple[Ugly, ...] = (
    # separators, decimal marks, encodings, line ends
    Ugly(
        "01-semicolon-comma-latin1.csv",
        text(
            PASTE,
            commas(cooked("01", 4, note="bem cozido, não pegou")),
            commas(cooked("02", 4, "35.15")),
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
        text(PASTE, commas(cooked("05", 5)), commas(cooked("06", 5)), cooked("07", 5), mark=";"),
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
        workbooks.merged_title(),
        "output",
        2,
        passed_over=("above the header",),
        says="hidden",
    ),
    Ugly("21-open-document.ods", books.ods(books.ods_row(*OUTPUT) + books.ods_row(*made(12))), "output", 1),
    Ugly("22-bomb.xlsx", workbooks.bomb(), None, says="unpack"),
    Ugly("23-half-copied.xlsx", books.workbook(list(OUTPUT), made(13))[:2000], None, says="the workbook is broken"),
    Ugly("24-behind-a-cover.xlsx", workbooks.behind_a_cover(), None, says="is the log on 'Output'? Put that sheet first"),
    # dates and clocks
    Ugly(
        "30-serial-dates.csv",
        text(OUTPUT, dated(made(14), "46156"), dated(made(14, shift="late"), "46156.0")),
        "output",
        2,
        says="serial",
    ),
    Ugly(
        "31-month-first.csv",
        text(OUTPUT, dated(made(15), "5/15/2026"), dated(made(5, shift="night"), "5/5/2026")),
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
            dated(made(17, shift="late"), "2025-05-17"),
        ),
        "output",
        5,
        waits=1,
    ),
    Ugly(
        "34-month-names.csv",
        text(OUTPUT, dated(made(23), "23. Mai 2026"), dated(made(23, shift="late"), "23-mai-26"), mark=";"),
        "output",
        2,
    ),
    Ugly("35-day-or-month.csv", text(OUTPUT, dated(made(5), "5/4/2026")), None, says="in the plant file, [sheets] dates"),
    Ugly(
        "36-no-such-days.csv",
        text(OUTPUT, *(dated(made(30), day) for day in ("31.06.2026", "2206-05-30", "30.13.2026"))),
        "output",
        3,
        waits=3,
        says="day first",
    ),
    Ugly(
        "37-night-by-the-calendar.csv",
        text(
            [*PASTE[:4], *PASTE[6:11]],
            ["71", "K1", "2026-05-12", "night", 36, 35.2, "22:10", "22:25", 66],
            ["72", "K1", "2026-05-12", "night", 36, 35.2, "23:50", "00:05", 66],
            ["73", "K1", "2026-05-13", "night", 36, 35.2, "00:40", "00:55", 66],
        ),
        "paste",
        3,
        waits=1,
        says="dated by their shift",
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
        text(PASTE, commas(cooked("64", 9)), cooked("65", 9)),
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
