"""The two screens that stand by kettle and mixer: what was worked out in `models.floor`, drawn with the board's frame."""

from __future__ import annotations

from datetime import datetime
from typing import TYPE_CHECKING, Any

from models.floor import typed
from models.trade import cautions
from reports import board

if TYPE_CHECKING:
    from models.floor.kettleside import Screen as KettleScreen
    from models.floor.mixer import Screen as MixerScreen
    from models.plant import Plant
    from reports.board import Frame


def kettle_screen(frame: Frame, screen: KettleScreen) -> str:
    """The kettle screen as HTML."""
    return board.screen("kettle", frame, screen=screen, cautions=(cautions.HOT_PASTE,), **_shared(screen.plant))


def mixer_screen(frame: Frame, screen: MixerScreen) -> str:
    """The mixer screen as HTML."""
    return board.screen("mixer", frame, screen=screen, **_shared(screen.plant))


def _shared(plant: Plant) -> dict[str, Any]:
    def shown(at: datetime) -> str:
        return typed.clock_text(at, plant)

    def clock(text: str) -> str:
        at = typed.time_of({"at": text}, "at")
        return shown(at) if at else ""

    return {"shown": shown, "clock": clock, "cooling_caution": cautions.cooling(plant), "potable": cautions.POTABLE}
