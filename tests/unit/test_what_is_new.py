"""A run reads what is new and what that may touch, not the years before; here, that this leaves nothing out."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import duckdb
import pytest

from models.storage import account, gather, store


@pytest.fixture
def con(tmp_path: Path) -> Iterator[duckdb.DuckDBPyConnection]:
    opened = store.open_for_writing(tmp_path / "s.duckdb")
    yield opened
    opened.close()


def test_a_days_digest_sees_two_rows_that_trade_a_value(con: duckdb.DuckDBPyConnection) -> None:
    con.execute("""INSERT INTO batches (batch_key, shift_date, baked_g) VALUES
        ('a', DATE '2026-05-06', 400), ('b', DATE '2026-05-06', 410), ('c', DATE '2026-05-07', 405)""")
    before = gather.digests(con)["batches"]
    con.execute("UPDATE batches SET baked_g = 810 - baked_g WHERE shift_date = DATE '2026-05-06'")
    traded = gather.digests(con)["batches"]
    assert traded["2026-05-06"] != before["2026-05-06"] and traded["2026-05-07"] == before["2026-05-07"]
    con.execute("UPDATE batches SET baked_g = 810 - baked_g WHERE shift_date = DATE '2026-05-06'")
    assert gather.digests(con)["batches"] == before


def test_a_page_knows_its_days_rules_and_every_rule_there_is(con: duckdb.DuckDBPyConnection) -> None:
    con.execute("""INSERT INTO judged VALUES ('r1', 'loaf', DATE '2026-05-04', 5, 1, true), ('r1', 'loaf', DATE '2026-05-05', 4, 0, true),
        ('r1', 'loaf', DATE '2026-05-06', 3, 0, true), ('r2', 'gas', DATE '2026-05-04', 2, 0, true), ('r3', 'gas', NULL, 1, 1, false)""")
    found = gather._rules(con, ["2026-05-05"])
    told = {(row.rule, str(row.shift_date)[:10]): (row.judged, row.outcome) for row in found.itertuples()}
    assert told == {
        ("r1", "2026-05-05"): (4, "passed"),
        ("r1", "2026-05-06"): (3, "passed"),  # the last day it was asked on
        ("r2", "2026-05-04"): (2, "passed"),
        ("r3", "NaT"): (1, "could not run"),
    }


def test_a_row_finds_the_dough_it_would_find_among_all(con: duckdb.DuckDBPyConnection) -> None:
    """Number 7 of a line, made on several days, once again within a row's reach, and one corrected to a time out of it."""
    for seq, at in enumerate(
        ("2025-05-06 08:00", "2026-05-05 08:00", "2026-05-06 08:00", "2026-05-06 16:00", "2026-05-08 08:00")
    ):
        con.execute(
            f"""INSERT INTO log_dough (seq, file_id, row, dough_batch, line, mixed_at, batch_key, credible, asks, digest, identity, status)
            VALUES ({seq}, 1, {seq}, '7', 'L1', TIMESTAMP '{at}', 'd{seq}', true, false, {seq}, 'd{seq}', 'accepted')"""
        )
    con.execute(
        "UPDATE log_dough SET identity = 'd2', status = 'quarantined', mixed_at = TIMESTAMP '2024-01-01' WHERE seq = 0"
    )
    rows = "(VALUES (TIMESTAMP '2026-05-06 12:00'), (TIMESTAMP '2026-05-06 17:30')) r(proof_in)"
    found = []
    for when in (account.EVER, ("2026-05-06 12:00:00", "2026-05-06 17:30:00")):
        account._find_reach(con, "proof", when)
        linked = con.execute(f"""SELECT r.proof_in, h.batch_key, h.asks FROM {rows} LEFT JOIN reach h
            ON CAST(r.proof_in AS DATE) = h.day AND r.proof_in >= h.mixed_at AND r.proof_in < h.next_at AND r.proof_in <= h.last_at
            ORDER BY 1""").fetchall()
        found.append((linked, (con.execute("SELECT count(*) FROM reach").fetchone() or (0,))[0]))
    (among_all, every), (near, few) = found
    assert near == among_all and [key for _, key, _ in near] == ["d2", "d3"]
    assert few < every
    account._find_reach(con, "proof", ("infinity", "infinity"))
    assert con.execute("SELECT count(*) FROM reach").fetchone() == (0,)
