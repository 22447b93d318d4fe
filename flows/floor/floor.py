"""Everything a running service holds, and what ties its parts: a commit is shown, then told to people, then recorded."""

from __future__ import annotations

import contextlib
import logging
import secrets
import threading
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from flows.floor import taking
from flows.floor.clerk import Clerk
from flows.floor.hub import Hub
from flows.floor.owner import Owner
from flows.telling.messages import Messenger
from models.floor import openpaste
from models.storage.journal import Journal

if TYPE_CHECKING:
    from collections.abc import Callable

    from flows.floor.taking import Committed
    from flows.job import Job
    from models.floor.view import View
    from models.people import People
    from models.plant import Plant

log = logging.getLogger("loaftrace.floor")


class Floor:
    """The service's parts and their order. people: None where it is served to this machine alone and nobody is told."""

    def __init__(self, job: Job, people: Callable[[], People] | None, clerk: Clerk | None = None) -> None:
        self.job, self.people = job, people
        self.begun_at = taking.utc_now()
        self.name = secrets.token_hex(4)
        self.key = secrets.token_urlsafe(32)
        self.hub = Hub()
        self.clerk = clerk
        self.messenger = Messenger(job.store.parent, job.plant, people, emit=self._emit)
        self.owner = Owner(job, self._committed, self._published, self._drop_left)
        self._left = False
        self.at_tablet = threading.Lock()
        self._beginning = True
        self.tablet = Journal(job.store.with_name(job.store.name + ".weighings.jsonl"))

    @property
    def plant(self) -> Plant:
        """The plant this service serves."""
        return self.job.plant

    @property
    def view(self) -> View:
        """What the board shows now: the last commit, with the messages that wait."""
        view = self.owner.view
        assert view is not None, "the owner has begun before the board is served"
        return replace(view, unsent=tuple(self.messenger.pending()), unheard=tuple(self.messenger.unheard()))

    def begin(self) -> None:
        """Take in what is there (history: it messages nobody the first time), then watch and tell."""
        openpaste.tidy(self.tablet, taking.utc_now())
        for name, text in openpaste.desk(self.tablet).to_drop:
            self.drop_typed(name, text)
        self.owner.begin()
        self._beginning = False
        self._tell(self.view)
        self.messenger.start()

    def stop(self) -> None:
        """Stop all parts; nothing that was committed or queued is lost."""
        self.hub.close()
        self.owner.stop()
        self.messenger.stop()
        if self.clerk is not None:
            self.clerk.stop()

    def _committed(self, committed: Committed) -> None:
        """At once after each commit, in this order: the board, the messages."""
        self.hub.set(committed.view.version)
        if not self._beginning:
            self._tell(committed.view)

    def _published(self, committed: Committed) -> None:
        """Then, once it can be read beside the service: the record and the pages."""
        if self.clerk is not None and (committed.files or committed.charted is not None or committed.acted):
            self.clerk.note(_record(committed))

    def _tell(self, view: View) -> None:
        try:
            self.messenger.tell(view.alerts, taking.utc_now(), holds=view.holds)
        except OSError as error:
            log.error("messages cannot be kept: %s", error)

    def _emit(self, name: str, alert: str, payload: dict[str, Any]) -> None:
        """Prefect's event is the clerk's: this process neither imports Prefect nor waits for its server."""
        if self.clerk is not None:
            self.clerk.note({"event": name, "alert": alert, "payload": payload})

    def drop_typed(self, name: str, text: str) -> None:
        """Put a log typed at a tablet into the folder, and note that it lies there. Raises OSError; the owner tries again then."""
        try:
            self.drop(name, text)
            with self.at_tablet:
                openpaste.dropped(self.tablet, name, taking.utc_now())
        except OSError:
            self._left = True
            raise

    def _drop_left(self) -> None:
        if not self._left:
            return
        self._left = False  # first: an entry that fails meanwhile is left anew
        with self.at_tablet:
            to_drop = openpaste.desk(self.tablet).to_drop
        for name, text in to_drop:
            self.drop_typed(name, text)

    def drop(self, name: str, text: str) -> Path:
        """Put a log written on a tablet into the folder, whole at once; the owner takes it like any other."""
        folder = self.job.logs / "tablet"
        folder.mkdir(exist_ok=True)
        part = folder / f".{name}.part"
        try:
            part.write_text(text, encoding="utf-8", newline="")
            return part.replace(folder / name)
        except OSError:
            with contextlib.suppress(OSError):
                part.unlink(missing_ok=True)
            raise


def _record(committed: Committed) -> dict[str, Any]:
    """What Prefect's record says of a commit."""
    view = committed.view
    return {
        "rows": {kind: dict(counts) for kind, counts in view.rows.items()},
        "files": [{"file": file["file"], "outcome": file["outcome"]} for file in committed.files],
        "alerts": [
            {"alert": alert.alert, "urgency": alert.urgency, "case": alert.case}
            for alert in view.alerts
            if alert.signal == "on"
        ],
    }
