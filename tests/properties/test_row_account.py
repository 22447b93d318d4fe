"""The row account against a slow, plain reading of the contract, over random histories.

received = accepted + waiting + quarantined + duplicate + superseded after any history of runs, and the
same rows taken in one run or in many end with the same statuses.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import pandas as pd
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from models.logbook import TABLES
from models.storage import account, store, take
from tests.unit.rows import bent, frame, plant

NORTH = plant(lines={"L1": {"kettle": "K1", "products": ["milk-loaf"]}, "L2": {"products": ["milk-loaf"]}})
START = datetime(2026, 5, 6, 6)
# the contract: received = accepted + waiting + quarantined + duplicate + superseded
STATUSES = ("accepted", "waiting", "quarantined", "duplicate", "superseded")


@dataclass(frozen=True)
class Row:
    """One row to come: which log, its cells, and whether it can be true."""

    kind: str
    cells: tuple[tuple[str, Any], ...]
    credible: bool


def _hours(n: int) -> str:
    return (START + timedelta(hours=n)).isoformat(" ")


def _day(n: int) -> str:
    return (START + timedelta(hours=n)).date().isoformat()


hour = st.one_of(st.integers(0, 100), st.sampled_from([0, 24, 72, 96]))  # often a whole reach apart
number, line, values = st.sampled_from("12"), st.sampled_from(["L1", "L2"]), st.integers(0, 2)
PASTE = st.builds(
    lambda b, k, h, v: {
        "paste_batch": b,
        "kettle": k,
        "shift_date": _day(h),
        "cook_end": _hours(h),
        "weight_after_kg": 35.0 + v,
    },
    number,
    st.sampled_from(["K1", "K2"]),
    hour,
    values,
)
DOUGH = st.builds(
    lambda b, n, h, p, v: {
        "dough_batch": b,
        "line": n,
        "shift_date": _day(h),
        "mixed_at": _hours(h),
        "paste_batch": p,
        "flour_kg": 48.0 + v,
    },
    number,
    line,
    hour,
    st.sampled_from(["1", "2", float("nan")]),
    values,
)
LOAF = st.builds(
    lambda i, b, n, h, v: {"loaf": i, "dough_batch": b, "line": n, "measured_at": _hours(h), "volume_ml": 1890.0 + v},
    number,
    number,
    line,
    hour,
    values,
)
PROOF = st.builds(
    lambda b, n, h, v: {
        "dough_batch": b,
        "line": n,
        "proof_in": _hours(h),
        "proof_out": _hours(h + 1),
        "proof_temp_c": 34.0 + v,
    },
    number,
    line,
    hour,
    values,
)
GAS = st.builds(
    lambda i, of, h, v: {"gas_test": i, "tested_at": _hours(h), "gas_produced_ml": 1800.0 + v} | of,
    number,
    st.sampled_from(
        [{"dough_batch": b, "line": n} for b in "12" for n in ("L1", "L2")] + [{"dough_batch": None, "line": None}]
    ),
    hour,
    values,
)
DRAWN = {"paste": PASTE, "dough": DOUGH, "proof": PROOF, "gas": GAS, "loaf": LOAF}
ROW = st.one_of(
    *(
        st.builds(Row, st.just(kind), cells.map(lambda c: tuple(c.items())), st.sampled_from([True, True, True, False]))
        for kind, cells in DRAWN.items()
    )
)


# rows of one history come again, those of a dough that never comes, too
HISTORY = st.lists(ROW, min_size=1, max_size=20).flatmap(
    lambda pool: st.lists(st.one_of(ROW, st.sampled_from(pool)), min_size=1, max_size=40)
)


def _put(con: Any, rows: list[tuple[int, Row]]) -> None:
    for kind in DRAWN:
        mine = [(seq, row) for seq, row in rows if row.kind == kind]
        if mine:
            places = pd.DataFrame({"seq": [seq for seq, _ in mine], "file_id": 1, "row": 1})
            typed = frame(kind, [bent(kind, **dict(row.cells)) for _, row in mine])
            take._put_rows(con, kind, typed, places, {seq for seq, row in mine if not row.credible})


def _statuses(con: Any) -> dict[int, str]:
    return {
        seq: status for kind in DRAWN for seq, status in con.execute(f"SELECT seq, status FROM log_{kind}").fetchall()
    }


def _taken(folder: Path, runs: list[list[tuple[int, Row]]]) -> dict[int, str]:
    path = folder / "s.duckdb"
    path.unlink(missing_ok=True)
    con = store.open_for_writing(path)
    try:
        for rows in runs:
            if rows:
                with store.transaction(con):
                    _put(con, rows)
                    account.settle(con, NORTH, rows[0][0])
        counts = account.count(con)
        for kind in counts.values():
            assert kind["received"] == sum(kind[name] for name in STATUSES)
        return _statuses(con)
    finally:
        con.close()


# --- the plain reading: no sets, no windows, one row after the other ---------------------------


def _by_identity(rows: list[tuple[int, dict, bool, tuple]]) -> dict[int, str]:
    """seq -> status of rows given as (seq, values, good, identity)."""
    result: dict[int, str] = {}
    in_force: dict[tuple, tuple[int, dict]] = {}
    doubtful: dict[tuple, int] = {}
    doubted: dict[tuple, list[dict]] = {}
    for seq, values, good, identity in rows:
        if good:
            if identity in doubtful:
                result[doubtful.pop(identity)] = "superseded"
            if identity in in_force and in_force[identity][1] == values:
                result[seq] = "duplicate"
                continue
            if identity in in_force:
                result[in_force[identity][0]] = "superseded"
            in_force[identity] = (seq, values)
            result[seq] = "accepted"
        elif values in doubted.setdefault(identity, []):
            result[seq] = "duplicate"
        else:
            if identity in doubtful:
                result[doubtful[identity]] = "superseded"
            doubted[identity].append(values)
            doubtful[identity] = seq
            result[seq] = "quarantined"
    return result


def _latest(candidates: list[tuple[str, tuple, bool]], at: str, within: timedelta) -> tuple[tuple | None, bool, bool]:
    """(identity, in force, two fit) of the latest candidate (clock, identity, in force) not after `at`."""
    fit = [c for c in candidates if c[0] <= at]
    if not fit:
        return None, False, False
    newest = max(c[0] for c in fit)
    if datetime.fromisoformat(at) - datetime.fromisoformat(newest) > within:
        return None, False, False
    same = [c for c in fit if c[0] == newest]
    return (same[0][1] if len(same) == 1 else None), all(c[2] for c in same), len(same) > 1


def _known(
    rows: list[tuple[int, dict, tuple]], status: dict[int, str], clock: str
) -> list[tuple[str, tuple, bool, dict]]:
    accepted = {identity for seq, _, identity in rows if status[seq] in ("accepted", "waiting")}
    return [
        (values[clock], identity, status[seq] != "quarantined", values)
        for seq, values, identity in rows
        if status[seq] in ("accepted", "waiting") or (status[seq] == "quarantined" and identity not in accepted)
    ]


def _plainly(rows: list[tuple[int, Row]]) -> dict[int, str]:
    pastes = [(seq, dict(r.cells), r.credible) for seq, r in rows if r.kind == "paste"]
    paste_rows = [(s, v, (v["shift_date"], v["kettle"], v["paste_batch"])) for s, v, _ in pastes]
    result = _by_identity([(s, v, good, i) for (s, v, good), (_, _, i) in zip(pastes, paste_rows, strict=True)])
    known = _known(paste_rows, result, "cook_end")
    doughs, waits = [], set()
    for seq, row in rows:
        if row.kind != "dough":
            continue
        values = dict(row.cells)
        two = False
        if isinstance(values["paste_batch"], str):
            mine = [k for k in known if k[3]["paste_batch"] == values["paste_batch"]]
            own = [(c, i, f) for c, i, f, v in mine if v["kettle"] == "K1"] if values["line"] == "L1" else []
            found = _latest(own, values["mixed_at"], timedelta(hours=72))
            if found[0] is None and not found[2]:
                found = _latest([(c, i, f) for c, i, f, _ in mine], values["mixed_at"], timedelta(hours=72))
            two = found[2]
            if found[0] is None or not found[1]:
                waits.add(seq)
        else:
            values["paste_batch"] = None
        doughs.append(
            (seq, values, row.credible and not two, (values["shift_date"], values["line"], values["dough_batch"]))
        )
    status = _by_identity(doughs)
    status = {seq: "waiting" if word == "accepted" and seq in waits else word for seq, word in status.items()}
    result |= status
    known = _known([(s, v, i) for s, v, _, i in doughs], status, "mixed_at")
    for kind, at in OF_DOUGH.items():
        result |= _of_dough([(seq, row) for seq, row in rows if row.kind == kind], known, at)
    return result


# the contract: a dough has one proof; a test has a number of its own; a loaf's number is its dough's
OF_DOUGH = {"proof": "proof_in", "gas": "tested_at", "loaf": "measured_at"}


def _of_dough(rows: list[tuple[int, Row]], known: list[tuple[str, tuple, bool, dict]], at: str) -> dict[int, str]:
    found, waits = [], set()
    for seq, row in rows:
        values = dict(row.cells)
        named = (values["dough_batch"], values["line"])
        mine = [(c, i, f) for c, i, f, v in known if (v["dough_batch"], v["line"]) == named]
        identity, in_force, two = _latest(mine, values[at], timedelta(hours=24))
        if identity is None or not in_force:
            identity = ("?", *named, values[at])
            if named[0] is not None:
                waits.add(seq)
        own = {"proof": identity, "gas": (values.get("gas_test"),), "loaf": (*identity, values.get("loaf"))}
        found.append((seq, values, row.credible and not two, own[row.kind]))
    status = _by_identity(found)
    return {seq: "waiting" if word == "accepted" and seq in waits else word for seq, word in status.items()}


@settings(
    max_examples=40, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow]
)
@given(rows=HISTORY, cuts=st.lists(st.integers(0, 40), max_size=4))
def test_account_of_any_history(tmp_path: Path, rows: list[Row], cuts: list[int]) -> None:
    numbered = list(enumerate(rows))
    edges = sorted({0, len(rows), *(c for c in cuts if c < len(rows))})
    runs = [numbered[a:b] for a, b in zip(edges, edges[1:], strict=False)]
    in_many = _taken(tmp_path, runs)
    assert in_many == _plainly(numbered)
    assert in_many == _taken(tmp_path, [numbered])


def _row(kind: str, hours: float, **cells: Any) -> Row:
    at = {"paste": "cook_end", "dough": "mixed_at", "loaf": "measured_at"}[kind]
    clock = START + timedelta(hours=hours)
    named = {
        "paste": {"paste_batch": "1", "kettle": "K1"},
        "dough": {"dough_batch": "1", "line": "L1", "paste_batch": None},
        "loaf": {"loaf": "1", "dough_batch": "1", "line": "L1"},
    }[kind]
    day = {} if kind == "loaf" else {"shift_date": clock.date().isoformat()}
    return Row(kind, tuple((named | day | {at: clock.isoformat(" ")} | cells).items()), True)


MINUTE = 1 / 60


@pytest.mark.parametrize("backwards", [False, True], ids=["in order", "the other way round"])
@pytest.mark.parametrize(
    ("named", "names", "status"),
    [
        (_row("paste", 1), _row("dough", 1 - MINUTE, paste_batch="1"), "waiting"),
        (_row("paste", 1), _row("dough", 1, paste_batch="1"), "accepted"),
        (_row("paste", 1), _row("dough", 73, paste_batch="1"), "accepted"),
        (_row("paste", 1), _row("dough", 73 + MINUTE, paste_batch="1"), "waiting"),
        (_row("dough", 1), _row("loaf", 1 - MINUTE), "waiting"),
        (_row("dough", 1), _row("loaf", 1), "accepted"),
        (_row("dough", 1), _row("loaf", 25), "accepted"),
        (_row("dough", 1), _row("loaf", 25 + MINUTE), "waiting"),
    ],
)
def test_how_far_back_a_reference_reaches(tmp_path: Path, named: Row, names: Row, status: str, backwards: bool) -> None:
    """The contract: the latest such batch, at most 72 h before for a paste and 24 h for a dough; waiting until it comes."""
    rows = list(enumerate([names, named] if backwards else [named, names]))
    expected = {seq: status if row is names else "accepted" for seq, row in rows}
    assert _taken(tmp_path, [rows]) == _taken(tmp_path, [[row] for row in rows]) == expected


def test_a_confirmed_correction_takes_the_place_of_its_row_under_whatever_name(tmp_path: Path) -> None:
    """The kettle was wrong, so the correction is another batch; a row that was rejected stays counted as quarantined."""
    wrong, rejected = (replace(_row("paste", n, paste_batch=str(n)), credible=False) for n in (1, 2))
    con = store.open_for_writing(tmp_path / "s.duckdb")
    try:
        with store.transaction(con):
            _put(con, [(0, wrong), (1, rejected)])
            account.settle(con, NORTH, 0)
        decided = [(0, "confirmed", "QA", START, "", "x"), (1, "rejected", "QA", START, "a test cook", None)]
        con.executemany("INSERT INTO decision VALUES (?, ?, ?, ?, ?, ?)", decided)
        with store.transaction(con):
            _put(con, [(2, _row("paste", 1, kettle="K2"))])
            account.settle(con, NORTH, 2)
        assert _statuses(con) == {0: "superseded", 1: "quarantined", 2: "accepted"}
    finally:
        con.close()


@pytest.mark.parametrize("last", ["1", "2"])
def test_a_dough_of_two_tubs_waits_for_both(tmp_path: Path, last: str) -> None:
    """Whichever of its pastes comes later, and a paste it does not name changes nothing."""
    first = {"1": "2", "2": "1"}[last]
    dough = _row("dough", 3, paste_batch="1", paste_batch_2="2")
    rows = list(enumerate([_row("paste", 1, paste_batch=first), dough, _row("paste", 2, paste_batch="3")]))
    assert _taken(tmp_path, [[row] for row in rows]) == {0: "accepted", 1: "waiting", 2: "accepted"}
    rows.append((3, _row("paste", 2, paste_batch=last)))
    accepted = dict.fromkeys(range(4), "accepted")
    assert _taken(tmp_path, [[row] for row in rows]) == _taken(tmp_path, [rows]) == accepted


@pytest.mark.parametrize("runs", [[3], [2, 1], [1, 2], [1, 1, 1]], ids=str)
def test_rows_of_a_dough_that_never_comes(tmp_path: Path, runs: list[int]) -> None:
    """The same loaf twice and once with another volume: each has its one status while its dough is missing."""
    rows = list(enumerate([_row("loaf", 1), _row("loaf", 1), _row("loaf", 1, volume_ml=1900.0)]))
    parts = [rows[sum(runs[:i]) : sum(runs[: i + 1])] for i in range(len(runs))]
    assert _taken(tmp_path, parts) == {0: "superseded", 1: "duplicate", 2: "waiting"}


def test_what_is_measured_as_the_next_dough_of_its_number_is_mixed_is_of_that_one(tmp_path: Path) -> None:
    """The next day's dough 01 is another; its loaf 1 supersedes no loaf of the first."""
    rows = list(enumerate([_row("dough", 1), _row("dough", 20), _row("loaf", 19), _row("loaf", 20, volume_ml=1900.0)]))
    assert _taken(tmp_path, [rows]) == dict.fromkeys(range(4), "accepted")


@pytest.mark.parametrize("then", ["1", "2", None])
def test_a_gas_test_keeps_its_number_whatever_dough_it_names(tmp_path: Path, then: str | None) -> None:
    """Written again with another dough, or with none, it is the same test."""
    doughs = [_row("dough", 1), _row("dough", 1, dough_batch="2")]
    tests = [
        Row(
            "gas",
            tuple({"gas_test": "7", "tested_at": _hours(2), "dough_batch": of, "line": of and "L1"}.items()),
            True,
        )
        for of in ("1", then)
    ]
    rows = list(enumerate([*doughs, *tests]))
    expected = {0: "accepted", 1: "accepted"} | (
        {2: "accepted", 3: "duplicate"} if then == "1" else {2: "superseded", 3: "accepted"}
    )
    assert _taken(tmp_path, [[row] for row in rows]) == _taken(tmp_path, [rows]) == expected


def test_the_kinds_of_this_test_are_those_with_references() -> None:
    assert {kind for kind, table in TABLES.items() if table.refers} == {"dough", *OF_DOUGH} == {*DRAWN} - {"paste"}
