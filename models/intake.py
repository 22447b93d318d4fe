"""How logs get in: which files below a folder are logs, and what stands in them."""

from __future__ import annotations

import os
import stat
from pathlib import Path

import numpy as np
import pandas as pd

from models import clock, headers, numbers, textfile, workbook
from models.headers import Header
from models.logbook import TABLES, Column
from models.plant import Plant
from models.sheet import Decisions, PassedOver, Refused, Sheet

__all__ = ["Decisions", "PassedOver", "Refused", "Sheet", "find", "read"]

_TOTALS = frozenset(
    "total totals sum sums subtotal sub-total average averages avg mean median min max minimum maximum sd stdev count ø σ".split()
)
_UNFINISHED = (".tmp", ".part", ".partial", ".crdownload", ".swp", "~")


def find(folder: Path) -> tuple[list[Path], list[tuple[Path, str]]]:
    """The files below a folder that may be logs, and those refused outright with the reason.

    Both in bytewise order of the path relative to the folder. Hidden and temporary files are passed over; links,
    pipes and devices are never opened or followed.
    """
    taken: list[Path] = []
    refused: list[tuple[Path, str]] = []
    for path in sorted(_below(folder, refused), key=lambda p: _order(p, folder)):
        why = _outright(path, folder)
        if why:
            refused.append((path, why))
        else:
            taken.append(path)
    return taken, sorted(refused, key=lambda item: _order(item[0], folder))


def _order(path: Path, folder: Path) -> bytes:
    return os.fsencode(path.relative_to(folder).as_posix())


def _below(folder: Path, refused: list[tuple[Path, str]]) -> list[Path]:
    found: list[Path] = []
    try:
        entries = list(os.scandir(folder))
    except OSError as error:
        refused.append((folder, f"the folder cannot be read ({error.strerror})"))
        return found
    for entry in entries:
        name = entry.name
        if name.startswith((".", "~$")) or name.lower().endswith(_UNFINISHED):
            continue
        path = folder / name
        if entry.is_dir(follow_symlinks=False):
            found += _below(path, refused)
        else:
            found.append(path)
    return found


def _outright(path: Path, folder: Path) -> str | None:
    try:
        mode = path.lstat().st_mode
    except OSError as error:
        return f"cannot be read ({error.strerror})"
    if stat.S_ISLNK(mode):
        return "a link, which is not followed: put the file itself into the folder"
    if not stat.S_ISREG(mode):
        return "no ordinary file (a pipe, socket or device)"
    return None if os.access(path, os.R_OK) else "may not be read: give read permission to the account that runs this"


def read(name: str, content: bytes, plant: Plant) -> Sheet:
    """Read one log. Pure: the same bytes and plant give the same sheet. `name` is never looked at for the kind.

    Raises Refused, one line, for what is no table, fits no kind of log or two, or cannot be read one way only.
    """
    if not content.strip():
        raise Refused("the file is empty")
    try:
        if content.startswith(b"PK\x03\x04"):
            return _from_workbook(content, plant)
        if content.startswith(b"\xd0\xcf\x11\xe0"):
            raise Refused("an old or password-protected workbook: save it as XLSX without a password")
        return _from_text(content, plant)
    except numbers.Undecidable as question:
        raise Refused(str(question)) from None


def _from_text(content: bytes, plant: Plant) -> Sheet:
    text = textfile.decode(content)
    delimiter = textfile.delimiter_of(text, plant)
    rows = textfile.head(text, delimiter)
    header = headers.find(rows, plant)
    body = textfile.body(text, delimiter, header.index, len(header.cells))
    notes = [] if delimiter == "," else [f"delimiter: {textfile.name_of(delimiter)}"]
    if text.encoding != "UTF-8":
        notes.append(f"encoding: {text.encoding}")
    return _sheet(rows, header, body.frame, None, [*notes, *body.notes], delimiter == "," and text.plain)


def _from_workbook(content: bytes, plant: Plant) -> Sheet:
    grid = workbook.grid(content)
    header = headers.find(grid.rows, plant)
    columns = len(header.cells)
    below = grid.rows[header.index + 1 :]
    frame = pd.DataFrame(
        {i: pd.Series([r[i] or None if i < len(r) else None for r in below], dtype="str") for i in range(columns)}
    )
    frame[columns] = pd.Series([None] * len(below), dtype="str")
    real = np.array([r[:columns] for r in grid.real[header.index + 1 :]], dtype=bool).reshape(len(below), columns)
    return _sheet(grid.rows, header, frame, real, list(grid.notes), False)


