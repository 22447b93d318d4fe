"""A large plain log straight from the archive gives the same store as through the ordinary reader, for random files."""

from __future__ import annotations

import shutil
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from flows import pulling
from flows.job import Job
from models.logbook import TABLES
from models.reader import bulk as reader
from models.storage import account, raw, store
from tests.unit.rows import plant

NORTH = plant(columns={"loaf": {"Pan": "position"}})
DOUGHS = """dough_batch,line,product,shift_date,shift,mixed_at,flour_kg,liquid_kg,yeast_kg,dough_temp_c
01,L1,milk-loaf,2026-05-06,early,2026-05-06T06:30,48,14.5,1.8,26
02,L1,milk-loaf,2026-05-06,early,2026-05-06T07:30,48,14.5,1.8,26
01,L2,plain-loaf,2026-05-06,early,2026-05-06T06:30,48,14.5,1.8,26
01,L2,plain-loaf,2026-05-07,early,2026-05-07T06:30,48,14.5,1.8,26
02,L2,plain-loaf,2026-05-06,early,2026-05-06T08:30,4800,14.5,1.8,26
"""


def _mostly(*usual: str, odd: list[str]) -> st.SearchStrategy[str]:
    return st.integers(0, 19).flatmap(lambda n: st.sampled_from(odd) if n == 0 else st.sampled_from(usual))


NUMBERS = [
    "",
    "-",
    "n/a",
    "nan",
    "inf",
    "1e3",
    "1e0003",
    "4_0",
    "+450",
    "450 g",
    "0",
    "-1",
    "1,5",
    "45O",
    "?",
    "1.2.3",
    ".5",
    "9" * 400,
]
CELLS: dict[str, st.SearchStrategy[str]] = {
    "loaf": _mostly("1", "2", "3", "4", "5", "6", odd=["", "?", "loaf", "as above", "Total", "-"]),
    "dough_batch": _mostly("01", "02", odd=["", "03", "ditto", "n/a", "O1"]),
    "line": _mostly("L1", "L1", "L2", odd=["", "l1", "L 2", "L9", "total"]),
    "measured_at": _mostly(
        "2026-05-06T10:00", "2026-05-06 10:00", "2026-05-06T10:00:05", "2026-05-06T23:50", "2026-05-07T08:00",
        odd=["", "2026-05-06T24:00", "2026-02-30T10:00", "10:15", "2026-05-06T10:00+01:00", "06/05/2026 10:00",
             "2026-05-06", "46148.5", "2026-5-6 9:00", "1890-05-06T10:00", "2026-05-06T00:10", "2026-05-08T10:00",
             "2026-03-29T01:30", "2026-10-25T01:30", "06.05.2026 10:00"],
    ),
    "scaled_g": _mostly("450", "451.5", odd=NUMBERS),
    "baked_g": _mostly("400", "399.5", odd=[*NUMBERS, "40000", "4.0"]),
    "volume_ml": _mostly("1890", "1900.5", odd=[*NUMBERS, "190", "1.9"]),
    "cooled_minutes": _mostly("", "65", odd=NUMBERS),
    "method": _mostly("laser", "", odd=["Laser", "scanner", "eye", "n/a"]),
    "reason": _mostly("", "routine", odd=["suspicion", "R", "because"]),
    "Pan": _mostly("a1", "b2", odd=["", "same", "--"]),
    "remark": _mostly("", "x", odd=["total", "a b c"]),
}  # fmt: skip
ROWS = st.lists(st.fixed_dictionaries(CELLS), min_size=1, max_size=25)
ENDS = st.sampled_from(["\n", "\n", "\n", "", "\n\n", "\nTotal\n"])


def _text(rows: list[dict[str, str]], names: list[str], end: str, in_order: bool) -> str:
    if in_order:
        rows = sorted(rows, key=lambda row: (row["line"], row["measured_at"]))
    lines = [",".join(names), *(",".join(row[name] for name in names) for row in rows)]
    return "\n".join(lines) + end


