"""Messages to people: what is due is kept in a journal before it is sent, and sent until it is taken.

A service calls `tell(alerts)` after each run, the first time once what lies in the folder at the start was taken in:
that is history and messages nobody. `start()` runs a thread that sends, tries again, and tells the next in the list.
A kill loses no message; one that was under way may go out again, and says that it is the same.
"""

from __future__ import annotations

import logging
import threading
from collections.abc import Callable, Iterable, Sequence
from concurrent.futures import ThreadPoolExecutor
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Any

from flows.telling import notifying, outbox
from flows.telling.outbox import Outbox, Outgoing
from models import calls
from models.storage.journal import Journal

if TYPE_CHECKING:
    from models.calls import Message
    from models.floor.holds import Hold
    from models.people import People
    from models.plant import Plant
    from models.shapes import Alert

Transport = Callable[[str, str, str], bool]
Emit = Callable[[str, str, dict[str, Any]], None]
FILE = "messages.jsonl"
# sent side by side, and in one go: what is new need not wait for all that fails
AT_ONCE, AT_A_TIME = 4, 8
KEPT_SHOWN = timedelta(hours=24)
TIDY_ABOVE = 1_000_000
log = logging.getLogger("loaftrace.messages")


def utc_now() -> datetime:
    """Now, naive UTC as everywhere in the program."""
    return datetime.now(UTC).replace(tzinfo=None)


