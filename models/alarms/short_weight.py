"""Alerts of the weight law: a shift's loaves of one line and product that speak against their label.

Shift by shift, because a divider set light for one shift hides in the mean of the day. Held from the first
dough of the first such shift; over when a later shift's loaves speak for the label. Short of a full sample
the verdict is indicative, and says so: a hold is cheap, bread that left is not.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import asdict, dataclass, replace
from datetime import datetime
from typing import TYPE_CHECKING

from models.alarms import alerts, reaction
from models.batchbook import LOAF_COUNTS
from models.shapes import Alert
from models.texts import texts
from models.trade.netweight import NetWeight, verdicts

if TYPE_CHECKING:
    import pandas as pd

    from models.alarms.kept import Kept
    from models.plant import Plant

NAME = "net weight"
# loaves that are asked for together, of which alike ones come as one; a production day is never parted
TOGETHER = 6_000_000
OF_DOUGH = ("batch_key", "mixed_at", "line", "product", "shift_date")


@dataclass(frozen=True)
class Weighed:
    """What a shift's loaves of one line and product say of their label.

    against: they speak against it; met: they speak for it. change_g: mean less label; first_at, last_at: mixing of its
    first and last weighed dough. says, batches: in words, and the weighed doughs' keys, where they speak against it.
    """

    day: str
    shift: str
    line: str
    product: str
    against: bool
    met: bool
    label_g: float
    change_g: float
    rule: str
    says: str
    first_at: datetime
    last_at: datetime
    batches: tuple[str, ...]


def raise_alerts(plant: Plant, weighed: Sequence[Weighed]) -> list[Alert]:
    """One alert an episode of shifts whose loaves speak against the label. weighed: in order of production."""
    found: list[Alert] = []
    on: dict[tuple[str, str], Alert] = {}
    for shift in weighed:
        key = (shift.line, shift.product)
        if shift.against:
            before = on.pop(key, None)
            on[key] = _longer(before, shift) if before else _alert(plant, shift)
        elif key in on and shift.met:
            found.append(replace(on.pop(key), signal="over"))
    return found + list(on.values())


def weigh(
    plant: Plant, batches: pd.DataFrame, loaves: pd.DataFrame, output: pd.DataFrame | None, checks: pd.DataFrame | None
) -> list[Weighed]:
    """Every shift with a weighed dough, in order of production. Frames as `netweight.verdicts` takes them.

    loaves: any dough of its line, product and shift may stand for a loaf's own.
    """
    order = {shift: n for n, shift in enumerate(plant.shifts)}
    named = batches[["line", "product", "shift_date"]].notna().all(axis=1)
    weighed = batches[named & (batches[[*LOAF_COUNTS]].sum(axis=1) > 0)]
    found = []
    for shift in order:
        mine = weighed[weighed["shift"] == shift]
        made = output[output["shift"] == shift] if output is not None else None
        by = mine[list(OF_DOUGH)].groupby(["line", "product", "shift_date"])
        rows = {key: part for key, part in by}
        for verdict in verdicts(plant, mine, loaves, made, checks):
            found.append(_weighed(rows[(verdict.line, verdict.product, verdict.day)], verdict, shift))
    return sorted(found, key=lambda w: (w.day, order[w.shift], w.line, w.product))


Load = Callable[[list[str]], tuple["pd.DataFrame", "pd.DataFrame"]]
"""Production days -> their loaves, as `weigh` takes them, and output."""


def weigh_kept(
    plant: Plant, batches: pd.DataFrame, checks: pd.DataFrame, load: Load, kept: Kept
) -> list[Weighed]:
    """The same as `weigh` of everything, but for days that change no alert; days whose rows are as they were are not weighed
    again."""
    import pandas as pd

    days = sorted(kept.days["loaves"])
    keys = _day_keys(days, kept)
    stale = [day for day in days if kept.weights.get(day, ("", ""))[0] != keys[day]]
    made: dict[str, list[Weighed]] = {day: [] for day in stale}
    for some in _bounded(stale, kept.days["loaves"]):
        theirs = batches[batches["shift_date"].isin(pd.to_datetime(some))]
        for one in weigh(plant, theirs, *load(some), checks):
            made[one.day].append(one)
    for day in days:
        kept.weights_now[day] = (keys[day], _text(made[day])) if day in made else kept.weights[day]
    return list(_that_tell(days, made, {day: text for day, (_, text) in kept.weights.items()}))


# how `_text` writes a shift that speaks against its label; within a text of JSON such marks stand behind a backslash
AGAINST = '"against": true'


def _that_tell(days: list[str], made: Mapping[str, list[Weighed]], texts_of: Mapping[str, str]) -> Iterator[Weighed]:
    """The shifts in order; none of a day weighed before that neither begins nor ends anything: most days of years are read
    at a glance."""
    on = set[tuple[str, str]]()
    for day in days:
        if day not in made and not on and AGAINST not in texts_of[day]:
            continue
        for shift in made[day] if day in made else _from_text(texts_of[day]):
            if shift.against:
                on.add((shift.line, shift.product))
            elif shift.met:
                on.discard((shift.line, shift.product))
            yield shift


def _bounded(days: list[str], loaves: Mapping[str, str]) -> Iterator[list[str]]:
    """Days in order, as many together as have about `TOGETHER` loaves. loaves: day -> digest, its count first."""
    together, n = list[str](), 0
    for day in days:
        count = int(loaves[day].partition("/")[0])
        if together and n + count > TOGETHER:
            yield together
            together, n = [], 0
        together.append(day)
        n += count
    if together:
        yield together


def _day_keys(days: list[str], kept: Kept) -> dict[str, str]:
    """Day -> fingerprint of what its verdicts are made from: its doughs, loaves and output, and every check up to then."""
    import numpy as np

    checks, keys = sorted(kept.days["weight check"].items()), {}
    running, at = hashlib.sha256(), 0
    for day in days:
        upto = str(np.datetime64(day) + np.timedelta64(2, "D"))
        while at < len(checks) and checks[at][0] <= upto:
            running.update(repr(checks[at]).encode())
            at += 1
        own = [kept.days[table].get(day, "") for table in ("batches", "loaves", "output")]
        keys[day] = f"{kept.made_by} {'/'.join(own)} {running.hexdigest()}"
    return keys


def _text(weighed: list[Weighed]) -> str:
    return json.dumps([asdict(one) for one in weighed], default=str, ensure_ascii=False, sort_keys=True)


def _from_text(text: str) -> list[Weighed]:
    return [
        Weighed(
            **one
            | {"batches": tuple(one["batches"])}
            | {name: datetime.fromisoformat(one[name]) for name in ("first_at", "last_at")}
        )
        for one in json.loads(text)
    ]


def _weighed(mine: pd.DataFrame, verdict: NetWeight, shift: str) -> Weighed:
    mixed, against = mine["mixed_at"], _against(verdict)
    return Weighed(
        day=f"{mine['shift_date'].iloc[0]:%Y-%m-%d}",
        shift=shift,
        line=verdict.line,
        product=verdict.product,
        against=against,
        met=verdict.leaning == "met",
        label_g=verdict.label_g,
        change_g=(verdict.mean_g if verdict.mean_g is not None else verdict.label_g) - verdict.label_g,
        rule=verdict.rule,
        says=_says(verdict, shift) if against else "",
        first_at=mixed.iloc[0].to_pydatetime(),
        last_at=mixed.iloc[-1].to_pydatetime(),
        batches=tuple(mine["batch_key"]) if against else (),
    )


def _against(verdict: NetWeight) -> bool:
    return verdict.verdict == "not met" or (verdict.verdict == "indicative" and verdict.leaning == "not met")


def _says(verdict: NetWeight, shift: str) -> str:
    said = texts("raised")["net_weight"]
    beyond = verdict.below_t1 and verdict.t1_g is not None
    return said["says_beyond" if beyond else "says"].format(
        mean=verdict.mean_g or 0.0,
        label=verdict.label_g,
        n=verdict.n,
        shift=shift,
        below=verdict.below_t1,
        t1=verdict.t1_g,
        rule=verdict.rule,
        verdict=said["failed" if verdict.verdict == "not met" else "would_fail"],
    )


def _alert(plant: Plant, shift: Weighed) -> Alert:
    first, last = shift.batches[0], shift.batches[-1]
    return Alert(
        alert=alerts.identity(plant.plant, "limit", NAME, shift.line, None, shift.product, "low", last),
        kind="limit",
        urgency="hold",
        signal="on",
        case="open",
        plant=plant.plant,
        line=shift.line,
        kettle=None,
        product=shift.product,
        characteristic=NAME,
        direction="low",
        unit="g",
        signalled_at_batch=last,
        signalled_at=shift.last_at,
        began_at_batch=first,
        began_at=shift.first_at,
        until_batch=last,
        until_at=shift.last_at,
        change=shift.change_g,
        check_first=reaction.check_first(NAME, "low"),
        says=shift.says,
        level=shift.label_g,
        batches=shift.batches,
        rule=shift.rule,
    )


def _longer(alert: Alert, shift: Weighed) -> Alert:
    return replace(
        alert,
        until_batch=shift.batches[-1],
        until_at=shift.last_at,
        change=shift.change_g,
        says=shift.says,
        batches=(*alert.batches, *shift.batches),
    )
