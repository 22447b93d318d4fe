"""What was told to whom and what is still to send, worked out from the journal's records, one by one."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import asdict, dataclass, field, replace
from datetime import datetime, timedelta
from typing import Any, Literal

from models.calls import Heard, Message, Telling

State = Literal["waiting", "being tried", "failing", "sent", "given up", "not needed"]
LEFT: frozenset[State] = frozenset({"waiting", "being tried", "failing"})
FIRST_WAIT_S, LONGEST_WAIT_S = 15.0, 15 * 60.0
GIVE_UP_AFTER = timedelta(hours=24)


@dataclass(frozen=True)
class Outgoing:
    """One message on one way (a label, no address). next_at: naive UTC, when it is tried (again)."""

    message: Message
    way: str
    state: State
    tries: int
    next_at: datetime
    first_try: datetime | None = None
    why: str = ""


@dataclass
class Outbox:
    """Changed by `apply` alone, so that the journal's records give the same again after a kill."""

    begun: bool = False
    heard: dict[str, Heard] = field(default_factory=dict)
    queue: dict[tuple[str, str], Outgoing] = field(default_factory=dict)

    def apply(self, record: dict[str, Any]) -> None:
        """Bring in one record; one of a kind not known is passed over."""
        self.begun = True
        act = {"noted": self._noted, "queued": self._queued, "told": self._told}.get(
            record.get("what", ""), self._moved
        )
        act(record)

    def left(self) -> list[Outgoing]:
        """What is still to be sent."""
        return [one for one in self.queue.values() if one.state in LEFT]

    def forget(self, before: datetime) -> None:
        """Drop what was finished before then from memory; that it was told stays."""
        done = [key for key, one in self.queue.items() if one.state not in LEFT and one.next_at < before]
        for key in done:
            del self.queue[key]

    def records(self) -> Iterable[dict[str, Any]]:
        """The fewest records that give this state again."""
        yield {"what": "begun"}
        for alert, heard in self.heard.items():
            yield noted(alert, heard)
            for telling in heard.tellings:
                yield {"what": "told", "alert": alert, **asdict(telling), "at": telling.at.isoformat()}
        for one in self.queue.values():
            if one.state in LEFT:
                yield queued(one.message, [one.way], again=True)
                yield moved(one)

    def _noted(self, record: dict[str, Any]) -> None:
        at = datetime.fromisoformat(record["at"])
        for alert in record["alerts"]:
            self.heard.setdefault(alert, Heard(at, record["history"]))

    def _told(self, record: dict[str, Any]) -> None:
        at = datetime.fromisoformat(record["at"])
        self._add(record["alert"], Telling(record["to"], at, record["urgent"], record["sent"]))

    def _queued(self, record: dict[str, Any]) -> None:
        body = {**record["message"], "alerts": tuple(record["message"]["alerts"])}
        message = Message(**{**body, "at": datetime.fromisoformat(body["at"])})
        for way in record["ways"]:
            self.queue[message.name, way] = Outgoing(message, way, "waiting", 0, message.at)
        if not record["again"]:
            for alert in message.alerts:
                self._add(alert, Telling(message.to, message.at, message.urgent, False))

    def _moved(self, record: dict[str, Any]) -> None:
        key = (record.get("message", ""), record.get("way", ""))
        one = self.queue.get(key)
        if one is None or "state" not in record:
            return
        first = record["first_try"]
        self.queue[key] = replace(
            one,
            state=record["state"],
            tries=record["tries"],
            next_at=datetime.fromisoformat(record["next_at"]),
            first_try=datetime.fromisoformat(first) if first else None,
            why=record["why"],
        )
        if record["state"] == "sent":
            self._sent(one.message)

    def _add(self, alert: str, telling: Telling) -> None:
        known = self.heard.get(alert, Heard(telling.at, False))
        self.heard[alert] = replace(known, tellings=(*known.tellings, telling))

    def _sent(self, message: Message) -> None:
        for alert in message.alerts:
            known = self.heard[alert]
            told = tuple(
                replace(one, sent=True) if (one.to, one.at) == (message.to, message.at) else one
                for one in known.tellings
            )
            self.heard[alert] = replace(known, tellings=told)


def noted(alert: str, heard: Heard) -> dict[str, Any]:
    """The record of an alert that became known."""
    return {"what": "noted", "alerts": [alert], "at": heard.noted_at.isoformat(), "history": heard.history}


def queued(message: Message, ways: Iterable[str], again: bool = False) -> dict[str, Any]:
    """The record of a message that is to go out. again: it was told of before, and only still has to be sent."""
    return {
        "what": "queued",
        "message": {**asdict(message), "at": message.at.isoformat()},
        "ways": list(ways),
        "again": again,
    }


def moved(one: Outgoing) -> dict[str, Any]:
    """The record of where a message now stands."""
    return {
        "what": "moved",
        "message": one.message.name,
        "way": one.way,
        "state": one.state,
        "tries": one.tries,
        "next_at": one.next_at.isoformat(),
        "first_try": one.first_try.isoformat() if one.first_try else None,
        "why": one.why,
    }


def trying(one: Outgoing, now: datetime) -> Outgoing:
    """It is being tried."""
    return replace(one, state="being tried", tries=one.tries + 1, next_at=now, first_try=one.first_try or now)


def tried(one: Outgoing, taken: bool, now: datetime) -> Outgoing:
    """It was tried: sent, or to be tried again after a wait that doubles, or given up after a day."""
    if taken:
        return replace(one, state="sent", next_at=now, why="")
    if now - one.message.at > GIVE_UP_AFTER:
        return replace(one, state="given up", next_at=now, why="not taken for a day")
    wait = min(FIRST_WAIT_S * 2 ** min(one.tries - 1, 10), LONGEST_WAIT_S)
    return replace(
        one, state="failing", next_at=now + timedelta(seconds=wait), why="not taken, or nobody answers there"
    )


def ended(one: Outgoing, why: str, now: datetime, state: State = "not needed") -> Outgoing:
    """It need not, or cannot, go out any more."""
    return replace(one, state=state, next_at=now, why=why)
