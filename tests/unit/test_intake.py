"""How logs get in: which files are taken, and CSV as spreadsheets and people write it."""

from __future__ import annotations

import os
import subprocess
import sys
import threading
import time
from pathlib import Path

import pytest

from models.reader import inbox, intake
from models.reader.sheet import Refused
from tests.unit import books, rows
from tests.unit.books import OUTPUT, ROW


def _names(folder: Path) -> list[str]:
    return list(intake.find(folder)[0])


def _refused(folder: Path) -> dict[str, str]:
    return intake.find(folder)[1]


# --- which files ---


def test_files_come_in_bytewise_order_of_their_path(tmp_path: Path):
    names = ["b.csv", "a.csv", "Z.csv", "sub/a.csv", "sub-1.csv", "sub.csv", "ä.csv", "a/z/deep.csv", "10.csv", "9.csv"]
    for name in names:
        (tmp_path / name).parent.mkdir(parents=True, exist_ok=True)
        (tmp_path / name).write_text("x")
    assert _names(tmp_path) == sorted(names, key=lambda name: name.encode())


def test_hidden_and_unfinished_files_are_passed_over(tmp_path: Path):
    ours = (".hidden.csv", "~$open.xlsx", "x.csv.part", "x.tmp", "x.crdownload", "x.csv~", ".git/log.csv")
    for name in (*ours, "Thumbs.db", "desktop.ini", ".~lock.log.csv#"):
        (tmp_path / name).parent.mkdir(exist_ok=True)
        (tmp_path / name).write_text("x")
    (tmp_path / "log.csv").write_text("x")
    assert _names(tmp_path) == ["log.csv"] and not _refused(tmp_path)


def test_a_name_with_signs_that_are_not_shown_is_refused(tmp_path: Path):
    """Names stand in what is printed, a line each; one with a line break or a terminal's command in it would not."""
    for name in ("two\nlines.csv", "\x1b[2Jcleared.csv", "right\u202eto left.csv"):
        (tmp_path / name).write_text(OUTPUT + ROW)
    kept = ["Größe – früh ✓.csv", "at 4.05\u202fPM.csv"]  # a thin blank, as a desktop writes times
    for name in kept:
        (tmp_path / name).write_text(OUTPUT + ROW)
    assert sorted(_names(tmp_path)) == sorted(kept)
    assert all("rename it" in why for why in _refused(tmp_path).values()) and len(_refused(tmp_path)) == 3


def test_a_log_without_rows_says_so():
    assert books.sheet(OUTPUT).notes == books.sheet(OUTPUT + ",,,,,\n").notes == ("no row stands under the header",)
    assert not books.sheet(OUTPUT + ROW).notes


def test_links_pipes_and_devices_are_refused_and_never_followed_or_waited_for(tmp_path: Path):
    logs, outside = tmp_path / "logs", tmp_path / "outside"
    outside.mkdir()
    logs.mkdir()
    (outside / "secret.csv").write_text(OUTPUT + ROW)
    (logs / "file-link.csv").symlink_to(outside / "secret.csv")
    (logs / "folder-link").symlink_to(outside)
    (logs / "loop").symlink_to(logs)
    (logs / "dangling.csv").symlink_to(outside / "nothing")
    os.mkfifo(logs / "pipe.csv")
    assert _names(logs) == []
    refused = _refused(logs)
    assert list(refused) == ["dangling.csv", "file-link.csv", "folder-link", "loop", "pipe.csv"]
    assert all("link" in why for name, why in refused.items() if name != "pipe.csv") and "pipe" in refused["pipe.csv"]
    for name in refused:
        with pytest.raises(Refused):
            intake.fetch(logs / name)


def test_a_device_is_refused_unread():
    with pytest.raises(Refused, match="device"):
        intake.fetch(Path("/dev/zero"))


