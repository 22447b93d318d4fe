"""The row account against a slow, plain reading of the contract, over random histories.

received = accepted + waiting + quarantined + duplicate + superseded after any history of runs, and the
same rows taken in one run or in many end with the same statuses.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import pandas as pd
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from models.logbook import TABLES
from models.storage import account, store, take
from tests.unit.rows import bent, frame, plant

NORTH = plant(lines={"L1": {"kettle": "K1", "products": ["milk-loaf"]}, "L2": {"products": ["milk-loaf"]}})
START = datetime(2026, 5, 6, 6)


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


hour = st.integers(0, 100)
PASTE = st.builds(
    lambda b, k, h, v: {
        "paste_batch": b,
        "kettle": k,
        "shift_date": _day(h),
        "cook_end": _hours(h),
        "weight_after_kg": 35.0 + v,
    },
    st.sampled_from("12"),
    st.sampled_from(["K1", "K2"]),
    hour,
    st.integers(0, 2),
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
    st.sampled_from("12"),
    st.sampled_from(["L1", "L2"]),
    hour,
    st.sampled_from(["1", "2", float("nan")]),
    st.integers(0, 2),
)
LOAF = st.builds(
    lambda i, b, n, h, v: {"loaf": i, "dough_batch": b, "line": n, "measured_at": _hours(h), "volume_ml": 1890.0 + v},
    st.sampled_from("12"),
    st.sampled_from("12"),
    st.sampled_from(["L1", "L2"]),
    hour,
    st.integers(0, 2),
)
ROW = st.one_of(
    *(
        st.builds(Row, st.just(kind), cells.map(lambda c: tuple(c.items())), st.sampled_from([True, True, True, False]))
        for kind, cells in (("paste", PASTE), ("dough", DOUGH), ("loaf", LOAF))
    )
)


def _put(con: Any, rows: list[tuple[int, Row]]) -> None:
    for kind in ("paste", "dough", "loaf"):
        mine = [(seq, row) for seq, row in rows if row.kind == kind]
        if mine:
            places = pd.DataFrame({"seq": [seq for seq, _ in mine], "file_id": 1, "row": 1})
            typed = frame(kind, [bent(kind, **dict(row.cells)) for _, row in mine])
            take._put_rows(con, kind, typed, places, {seq for seq, row in mine if not row.credible})


def _statuses(con: Any) -> dict[int, str]:
    return {
        seq: status
        for kind in ("paste", "dough", "loaf")
        for seq, status in con.execute(f"SELECT seq, status FROM log_{kind}").fetchall()
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
            assert kind["received"] == sum(kind[name] for name in account.STATUSES)
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
    loaves, waits = [], set()
    for seq, row in rows:
        if row.kind != "loaf":
            continue
        values = dict(row.cells)
        mine = [
            (c, i, f)
            for c, i, f, v in known
            if (v["dough_batch"], v["line"]) == (values["dough_batch"], values["line"])
        ]
        identity, in_force, two = _latest(mine, values["measured_at"], timedelta(hours=24))
        if identity is None or not in_force:
            identity = ("?", values["dough_batch"], values["line"], values["measured_at"])
            waits.add(seq)
        loaves.append((seq, values, row.credible and not two, (*identity, values["loaf"])))
    status = _by_identity(loaves)
    return result | {seq: "waiting" if word == "accepted" and seq in waits else word for seq, word in status.items()}


@settings(
    max_examples=40, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow]
)
@given(rows=st.lists(ROW, min_size=1, max_size=40), cuts=st.lists(st.integers(0, 40), max_size=4))
def test_account_of_any_history(tmp_path: Path, rows: list[Row], cuts: list[int]) -> None:
    numbered = list(enumerate(rows))
    edges = sorted({0, len(rows), *(c for c in cuts if c < len(rows))})
    runs = [numbered[a:b] for a, b in zip(edges, edges[1:], strict=False)]
    in_many = _taken(tmp_path, runs)
    assert in_many == _plainly(numbered)
    assert in_many == _taken(tmp_path, [numbered])


def test_the_kinds_of_this_test_are_those_with_references() -> None:
    assert {kind for kind, table in TABLES.items() if table.refers} == {"dough", "proof", "gas", "loaf"}
