"""Batches that a call's sentences name are found by their keys, whatever stands on the sheets, and told on the page."""

from __future__ import annotations

import pandas as pd

from models.pages.changes import change
from models.pages.named import Piece, batches_named, pieces
from models.pages.stories import Stories
from tests.unit.snapshots import BAD, snapshot

KEYS = ["2026-05-05/L1/01", "2026-05-05/L1/01 b/2", "2026-05-06/line 2/P.3"]


def _stories() -> Stories:
    return Stories(pd.DataFrame({"key": KEYS}), ("key",), lambda row: f"told of {row['key']}")


def test_the_longest_key_that_fits_is_meant():
    line = "outside its own limits over 2 doughs (2026-05-05/L1/01 b/2 to 2026-05-06/line 2/P.3), not 2026-05-05/L1/01."
    found = batches_named([line], [_stories()])
    assert [one.key for one in found] == [KEYS[1], KEYS[2], KEYS[0]]
    assert found[0].says == ("told of 2026-05-05/L1/01 b/2",)
    cut = pieces(line, found)
    assert "".join(piece.says for piece in cut) == line
    assert [piece for piece in cut if piece.batch] == [Piece(KEYS[1], 1), Piece(KEYS[2], 2), Piece(KEYS[0], 3)]


def test_a_batch_without_rows_and_a_plain_day_are_text():
    line = "began on 2026-05-05 and with 2026-05-05/L9/77"
    assert batches_named([line], [_stories()]) == ()
    assert pieces(line, ()) == (Piece(line),)


def test_a_number_that_only_begins_like_a_batchs_is_another():
    line = "2026-05-05/L1/013 and 2026-05-05/L1/01, then 2026-05-05/L1/01x"
    found = batches_named([line], [_stories()])
    assert [one.key for one in found] == [KEYS[0]]
    assert [piece.says for piece in pieces(line, found)] == [
        "2026-05-05/L1/013 and ",
        KEYS[0],
        ", then 2026-05-05/L1/01x",
    ]


def test_a_change_tells_of_the_doughs_and_the_paste_it_names():
    alert = next(a for a in snapshot().alerts if a.causes)
    shown = change(alert, snapshot()).bars
    assert shown is not None
    assert [one.key for one in shown.named] == [f"{BAD}/L1/D04", f"{BAD}/L1/D05", f"{BAD}/K1/P03"]
    assert any("dough" in line for line in shown.named[0].says) and any("cook" in line for line in shown.named[2].says)
