"""What is hidden in the demo bakery: where, when, how much. The simulation and the answers both read this list."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime

from seed_data.plan import instant


@dataclass(frozen=True)
class Fault:
    """One hidden fault. It acts on what is made (mixed, or cooked) from `since` to before `until`.

    group: as the contract's causes; "" where no volume is at stake. size: what the fault does, in `unit`.
    """

    name: str
    group: str
    lines: tuple[str, ...]
    kettle: str
    since: datetime
    until: datetime
    size: float
    unit: str
    says: str

    def acts(self, at: datetime, line: str = "") -> bool:
        """Whether the fault is there at this instant (and on this line)."""
        return self.since <= at < self.until and (not line or line in self.lines)


def _at(month: int, day: int, clock: str) -> datetime:
    return instant(date(2026, month, day), clock)


COLD_MORNING = Fault(
    "cold morning",
    "yeast",
    ("L2",),
    "",
    _at(11, 7, "06:00"),
    _at(11, 7, "14:00"),
    -2.0,
    "°C dough temperature",
    "mixer M2's water 6 °C too cold in the early shift: doughs of line L2 2 °C cold",
)
WEAK_YEAST = Fault(
    "weak yeast lot",
    "yeast",
    ("L1", "L2", "L3", "L4"),
    "",
    _at(10, 24, "00:00"),
    _at(10, 26, "00:00"),
    -12.0,
    "% gas",
    "one yeast lot makes 12 % less gas, on every line from the hour at which the line opened it",
)
LONG_BOIL = Fault(
    "kettle boils too long",
    "paste",
    ("L1", "L2"),
    "K1",
    _at(10, 29, "18:00"),
    _at(10, 31, "06:00"),
    4.5,
    "% of Wb",
    "kettle K1 loses 4.5 % of Wb more than usual and ends 6 °C hotter; make-up water is not recorded",
)
MOULDER = Fault(
    "moulder",
    "handling",
    ("L2",),
    "",
    _at(11, 2, "13:40"),
    _at(11, 5, "05:40"),
    -6.0,
    "% volume",
    "pressure board of line L2's moulder set too low after cleaning: volume down, spread within the batch up",
)
COLD_OVEN = Fault(
    "cold oven",
    "unexplained",
    ("L1", "L4"),
    "",
    _at(11, 5, "14:00"),
    _at(11, 9, "06:00"),
    -3.5,
    "% specific volume",
    "oven O1 cold, written down nowhere: bake loss 1.2 points low, loaves heavier, volume 2.2 % low",
)
SHORT_WEIGHT = Fault(
    "net weight short",
    "",
    ("L4",),
    "",
    _at(11, 4, "14:00"),
    _at(11, 4, "22:00"),
    -4.0,
    "% piece weight",
    "divider of line L4 set 4 % light for one late shift",
)
FAULTS = (WEAK_YEAST, LONG_BOIL, MOULDER, SHORT_WEIGHT, COLD_OVEN, COLD_MORNING)

UNWRITTEN_WATER = (date(2026, 10, 19), "K1", "02")
COOLING_MISSED = (date(2026, 11, 7), "K2", "04")
COOLING_NOT_READ = date(2026, 11, 7)
OVERDRAWN = (date(2026, 11, 3), "K2", "02")
OVERDRAWN_BY = (date(2026, 11, 4), "L3", "01")
SWAPPED_TUBS = {(date(2026, 11, 8), "L3", "05"): "01", (date(2026, 11, 8), "L4", "05"): "02"}