def _sheet(
    rows: list[list[str]], header: Header, frame: pd.DataFrame, real: np.ndarray | None, notes: list[str], standard: bool
) -> Sheet:
    kept, columns = _columns(header, frame)
    over = [PassedOver(i + 1, "above the header" if any(r) else "blank") for i, r in enumerate(rows[: header.index])]
    numbering = np.arange(header.index + 2, header.index + 2 + len(frame), dtype=np.int64)
    dropped = _no_rows(header, frame, columns, kept)
    over += [PassedOver(int(numbering[place]), why) for place, why in dropped.items()]
    stay = np.setdiff1d(np.arange(len(frame)), list(dropped))
    body = frame[kept].set_axis(list(columns), axis=1)
    if dropped:
        body = body.iloc[stay].reset_index(drop=True)
    beyond = frame.iloc[stay, -1].reset_index(drop=True).dropna()
    cells = None if real is None else real[np.ix_(stay, kept)]
    sheet = Sheet(
        header.kind, header.index + 1, columns, body, numbering[stay], tuple(over), tuple(notes), Decisions(), cells,
        {int(k): v for k, v in beyond.items()},
    )  # fmt: skip
    return _decided(sheet, standard)


def _columns(header: Header, frame: pd.DataFrame) -> tuple[list[int], tuple[str, ...]]:
    """Which columns are kept, and their names: contract names, else the file's own, made unique."""
    kept, names = [], []
    taken = set(TABLES[header.kind].by_name)
    for index, (cell, contract) in enumerate(zip(header.cells, header.contract, strict=True)):
        if contract is None and not cell and frame[index].isna().all():
            continue
        name = contract or cell or f"column {headers.letter(index)}"
        number = 2
        while contract is None and name in taken:
            name, number = f"{cell} ({number})", number + 1
        taken.add(name)
        kept.append(index)
        names.append(name)
    return kept, tuple(names)


def _no_rows(header: Header, frame: pd.DataFrame, columns: tuple[str, ...], kept: list[int]) -> dict[int, str]:
    """Frame places of the lines that are no rows, in order, with the reason."""
    required = [kept[columns.index(name)] for name in TABLES[header.kind].required]
    lacking = frame[required].isna().any(axis=1).to_numpy()
    again = (frame[required[0]] == header.cells[required[0]]).to_numpy()
    found = {}
    for place in np.flatnonzero(lacking | again):
        cells = ["" if pd.isna(c) else str(c) for c in frame.iloc[place]]
        why = _why_no_row(cells, header)
        if why == "units" and place > 2:
            why = None
        if why:
            found[int(place)] = why
    return found


def _why_no_row(cells: list[str], header: Header) -> str | None:
    filled = [c for c in cells if c]
    if not filled:
        return "blank"
    if [c.casefold() for c in cells[: len(header.cells)]] == [c.casefold() for c in header.cells]:
        return "the header again"
    if headers.is_units(cells):
        return "units"
    if filled[0].casefold().rstrip(":. ") in _TOTALS:
        return "totals or averages"
    return None


def _decided(sheet: Sheet, standard: bool) -> Sheet:
    """The sheet with its decisions. `standard`: comma-separated without quotes, so no number can hold a comma."""
    table = TABLES[sheet.kind]
    notes = list(sheet.notes)
    decimal = "."
    if not standard:
        decimal, note = numbers.decide(_number_cells(sheet, c) for c in table.columns if c.type == "number" and c.name in sheet.columns)
        if decimal == "," and note:
            notes.append(note)
    dates = [t for c in table.of_type("date", "time") if c in sheet.columns for t in sheet.coded(c)[1]]
    day_first, note = clock.decide(dates)
    if note:
        notes.append(note)
    return Sheet(
        sheet.kind, sheet.header_row, sheet.columns, sheet.rows, sheet.row_numbers, sheet.passed_over, tuple(notes),
        Decisions(decimal, day_first), sheet.real, sheet.surplus, sheet._coded,
    )  # fmt: skip


def _number_cells(sheet: Sheet, column: Column) -> tuple[Column, list[str], np.ndarray]:
    codes, texts = sheet.coded(column.name)
    shown = codes >= 0
    if sheet.real is not None:
        shown = shown & ~sheet.real[:, sheet.columns.index(column.name)]
    counts = np.bincount(codes[shown], minlength=len(texts))
    used = np.flatnonzero(counts)
    return column, [texts[i] for i in used], counts[used]