def test_what_may_not_be_read_is_refused_with_the_reason(tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    (tmp_path / "log.csv").write_text("x")
    (tmp_path / "closed").mkdir()
    scandir = os.scandir

    def guarded(folder):
        if Path(folder).name == "closed":
            raise PermissionError(13, "Permission denied")
        return scandir(folder)

    monkeypatch.setattr(inbox.os, "access", lambda path, mode: False)
    monkeypatch.setattr(inbox.os, "scandir", guarded)
    assert {name: why.split(":")[0] for name, why in _refused(tmp_path).items()} == {
        "closed": "the folder cannot be read (Permission denied)",
        "log.csv": "may not be read",
    }


def test_a_file_that_is_gone_is_refused(tmp_path: Path):
    with pytest.raises(Refused, match="No such file"):
        intake.fetch(tmp_path / "log.csv")


def test_a_name_that_is_no_text_is_refused(tmp_path: Path):
    with open(os.fsencode(tmp_path) + b"/\xff.csv", "wb"):
        pass
    assert list(_refused(tmp_path).values()) == ["the file's name is no readable text: rename it"]


@pytest.mark.skipif(sys.platform != "linux", reason="other systems do not say who writes a file")
def test_a_file_still_being_written_waits_for_the_next_run(tmp_path: Path):
    log = tmp_path / "log.csv"
    with log.open("w") as copying:
        copying.write(OUTPUT)
        copying.flush()
        assert _names(tmp_path) == [] and "once it is whole" in _refused(tmp_path)["log.csv"]
        with pytest.raises(Refused, match="once it is whole"):
            intake.fetch(log)
        copying.write(ROW)
    assert _names(tmp_path) == ["log.csv"] and intake.fetch(log) == (OUTPUT + ROW).encode()


@pytest.mark.skipif(sys.platform != "linux", reason="other systems do not say who writes a file")
def test_a_writer_in_another_process_is_seen_too(tmp_path: Path):
    program = f"f = open({str(tmp_path / 'log.csv')!r}, 'w'); print('open', flush=True); input()"
    with subprocess.Popen([sys.executable, "-c", program], stdin=subprocess.PIPE, stdout=subprocess.PIPE) as writer:
        assert writer.stdout is not None and writer.stdin is not None
        writer.stdout.readline()
        assert _names(tmp_path) == []
        writer.communicate(b"\n", timeout=20)
    assert _names(tmp_path) == ["log.csv"]


def test_a_rename_into_place_is_whole_at_once(tmp_path: Path):
    (tmp_path / "log.csv.part").write_text(OUTPUT + ROW)
    (tmp_path / "log.csv.part").rename(tmp_path / "log.csv")
    assert _names(tmp_path) == ["log.csv"] and intake.fetch(tmp_path / "log.csv").endswith(ROW.encode())


def test_where_the_system_does_not_tell_a_file_that_grows_is_left_for_now(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
):
    monkeypatch.setattr(inbox, "_has_writer", lambda descriptor: None)
    monkeypatch.setattr(inbox, "PAUSE_SECONDS", 0.3)
    (tmp_path / "still.csv").write_text("x")
    (tmp_path / "growing.csv").write_text("x")
    timer = threading.Timer(0.1, lambda: (tmp_path / "growing.csv").write_text("xx"))
    timer.start()
    try:
        assert _names(tmp_path) == ["still.csv"]
    finally:
        timer.join()
    old = 1_600_000_000
    os.utime(tmp_path / "still.csv", (old, old))
    os.utime(tmp_path / "growing.csv", (old, old))
    monkeypatch.setattr(inbox.time, "sleep", lambda seconds: pytest.fail("old files are not waited for"))
    assert len(_names(tmp_path)) == 2


def test_a_file_larger_than_any_log_is_refused_unread(tmp_path: Path):
    with (tmp_path / "huge.csv").open("wb") as file:
        file.truncate(inbox.MOST_BYTES + 1)
    with pytest.raises(Refused, match="larger than 1024 MB"):
        intake.fetch(tmp_path / "huge.csv")


def test_at_a_glance_a_small_file_that_lay_still_is_read_and_no_other(tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    log, pipe, old = tmp_path / "log.csv", tmp_path / "pipe.csv", time.time() - 60
    log.write_text(OUTPUT + ROW)
    (tmp_path / "link.csv").symlink_to(log)
    os.mkfifo(pipe)
    assert inbox.glance(log) == b"", "who writes a file this new has to be asked"
    for path in (log, pipe):
        os.utime(path, (old, old))
    assert inbox.glance(log) == (OUTPUT + ROW).encode()
    assert [inbox.glance(path) for path in (tmp_path / "link.csv", pipe, tmp_path / "none.csv")] == [b""] * 3
    monkeypatch.setattr(inbox, "GLANCE_BYTES", len(OUTPUT + ROW) - 1)
    assert inbox.glance(log) == b""


def test_no_folder_is_said_not_raised(tmp_path: Path):
    assert intake.find(tmp_path / "nothing")[1]["."] == "the folder cannot be read (No such file or directory)"


# --- encodings, delimiters, line ends ---

NOTES = "paste_batch,kettle,shift_date,shift,weight_before_kg,weight_after_kg,cook_start,cook_end,cook_temp_c,note\n"
PASTE = "P1,K1,2026-05-06,early,36,35,2026-05-06 06:10,2026-05-06 06:20,66,übergekocht\n"


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "utf-16-le", "utf-16-be", "cp1252", "latin-1"])
def test_encodings(encoding: str):
    read = books.typed((NOTES + PASTE).encode(encoding))
    assert read.frame["note"].tolist() == ["übergekocht"] and not read.slips