def _pulled(folder: Path, bulk_from: int) -> dict[str, Any]:
    """Everything a pull leaves in the store, with the large-file lane from so many bytes on."""
    before, reader.FEWEST_BYTES = reader.FEWEST_BYTES, bulk_from
    job = Job(NORTH, "the same", folder / "logs", folder / f"{bulk_from}.duckdb", folder)
    con = store.open_for_writing(job.store)
    try:
        with store.transaction(con):
            pulled = pulling.pull(con, job, 1)
        assert pulled.touched is not None
        seqs = [seq for (seq,) in con.execute("SELECT seq FROM log_loaf ORDER BY seq").fetchall()]
        return {
            "files": pulled.files,
            "days": pulled.shift_dates,
            "touched": (pulled.touched.batches, pulled.touched.pastes),
            "raw": [raw.cells(con, seq) for seq in seqs],
            "next": raw.next_seq(con),
            "in bulk": con.execute("SELECT count(*) FROM raw_file").fetchone(),
            **{
                name: con.execute(query).fetchall()
                for name, query in {
                    "rows": f"SELECT * FROM {account.rows('loaf')} ORDER BY seq",
                    "slips": "SELECT * FROM slip ORDER BY seq, place",
                    "judged": """SELECT rule, shift_date, sum(judged), sum(broken), bool_and(could_run) FROM judged
                        GROUP BY ALL HAVING sum(judged) > 0 ORDER BY ALL""",
                    "file": "SELECT * FROM file ORDER BY file_id",
                    "passed over": "SELECT * FROM passed_over ORDER BY ALL",
                }.items()
            },
        }
    finally:
        con.close()
        reader.FEWEST_BYTES = before


def _both(folder: Path, *logs: str) -> tuple[dict[str, Any], dict[str, Any]]:
    shutil.rmtree(folder, ignore_errors=True)
    (folder / "logs").mkdir(parents=True)
    (folder / "logs" / "dough.csv").write_text(DOUGHS, encoding="utf-8")
    for number, text in enumerate(logs):
        (folder / "logs" / f"loaf-{number}.csv").write_text(text, encoding="utf-8", newline="")
    return _pulled(folder, 0), _pulled(folder, 1 << 40)


@settings(
    max_examples=8, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow]
)
@given(
    files=st.lists(st.tuples(ROWS, st.permutations(list(CELLS)), ENDS, st.booleans()), min_size=1, max_size=3),
)
def test_both_lanes_leave_the_same_store(tmp_path: Path, files: list[tuple[Any, ...]]) -> None:
    straight, ordinary = _both(tmp_path / "both", *(_text(*file) for file in files))
    assert ordinary.pop("in bulk") == (0,)
    straight.pop("in bulk")
    assert straight == ordinary


SOUND = {name: "" for name in CELLS} | {
    "loaf": "1", "dough_batch": "01", "line": "L1", "measured_at": "2026-05-06T10:00", "baked_g": "400", "volume_ml": "1890",
}  # fmt: skip


def _changed(*rows: dict[str, str], end: str = "\n") -> str:
    numbered = [SOUND | {"loaf": str(n)} | row for n, row in enumerate(rows)]
    return _text(numbered, list(CELLS), end, False)


@pytest.mark.parametrize(
    ("text", "in_bulk"),
    [
        (_changed({}, {}, {"baked_g": "40000"}, {"volume_ml": "450 g"}, {"volume_ml": ""}), 1),
        (_changed({}, {"measured_at": "2026-05-06T09:00"}, {"measured_at": ""}), 1),
        (_changed({}, {"measured_at": "2026-05-06T10:00+01:00"}, {"line": "l1"}), 1),
        (_changed({}, end="\n\n"), 0),
        (_changed({}, {"remark": '"a"'}), 0),
        (_changed({}, {"remark": "a,b"}), 0),
        (_changed({}, {"dough_batch": "02"}, {"dough_batch": "as above"}), 0),
        (_changed({}, dict.fromkeys(CELLS, "")), 0),
        (_changed({"measured_at": "2026-05-06T23:50"}, {"measured_at": "2026-05-06T00:10"}), 0),
        (_changed({"measured_at": "2026-10-24T23:50"}, {"measured_at": "2026-10-25T08:10"}), 0),
        (_changed({}, {"measured_at": "06/05/2026 10:00"}), 0),
        (_changed({}).replace("\n", "\r\n"), 0),
        (_changed({}, {}) + ",".join(reversed(CELLS)) + "\n", 0),
    ],
)  # fmt: skip
def test_what_is_not_plain_goes_through_the_ordinary_reader(tmp_path: Path, text: str, in_bulk: int) -> None:
    straight, ordinary = _both(tmp_path / "both", text)
    assert (straight.pop("in bulk"), ordinary.pop("in bulk")) == ((in_bulk,), (0,))
    assert straight == ordinary


