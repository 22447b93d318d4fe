"""How far a chart has come, kept so that one more day of points costs a day, not the whole history.

It is derived: without it, or where a point before, the baseline or the run length changed, the chart is made anew
from its points, with the same answer (tests/properties/test_growth.py).
"""

from __future__ import annotations

import hashlib
import json
from dataclasses import dataclass, is_dataclass
from datetime import datetime
from typing import Any

import numpy as np

from models.charts.follow import Progress, Raw
from models.charts.innovations import Place
from models.shapes import Baseline, Charted, Episode, Points, Stream


@dataclass(frozen=True)
class Past:
    """points: how many were charted; fingerprint: of those, the baseline and the run length; learned: episodes of the
    stretch the baseline was learned in, all over; progress: of the stretch after it."""

    points: int
    fingerprint: str
    learned: tuple[Raw, ...]
    progress: Progress


@dataclass(frozen=True)
class Last:
    """One stream as it was last charted. key: fingerprint of all it was made from; charted: its answer but its points."""

    key: str
    charted: dict[str, Any]
    past: Past | None

    def may_be_of(self, points: Points) -> bool:
        """Whether it may have been made of these: as many, as far as that was kept."""
        return self.past is None or self.past.points == len(points)

    @property
    def drawn(self) -> Any:
        """The limits that were drawn: lower, upper, lasting."""
        return self.charted["lower"], self.charted["upper"], self.charted["lasting"]

    def again(self, stream: Stream, points: Points) -> Charted:
        """The same chart, of the same points; its statistic is NaN: all were scanned before."""
        return Charted(stream=stream, points=points, statistic=np.full(len(points), np.nan), **self.charted)


def last(charted: Charted, past: Past | None, key: str) -> Last:
    """What is kept of a chart."""
    return Last(key, {name: getattr(charted, name) for name in SAID}, past)


SAID = ("baseline", "lower", "upper", "episodes", "state", "promise", "lasting")


def fingerprint(points: Points, upto: int, baseline: Baseline | None, arl0: float) -> str:
    """Of everything that the chart of points[:upto] is made from. baseline: the frozen one it is given, if any."""
    given = vars(baseline) if baseline else None
    made = hashlib.sha256(json.dumps([given, arl0], default=str, sort_keys=True).encode())
    for numbers in (points.at, points.value, points.n, points.sd_within, points.day):
        made.update(np.ascontiguousarray(numbers[:upto]).tobytes())
    for texts in (points.keys, points.lot, points.flour):
        made.update("\n".join(texts[:upto].tolist()).encode() if texts is not None else b"none")
        made.update(b"\0")
    return made.hexdigest()


def usable(past: Past | None, points: Points, baseline: Baseline, arl0: float) -> Past | None:
    """The past, where it is the past of these points and of this baseline."""
    if past is None or past.points > len(points):
        return None
    return past if fingerprint(points, past.points, baseline, arl0) == past.fingerprint else None


def to_text(kept: Last) -> str:
    """JSON for the store; numbers keep their last digit."""
    return json.dumps(vars(kept), default=_plain, sort_keys=True, ensure_ascii=False)


def _plain(value: object) -> object:
    if is_dataclass(value):
        return vars(value)
    if isinstance(value, datetime):
        return value.isoformat()
    return value.item() if isinstance(value, np.generic) else str(value)


def from_text(text: str) -> Last:
    """What `to_text` wrote."""
    body = json.loads(text)
    charted = body["charted"]
    charted["episodes"] = tuple(Episode(**episode) for episode in charted["episodes"])
    charted["lasting"] = tuple(charted["lasting"]) if charted["lasting"] else None
    charted["baseline"] = _baseline(charted["baseline"]) if charted["baseline"] else None
    return Last(body["key"], charted, _past(body["past"]) if body["past"] else None)


def _baseline(body: dict[str, Any]) -> Baseline:
    for name in ("first_at", "last_at"):
        body[name] = datetime.fromisoformat(body[name])
    body["excluded"] = tuple((key, why) for key, why in body["excluded"])
    return Baseline(**body)


def _past(body: dict[str, Any]) -> Past:
    at = body["progress"]
    place = at["place"] and Place(
        at["place"]["at"],
        tuple(at["place"]["numbers"]),
        at["place"]["lot"],
        at["place"]["flour"],
        at["place"]["day"],
        {int(label): (effect, variance) for label, (effect, variance) in at["place"]["kept"].items()},
    )
    progress = Progress(at["start"], at["scanned"], place, _raws(at["episodes"]))
    return Past(body["points"], body["fingerprint"], _raws(body["learned"]), progress)


def _raws(found: list[dict]) -> tuple[Raw, ...]:
    return tuple(Raw(**raw) for raw in found)
