"""Who did what is kept as long as the plant file says; what was done, when, why and in what role stays for good."""

from __future__ import annotations

from datetime import datetime
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import duckdb

NO_LONGER = "name no longer kept"
ACTS = ("case_event", "hold_event", "decision", "replaced")


def forget(con: duckdb.DuckDBPyConnection, before: datetime) -> None:
    """Take the names off acts done before an instant (naive UTC). Logs stay as they came: what is on them is the archive's."""
    for table in ACTS:
        con.execute(
            f"UPDATE {table} SET who = $no_longer WHERE done_at < $before AND who NOT IN ($no_longer, '')",
            {"no_longer": NO_LONGER, "before": before},
        )
