"""The invented plant, and its sheets as text files."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

PLANT = """plant = "north"
timezone = "Europe/Lisbon"
[shifts]
early = "06:00"
late = "14:00"
night = "22:00"
[pastes.water-2]
liquid_ratio = 2.0
usual_loss_pct = 2.0
[kettles.K1]
pastes = ["water-2"]
[lines.L1]
kettle = "K1"
products = ["milk-loaf"]
[products.milk-loaf]
paste = "water-2"
hydration_pct = 63.0
paste_flour_pct = 20.0
yeast_pct = 3.0
scaled_g = 450.0
[columns.output]
"Linha" = "line"
"Produto" = "product"
"""
OUTPUT = ("line", "product", "shift_date", "shift", "pieces_made", "pieces_wasted")
PASTE = (
    "paste_batch", "kettle", "shift_date", "shift", "flour_kg", "liquid_kg", "weight_before_kg", "weight_after_kg",
    "cook_start", "cook_end", "cook_temp_c", "note",
)  # fmt: skip
PROOF = ("dough_batch", "line", "proof_in", "proof_out", "proof_temp_c")
LOAF = ("loaf", "dough_batch", "line", "measured_at", "baked_g", "volume_ml")


@dataclass(frozen=True)
class Ugly:
    """One file and what becomes of it. says: what its `why` or its notes hold; rows: received; waits: of them in quarantine.

    passed_over: its lines that are no rows.
    """

    name: str
    content: bytes
    kind: str | None
    rows: int = 0
    waits: int = 0
    passed_over: tuple[str, ...] = ()
    says: str = ""


def made(day: int, pieces: Any = 900, shift: str = "early", wasted: Any = 6) -> list[Any]:
    """One output row of May 2026."""
    return ["L1", "milk-loaf", f"2026-05-{day:02}", shift, pieces, wasted]


def cooked(
    batch: str, day: int, after: str = "35.2", before: str = "36.0", temp: str = "66", note: str = ""
) -> list[str]:
    """One paste row of May 2026."""
    at = f"2026-05-{day:02}"
    return [batch, "K1", at, "early", "12", "24", before, after, f"{at} 06:10", f"{at} 06:20", temp, note]


def text(*lines: Sequence[Any], mark: str = ",", end: str = "\n", code: str = "utf-8") -> bytes:
    """Lines as a text file."""
    return end.join([*(mark.join(map(str, line)) for line in lines), ""]).encode(code)


def commas(line: Sequence[Any]) -> list[str]:
    """A row with decimal commas."""
    return [str(cell).replace(".", ",") for cell in line]


def dated(line: list[Any], shown: str) -> list[Any]:
    """An output row with its date as it is shown."""
    return [*line[:2], shown, *line[3:]]
