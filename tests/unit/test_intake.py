"""Logs as they really come: what is understood, what is refused, what is passed over. Shapes: common practice, no source."""

from __future__ import annotations

import os
from pathlib import Path

import pandas as pd
import pytest

from models import intake, reading
from models.plant import Plant
from tests.unit.rows import plant

NORTH = plant()
HEAD = "dough_batch,line,product,shift_date,shift,mixed_at,flour_kg,liquid_kg,yeast_kg,dough_temp_c"
LINE = "01,L1,milk-loaf,2026-05-06,early,2026-05-06 06:30,48.5,14.25,1.8,26.1"
TEXT = f"{HEAD}\n{LINE}\n"


def typed(content: bytes, of: Plant = NORTH, name: str = "x.csv") -> tuple[intake.Sheet, reading.Typed]:
    sheet = intake.read(name, content, of)
    return sheet, reading.typed(sheet, of)


def first(content: bytes, of: Plant = NORTH) -> pd.Series:
    _, found = typed(content, of)
    assert not found.slips, found.slips
    return found.frame.iloc[0]


def is_the_row(row: pd.Series) -> None:
    assert (row["dough_batch"], row["line"], row["flour_kg"], row["liquid_kg"], row["dough_temp_c"]) == ("01", "L1", 48.5, 14.25, 26.1)
    assert row["mixed_at"] == pd.Timestamp("2026-05-06 05:30")  # Lisbon is an hour ahead of UTC in May
    assert row["shift_date"] == pd.Timestamp("2026-05-06")


SEMI = TEXT.replace(",", ";").replace("48.5", "48,5").replace("14.25", "14,25").replace("1.8", "1,8").replace("26.1", "26,1")
DRESSES = {
    "as the contract has it": TEXT.encode(),
    "with a byte-order mark": b"\xef\xbb\xbf" + TEXT.encode(),
    "CRLF": TEXT.replace("\n", "\r\n").encode(),
    "semicolon and decimal comma": SEMI.encode(),
    "tab": TEXT.replace(",", "\t").encode(),
    "UTF-16": TEXT.encode("utf-16"),
    "Windows-1252": TEXT.replace("dough_temp_c", "dough temp (°C)").encode("cp1252"),
    "headings in other case and spacing": TEXT.replace(HEAD, HEAD.replace("_", " ").title()).encode(),
    "units in brackets": TEXT.replace("flour_kg", "Flour (kg)").replace("dough_temp_c", "Dough temp [°C]").encode(),
    "a title above": f"Mixer sheet,week 19\n\n{TEXT}".encode(),
    "trailing empty columns": "\n".join(line + ",,," for line in TEXT.splitlines()).encode(),
    "quoted": (HEAD + "\n" + ",".join(f'"{cell}"' for cell in LINE.split(",")) + "\n").encode(),
    "day first": TEXT.replace("2026-05-06", "06/05/2026").replace("early,06/05/2026", "early,06/05/2026").encode()
    + b"02,L1,milk-loaf,25/05/2026,early,25/05/2026 06:30,48.5,14.25,1.8,26.1\n",
    "with an offset": TEXT.replace("2026-05-06 06:30", "2026-05-06T07:30+02:00").encode(),
}


@pytest.mark.parametrize("dress", DRESSES)
def test_the_same_row_in_another_dress(dress: str) -> None:
    is_the_row(first(DRESSES[dress]))


def test_identities_stay_text() -> None:
    rows = "\n".join(LINE.replace("01,", f"{name},", 1) for name in ("00123", "1E5", "7"))
    _, found = typed(f"{HEAD}\n{rows}\n".encode())
    assert list(found.frame["dough_batch"]) == ["00123", "1E5", "7"]


def test_lines_that_are_no_rows_are_listed_and_rows_keep_their_line() -> None:
    units = ",,,,,,kg,kg,kg,°C"
    total = "Total,,,,,,97,28.5,3.6,"
    sheet, found = typed(f"{HEAD}\n{units}\n{LINE}\n\n{LINE.replace('01', '02', 1)}\n{total}\n".encode())
    assert list(sheet.row_numbers) == [3, 5]
    assert [line.row for line in sheet.passed_over] == [2, 4, 6]
    assert all(line.why for line in sheet.passed_over)
    assert len(found.frame) == 2


def test_extra_columns_are_kept_with_the_row() -> None:
    sheet, found = typed(f"{HEAD},weather\n{LINE},rain\n".encode())
    assert sheet.rows["weather"].iloc[0] == "rain"
    assert "weather" not in found.frame


def test_a_plants_own_headings() -> None:
    own = plant(columns={"dough": {"Teig": "dough_batch", "Mehl": "flour_kg"}})
    is_the_row(first(TEXT.replace("dough_batch", "Teig").replace("flour_kg", "Mehl").encode(), own))