def test_a_number_that_a_spreadsheet_shortened_is_said_in_both_lanes(tmp_path: Path) -> None:
    straight, ordinary = _both(tmp_path / "both", _changed({}, {"volume_ml": "1.89E+3"}, {"loaf": "1E5"}))
    assert (straight.pop("in bulk"), ordinary.pop("in bulk")) == ((1,), (0,))
    assert straight == ordinary
    said = next(file["notes"] for file in straight["files"] if file["kind"] == "loaf")
    assert said == "volume_ml: 1.89E+3 as a spreadsheet shortens a number; digits may be lost"


def test_a_folder_with_odd_signs_in_its_name(tmp_path: Path) -> None:
    straight, ordinary = _both(tmp_path / "it's [a] folder", _changed({}, {}))
    assert (straight.pop("in bulk"), ordinary.pop("in bulk")) == ((0,), (0,))
    assert straight == ordinary
    straight, ordinary = _both(tmp_path / "it's a folder", _changed({}, {}))
    assert (straight.pop("in bulk"), ordinary.pop("in bulk")) == ((1,), (0,))
    assert straight == ordinary


def test_logs_read_in_bulk_have_one_clock_and_nothing_judged_by_its_file() -> None:
    for kind in reader.KINDS:
        assert len(TABLES[kind].of_type("time", "date")) == 1 and TABLES[kind].refers


def test_a_changed_plant_file_reads_rows_back_as_they_came(tmp_path: Path) -> None:
    """L9 comes into the plant file and L1 goes: the rows of both are held against it anew, and say what was written."""
    logs = [_changed({}, {"line": "L9"}, {"line": "L2"}, {"baked_g": "450 g"}, {})]
    _both(tmp_path / "both", *logs)
    folder = tmp_path / "both"
    later = plant(lines={"L2": {"products": ["plain-loaf"]}, "L9": {"products": ["plain-loaf"]}})
    found = []
    for number in (0, 1 << 40):
        con = store.open_for_writing(folder / f"{number}.duckdb")
        with store.transaction(con):
            pulling.pull(con, Job(later, "another", folder / "logs", folder / f"{number}.duckdb", folder), 2)
        slips = con.execute("SELECT seq, place, \"column\", value, rule FROM slip WHERE kind = 'loaf' ORDER BY ALL")
        found.append((slips.fetchall(), con.execute("SELECT seq, status FROM log_loaf ORDER BY seq").fetchall()))
        con.close()
    assert found[0] == found[1]
    assert {(value, rule) for _, _, _, value, rule in found[0][0]} >= {("L1", "loaf.unknown-line")}
    assert not any(value == "L9" for _, _, _, value, _ in found[0][0])


@pytest.mark.parametrize("many_doughs", [0, account.MANY_DOUGHS])
def test_a_loaf_sent_again_is_found_whatever_its_number(
    tmp_path: Path, many_doughs: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Numbers that two loaves may have alike are looked for by dough: small and large ones, with a nought, none, of no dough."""
    monkeypatch.setattr(account, "MANY_DOUGHS", many_doughs)
    odd = [{"loaf": "7"}, {"loaf": "07"}, {"loaf": "9000"}, {"loaf": ""}, {"dough_batch": "03"}, {"loaf": "x"}]
    lettered = {"loaf": "A", "dough_batch": "02"}  # the only loaf of its dough, sent twice
    first = _changed({}, {}, *odd, {"loaf": "9000"}, lettered)
    again = _changed({}, {"baked_g": "401"}, *odd, {"loaf": "07"}, lettered)
    straight, ordinary = _both(tmp_path / "both", first, again)
    assert (straight.pop("in bulk"), ordinary.pop("in bulk")) == ((2,), (0,))
    assert straight == ordinary
    status = [row[-2] for row in straight["rows"]]
    assert status == [
        *["accepted", "superseded", "accepted", "accepted", "accepted", "quarantined", "waiting", "accepted", "duplicate"],
        *["accepted", "duplicate", "accepted", *["duplicate"] * 8],
    ]  # fmt: skip
