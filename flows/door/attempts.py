"""How often somebody may try a passphrase: a few wrong ones, then a wait. Kept in memory, and bounded."""

from __future__ import annotations

import time
from collections import OrderedDict
from collections.abc import Callable

WINDOW = 15 * 60.0
# wrong tries within the window: of one name from one address, from one address, of one name from anywhere
OF_BOTH, OF_ADDRESS, OF_NAME = 5, 30, 60
MOST_KEPT = 10_000


class Attempts:
    """Counts tries before they are judged, so that many at once count as many; a right one clears its own."""

    def __init__(self, clock: Callable[[], float] = time.monotonic) -> None:
        self._clock = clock
        self._tries: OrderedDict[tuple[str, ...], list[float]] = OrderedDict()

    def wait(self, name: str, address: str) -> float:
        """Count one try. Seconds until the next is allowed, 0 where this one is."""
        limits = self._limits(name, address)
        now = self._clock()
        longest = 0.0
        for key, most in limits.items():
            recent = [at for at in self._tries.get(key, []) if now - at < WINDOW]
            if len(recent) >= most:
                longest = max(longest, WINDOW - (now - recent[-most]))
        if longest <= 0:
            for key, most in limits.items():
                self._tries[key] = [*self._tries.pop(key, [])[-most:], now]
            while len(self._tries) > MOST_KEPT:
                self._tries.popitem(last=False)
        return longest

    def succeeded(self, name: str, address: str) -> None:
        """The try counted last was right: it does not count."""
        for key in self._limits(name, address):
            tries = self._tries.get(key, [])
            if key == ("both", name, address):
                tries.clear()
            elif tries:
                tries.pop()
            if not tries:
                self._tries.pop(key, None)

    @staticmethod
    def _limits(name: str, address: str) -> dict[tuple[str, ...], int]:
        return {("both", name, address): OF_BOTH, ("address", address): OF_ADDRESS, ("name", name): OF_NAME}
