"""Tells every board that is open that something changed: a stream of server-sent events (WHATWG HTML, section 9.2)."""

from __future__ import annotations

import asyncio
from collections.abc import AsyncIterator

# an open board hears at least this often that the service lives
BEAT_S = 2.0


class Hub:
    """Holds the number of the last change; `set` may be called in any thread, all else in the loop's."""

    def __init__(self) -> None:
        self._version = 0
        self._closed = False
        self._loop: asyncio.AbstractEventLoop | None = None
        self._changed: asyncio.Event | None = None
        self.listeners = 0

    def open(self) -> None:
        """Call in the running loop, once."""
        self._loop, self._changed = asyncio.get_running_loop(), asyncio.Event()

    def set(self, version: int) -> None:
        """Something changed."""
        self._version = version
        self._wake()

    def close(self) -> None:
        """End every stream."""
        self._closed = True
        self._wake()

    def _wake(self) -> None:
        if self._loop is not None and not self._loop.is_closed():
            self._loop.call_soon_threadsafe(self._turn)

    def _turn(self) -> None:
        assert self._changed is not None
        waiting, self._changed = self._changed, asyncio.Event()
        waiting.set()

    async def stream(self, begun: str) -> AsyncIterator[str]:
        """Events until the board goes or the service stops. begun: names this start of the service, so that a board sees a new one."""
        self.listeners += 1
        try:
            while not self._closed:
                yield f"event: state\ndata: {begun}-{self._version}\n\n"
                changed = self._changed
                assert changed is not None
                try:
                    await asyncio.wait_for(changed.wait(), BEAT_S)
                except TimeoutError:
                    continue
        finally:
            self.listeners -= 1
