"""A loaf whose dough was not written, between two of its line that name one and the same: probably of that dough.

Only a person makes it so: it is a proposal in quarantine, like any reading that would fit. Of a dough without its paste the
day page says the same, and nothing is traced to it. The contract holds no inferred reference, so that no row is linked by
a guess and given less weight; and of a proof nothing can be told, for a dough has one alone.
"""

from __future__ import annotations

import json
from typing import TYPE_CHECKING

from models.storage import store

if TYPE_CHECKING:
    import duckdb

# the two lie no further apart than one dough's loaves are measured in
WITHIN_H = 6


def propose(con: duckdb.DuckDBPyConnection, first_new: int) -> None:
    """Add the proposal to loaves from seq `first_new` on whose only fault is that no dough is written. Call once all rows are in."""
    lacking = con.execute(
        """SELECT seq FROM slip WHERE kind = 'loaf' AND seq >= ? GROUP BY seq
        HAVING count(*) = 1 AND any_value("column") = 'dough_batch' AND any_value(proposal) IS NULL""",
        [first_new],
    ).fetchall()
    if not lacking:
        return
    query = store.sql("between").format(within_h=WITHIN_H)
    found = con.execute(query, {"seqs": [seq for (seq,) in lacking]}).fetchall()
    said = [
        [f"dough_batch = {dough}", json.dumps({"dough_batch": dough}, ensure_ascii=False), dough, seq]
        for seq, dough in found
    ]
    if said:
        con.executemany(
            """UPDATE slip SET proposal = ?, cells = ?, why = why || '; the loaves before and after it name ' || ?
            WHERE kind = 'loaf' AND seq = ?""",
            said,
        )
