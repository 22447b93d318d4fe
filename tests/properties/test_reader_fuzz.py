"""The reader on files nobody would write: it reads them or refuses them in one line; never a traceback, never a hang.

A short run by default; `python -m tests.properties.test_reader_fuzz 20000` is the long one.
"""

from __future__ import annotations

import random
import sys
import time

import pandas as pd
import pytest

from models import intake, reading
from models.logbook import KINDS, TABLES
from tests.unit.rows import SOUND, plant

NORTH = plant()
ODD = ["", "-", "?", '"', "1,5", "1.5", "1.234,5", "1e400", "nan", "inf", "-0", "=1+1", "<b>", "\x00", "é", "\u202e", "2026-02-30", "31/12/2026",
       "24:00", "2026-10-25 01:30", "2026-03-29 01:30", "12/31/2026", "43831.5", "'; DROP TABLE file", "../../x", "a" * 5000, "kg", "Total", "٣", "½"]
ENCODINGS = ["utf-8", "utf-8-sig", "utf-16", "cp1252", "latin-1"]
DELIMITERS = [",", ";", "\t", "|"]
ENDS = ["\n", "\r\n", "\r"]


def base(chance: random.Random) -> list[list[str]]:
    """A small sound log as cells, some rows of it."""
    kind = chance.choice(KINDS)
    names = [c.name for c in TABLES[kind].columns if c.name in SOUND[kind] or chance.random() < 0.2]
    row = [str(SOUND[kind].get(name, "")) for name in names]
    return [names, *([list(row)] * chance.randint(0, 6))]


def bend(rows: list[list[str]], chance: random.Random) -> list[list[str]]:
    """Odd cells, missing and extra cells, rows doubled, moved, added above."""
    rows = [list(row) for row in rows]
    for _ in range(chance.randint(0, 6)):
        row = chance.choice(rows)
        act = chance.random()
        if row and act < 0.5:
            row[chance.randrange(len(row))] = chance.choice(ODD)
        elif row and act < 0.6:
            del row[chance.randrange(len(row))]
        elif act < 0.7:
            row.append(chance.choice(ODD))
        elif act < 0.8:
            rows.insert(chance.randrange(len(rows) + 1), [chance.choice(ODD) for _ in range(chance.randint(0, 4))])
        else:
            chance.shuffle(rows)
    return rows


def file(chance: random.Random) -> bytes:
    """One file: a bent log in some encoding, often cut, flipped or filled with noise as bytes."""
    if chance.random() < 0.05:
        return chance.randbytes(chance.randint(0, 400))
    rows = bend(base(chance), chance)
    delimiter, quote = chance.choice(DELIMITERS), chance.random() < 0.3
    lines = [delimiter.join(f'"{cell}"' if quote and chance.random() < 0.5 else cell for cell in row) for row in rows]
    content = chance.choice(ENDS).join(lines).encode(chance.choice(ENCODINGS), errors="replace")
    for _ in range(chance.choice([0, 0, 0, 1, 3])):
        if content:
            at = chance.randrange(len(content))
            content = content[:at] + chance.randbytes(chance.randint(0, 3)) + content[at + chance.randint(0, 3):]
    return content


def fuzz(n: int, seed: int) -> tuple[int, int, float]:
    """Read n files; (understood, refused, slowest in seconds). Anything but a refusal in one line is raised."""
    understood = refused = 0
    slowest = 0.0
    for i in range(n):
        content = file(random.Random(f"{seed}/{i}"))
        started = time.monotonic()
        try:
            sheet = intake.read("x.csv", content, NORTH)
            found = reading.typed(sheet, NORTH)
        except intake.Refused as why:
            refused += 1
            if not str(why) or "\n" in str(why):
                raise AssertionError(f"file {i}: refused, but not in one line: {str(why)!r}") from why
        except Exception as error:
            raise AssertionError(f"file {i} of seed {seed}: {type(error).__name__}: {error}\n{content!r}") from error
        else:
            understood += 1
            holds(sheet, found, i)
        slowest = max(slowest, time.monotonic() - started)
    return understood, refused, slowest


def holds(sheet: intake.Sheet, found: reading.Typed, i: int) -> None:
    """What is true of every sheet that was understood."""
    assert len(sheet.rows) == len(found.frame) == len(sheet.row_numbers), i
    assert list(found.frame.columns) == [c.name for c in TABLES[sheet.kind].columns], i
    assert list(sheet.row_numbers) == sorted(set(sheet.row_numbers)), i
    for slip in found.slips:
        assert 0 <= slip.row < len(found.frame) and slip.why and "\n" not in slip.why, i
        assert not slip.column or pd.isna(found.frame[slip.column].iloc[slip.row]), i


@pytest.mark.slow
def test_short_fuzz() -> None:
    understood, refused, slowest = fuzz(1500, 1)
    assert understood > 200 and refused > 200
    assert slowest < 20


if __name__ == "__main__":
    wanted = int(sys.argv[1])
    read, left, longest = fuzz(wanted, 2)
    print(f"{wanted} files: {read} understood, {left} refused in one line, 0 tracebacks, slowest {longest:.2f} s")
