"""What was probably meant by a row that cannot be true. A proposal changes nothing: a named person confirms it."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from models.logbook import TABLES
from models.rules import SLIPS, Rule, meant

if TYPE_CHECKING:
    import pandas as pd

    from models.plant import Plant


def propose(rule: Rule, row: pd.Series, plant: Plant) -> str | None:
    """The reading that would fit, in words; None where nothing does."""
    column = TABLES[rule.kind].by_name[rule.column]
    if column.unit in SLIPS and rule.code.endswith(f".{SLIPS[column.unit][0]}"):
        value = meant(column, float(row[rule.column]))
        return None if value is None else f"{column.name} = {_short(value)} {column.unit}"
    maker = PROPOSALS.get(rule.code)
    return maker(row, plant) if maker else None


def _short(value: float) -> str:
    return f"{float(f'{value:.4g}'):g}"


def _tare(row: pd.Series, plant: Plant) -> str | None:
    extra = row["off_charge_kg"]
    both = row["weight_after_kg"] - extra > 0.8 * row["charge_kg"]
    return f"tare_kg = {_short(extra)} kg, in {'both weights' if both else 'Wb only'}"


def _swapped(row: pd.Series, plant: Plant) -> str | None:
    return f"baked_g = {_short(row['volume_ml'])}, volume_ml = {_short(row['baked_g'])}"


def _charge_swapped(row: pd.Series, plant: Plant) -> str | None:
    return f"flour_kg = {_short(row['liquid_kg'])}, liquid_kg = {_short(row['flour_kg'])}"


def _next_day(name: str):
    def made(row: pd.Series, plant: Plant) -> str | None:
        late = row["shift_offset_h"] + 24
        fits = -4 <= late <= plant.shift_hours.get(row["shift"], 0) + 12
        return f"{name} on the next date" if fits else None
    return made


def _end_next_day(name: str, minutes: str, longest: float):
    def made(row: pd.Series, plant: Plant) -> str | None:
        return f"{name} on the next date" if 0 < row[minutes] + 1440 <= longest else None
    return made


def _after(row: pd.Series, plant: Plant) -> str | None:
    """Wa above Wb: changed over, or a swapped pair of digits, where that gives a usual loss."""
    before, after = row["weight_before_kg"], row["weight_after_kg"]
    for value in digit_swaps(after):
        if 0.2 <= 100 * (before - value) / row["net_before_kg"] <= 6:
            return f"weight_after_kg = {_short(value)} kg (two digits changed over)"
    if 0.2 <= 100 * (after - before) / after <= 6:
        return f"weight_before_kg = {_short(after)} kg, weight_after_kg = {_short(before)} kg"
    return None


def digit_swaps(value: float) -> list[float]:
    """Values that differ from a typed one by two neighbouring digits changed over."""
    if not np.isfinite(value):
        return []
    text = f"{value:g}"
    found = []
    for i in range(len(text) - 1):
        j = i + 2 if text[i + 1] == "." else i + 1
        if j < len(text) and text[i].isdigit() and text[j].isdigit() and text[i] != text[j]:
            digits = list(text)
            digits[i], digits[j] = digits[j], digits[i]
            found.append(float("".join(digits)))
    return found


def _ten_times(column: str, of: str, low: float, high: float):
    """A dropped or slipped decimal point that brings a ratio back where it belongs."""
    def made(row: pd.Series, plant: Plant) -> str | None:
        for factor in (10.0, 0.1, 100.0, 0.01, 1000.0, 0.001):
            value = row[column] * factor
            ratio = value / row[of] if np.isfinite(row[of]) and row[of] else np.nan
            if low <= ratio <= high:
                return f"{column} = {_short(value)}"
        return None
    return made


def _volume_or_weight(row: pd.Series, plant: Plant) -> str | None:
    by_piece = _ten_times("baked_g", "scaled_g", 0.8, 0.98)(row, plant) if "scaled_g" in row else None
    return by_piece or _ten_times("volume_ml", "baked_g", 2.0, 8.0)(row, plant)


PROPOSALS = {
    "paste.tare-left-in": _tare,
    "paste.after-above-before": _after,
    "paste.flour-and-liquid-swapped": _charge_swapped,
    "paste.not-in-its-shift": _next_day("cook_start and cook_end"),
    "paste.times-out-of-order": _end_next_day("cook_end", "cook_minutes", 360),
    "dough.not-in-its-shift": _next_day("mixed_at"),
    "proof.times-out-of-order": _end_next_day("proof_out", "proof_minutes", 720),
    "loaf.weight-and-volume-swapped": _swapped,
    "loaf.specific-volume-not-credible": _volume_or_weight,
    "loaf.bake-loss-not-credible": _ten_times("baked_g", "scaled_g", 0.8, 0.98),
}
