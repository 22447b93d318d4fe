"""What is held, what waits for a person, what is to be reviewed: the first thing on the day page."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from typing import TYPE_CHECKING, Any

from models.floor import holdsays
from models.floor.holds import Hold, gravest_first, holds_of, how_long, utc
from models.pages import words
from models.pages.production_day import end, of_day, on_during, start
from models.pages.shown import Item, State
from models.shapes import Alert
from models.snapshot import records
from models.texts import texts
from models.trade import cautions

if TYPE_CHECKING:
    import pandas as pd

    from models.snapshot import Snapshot

_FIRST = ("paste", "dough", "loaf", "proof", "gas", "output", "check", "change")


def holds(snapshot: Snapshot, day: date) -> tuple[Hold, ...]:
    """What is held on the day, the oldest first, and what QA decided on since: a hold stays until QA has ended it.

    A hold is on the page of every day that it stood on, and of the days its batches were made on.
    """
    first, last = (words.utc(at) for at in (start(day, snapshot.plant), end(day, snapshot.plant)))
    alerts = [alert for alert in snapshot.alerts if utc(alert.signalled_at) < last]
    found = holds_of(alerts, snapshot.hold_events, snapshot.batches, snapshot.output, last)
    mine = (hold for hold in found if hold.since < last or any(b.key.startswith(f"{day}/") for b in hold.batches))
    return tuple(hold for hold in mine if hold.ended is None or hold.ended >= first)


def shown(found: Sequence[Hold], snapshot: Snapshot, day: date) -> tuple[Item, ...]:
    """Holds as the day page has them: those that stand first, the gravest of them before all."""
    by_name = {alert.alert: alert for alert in snapshot.alerts}
    ordered = sorted(gravest_first(found), key=lambda hold: not hold.stands)
    return tuple(_held(hold, by_name.get(hold.alert), snapshot, day) for hold in ordered)


def cautions_of(found: Sequence[Hold], snapshot: Snapshot) -> tuple[str, ...]:
    """The cautions of what stands, each once."""
    return tuple(dict.fromkeys(cautions.of_hold(hold.ground, snapshot.plant) for hold in gravest_first(found) if hold.stands))


def to_act_on(snapshot: Snapshot, day: date) -> tuple[Item, ...]:
    """The day's other alerts: *now* before *review*, the oldest first; a limit and a chart that say the same, once."""
    found = [a for a in snapshot.alerts if a.urgency != "hold" and on_during(a, day, day, snapshot.plant)]
    found = each_once(found)
    found.sort(key=lambda a: (a.urgency != "now", a.signalled_at, a.alert))
    return tuple(_item(alert, snapshot, day) for alert in found)


def each_once(alerts: Sequence[Alert]) -> list[Alert]:
    """Of a limit and a chart that say the same, the limit."""
    return [alert for alert in alerts if not any(says_the_same(limit, alert) for limit in alerts)]


def says_the_same(limit: Alert, chart: Alert) -> bool:
    """Whether a chart's alert adds nothing to a limit's: the same thing, place, direction and time."""
    names = ("line", "kettle", "product", "characteristic", "direction")
    alike = (limit.kind, chart.kind) == ("limit", "chart") and all(
        getattr(limit, n) == getattr(chart, n) for n in names
    )
    return alike and limit.began_at <= chart.until_at and chart.began_at <= limit.until_at


def where(alert: Alert) -> str:
    """ "L1, milk-loaf" or "K1"."""
    return ", ".join(part for part in (alert.kettle, alert.recipe, alert.line, alert.product) if part) or alert.plant


def headline(alert: Alert) -> str:
    """What and how big: "L1, milk-loaf: specific volume 4.5 % small"; a limit's own sentence where it has one."""
    t = texts("notice")
    if alert.kind == "limit" and alert.says and alert.characteristic != "specific volume":
        return t["headline"].format(where=where(alert), what=alert.says)
    big = words.how_big(alert.characteristic, alert.change, alert.level, alert.unit)
    title = words.characteristic(alert.characteristic).title.lower()
    return t["headline"].format(where=where(alert), what=t["moved"].format(title=title, big=big))