class Messenger:
    """Keeps and sends the messages of one plant. people: the people, what gives them anew, or None where there are none."""

    def __init__(
        self,
        store_folder: Path,
        plant: Plant,
        people: People | Callable[[], People] | None,
        transport: Transport = notifying.send,
        emit: Emit = notifying.event,
    ) -> None:
        self.plant, self.transport, self._emit = plant, transport, emit
        self._people = people
        self._journal = Journal(store_folder / FILE)
        self._box = Outbox()
        self._lock, self._delivering = threading.RLock(), threading.Lock()
        self._alerts: tuple[Alert, ...] = ()
        self._holds: tuple[Hold, ...] = ()
        self._stop = threading.Event()
        self._thread: threading.Thread | None = None
        self._resume()

    def tell(
        self,
        alerts: Sequence[Alert],
        now: datetime | None = None,
        seen: frozenset[str] = frozenset(),
        holds: Sequence[Hold] = (),
    ) -> list[Message]:
        """Take the alerts as they are now, and queue what is due; gives the new messages. now: naive UTC.

        seen: alerts that somebody has seen, beside those whose case says so; holds: all, of which those made by hand are told.
        The very first call takes all as history.
        """
        now = now or utc_now()
        with self._lock:
            self._alerts = tuple(alert for alert in alerts if alert.alert not in seen)
            self._holds = tuple(hold for hold in holds if not hold.alert)
            self._note(now)
            ended = {hold.hold for hold in self._holds if not hold.stands}
            self._settle_seen(frozenset(seen) | ended | {a.alert for a in alerts if a.case != "open"}, now)
            return self._queue(now)

    def deliver(self, now: datetime | None = None) -> int:
        """Send what is due, the new first, a few in one go; how many were taken. A second call waits for the first."""
        with self._delivering:
            with self._lock:
                at = now or utc_now()
                due = [one for one in self._box.left() if one.next_at <= at]
            if not due:
                return 0
            due = sorted(due, key=lambda one: (one.tries, one.message.at))[:AT_A_TIME]
            with ThreadPoolExecutor(min(AT_ONCE, len(due)), "message") as several:
                return sum(several.map(lambda one: self._send(one, now), due))

    def pending(self) -> list[Outgoing]:
        """For the board: what waits, fails or was given up within the last day, the oldest first. It holds no address."""
        with self._lock:
            shown = [one for one in self._box.queue.values() if one.state not in {"sent", "not needed"}]
        return sorted(shown, key=lambda one: (one.message.at, one.message.name, one.way))

    def unheard(self, now: datetime | None = None) -> list[str]:
        """For the board: urgent alerts that nobody has seen and of which there is nobody left to tell."""
        with self._lock:
            return calls.unheard(self._alerts, self._box.heard, self._people_now(), self.plant, now or utc_now())

    def told(self, alert: str) -> tuple[calls.Telling, ...]:
        """For an alert's page: who was told, when, and whether the message was taken."""
        with self._lock:
            known = self._box.heard.get(alert)
        return known.tellings if known else ()

    def start(self, every_s: float = 5.0) -> None:
        """Send and escalate in a thread of its own until `stop`."""
        self._stop.clear()
        self._thread = threading.Thread(target=self._run, args=(every_s,), name="messenger", daemon=True)
        self._thread.start()

    def stop(self, within_s: float = 10.0) -> None:
        """Stop the thread; what was not sent goes out after the next start."""
        self._stop.set()
        if self._thread is not None:
            self._thread.join(within_s)

    def _run(self, every_s: float) -> None:
        while not self._stop.wait(every_s):
            try:
                with self._lock:
                    if self._box.begun:
                        self._queue(utc_now())
                self.deliver()
            except Exception as error:  # a full disk or a wrong file now is no reason to send nothing later
                log.error("messages: %s; tried again in %g s", type(error).__name__, every_s)

    def _people_now(self) -> People | None:
        return self._people() if callable(self._people) else self._people

    def _resume(self) -> None:
        for record in self._journal.read():
            self._box.apply(record)
        if self._journal.unreadable:
            log.error("%s: %d lines cannot be read; messages may go out again", FILE, self._journal.unreadable)
        if self._journal.size() > TIDY_ABOVE:
            self._journal.replace(self._box.records())

    def _keep(self, *records: dict) -> None:
        """Journal first, then memory; a disk that takes nothing keeps no message from going out."""
        try:
            self._journal.append(*records)
        except OSError as error:
            log.error("%s: %s; messages go out all the same, and again after a restart", FILE, error.strerror)
        for record in records:
            self._box.apply(record)

    def _note(self, now: datetime) -> None:
        known = self._box.heard, self._people_now(), now, not self._box.begun
        raised, held = calls.noted(self._alerts, *known), calls.noted_holds(self._holds, *known)
        by_name = {alert.alert: alert for alert in self._alerts}
        for name, heard in raised.items():
            if not heard.history:
                self._emit("raised", name, _payload(by_name[name]))
        fresh = raised | held
        records = [outbox.noted(name, heard) for name, heard in fresh.items()]
        if not self._box.begun:
            names = list(fresh)
            records = [{"what": "noted", "alerts": names, "at": now.isoformat(), "history": True}]
        self._keep(*records)

    def _settle_seen(self, seen: frozenset[str], now: datetime) -> None:
        for one in self._box.left():
            if set(one.message.alerts) <= seen and one.state != "being tried":
                self._keep(outbox.moved(outbox.ended(one, "somebody has seen it meanwhile", now)))
        self._box.forget(now - KEPT_SHOWN)

    def _queue(self, now: datetime) -> list[Message]:
        people = self._people_now()
        if people is None:
            return []
        known = self._box.heard, people, self.plant, now
        due = [*calls.of_holds(self._holds, *known), *calls.decide(self._alerts, *known)]
        for message in due:
            self._keep(outbox.queued(message, notifying.ways(people.people[message.to], people)))
            if message.why in {"again", "next"}:
                for alert in message.alerts:
                    self._emit("unseen", alert, {"message": message.name, "told": len(self.told(alert))})
        return due

    def _send(self, one: Outgoing, now: datetime | None) -> bool:
        """Try one message on one way; the journal knows before and after."""
        people = self._people_now()
        person = people.people.get(one.message.to) if people else None
        address = notifying.ways(person, people).get(one.way) if person and people else None
        with self._lock:
            if self._box.queue[one.message.name, one.way].state not in outbox.LEFT:
                return False
            at = now or utc_now()
            if address is None:
                self._keep(outbox.moved(outbox.ended(one, "is not in the people file any more", at, "given up")))
                return False
            again, one = one.first_try, outbox.trying(one, at)
            self._keep(outbox.moved(one))
        taken = self._taken(address, one, again)
        with self._lock:
            self._keep(outbox.moved(outbox.tried(one, taken, now or utc_now())))
        if not taken:
            log.warning(
                "message %s to %s by %s: not taken, try %d", one.message.name, one.message.to, one.way, one.tries
            )
        return taken

    def _taken(self, address: str, one: Outgoing, again: datetime | None) -> bool:
        body = one.message.body
        if again is not None:
            first = f"{calls.local(again, self.plant):%Y-%m-%d %H:%M}"
            body = f"{body}\nThis is the same message as one first sent at {first}; it may have reached you already."
        try:
            return self.transport(address, one.message.title, body)
        except Exception as error:  # what it says may hold the address
            log.warning("message %s by %s: %s", one.message.name, one.way, type(error).__name__)
            return False


def _payload(alert: Alert) -> dict[str, str | None]:
    """What an automation needs to choose by; no names of people."""
    names: Iterable[str] = ("urgency", "plant", "line", "kettle", "product", "characteristic", "direction", "says")
    return {name: getattr(alert, name) for name in names}
