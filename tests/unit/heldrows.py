"""A held paste and the doughs it went into, for tests to bend: L1 got it in 01 and as second tub in 02, L2 in 01; L1 03 got another."""

from __future__ import annotations

from datetime import datetime, timedelta

import pandas as pd

from models.shapes import Alert
from models.snapshot import frame
from tests.unit.test_alerts import alert

DAY = datetime(2026, 5, 6)
COOKED, AT = DAY + timedelta(hours=6), DAY + timedelta(hours=13)
PASTE, OTHER = "2026-05-06/K1/03", "2026-05-06/K1/04"


def dough(line: str, batch: str, hour: float, first: str, second: str | None = None, **more) -> dict:
    """A dough mixed at `hour`, of the shift "early", that got these pastes."""
    return {
        "batch_key": f"2026-05-06/{line}/{batch}",
        "dough_batch": batch,
        "line": line,
        "product": "milk-loaf",
        "shift_date": DAY,
        "shift": "early",
        "mixed_at": DAY + timedelta(hours=hour),
        "paste_key": first,
        "paste_key_2": second,
    } | more


DOUGHS = [
    dough("L1", "01", 8, PASTE, loaves=4.0, proof_out=DAY + timedelta(hours=9)),
    dough("L1", "02", 9, OTHER, PASTE),
    dough("L1", "03", 9.5, OTHER),
    dough("L2", "01", 12.5, PASTE),
]
PASTES = [
    {"paste_key": key, "kettle": "K1", "cook_end": COOKED, "shift_date": DAY, "shift": "early"}
    for key in (PASTE, OTHER)
]
OUTPUT = [
    {"line": "L1", "product": "milk-loaf", "shift_date": DAY, "shift": "early", "pieces_made": 330, "pieces_wasted": 30}
]


def frames(doughs: list[dict] | None = None) -> dict[str, pd.DataFrame]:
    """The frames that `holds_of` takes, by name."""
    return {
        "batches": frame("batches", DOUGHS if doughs is None else doughs),
        "output": frame("output", OUTPUT),
    }


def missed(*pastes: str, **changes) -> Alert:
    """An alert of a missed cooling that speaks of these pastes."""
    keys = pastes or (PASTE,)
    return alert(
        **{
            "alert": "Ac001",
            "kind": "limit",
            "urgency": "hold",
            "line": None,
            "product": None,
            "kettle": "K1",
            "characteristic": "cooling",
            "direction": "high",
            "causes": (),
            "batches": keys,
            "began_at_batch": keys[0],
            "began_at": COOKED,
            "signalled_at": COOKED,
            "until_at": COOKED + timedelta(hours=1),
            "says": "26.4 °C two hours after cooking; the limit is 21 °C",
        }
        | changes
    )