def _item(alert: Alert, snapshot: Snapshot, on: date) -> Item:
    zone = snapshot.plant.zone
    since = f"Since {words.when(alert.began_at, zone, on)} ({words.batch(alert.began_at_batch, on)})"
    going = "still on" if alert.signal == "on" else f"over, last batch {words.batch(alert.until_batch, on)}"
    closed = "; closed" if alert.case == "closed" else ""
    from models.pages.changes import call

    cause = (call(alert),) if alert.causes else ()
    return Item(alert.urgency, headline(alert), f"{since}; {going}{closed}.", (*cause, *_steps(alert)), alert.alert)


def _steps(alert: Alert) -> tuple[str, ...]:
    numbered = (f"{i}. {step.rstrip('.')}" for i, step in enumerate(alert.check_first[:4], 1))
    return (f"Check first: {'  '.join(numbered)}",) if alert.check_first else ()


def _held(hold: Hold, alert: Alert | None, snapshot: Snapshot, on: date) -> Item:
    """One hold: what, why, batches and loaves, how long, still in the house; or what QA decided."""
    zone = snapshot.plant.zone
    by = f", held by {hold.by}" if hold.by else ""
    since = f"Since {words.when(hold.since, zone, on)}{by}"
    decided = holdsays.ended(hold, snapshot.plant, on)
    long = holdsays.lasted(how_long(hold, words.utc(end(on, snapshot.plant))))
    if not hold.stands:
        return Item(
            "note", holdsays.title(hold), f"{since}; no longer held, after {long}.", (decided,), hold.alert or None
        )
    detail = (*holdsays.batches(hold, on), holdsays.loaves(hold.loaves), holdsays.in_house(hold))
    steps = (*(_traced_anew(hold, alert, snapshot, on) if alert else ()), *(_steps(alert) if alert else ()))
    closed = ("Its case is closed; that releases nothing.",) if alert and alert.case == "closed" else ()
    said = (*detail, *steps, *((decided,) if decided else ()), *closed, "Held until QA decides.")
    stood = f"; {long} at the end of the day" if hold.since < words.utc(end(on, snapshot.plant)) else ""
    return Item("hold", holdsays.title(hold), f"{since}{stood}.", said, hold.alert or None)


def _traced_anew(hold: Hold, alert: Alert, snapshot: Snapshot, on: date) -> tuple[str, ...]:
    """Held doughs that the rows, as they stand now, trace to a paste of their own recipe: a dough that came before its paste
    is traced to the latest of that number there was, another kettle's even. The hold stays; QA is told what changed."""
    if hold.ground != "allergen":
        return ()
    rules, found = set(alert.rule.split(", ")), snapshot.findings
    still = set(found.loc[found["rule"].isin(rules), "key"])
    keys = [held.key for held in hold.standing("dough") if held.key not in still]
    rows = records(snapshot.batches[snapshot.batches["batch_key"].isin(keys)])
    return tuple(
        f"{words.batch(row['batch_key'], on)} is traced to paste {words.batch(row['paste_key'], on)} ({words.text(row['recipe'])}) as "
        "the rows stand now: a row that came later, or a correction, says so. Look which tub went in."
        for row in rows
        if not words.missing(row["paste_key"])
    )


def went_into(alert: Alert, snapshot: Snapshot, on: date | None = None) -> tuple[str, ...]:
    """The doughs that a held paste went into; baking does not repair a paste that was held warm."""
    if not alert.kettle:
        batches = [words.batch(key, on) for key in alert.batches]
        return (f"Batches: {words.join(batches)}.",) if batches else ()
    pastes = set(alert.batches) or {alert.began_at_batch}
    doughs = snapshot.batches
    used = doughs[doughs["paste_key"].isin(pastes) | doughs["paste_key_2"].isin(pastes)]
    if not len(used):
        return ("No dough names this paste yet.",)
    names = words.join(words.batch(key, on) for key in used["batch_key"])
    repair = " Baked ones too: baking does not repair it." if alert.urgency == "hold" else ""
    return (f"Went into {words.counted(len(used), 'dough')}: {names}.{repair}",)


