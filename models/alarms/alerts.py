"""Alerts: what charts and limits found, as the contract prints it, with names that never change.

An alert's identity and its signal are set when it is first raised and kept, whatever later rows bring;
its figures and causes sharpen as the episode goes on.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from typing import TYPE_CHECKING, Any

import numpy as np

from models.alarms import limits, reaction
from models.fixed import Urgency
from models.shapes import GROUPS, Alert, Call, Cause
from models.texts import texts

if TYPE_CHECKING:
    import pandas as pd

    from models.charts.events import Event
    from models.plant import Plant

# a dough is in the oven by then; common practice, no source
BAKED_AFTER = timedelta(hours=2, minutes=30)
# a paste older than this is not used any more (the plant's own age limit decides sooner)
USED_WITHIN = timedelta(hours=48)
KETTLE_SIDE = frozenset({"paste loss", "cook temperature", "kettle overdrawn"})


@dataclass(frozen=True)
class Wide:
    """The wide rows alerts are read against, and the newest instant anything was recorded."""

    pastes: pd.DataFrame
    batches: pd.DataFrame
    newest: datetime


def identity(*parts: str | None) -> str:
    """An alert's name: short, and the same on every machine for the same signal."""
    text = "\x1f".join(part or "" for part in parts)
    return "A" + hashlib.sha256(text.encode()).hexdigest()[:10]


def urgency(characteristic: str, last_key: str, on: bool, wide: Wide) -> Urgency:
    """What can still be saved: hold (safety, law, allergens), now (paste unused, dough unbaked), else review."""
    if characteristic in reaction.HOLDS:
        return "hold"
    if not on:
        return "review"
    if characteristic in KETTLE_SIDE:
        return "now" if _unused(last_key, wide) else "review"
    if characteristic == "dough temperature":
        return "now" if _unbaked(last_key, wide) else "review"
    return "review"


def _unused(paste_key: str, wide: Wide) -> bool:
    rows = wide.pastes[wide.pastes["paste_key"] == paste_key]
    if rows.empty:
        return False
    row = rows.iloc[-1]
    fed = row["doughs"] > 0 if np.isfinite(row["doughs"]) else False
    return not fed and wide.newest - row["cook_end"] <= USED_WITHIN


def _unbaked(batch_key: str, wide: Wide) -> bool:
    rows = wide.batches[wide.batches["batch_key"] == batch_key]
    if rows.empty:
        return False
    row = rows.iloc[-1]
    measured = np.isfinite(row["loaves"]) and row["loaves"] > 0
    return not measured and wide.newest - row["mixed_at"] <= BAKED_AFTER


def of_limit(
    run: limits.Run, plant: Plant, wide: Wide, causes: Sequence[Cause] = (), call: Call | None = None
) -> Alert:
    """The alert of one episode of a limit broken. call: models.causes' answer for specific volume, else None."""
    name = run.family.characteristic
    on = not run.over
    return Alert(
        alert=identity(
            plant.plant, "limit", name, run.line, run.kettle, run.product, run.direction, run.keys[run.signalled]
        ),
        kind="limit",
        urgency=urgency(name, run.keys[run.until], on, wide),
        signal="on" if on else "over",
        case="open",
        plant=plant.plant,
        line=run.line,
        kettle=run.kettle,
        product=run.product,
        characteristic=name,
        direction=run.direction,
        unit=run.family.unit,
        signalled_at_batch=run.keys[run.signalled],
        signalled_at=run.at[run.signalled],
        began_at_batch=run.keys[run.began],
        began_at=run.at[run.began],
        until_batch=run.keys[run.until],
        until_at=run.at[run.until],
        change=limits.change(run),
        causes=tuple(causes),
        check_first=reaction.check_first(name, run.direction),
        says=call.headline if call else run.says,
        level=run.level,
        last_good_batch=limits.last_good(run.keys, run.began),
        batches=tuple(run.keys[i] for i in run.broken),
        rule=", ".join(run.family.rules),
        **_story(call),
    )


def of_event(event: Event, plant: Plant, wide: Wide, call: Call | None) -> Alert:
    """The alert of one charted episode. call: models.causes' answer for specific volume, else None."""
    charted, episode = event.lead, event.episode
    stream, points = charted.stream, charted.points
    key, at = points.keys, points.at
    until = max(episode.until, episode.signalled)
    checks = (
        tuple(call.check_first)
        if call and call.check_first
        else reaction.check_first(stream.characteristic, episode.direction)
    )
    return Alert(
        alert=identity(
            plant.plant,
            "chart",
            stream.characteristic,
            stream.line,
            stream.kettle,
            stream.product,
            episode.direction,
            str(key[episode.signalled]),
        ),
        kind="chart",
        urgency=urgency(stream.characteristic, str(key[until]), not episode.over, wide),
        signal="over" if episode.over else "on",
        case="open",
        plant=plant.plant,
        line=stream.line,
        kettle=stream.kettle,
        product=None if stream.kettle else stream.product,
        recipe=stream.product if stream.kettle else None,
        characteristic=stream.characteristic,
        direction=episode.direction,
        unit=stream.unit,
        signalled_at_batch=str(key[episode.signalled]),
        signalled_at=_instant(at[episode.signalled]),
        began_at_batch=str(key[episode.began]),
        began_at=_instant(at[episode.began]),
        until_batch=str(key[until]),
        until_at=_instant(at[until]),
        change=float(episode.change),
        change_low=float(episode.change_low),
        change_high=float(episode.change_high),
        causes=tuple(call.causes) if call else (),
        check_first=checks,
        says=call.headline if call else episode.kind,
        level=charted.baseline.level if charted.baseline else None,
        last_good_batch=limits.last_good(key, episode.began),
        batches=tuple(str(k) for k in key[episode.began : until + 1]),
        rule=episode.kind,
        began_low_batch=str(key[episode.began_low]),
        began_high_batch=str(key[episode.began_high]),
        **_story(call),
    )