def test_an_encoding_that_is_not_the_standard_one_is_noted():
    assert books.sheet((NOTES + PASTE).encode("cp1252")).notes == ("encoding: Windows-1252",)
    assert books.sheet((NOTES + PASTE).encode()).notes == ()


@pytest.mark.parametrize(
    ("page", "heading", "name"),
    [
        ("cp1250", "Kocioł", "Windows-1250"),
        ("cp1252", "Chaudière à pâte", "Windows-1252"),
        ("cp1254", "Kazanı", "Windows-1254"),
        ("cp1257", "Katilė", "Windows-1257"),
        ("cp1251", "Котёл", "Windows-1251"),
        ("cp1253", "Λέβητας", "Windows-1253"),
        ("mac_roman", "Größe Kessel", "Mac Roman"),
    ],
)
def test_an_older_code_page_is_told_by_the_plant_s_own_headings(page: str, heading: str, name: str):
    own = {heading: "kettle"}
    sheet = books.sheet((NOTES.replace("kettle", heading) + PASTE.replace("ü", "")).encode(page), columns={"paste": own})
    assert sheet.notes == (f"encoding: {name}",) and sheet.rows["kettle"].tolist() == ["K1"]


def test_an_older_code_page_is_told_by_the_plant_s_codes():
    """Where the headings are the logbook's own: kettles, lines, products, shifts."""
    kettles = rows.PLANT["kettles"] | {"Kocioł": {"pastes": ["water-2"]}}
    sheet = books.sheet((NOTES + PASTE.replace("K1", "Kocioł").replace("ü", "ś")).encode("cp1250"), kettles=kettles)
    assert sheet.rows.loc[0, ["kettle", "note"]].tolist() == ["Kocioł", "śbergekocht"]


def test_a_header_whose_letters_may_be_read_wrong_says_so():
    with pytest.raises(Refused, match=r"no column kettle.*it was read as Windows-1252.*save it as CSV UTF-8"):
        books.sheet((NOTES.replace("kettle", "Kocioł") + PASTE).encode("cp1250"))
    with pytest.raises(Refused) as refused:
        books.sheet((NOTES.replace("kettle", "Kessel") + PASTE).encode("utf-8"))
    assert "read as" not in str(refused.value)


