"""The five lines a QA lead would say, from the result of a run."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from models.fixed import STATUSES
from models.floor.holds import gravity
from models.texts import texts


def spoken(result: dict[str, Any]) -> list[str]:
    """Five lines: rows, held, signals, what still waits, where the pages are."""
    return [_rows(result), _held(result), _signals(result), _waits(result), _pages(result)]


def _count(many: int, one: str) -> str:
    return f"{many} {one if many == 1 else one + 's'}"


def _when(at: str) -> str:
    """An instant of the result as the plant's clock shows it."""
    return f"{datetime.fromisoformat(at):%Y-%m-%d %H:%M}"


def _rows(result: dict[str, Any]) -> str:
    total = {name: sum(kind[name] for kind in result["rows"].values()) for name in ("received", *STATUSES)}
    parts = ", ".join(f"{n} {name}" for name, n in total.items() if name != "received")
    refused = sum(file["outcome"] == "refused" for file in result["files"])
    return f"Rows: {total['received']} received = {parts}; {_count(refused, 'file')} refused in this run."


def _held(result: dict[str, Any]) -> str:
    held = [hold for hold in result["holds"] if hold["stands"]]
    if not held:
        return "Held: nothing is held by a rule of safety, law or allergens, or by hand; what was not checked stands on the day page."
    of = {alert["alert"]: alert["characteristic"] for alert in result["alerts"]}
    first = min(held, key=lambda hold: gravity(of.get(hold["alert"], ""), hold["ground"]))
    return f"Held: {len(held)} to decide; the gravest: {first['where']} since {_when(first['since'])}: {first['why']}."


def _signals(result: dict[str, Any]) -> str:
    on = [a for a in result["alerts"] if a["signal"] == "on" and a["urgency"] != "hold"]
    volume = [a for a in result["alerts"] if a["characteristic"] == "specific volume" and a["kind"] == "chart"]
    if not volume:
        return f"Signals: {len(on)} on now{_other(on)}; none in specific volume, as far as its charts have learned: the day page says which have."
    last = volume[-1]
    over = "" if last["signal"] == "on" else ", over"
    cause = max(last["causes"], key=lambda c: c["share"], default=None)
    why = f"; {_cause(last['says'], cause)}" if cause else ""
    return (
        f"Signals: {len(on)} on now; the newest in specific volume: {last['line']} {last['product']} {last['direction']} by "
        f"{abs(last['change']):.2f} {last['unit']} since {_when(last['began_at'])}{over}{why}."
    )


def _other(on: list[dict[str, Any]]) -> str:
    """The newest of the signals that are on; "" where none is."""
    if not on:
        return ""
    last = max(on, key=lambda alert: datetime.fromisoformat(alert["signalled_at"]))
    place = " ".join(part for part in (last["line"] or last["kettle"], last["product"]) if part)
    return f", the newest: {place or last['plant']}: {last['characteristic']} since {_when(last['began_at'])}"


def _cause(says: str, lead: dict[str, Any]) -> str:
    """What the newest change is called; a group that leads with nothing seen to be off is not given as its cause."""
    t = texts("causes")
    if lead["driver"] == t["untraced"]:
        return says
    if lead["group"] != "unexplained" and lead["driver"] == t["within"]:
        return f"{says}; small moves within their limits fit {lead['group']}, not surely"
    if lead["group"] == "unexplained":
        return f"{says}; {lead['share']:.0%} of it is left over by paste, yeast and handling"
    return f"{says} ({lead['group']}, {lead['share']:.0%} of it)"


def _waits(result: dict[str, Any]) -> str:
    quarantine = result["quarantine"]
    rejected = sum(kind["quarantined"] for kind in result["rows"].values()) - len(quarantine)
    out = (
        f" ({_count(rejected, 'row')} more in quarantine {'was' if rejected == 1 else 'were'} rejected)"
        if rejected > 0
        else ""
    )
    if not quarantine:
        return f"To correct: no row waits for a person{out}."
    first = quarantine[0]
    wait = "1 row waits" if len(quarantine) == 1 else f"{len(quarantine)} rows wait"
    why = first["why"] if first["why"].endswith(("?", ".")) else f"{first['why']}."
    return f"To correct: {wait} for a person{out}; first {first['file']} row {first['row']}: {why}"


def _pages(result: dict[str, Any]) -> str:
    if not result["reports"]:
        return "Pages: nothing new since the last run."
    newest = max((page for page in result["reports"] if "day-" in page), default=result["reports"][-1])
    return f"Pages: {len(result['reports'])} written; begin with {newest}."