def rows_to_decide(snapshot: Snapshot, day: date) -> pd.DataFrame:
    """Rows in quarantine that wait for a person: of the day, of days before it, and of no day that can be read."""
    rows = snapshot.excluded
    waits = (rows["status"] == "quarantined") & rows["decided"].isna()
    return rows[waits & (rows["shift_date"].isna() | (rows["shift_date"] <= _stamp(day)))]


def to_decide(snapshot: Snapshot, day: date) -> tuple[Item, ...]:
    """Rows in quarantine for a person to decide, alike ones together, the gravest kind first."""
    rows = rows_to_decide(snapshot, day)
    before = rows["shift_date"] < _stamp(day)
    earlier, rows = rows[before], rows[~before]
    groups: dict[tuple[str, str], list[dict[str, Any]]] = {}
    for row in records(rows):
        groups.setdefault((row["kind"], row["rule"]), []).append(row)
    ordered = sorted(groups.items(), key=lambda g: (_gravity(g[0][0], g[1]), g[0][1]))
    return *(_group(kind, alike) for (kind, _), alike in ordered), *_earlier(earlier)


def _earlier(rows: pd.DataFrame) -> tuple[Item, ...]:
    """Rows of earlier days that still wait: listed on those days' pages, not forgotten here."""
    import pandas as pd

    if not len(rows):
        return ()
    per_day = rows.groupby("shift_date", sort=True)["row"].count()
    named = [
        f"{words.day_name(stamp.date())} ({many})"
        for stamp, many in zip(pd.DatetimeIndex(per_day.index), per_day, strict=True)
    ]
    shown = named if len(named) <= 8 else [*named[:7], f"{len(named) - 7} days more"]
    title = (
        f"{words.counted(len(rows), 'row')} of earlier days {'waits' if len(rows) == 1 else 'wait'} in quarantine too"
    )
    return (Item("waiting", title, f"Of {words.join(shown)}; each is on its own day's page."),)


def _stamp(day: date) -> pd.Timestamp:
    import pandas as pd

    return pd.Timestamp(day)


def _gravity(kind: str, rows: list[dict[str, Any]]) -> tuple[int, int]:
    cooling = any(row["column"] in ("temp_2h_c", "temp_6h_c", "cook_temp_c") for row in rows)
    return (0 if cooling else 1, _FIRST.index(kind) if kind in _FIRST else len(_FIRST))


def _group(kind: str, rows: list[dict[str, Any]]) -> Item:
    first = rows[0]
    title = f"{words.counted(len(rows), 'row_of').format(kind=kind)} in quarantine: {words.rule(first['rule'])}"
    detail = tuple(_row(row) for row in rows[:5])
    more = len(rows) - len(detail)
    if more:
        detail += (f"and {more} more, in the row account below.",)
    return Item("waiting", title, words.sentence(words.text(first["why"])), detail)


def _row(row: dict[str, Any]) -> str:
    at = f"{row['file']}, row {int(row['row'])}"
    value = "" if words.missing(row["column"]) else f", {row['column']} {words.text(row['value'])}"
    proposal = "" if words.missing(row["proposal"]) else f"; may be {row['proposal']}"
    return f"{at}{value}{proposal}"


def beyond_limits(snapshot: Snapshot, day: date) -> tuple[Item, ...]:
    """The day's findings beyond an action limit that no alert speaks of, alike ones together."""
    spoken = {
        (rule, key) for a in snapshot.alerts for rule in a.rule.split(", ") for key in (*a.batches, a.began_at_batch)
    }
    groups: dict[tuple[str, str], list[dict[str, Any]]] = {}
    found = of_day(snapshot.findings, day)
    for row in records(found[found["level"] == "action"]):
        if (row["rule"], row["key"]) not in spoken:
            place = row["kettle"] if words.missing(row["line"]) else row["line"]
            groups.setdefault((words.text(place), row["rule"]), []).append(row)
    return tuple(_beyond(place, rows, day) for (place, _), rows in sorted(groups.items()))


def _beyond(place: str, rows: list[dict[str, Any]], on: date) -> Item:
    state: State = "review"
    title = f"{place}: {words.rule(rows[0]['rule'])}, {words.counted(len(rows), 'batch')}"
    return Item(
        state, title, detail=tuple(f"{words.batch(row['key'], on)}: {words.text(row['says'])}" for row in rows[:8])
    )