@pytest.mark.parametrize(
    ("cell", "says"),
    [("48.5*", "number"), ("?", "number"), ('"" ""', "number"), ("ok", "number"), ("48,5", "number")],
)
def test_a_cell_that_is_no_number_is_a_slip_not_a_guess(cell: str, says: str) -> None:
    sheet, found = typed(f"{HEAD}\n{LINE.replace('48.5', chr(34) + cell + chr(34))}\n{LINE.replace('01', '02', 1)}\n".encode())
    (slip,) = found.slips
    assert (slip.row, slip.column, slip.rule) == (0, "flour_kg", says)
    assert slip.why
    assert pd.isna(found.frame["flour_kg"].iloc[0])


@pytest.mark.parametrize("cell", ["", "-", "n/a", "  "])
def test_not_recorded_is_missing_never_zero(cell: str) -> None:
    _, found = typed(f"{HEAD},room_temp_c\n{LINE},{cell}\n".encode())
    assert not found.slips
    assert pd.isna(found.frame["room_temp_c"].iloc[0])


def test_clock_change_hours() -> None:
    """Lisbon, 2026: 01:00 to 02:00 comes twice on 25 October and is missing on 29 March (tz database)."""
    autumn = "\n".join(LINE.replace("2026-05-06 06:30", f"2026-10-25 {t}").replace("2026-05-06", "2026-10-24").replace("early", "night")
                       .replace("01,", f"{n},", 1) for n, t in enumerate(("00:50", "01:30", "01:10", "02:20")))
    _, found = typed(f"{HEAD}\n{autumn}\n".encode())
    assert list(found.frame["mixed_at"]) == [pd.Timestamp(f"2026-10-{t}") for t in ("24 23:50", "25 00:30", "25 01:10", "25 02:20")]
    _, found = typed(f"{HEAD}\n{LINE.replace('2026-05-06 06:30', '2026-03-29 01:30')}\n".encode())
    assert [slip.column for slip in found.slips if slip.rule != "required"] == ["mixed_at"]


@pytest.mark.parametrize(
    ("content", "says"),
    [
        (b"", "empty"),
        (b"hello world\n", "column"),
        (b"\x89PNG\r\n\x1a\n" + bytes(200), ""),
        (TEXT.replace(",dough_temp_c", "").replace(",26.1", "").encode(), "dough_temp_c"),
        (b"PK\x03\x04 not a workbook", ""),
        (("a," * 50_000).encode() + b"\n1\n", "column"),
    ],
)
def test_what_is_no_log_is_refused_in_one_line(content: bytes, says: str) -> None:
    with pytest.raises(intake.Refused) as refused:
        intake.read("x.csv", content, NORTH)
    assert says in str(refused.value) and "\n" not in str(refused.value) and str(refused.value)


def test_a_very_long_line_is_refused_at_once() -> None:
    with pytest.raises(intake.Refused):
        intake.read("x.csv", b"a" * (64 << 20), NORTH)


def test_workbook_with_hidden_sheet_and_real_dates(tmp_path: Path) -> None:
    import datetime as dt

    from openpyxl import Workbook

    book = Workbook()
    hidden = book.active
    hidden.sheet_state = "hidden"
    hidden.append(["nothing"])
    sheet = book.create_sheet("mixer")
    sheet.append(HEAD.split(","))
    sheet.append(["01", "L1", "milk-loaf", dt.date(2026, 5, 6), "early", dt.datetime(2026, 5, 6, 6, 30), 48.5, 14.25, 1.8, 26.1])
    book.active = 1
    book.save(tmp_path / "x.xlsx")
    is_the_row(first((tmp_path / "x.xlsx").read_bytes()))


def test_find_goes_bytewise_and_never_out_of_the_folder(tmp_path: Path) -> None:
    logs = tmp_path / "logs"
    for name in ("b.csv", "B.csv", "a/z.csv", "a.csv", "é.csv", ".hidden.csv", "~$open.xlsx", "x.csv.part"):
        (logs / name).parent.mkdir(parents=True, exist_ok=True)
        (logs / name).write_text(TEXT)
    (tmp_path / "out.csv").write_text(TEXT)
    (logs / "link.csv").symlink_to(tmp_path / "out.csv")
    os.mkfifo(logs / "pipe.csv")
    found, refused = intake.find(logs)
    names = [path.relative_to(logs).as_posix() for path in found]
    assert names == sorted(("b.csv", "B.csv", "a/z.csv", "a.csv", "é.csv"), key=lambda name: name.encode())
    assert {path.name for path, _ in refused} == {"link.csv", "pipe.csv"}