STORY = ("joint", "began_then", "refuted_by", "next_measurement")


def _story(call: Call | None) -> dict[str, Any]:
    """What goes with a traced alert beside its causes."""
    return {name: tuple(getattr(call, name)) for name in STORY} if call else {}


def _instant(value: np.datetime64) -> datetime:
    return value.astype("datetime64[us]").item()


def unexplained(change: float, why: str) -> tuple[Cause, ...]:
    """Four contributions where nothing can be traced: all of it unexplained, and it says why."""
    spread = abs(change)
    return tuple(
        Cause(
            group,
            change if group == "unexplained" else 0.0,
            min(change - spread, 0.0) if group == "unexplained" else -spread,
            max(change + spread, 0.0) if group == "unexplained" else spread,
            1.0 if group == "unexplained" else 0.0,
            texts("causes")["untraced"],
            (),
            (why,),
        )
        for group in GROUPS
    )


def reconcile(found: Sequence[Alert], stored: Sequence[Alert]) -> list[Alert]:
    """Found alerts under the names they already have; stored ones that are found no more stay, over.

    A found episode that overlaps a stored one of the same chart and direction is that episode.
    """
    free = {alert.alert: alert for alert in stored}
    result = []
    for alert in sorted(found, key=lambda a: (a.signalled_at, a.alert)):
        old = free.get(alert.alert) or next((a for a in free.values() if _same_episode(a, alert)), None)
        if old is not None:
            del free[old.alert]
            alert = replace(
                alert,
                alert=old.alert,
                signalled_at=old.signalled_at,
                signalled_at_batch=old.signalled_at_batch,
                case=old.case,
                closed_as=old.closed_as,
            )
        result.append(alert)
    gone = [
        replace(
            alert,
            signal="over",
            urgency="review" if alert.urgency == "now" else alert.urgency,
            says=alert.says if alert.says.endswith(RESTATED) else f"{alert.says}{RESTATED}",
        )
        for alert in free.values()
    ]
    return sorted(result + gone, key=lambda a: (a.signalled_at, a.alert))


RESTATED: str = texts("raised")["restated"]


# one event of a line and product, whichever of them moved first: a chart of the family that joins later takes the lead
# of an alert already raised, not its name
LOAF_FAMILY = frozenset({"specific volume", "volume", "weight", "bake loss"})


def _same_episode(a: Alert, b: Alert) -> bool:
    same = all(getattr(a, name) == getattr(b, name) for name in ("kind", "line", "kettle", "product", "recipe"))
    alike = (a.characteristic, a.direction) == (b.characteristic, b.direction)
    joined = (
        a.kind == "chart"
        and a.characteristic != b.characteristic
        and {a.characteristic, b.characteristic} <= LOAF_FAMILY
    )
    return (
        same
        and (alike or joined)
        and a.began_at <= max(b.until_at, b.signalled_at)
        and b.began_at <= max(a.until_at, a.signalled_at)
    )


def to_text(alert: Alert) -> str:
    """JSON for the store: times naive UTC."""
    return json.dumps(_body(alert), default=lambda v: v.isoformat(), ensure_ascii=False, sort_keys=True)


def _body(alert: Alert) -> dict[str, Any]:
    """Its fields by name. An alert may name the batches of two years: they are not copied one by one."""
    return vars(alert) | {"causes": tuple(vars(cause).copy() for cause in alert.causes)}


def from_text(text: str) -> Alert:
    """The alert that `to_text` wrote."""
    body = json.loads(text)
    for name in ("signalled_at", "began_at", "until_at"):
        body[name] = datetime.fromisoformat(body[name])
    body["causes"] = tuple(Cause(**tuples(cause)) for cause in body["causes"])
    return Alert(**tuples(body))


def tuples(body: dict[str, Any]) -> dict[str, Any]:
    """A record as JSON gave it back, its lists as the tuples they were."""
    return {name: tuple(value) if isinstance(value, list) else value for name, value in body.items()}


CONTRACT = (
    "alert",
    "kind",
    "urgency",
    "signal",
    "case",
    "plant",
    "line",
    "kettle",
    "product",
    "characteristic",
    "direction",
    "signalled_at_batch",
    "signalled_at",
    "began_at_batch",
    "began_at",
    "until_batch",
    "until_at",
    "change",
    "unit",
    "causes",
    "check_first",
)


BESIDE = ("recipe", "change_low", "change_high", "says", "level", "last_good_batch", "batches", "rule", *STORY, "last_time")


def to_json(alert: Alert, plant: Plant) -> dict[str, Any]:
    """The contract's object; instants as the plant's clock shows them, with their offset."""
    body = _body(alert)
    for name in ("signalled_at", "began_at", "until_at"):
        body[name] = local(body[name], plant).isoformat()
    ordered = {name: body[name] for name in CONTRACT}
    return ordered | {name: body[name] for name in BESIDE}


def local(at: datetime, plant: Plant) -> datetime:
    """A naive UTC instant on the plant's clock, to the second."""
    from datetime import UTC

    return datetime.fromisoformat(str(at)[:26]).replace(microsecond=0, tzinfo=UTC).astimezone(plant.zone)
