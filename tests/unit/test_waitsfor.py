"""Why a row waits: its batch has not come, waits in quarantine itself, or is written otherwise where it came."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.unit.test_decisions import DOUGH, HEAD
from tests.unit.test_replacing import Desk
from tests.unit.test_restated import row

COME = "has not come yet; the row is taken up when it does"
ALIKE = "has not come yet, but {} has: if that is meant, write it like that (a spreadsheet takes zeros away)"


@pytest.fixture
def desk(tmp_path: Path) -> Desk:
    """Dough 01 of line L1 is in force since 07:00 of 5 October, 07 waits in quarantine."""
    made = Desk(tmp_path)
    (made.logs / "a.csv").write_text(DOUGH + row("07", "2026-10-05", yeast="two"))
    return made


def why(desk: Desk, kind: str) -> list[str]:
    desk.take()
    rows = desk.left_out
    return rows.loc[(rows["kind"] == kind) & (rows["status"] == "waiting"), "why"].tolist()


@pytest.mark.parametrize(
    ("dough", "line", "says"),
    [
        ("1", "L1", f"the dough it names {ALIKE.format('01')}"),
        ("001", "L1", f"the dough it names {ALIKE.format('01')}"),
        ("1", "L2", f"the dough it names {COME}"),
        ("10", "L1", f"the dough it names {COME}"),
        ("07", "L1", "the dough it names waits in quarantine (a.csv row 2); the row is taken up when that is decided"),
        ("08", "L1", f"the dough it names {COME}"),
    ],
)
def test_a_loaf_says_what_its_dough_is_up_to(desk: Desk, dough: str, line: str, says: str) -> None:
    (desk.logs / "b.csv").write_text(f"{HEAD}\n1,{dough},{line},2026-10-05 10:30,460,405,1850\n")
    assert why(desk, "loaf") == [says]


def test_the_page_takes_the_same_numbers_for_alike_as_the_store():
    import duckdb

    from models.pages.notchecked import bare_number
    from models.storage.waitsfor import bare

    numbers = ["01", "1", "P-01", "p 1", "P_001", "10", "100", "0", "00", "A0B0", "L2-07", "1.05", "x0", "０１", "", "P01-02"]
    with duckdb.connect() as con:
        told = [con.execute(f"SELECT {bare('n')} FROM (SELECT ? AS n)", [number]).fetchall()[0][0] for number in numbers]
    assert told == [bare_number(number) for number in numbers]


def test_a_dough_of_days_before_is_none_it_could_mean(desk: Desk) -> None:
    (desk.logs / "b.csv").write_text(f"{HEAD}\n1,1,L1,2026-10-08 10:30,460,405,1850\n")
    assert why(desk, "loaf") == [f"the dough it names {COME}"]


def test_a_dough_says_it_of_its_paste(desk: Desk) -> None:
    paste = "paste_batch,kettle,shift_date,shift,weight_before_kg,weight_after_kg,cook_start,cook_end,cook_temp_c\n"
    (desk.logs / "p.csv").write_text(paste + "03,K1,2026-10-04,late,36,35.2,2026-10-04 18:10,2026-10-04 18:20,66\n")
    head = DOUGH.replace("yeast_kg", "paste_batch,yeast_kg")
    named = (("11", "3"), ("12", "04"), ("13", "03+04"), ("14", "03 / 04"), ("15", "+"))
    rows = [row(batch, "2026-10-05").replace(",20,2.7", f",20,{of},2.7") for batch, of in named]
    (desk.logs / "b.csv").write_text(head + "".join(rows))
    come = f"the paste it names {COME}"
    two = f"{come}. If two are meant, write paste_batch and paste_batch_2, each with its kg"
    assert why(desk, "dough") == [f"the paste it names {ALIKE.format('03')}", come, two, two, come]
