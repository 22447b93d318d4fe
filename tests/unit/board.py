"""A view of an invented floor for the board's screens, at one moment."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime, timedelta
from types import SimpleNamespace
from typing import Any

from models import plant as plants
from models.floor.view import Chart, LastSeen, Paste, View
from models.people import Person
from models.shapes import Alert
from models.storage.cases import CaseEvent, applied
from reports import board
from tests.unit.snapshots import PLANT
from tests.unit.test_alerts import alert

NOW = datetime(2026, 5, 6, 13, 20)  # 14:20 in Lisbon
NORTH = plants.parse(PLANT)
FLOOR, SUPERVISOR, QA = (Person(initials="MK", role=role) for role in ("floor", "supervisor", "QA"))


def ago(minutes: float) -> datetime:
    """An instant before NOW."""
    return NOW - timedelta(minutes=minutes)


def seen(place: str, minutes: float, usual: float | None = 30.0, product: str | None = None) -> LastSeen:
    """The last batch of a place, so many minutes before NOW."""
    return LastSeen(f"2026-05-06/{place}/B07", "B07", ago(minutes), product, usual)


def chart(place: str, name: str = "specific volume", state: str = "in control", product: str | None = None) -> Chart:
    """A chart of a line or of a kettle (K..)."""
    line, kettle = (None, place) if place.startswith("K") else (place, None)
    return Chart(name, "mL/g", line, kettle, product, state, 4.6, 4.6, 4.3, 4.9, 120)


def of_paste(name: str = "P1", key: str = "2026-05-06/K1/P07", **changes: Any) -> Alert:
    """A limit alert of kettle K1: too much boiled off, twenty minutes before NOW."""
    at = ago(20)
    made = alert(
        alert=name, kind="limit", urgency="now", line=None, kettle="K1", product=None, characteristic="paste loss",
        direction="high", unit="% of Wb", change=3.1, level=2.0, says="7.1 % of Wb boiled off, at most 6 % is allowed",
        signalled_at=at, began_at=at, until_at=at, signalled_at_batch=key, began_at_batch=key, until_batch=key,
        batches=(key,), causes=(), check_first=("Weigh tub and tare again", "Residue on kettle and tools"),
    )  # fmt: skip
    return replace(made, **changes)


def paste(
    key: str = "2026-05-06/K1/P07", minutes: float = 20, doughs: tuple[str, ...] = (), excess: float = 4.0
) -> Paste:
    """A paste of kettle K1."""
    return Paste(key, key.rsplit("/", 1)[1], "K1", "water-2", ago(minutes), 112.0, 7.1, excess, None, doughs)


def view(alerts: tuple[Alert, ...] = (), acts: tuple[CaseEvent, ...] = (), **changes: Any) -> View:
    """A quiet floor: every place seen lately and charted; L3 is lidded and followed by its weight."""
    quiet = View(
        plant=NORTH, version=1, as_of=NOW, newest=ago(4),
        lines={name: seen(name, 10, product=line.products[0]) for name, line in NORTH.lines.items()},
        kettles={name: seen(name, 25, 60.0, "water-2") for name in NORTH.kettles},
        charts=tuple(
            chart(name, "weight" if name == "L3" else "paste loss" if name.startswith("K") else "specific volume",
                  product=None if name.startswith("K") else NORTH.lines[name].products[0])
            for name in (*NORTH.lines, *NORTH.kettles)
        ),
    )  # fmt: skip
    return replace(quiet, alerts=tuple(applied(alerts, acts)), acts=acts, **changes)


def page(name: str, here: str = "/", *, follows: bool = False, **data: Any) -> str:
    """A screen as HTML. follows: for somebody who may see charts and months."""
    return board.screen(name, board.Frame("north", here, "nonce", "the-token", "MK", follows=follows), **data)


def hold(name: str = "H1", of: str = "", keys: tuple[str, ...] = ("2026-05-06/K1/P07",), stands: bool = True) -> Any:
    """A hold as the view has it: what the screens ask of one."""
    kinds = {True: "paste", False: "dough"}
    batches = tuple(
        SimpleNamespace(kind=kinds["/K" in key], key=key, name=key.rsplit("/", 1)[1], stands=stands) for key in keys
    )
    return SimpleNamespace(
        hold=name, alert=of, ground="other", why="a glove was in the kettle", where="K1", since=ago(200), by="RS",
        batches=batches, stands=stands, characteristic="",
    )  # fmt: skip