@pytest.mark.parametrize(("mark", "name"), [(",", ()), (";", ("delimiter: semicolon",)), ("\t", ("delimiter: tab",))])
@pytest.mark.parametrize("end", ["\n", "\r\n", "\r"])
def test_delimiters_and_line_ends(mark: str, name: tuple[str, ...], end: str):
    sheet = books.sheet((OUTPUT + ROW + ROW).replace(",", mark).replace("\n", end))
    assert sheet.row_numbers.tolist() == [2, 3] and sheet.notes == name
    assert sheet.rows["pieces_wasted"].tolist() == ["6", "6"]


@pytest.mark.parametrize("end", ["\n", "\r\n", "\r"])
def test_delimiters_and_line_ends_with_quotes(end: str):
    sheet = books.sheet((OUTPUT + ROW.replace("milk-loaf", '"milk-loaf"') + ROW).replace("\n", end))
    assert sheet.row_numbers.tolist() == [2, 3] and sheet.rows["product"].tolist() == ["milk-loaf"] * 2


def test_a_last_line_without_an_end_is_a_line():
    assert len(books.sheet((OUTPUT + ROW + ROW).rstrip("\n")).rows) == 2
    assert len(books.sheet(OUTPUT.rstrip("\n")).rows) == 0


def test_cells_are_trimmed_and_otherwise_verbatim():
    text = "  P 1 ,K1,2026-05-06, early ,36,35,2026-05-06 06:10,2026-05-06 06:20,66,"
    sheet = books.sheet(NOTES + text + '"  <b>=1+1\x07</b>; DROP  TABLE \u202e x "\n')
    assert sheet.rows.loc[0, "note"] == "<b>=1+1</b>; DROP  TABLE  x" and sheet.rows.loc[0, "paste_batch"] == "P 1"


# --- row numbers and lines that are no rows ---


def test_row_numbers_are_those_a_spreadsheet_shows():
    text = "OUTPUT SHEET,,,,,\n\n" + OUTPUT + ROW + "\n" + ROW.replace("milk-loaf", '"milk\n-loaf"') + ROW
    sheet = books.sheet(text)
    assert (sheet.header_row, sheet.row_numbers.tolist()) == (3, [4, 6, 7])
    assert sheet.rows.loc[1, "product"] == "milk -loaf"


def test_the_fast_and_the_careful_way_agree():
    lines = [OUTPUT, ROW, "\n", ROW, ",,,,,\n", "Total,,,,1800,12\n", ROW]
    fast, careful = books.sheet("".join(lines)), books.sheet("".join(lines).replace("L1", '"L1"'))
    assert fast.rows.equals(careful.rows) and fast.passed_over == careful.passed_over
    assert (fast.row_numbers == careful.row_numbers).all()


@pytest.mark.parametrize(
    ("line", "why"),
    [
        ("\n", "blank"),
        (",,,,,\n", "blank"),
        (" , ,,,,\n", "blank"),
        (",,,,pieces,pieces\n", "units"),
        ("Total,,,,1800,12\n", "totals"),
        (",,,Summe,1800,12\n", "totals"),
        ("Mittelwert,,,,900,6\n", "totals"),
        ("Total L1:,,,,1800,12\n", "totals"),
        ("Zwischensumme,,,,1700,12\n", "totals"),
        ("Average:,,,,900,6\n", "totals"),
        ("Razem,,,,1800,12\n", "totals"),
        ("ŁĄCZNIE:,,,,1800,12\n", "totals"),
        ("Średnia,,,,900,6\n", "totals"),
        ("Jumla,,,,1800,12\n", "sum or the average"),  # whatever the language
        (",Jumla,,,1800,\n", "sum or the average"),
        (",,,,1800,12\n", "sum or the average"),
        (",,,,900,6\n", "sum or the average"),
        (OUTPUT, "header again"),
        ("Signed: R. for the shift,,,,,\n", "a line of text"),
    ],
)
def test_error_27_lines_that_are_no_rows_are_passed_over_and_listed(line: str, why: str):
    at_top = why == "units"
    sheet = books.sheet(OUTPUT + (line if at_top else "") + ROW + ROW + ("" if at_top else line))
    assert len(sheet.rows) == 2
    ((number, said),) = [(over.row, over.why) for over in sheet.passed_over]
    assert number == (2 if at_top else 4) and why in said


