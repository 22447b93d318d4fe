"""The reaction plan: what a supervisor checks first, in order, for each kind of alert. Common practice, no source."""

from __future__ import annotations

from models.texts import texts

CHECK_FIRST: dict[tuple[str, str], tuple[str, ...]] = {
    (characteristic, direction): tuple(steps)
    for characteristic, sides in texts("reaction")["first"].items()
    for direction, steps in sides.items()
}
PLAIN: tuple[str, ...] = tuple(texts("reaction")["plain"])

# what a characteristic out of its limits asks for, whatever statistics say
HOLDS = frozenset({"cooling", "paste recipe", "allergen", "paste age", "net weight"})


def check_first(characteristic: str, direction: str) -> tuple[str, ...]:
    """First checks for an alert, in order."""
    return CHECK_FIRST.get((characteristic, direction), PLAIN)
