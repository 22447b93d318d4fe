"""How far a chart has come, kept so that one more day of points costs a day, not the whole history.

It is derived: without it, or where a point before, the baseline or the run length changed, the chart is made anew
from its points, with the same answer (tests/properties/test_growth.py).
"""

from __future__ import annotations

import hashlib
import json
from dataclasses import asdict, dataclass

import numpy as np

from models.charts.follow import Progress, Raw
from models.charts.innovations import Place
from models.shapes import Baseline, Points


@dataclass(frozen=True)
class Past:
    """points: how many were charted; fingerprint: of those, the baseline and the run length; learned: episodes of the
    stretch the baseline was learned in, all over; progress: of the stretch after it."""

    points: int
    fingerprint: str
    learned: tuple[Raw, ...]
    progress: Progress


def fingerprint(points: Points, upto: int, baseline: Baseline, arl0: float) -> str:
    """Of everything that the chart of points[:upto] is made from."""
    made = hashlib.sha256(json.dumps([asdict(baseline), arl0], default=str, sort_keys=True).encode())
    for numbers in (points.at, points.value, points.n, points.sd_within, points.day):
        made.update(np.ascontiguousarray(numbers[:upto]).tobytes())
    for texts in (points.keys, points.lot, points.flour):
        made.update("\n".join(map(str, texts[:upto])).encode() if texts is not None else b"none")
        made.update(b"\0")
    return made.hexdigest()


def usable(past: Past | None, points: Points, baseline: Baseline, arl0: float) -> Past | None:
    """The past, where it is the past of these points and of this baseline."""
    if past is None or past.points > len(points):
        return None
    return past if fingerprint(points, past.points, baseline, arl0) == past.fingerprint else None


def to_text(past: Past) -> str:
    """JSON for the store; numbers keep their last digit."""
    return json.dumps(asdict(past), default=_plain, sort_keys=True)


def _plain(value: object) -> object:
    return value.item() if isinstance(value, np.generic) else str(value)


def from_text(text: str) -> Past:
    """The past that `to_text` wrote."""
    body = json.loads(text)
    at = body["progress"]
    place = at["place"] and Place(
        at["place"]["at"],
        tuple(at["place"]["numbers"]),
        at["place"]["lot"],
        at["place"]["flour"],
        {int(label): (effect, variance) for label, (effect, variance) in at["place"]["kept"].items()},
    )
    progress = Progress(at["start"], at["scanned"], place, _raws(at["episodes"]))
    return Past(body["points"], body["fingerprint"], _raws(body["learned"]), progress)


def _raws(found: list[dict]) -> tuple[Raw, ...]:
    return tuple(Raw(**raw) for raw in found)