@pytest.mark.parametrize(
    "line",
    [
        "Total,milk-loaf,2026-05-06,early,900,6\n",  # a line somebody called Total, filled in
        ",,,,1801,12\n",  # no sum of what stands above
        ",,,,,6 kg\n",
        "L1,milk-loaf,2026-05-06,early,,\n",
        "L1,,,,,\n",
        "Sumatra,,,,1,2\n",  # a line by its name, that only begins like a sum
        "Sumatra,,,,900,6\n",  # the same numbers as above, and no sum
        "L1,,,,1800,12\n",  # the line of the rows above, on which two rows were written together
        "L2,,,,1800,12\n",
        "Jumla,,,early,1800,12\n",
    ],
)
def test_error_27_rows_beside_it_are_rows(line: str):
    sheet = books.sheet(OUTPUT + ROW + ROW + line)
    assert len(sheet.rows) == 3 and not sheet.passed_over


def test_trailing_empty_columns_are_no_columns():
    sheet = books.sheet(OUTPUT.replace("\n", ",,\n") + ROW.replace("\n", ",,\n"))
    assert sheet.columns == tuple(OUTPUT.strip().split(","))


# --- quotes ---


def test_a_ditto_mark_that_opens_a_quote_swallows_no_row():
    ditto = 'L1,",2026-05-06,early,900,6\n'
    sheet = books.sheet(OUTPUT + ROW + ditto + ditto + ROW)
    assert sheet.row_numbers.tolist() == [2, 3, 4, 5] and sheet.rows["product"].tolist()[1:3] == ['"', '"']
    read = books.typed(OUTPUT + ROW + ditto + ditto + ROW)
    assert [(slip.row, slip.column, slip.proposal) for slip in read.slips] == [
        (1, "product", "milk-loaf"),
        (2, "product", "milk-loaf"),
    ]
    assert any("row 3, 4" in note for note in read.notes)


def test_one_mark_that_never_closes_costs_no_other_row():
    sheet = books.sheet(
        OUTPUT + ROW + 'L1,5" pan,2026-05-06,early,900,6\n' + 'L1,"tin,2026-05-06,early,900,6\n' + ROW * 3
    )
    assert len(sheet.rows) == 6 and sheet.rows.loc[1, "product"] == '5" pan'


def test_quotes_as_spreadsheets_write_them():
    text = NOTES + PASTE.replace("übergekocht", '"said ""hot"", then\nleft, at 6"')
    sheet = books.sheet(text + PASTE)
    assert sheet.rows["note"].tolist() == ['said "hot", then left, at 6', "übergekocht"]
    assert sheet.row_numbers.tolist() == [2, 3]


def test_error_7_a_decimal_comma_that_splits_a_cell_is_seen_by_the_count_of_cells():
    read = books.typed(OUTPUT + ROW + "L1,milk-loaf,2026-05-06,early,900,6,5\n" + ROW)
    (slip,) = read.slips
    assert (slip.row, slip.column, slip.rule, slip.value) == (1, "", "shape", "5") and "comma" in slip.why
    beside = books.typed(OUTPUT + ROW + "L1,milk-loaf,2026-05-06,early,900,6,,\n")
    assert not beside.slips


def test_a_file_that_ends_within_a_row_asks_about_that_row_and_no_other():
    whole = OUTPUT + ROW * 3
    for end in range(len(OUTPUT) + 2 * len(ROW) + 1, len(whole)):
        read = books.typed(whole[:end])
        assert len(read.frame) == 3 and not [slip for slip in read.slips if slip.row < 2]
        all_there = whole[:end].count(",") == whole.count(",")
        assert [slip.rule for slip in read.slips if slip.rule == "shape"] == ([] if all_there else ["shape"])


