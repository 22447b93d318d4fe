"""The demo bakery's folder, read back the way a stranger would read it: by the contract alone."""

from __future__ import annotations

import csv
import io
from collections import defaultdict
from datetime import datetime, timedelta
from functools import cache
from pathlib import Path

from models.logbook import TABLES
from seed_data import bakery
from seed_data.answers import Hidden
from seed_data.plan import DAYS, SEED, ZONE
from seed_data.simulate import Truth, simulate
from seed_data.slips import Slip

BEFORE_ANY_FAULT = "2026-10-24"
_HEADERS = {tuple(column.name for column in table.columns): kind for kind, table in TABLES.items()}
Row = dict[str, str]


@cache
def truth() -> Truth:
    """What really happened."""
    return simulate(SEED, DAYS)


@cache
def hidden() -> tuple[Hidden, ...]:
    """The answers."""
    return tuple(bakery.answers())


@cache
def slips() -> tuple[Slip, ...]:
    """The errors of sheets."""
    return tuple(bakery.slips())


def only(name: str, line: str = "") -> Hidden:
    """The one hidden thing of this name, on this line or in a kettle."""
    (one,) = [h for h in hidden() if h.name == name and h.line == line]
    return one


def local(text: str) -> datetime:
    """A time of a log as the plant's clock showed it."""
    at = datetime.fromisoformat(text)
    return at.astimezone(ZONE).replace(tzinfo=None) if at.tzinfo else at


class Folder:
    """Every file of the demo bakery: its bytes, its cells, and its rows by kind."""

    def __init__(self, root: Path) -> None:
        self.root = root
        self.bytes = {p.relative_to(root).as_posix(): p.read_bytes() for p in sorted(root.rglob("*")) if p.is_file()}
        self.cells = {path: _cells(path, held) for path, held in self.bytes.items() if path.startswith("logs/")}
        self.rows: dict[str, list[tuple[str, Row]]] = defaultdict(list)
        for path, lines in self.cells.items():
            at = next((i for i, line in enumerate(lines) if tuple(line) in _HEADERS), None)
            if at is None:
                continue
            kind = _HEADERS[tuple(lines[at])]
            units = [column.unit for column in TABLES[kind].columns]
            under = [line for line in lines[at + 1 :] if line != units and line[0] != "Total"]
            self.rows[kind] += [(path, dict(zip(lines[at], line, strict=True))) for line in under]

    def all(self, kind: str) -> list[Row]:
        """The rows of one kind, in the order of the files."""
        return [row for _, row in self.rows[kind]]

    def on(self, path: str) -> list[Row]:
        """The rows of one file."""
        return [row for rows in self.rows.values() for where, row in rows if where == path]

    def header(self, path: str) -> list[str]:
        """The header of one file."""
        return next(line for line in self.cells[path] if tuple(line) in _HEADERS)

    def pastes(self) -> dict[str, Row]:
        """Paste rows by shift_date/kettle/paste_batch; the last one written counts."""
        return {f"{row['shift_date']}/{row['kettle']}/{row['paste_batch']}": row for row in self.all("paste")}


def _cells(path: str, held: bytes) -> list[list[str]]:
    """Every line, cell by cell, decimal commas as points; a workbook by a library that did not write it."""
    if path.endswith(".xlsx"):
        import openpyxl

        sheet = openpyxl.load_workbook(io.BytesIO(held)).worksheets[0]
        return [["" if v is None else str(v) for v in row] for row in sheet.iter_rows(values_only=True)]
    text = held.decode("utf-8")
    if text.startswith("dough_batch;"):
        return list(csv.reader(io.StringIO(text.replace(",", ".")), delimiter=";"))
    return list(csv.reader(io.StringIO(text)))


class Batches:
    """Doughs, proofs and routine loaves by shift_date/line/dough_batch; the last row written counts."""

    def __init__(self, folder: Folder) -> None:
        self.dough = {f"{r['shift_date']}/{r['line']}/{r['dough_batch']}": r for r in folder.all("dough")}
        self._at: dict[tuple[str, str], list[tuple[datetime, str]]] = defaultdict(list)
        for key, row in self.dough.items():
            self._at[row["line"], row["dough_batch"]].append((local(row["mixed_at"]), key))
        self.proof = {key: row for row in folder.all("proof") if (key := self._dough_of(row, "proof_in"))}
        loaves = {(key, row["loaf"]): row for row in folder.all("loaf") if (key := self._dough_of(row, "measured_at"))}
        self.loaves: dict[str, list[Row]] = defaultdict(list)
        for (key, _), row in loaves.items():
            if _routine(row):
                self.loaves[key].append(row)

    def _dough_of(self, row: Row, when: str) -> str | None:
        if not row[when]:
            return None
        at = local(row[when])
        before = [
            (made, key) for made, key in self._at[row["line"], row["dough_batch"]]
            if timedelta(hours=-1) <= at - made <= timedelta(hours=24)
        ]  # fmt: skip
        return max(before)[1] if before else None

    def of(self, line: str, product: str) -> list[str]:
        """The batches of a line and product that have loaves."""
        return [k for k, r in self.dough.items() if (r["line"], r["product"]) == (line, product) and self.loaves[k]]

    def volumes(self, key: str) -> list[float]:
        """Specific volumes of a dough's loaves, mL/g."""
        return [float(loaf["volume_ml"]) / float(loaf["baked_g"]) for loaf in self.loaves[key]]


def _routine(row: Row) -> bool:
    """A loaf measured by routine, cooled, whose weight and volume can be true."""
    if row["reason"] == "suspicion" or float(row["cooled_minutes"] or 0) < 60:
        return False
    volume = float(row["volume_ml"]) / float(row["baked_g"])
    return 2.0 < volume < 8.0 and float(row["baked_g"]) < float(row["scaled_g"])
