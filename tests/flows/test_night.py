"""A night shift over midnight and over a change of the clocks, drop by drop: the board counts real minutes, the batches keep
the night's date, and messages keep their waits, their quiet hours and their morning.

Lisbon's clocks skip from 01:00 to 02:00 on 29 March 2026, and go back from 02:00 to 01:00 on 25 October 2026, both at 01:00
UTC (directive 2000/84/EC, articles 2 and 3).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, date, datetime, time, timedelta
from pathlib import Path

import pytest

from flows.floor import taking
from flows.job import read_job
from flows.telling.messages import Messenger
from models import calls, people
from models.floor import cooling, floor, typed
from models.floor.view import View
from models.storage import store, wide
from tests.faults.killer import SAMPLE
from tests.unit.test_calls import LISTED, alert

NIGHTS = {"forward": date(2026, 3, 28), "back": date(2026, 10, 24)}
HOURS = {"forward": 7, "back": 9}  # from 22:00 to 06:00 on the plant's clock
EVERY = timedelta(minutes=30)
DOUGH = "dough_batch,line,product,shift_date,shift,mixed_at,flour_kg,liquid_kg,yeast_kg,dough_temp_c"
PASTE = "paste_batch,kettle,shift_date,shift,flour_kg,liquid_kg,weight_before_kg,weight_after_kg,cook_start,cook_end,cook_temp_c"


class Night:
    """The floor of one night, and its clock, which the test sets."""

    def __init__(self, folder: Path, evening: date, clock: Callable[[Callable[[], datetime]], None]) -> None:
        (folder / "logs").mkdir()
        self.job = read_job(SAMPLE / "plant.toml", folder / "logs", folder / "s.duckdb", folder / "out")
        self.evening, self.n = evening, 0
        self.begins = self.utc(datetime.combine(evening, time(22)))
        self.now = self.begins
        clock(lambda: self.now)

    def utc(self, local: datetime) -> datetime:
        return local.replace(tzinfo=self.job.plant.zone).astimezone(UTC).replace(tzinfo=None)

    def local(self, at: datetime) -> str:
        return at.replace(tzinfo=UTC).astimezone(self.job.plant.zone).isoformat(timespec="minutes")

    def drop(self, head: str, row: str) -> View:
        self.n += 1
        (self.job.logs / f"{self.n:03}.csv").write_text(f"{head}\n{row}\n", encoding="utf-8")
        return taking.take(self.job, self.n, ()).view

    def dough(self, at: datetime) -> View:
        self.now = at + timedelta(minutes=4)
        return self.drop(DOUGH, f"{self.n:03},L1,white-tin,{self.evening},night,{self.local(at)},100,50,2.5,26.1")


@pytest.fixture(params=list(NIGHTS))
def way(request: pytest.FixtureRequest) -> str:
    return str(request.param)


@pytest.fixture
def night(way: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Night:
    return Night(tmp_path, NIGHTS[way], lambda now: monkeypatch.setattr(taking, "utc_now", now))


def test_the_board_counts_real_minutes_and_a_batch_keeps_the_nights_date(night: Night, way: str) -> None:
    plant, end = night.job.plant, night.begins + timedelta(hours=1)
    cooked = (
        f"01,K1,{night.evening},night,64,128,192,188,{night.local(end - timedelta(minutes=12))},{night.local(end)},66"
    )
    night.now = end + timedelta(minutes=3)
    night.drop(PASTE, cooked)
    at, made = night.begins + timedelta(minutes=10), 0
    while at < night.begins + timedelta(hours=HOURS[way]):
        view, made = night.dough(at), made + 1
        assert view.lines["L1"].at == at
        (line,) = [place for place in floor.floor(view, night.now).places if place.name == "L1"]
        assert line.last is not None and line.last.minutes == 4 and not line.silent
        assert typed.running(plant, night.now).name == f"{night.evening}/night"
        (paste,) = view.pastes
        clock = cooling.cooling(plant, paste, night.now)
        assert clock is not None and clock.minutes == (night.now - end) / timedelta(minutes=1)
        at += EVERY
    assert made == 2 * HOURS[way], "a night of seven hours, or of nine"
    assert view.rows["dough"] == view.rows["dough"] | {"received": made, "accepted": made, "quarantined": 0}
    (line,) = [place for place in floor.floor(view, night.now + timedelta(hours=2)).places if place.name == "L1"]
    assert line.silent and line.last is not None and line.last.minutes == 124
    con = store.open_for_reading(night.job.store)
    try:
        batches = wide.load(con, "batches")
    finally:
        con.close()
    assert {day.date() for day in batches["shift_date"]} == {night.evening}, (
        "on the day page of the day the night began"
    )
    gaps = batches.sort_values("mixed_at")["mixed_at"].diff().dropna()
    assert (gaps == EVERY).all()
    assert typed.running(plant, night.begins + timedelta(hours=HOURS[way])).code == "early"


def test_messages_wait_real_minutes_and_for_the_plants_morning(night: Night, way: str, tmp_path: Path) -> None:
    plant, staff = night.job.plant, people.parse(LISTED)
    morning = night.begins + timedelta(hours=HOURS[way])
    told: list[tuple[datetime, str, str]] = []
    messenger = Messenger(tmp_path, plant, staff, transport=lambda *_: True)
    messenger.tell([], night.begins)
    change = datetime.combine(night.evening + timedelta(days=1), time(1))  # 01:00 UTC
    first = change - timedelta(minutes=65)
    urgent = alert("A1", urgency="now", line="L1", signalled_at=first, until_at=first)
    review = replace(urgent, alert="A2", urgency="review", line="L2")
    night_only = alert("A3", urgency="now", line="L2", signalled_at=first, until_at=first)
    now = first
    while now <= morning + timedelta(minutes=5):
        due = messenger.tell([urgent, review, night_only], now)
        told += [(now, name, f"{one.to} {one.why}") for one in due for name in one.alerts]
        messenger.deliver(now)
        now += timedelta(minutes=5)
    waits = [(at - first, who) for at, name, who in told if name == "A1"]
    assert waits[:2] == [(timedelta(0), "AA first"), (timedelta(minutes=10), "AA again")]
    assert waits[2] == (morning - first, "BB next"), "BB's quiet hours end at six on the plant's clock, not before"
    assert [(at, who) for at, name, who in told if name == "A2"] == [(morning, "BB first")]
    assert [(at - first, who) for at, name, who in told if name == "A3"][:2] == [
        (timedelta(0), "CC first"),
        (timedelta(minutes=10), "CC again"),
    ]
    assert calls.shift_at(plant, morning - timedelta(minutes=1))[0] == "night"


def test_again_after_minutes_goes_on_through_the_hour_that_comes_twice(night: Night, tmp_path: Path) -> None:
    """Told five minutes before the change, again on time after it: an hour earlier or later on the wall's clock is none."""
    change = datetime.combine(night.evening + timedelta(days=1), time(1))
    first = change - timedelta(minutes=5)
    messenger = Messenger(tmp_path, night.job.plant, people.parse(LISTED), transport=lambda *_: True)
    messenger.tell([], first - timedelta(minutes=1))
    one = alert("A1", urgency="hold", line="L1", signalled_at=first, until_at=first)
    walked = []
    for minute in range(0, 80):
        now = first + timedelta(minutes=minute)
        walked += [(minute, message.to, message.why) for message in messenger.tell([one], now)]
        messenger.deliver(now)
    assert walked == [(0, "AA", "first"), (10, "AA", "again"), (20, "BB", "next")]