def test_short_rows_are_no_sign_where_they_are_the_habit():
    assert not books.typed(OUTPUT + "L1,milk-loaf,2026-05-06,early,900\n" + "L1,milk-loaf,2026-05-06,late,900").slips
    assert not books.typed(OUTPUT + ROW + "L1,milk-loaf,2026-05-06,late,900\n").slips


# --- what is no log ---


@pytest.mark.parametrize(
    ("content", "why"),
    [
        (b"", "empty"),
        (b" \r\n\n", "empty"),
        (b"\xef\xbb\xbf", "no row holds anything"),
        (b"\r\n;;;\r\n;;;\r\n", "no row holds anything"),
        (OUTPUT.replace(",", "|").encode(), "parted by '|': save it as CSV"),
        (OUTPUT.replace(",", "   ", 2).replace(",", " ").encode() + b"L1   milk-loaf\n", "parted by blanks: save it as CSV"),
        ("\n".join(f"{name},1,2" for name in OUTPUT.strip().split(",")).encode(), "turn the table"),
        (b"\n<table border=1><tr><td>line</td></tr></table>", "web page"),
        (b"Linie;Produkt;Datum\nL1;x;y\n", r"\[columns.KIND\]"),
        ((OUTPUT + ROW + "\n" + "gas_test,tested_at,gas_produced_ml\nG1,2026-05-06 10:00,410\n").encode(), "row 4, .* kind gas"),
        ((OUTPUT + ROW + ",".join(reversed(OUTPUT.strip().split(","))) + "\n").encode(), "second table begins in row 3"),
        (OUTPUT.replace("\n", ",pieces_made\n").encode() + ROW.encode(), "give one of them another heading"),
        (f"{OUTPUT.strip()},{OUTPUT}".encode(), r"^line stands in the header twice \(columns A, G\)"),
        (b"%PDF-1.7\n...", "a PDF"),
        (b"\x89PNG\r\n\x1a\n", "a picture"),
        (b"\x1f\x8b\x08", "compressed"),
        (b"<html><body>", "web page"),
        (b"\0\0\0\0", "not copied whole"),
        (OUTPUT.encode() + b"\0" * 9, "not copied whole"),
        (OUTPUT.encode() + b"\0L1", "binary"),
        (b"\x07\x08" * 50, "binary"),
        (b"just some words\n", "no row holds"),
        (b"a,b\n1,2\n", "no row holds"),
        ((OUTPUT + ROW).encode("utf-16")[:-1], "breaks off"),
        ((NOTES + "ü").encode()[:-1], "breaks off"),
        (b"\x81\x8d" * 40, "neither"),
        (",".join(f"c{i}" for i in range(3000)).encode(), "3000 columns"),
        (b"line,product,shift_date,shift\n", "no column pieces_made"),
    ],
)
def test_what_is_no_log_is_refused_with_one_line(content: bytes, why: str):
    with pytest.raises(Refused, match=why) as refused:
        intake.read("log.csv", content, books.PLANT)
    assert "\n" not in str(refused.value)


def test_a_line_of_megabytes_is_refused_at_once():
    for content in (b"a," * (4 << 20), OUTPUT.encode() + b"x" * (2 << 20) + b"\n", ("x" * (2 << 20)).encode("utf-16")):
        with pytest.raises(Refused, match="a line is longer than"):
            intake.read("log.csv", content, books.PLANT)


def test_the_name_says_nothing():
    content = (OUTPUT + ROW).encode()
    assert (
        intake.read("paste.xlsx", content, books.PLANT).kind
        == intake.read("loaf.pdf", content, books.PLANT).kind
        == "output"
    )


def test_the_same_bytes_give_the_same_sheet():
    content = (OUTPUT.replace(",", ";") + ROW.replace(",", ";").replace("900", "900,0")).encode("cp1252")
    one, two = (intake.read("log", content, books.PLANT) for _ in range(2))
    assert one.rows.equals(two.rows) and (one.notes, one.passed_over) == (two.notes, two.passed_over)
