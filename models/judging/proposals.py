"""What was probably meant by a row that cannot be true. A proposal changes nothing: a named person confirms it.

A proposal is the cells it would change: column -> value, numbers in the column's unit, times naive UTC.
"""

from __future__ import annotations

import difflib
from collections.abc import Callable
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from models.judging import derive, years
from models.judging.rules import SLIPS, Rule, meant
from models.logbook import TABLES, Column, Table

if TYPE_CHECKING:
    from models.plant import Plant

Cells = dict[str, Any]
Maker = Callable[[pd.Series], Cells | None]
DAY = pd.Timedelta(days=1)


def propose(rule: Rule, row: pd.Series, plant: Plant) -> Cells | None:
    """The cells of the reading that would fit; None where nothing clearly does. row: with the rules' columns."""
    table = TABLES[rule.kind]
    column = table.by_name[rule.column]
    if column.unit in SLIPS and rule.code.endswith(f".{SLIPS[column.unit][0]}"):
        value = meant(column, float(row[rule.column]))
        beside = _all_fahrenheit(row, column, table) if column.unit == "°C" else {}
        return None if value is None or _not_the_charge(row, column, value) else {column.name: round(value, 3)} | beside
    if column.plant_code and rule.code.endswith(f".unknown-{column.plant_code}"):
        return _near_code(row[column.name], column.name, derive.codes(plant)[column.plant_code])
    if rule.code.endswith(".wrong-year"):
        return _other_year(row, rule.kind, plant)
    if rule.code == "loaf.heavier-than-its-dough":
        return _with_its_dough(row, plant)
    maker = PROPOSALS.get(rule.code)
    return maker(row) if maker else None


def _not_the_charge(row: pd.Series, column: Column, value: float) -> bool:
    """Whether a paste would weigh less than half of what was weighed into it: 3600 of 36 kg is a lost point, not grams."""
    weighed = column.name in ("weight_before_kg", "weight_after_kg") and pd.notna(row.get("charge_kg"))
    return bool(weighed) and 2 * value < row["charge_kg"]


def _all_fahrenheit(row: pd.Series, slipped: Column, table: Table) -> Cells:
    """The row's other temperatures where all of them were read off the same thermometer in °F: each is one that thaws.

    One that would be at or below freezing was read in °C, and so speaks for the others.
    """
    others = [c for c in table.columns if c.unit == "°C" and c.name != slipped.name and pd.notna(row.get(c.name))]
    _, factor, offset, _ = SLIPS["°C"]
    read = {c.name: round((float(row[c.name]) - offset) / factor, 3) for c in others}
    return read if all(value > 0 for value in read.values()) else {}


def in_words(cells: Cells | None, table: Table, plant: Plant) -> str | None:
    """A proposal as a person reads it: "cook_temp_c = 66.1 °C"."""
    if not cells:
        return None
    return ", ".join(
        f"{name} = {as_text(value, plant)} {table.by_name[name].unit if not isinstance(value, pd.Timestamp) else ''}".strip()
        for name, value in cells.items()
    )


def as_text(value: Any, plant: Plant) -> str:
    """A cell as it is written in a log: numbers short with a point, times on the plant's clock with their offset."""
    if isinstance(value, pd.Timestamp):
        whole = value == value.floor("min")
        return value.tz_localize("UTC").tz_convert(plant.timezone).isoformat(timespec="minutes" if whole else "auto")
    return f"{value:.12g}" if isinstance(value, (float, np.floating)) else str(value)


def _near_code(typed: Any, name: str, known: list[str]) -> Cells | None:
    """A code one slip of the fingers away from exactly one known one; short codes are too alike to guess."""
    if not isinstance(typed, str) or len(typed) < 4:
        return None
    near = difflib.get_close_matches(typed.casefold(), [code.casefold() for code in known], n=2, cutoff=0.75)
    same = [code for code in known if code.casefold() in near]
    return {name: same[0]} if len(same) == 1 else None


def _tare(row: pd.Series) -> Cells | None:
    """The tare, on both weights or on Wb alone; nothing where one is written beside them, so that it is not that alone."""
    if row["tare_kg"] > 0:
        return None
    extra = round(float(row["off_charge_kg"]), 3)
    if row["weight_after_kg"] - extra > 0.8 * row["charge_kg"]:
        return {"tare_kg": extra}
    return {"weight_before_kg": round(float(row["weight_before_kg"]) - extra, 3)}


def _swap(one: str, other: str) -> Maker:
    return lambda row: {one: float(row[other]), other: float(row[one])}


def _shifted(*names: str) -> Maker:
    """A clock after midnight that kept the date of the evening before, or one within the shift that has the next day's date."""

    def made(row: pd.Series) -> Cells | None:
        offset, shift_hours = row["shift_offset_h"], row["shift_offset_h"] - row["shift_late_h"]
        if -4 <= offset + 24 <= shift_hours + 12:
            return {name: row[name] + DAY for name in names}
        return {name: row[name] - DAY for name in names} if 0 <= offset - 24 <= shift_hours else None

    return made


def _end_next_day(name: str, minutes: str, longest: float) -> Maker:
    return lambda row: {name: row[name] + DAY} if 0 < row[minutes] + 1440 <= longest else None


def _other_year(row: pd.Series, kind: str, plant: Plant) -> Cells | None:
    """Every date and time of the row that is a year off its file, in the year of the file."""
    usual = row["usual_date"]
    off = [name for name in years.dated(kind) if pd.notna(row[name]) and years.is_off(row[name], usual)]
    return {name: _moved(kind, name, row, -1 if row[name] > usual else 1, plant) for name in off} or None


def other_year(kind: str, row: pd.Series, by: int, plant: Plant) -> dict[str, str]:
    """All dates and times of a row, so many years later, as a log writes them."""
    names = [name for name in years.dated(kind) if pd.notna(row[name])]
    return {name: as_text(_moved(kind, name, row, by, plant), plant) for name in names}


def _moved(kind: str, name: str, row: pd.Series, by: int, plant: Plant) -> Any:
    """A date as text, or an instant, moved by the calendar: at the same time of the plant's clock."""
    moved = pd.DateOffset(years=by)
    if TABLES[kind].by_name[name].type == "date":
        return (row[name] + moved).strftime("%Y-%m-%d")
    local = row[name].tz_localize("UTC").tz_convert(plant.timezone).tz_localize(None) + moved
    zoned = local.tz_localize(plant.timezone, ambiguous=True, nonexistent="shift_forward")
    return zoned.tz_convert("UTC").tz_localize(None)


def _usual(before: float, after: float, net: float) -> bool:
    """Whether Wb less Wa is what a cook loses."""
    return 0.2 <= 100 * (before - after) / net <= 6


def _after(row: pd.Series) -> Cells | None:
    """Wa above Wb: the kettle's tare left in, two digits or two cells changed over, where that gives a usual loss."""
    before, after = float(row["weight_before_kg"]), float(row["weight_after_kg"])
    without = after - float(row["usual_tare_kg"])
    if _usual(before, without, row["net_before_kg"]):
        return {"weight_after_kg": round(without, 3)}
    if cells := _digits_after(row):
        return cells
    of_charge = np.isnan(row["charge_kg"]) or abs(after - row["charge_kg"]) <= 0.005 * row["charge_kg"]
    return (
        {"weight_before_kg": after, "weight_after_kg": before} if of_charge and _usual(after, before, after) else None
    )


def _lost_too_much(row: pd.Series) -> Cells | None:
    """A loss that cannot be: the kettle's tare left in Wb, or two digits of Wa changed over."""
    without = float(row["weight_before_kg"]) - float(row["usual_tare_kg"])
    if np.isnan(row["tare_kg"]) and without > 0 and _usual(without, row["weight_after_kg"], without):
        return {"weight_before_kg": round(without, 3)}
    return _digits_after(row)


def _digits_after(row: pd.Series) -> Cells | None:
    for value in digit_swaps(float(row["weight_after_kg"])):
        if _usual(float(row["weight_before_kg"]), value, row["net_before_kg"]):
            return {"weight_after_kg": value}
    return None


def _pounds_or_tare(row: pd.Series) -> Cells | None:
    """Only where the kettle's other rows show a tare of this size: pounds look the same."""
    return _tare(row) if abs(row["off_charge_kg"] - row["usual_tare_kg"]) <= 0.01 * row["usual_tare_kg"] else None


def digit_swaps(value: float) -> list[float]:
    """Values that differ from a typed one by two neighbouring digits changed over."""
    if not np.isfinite(value):
        return []
    text = f"{value:.10g}"
    found = []
    for i in range(len(text) - 1):
        j = i + 2 if text[i + 1] == "." else i + 1
        if j < len(text) and text[i].isdigit() and text[j].isdigit() and text[i] != text[j]:
            digits = list(text)
            digits[i], digits[j] = digits[j], digits[i]
            found.append(float("".join(digits)))
    return found


def _slipped_point(column: str, of: str, low: float, high: float) -> Maker:
    """A dropped or slipped decimal point that brings a ratio back where it belongs."""

    def made(row: pd.Series) -> Cells | None:
        base = row.get(of, np.nan)
        for factor in (10.0, 0.1, 100.0, 0.01, 1000.0, 0.001):
            value = float(row[column]) * factor
            if np.isfinite(base) and base and low <= value / base <= high:
                return {column: round(value, 3)}
        return None

    return made


def _volume_or_weight(row: pd.Series) -> Cells | None:
    by_piece = _slipped_point("baked_g", "scaled_g", *OF_ITS_DOUGH)(row)
    return by_piece or _slipped_point("volume_ml", "baked_g", 2.0, 8.0)(row)


# share of a dough piece that a loaf weighs, and how far a piece may be off the one its line scales; common practice, no source
OF_ITS_DOUGH = (0.8, 0.98)
NEAR_ITS_PIECE = 0.08


def _with_its_dough(row: pd.Series, plant: Plant) -> Cells | None:
    """Loaf and dough piece changed over, where the larger is a piece of that line; else a slipped point of the loaf."""
    loaf, piece = float(row["baked_g"]), float(row["scaled_g"])
    line = plant.lines.get(str(row.get("line", "")))
    pieces = [plant.products[name].scaled_g for name in line.products] if line else []
    scaled = not pieces or any(abs(loaf - usual) <= NEAR_ITS_PIECE * usual for usual in pieces)
    if OF_ITS_DOUGH[0] <= piece / loaf <= OF_ITS_DOUGH[1] and scaled:
        return {"baked_g": piece, "scaled_g": loaf}
    return _slipped_point("baked_g", "scaled_g", *OF_ITS_DOUGH)(row)


def _off_median(column: str, ratio: str) -> Maker:
    def made(row: pd.Series) -> Cells | None:
        for factor in (0.1, 10.0):
            if 0.5 <= row[ratio] * factor <= 2.0:
                return {column: round(float(row[column]) * factor, 3)}
        return None

    return made


def _thousands(column: str) -> Maker:
    """The number whose thousands mark was read as a decimal one; nothing where it would still be no whole number."""

    def made(row: pd.Series) -> Cells | None:
        value = round(float(row[column]) * 1000, 6)
        return {column: value} if value == int(value) and row[column] < 1000 else None

    return made


PROPOSALS: dict[str, Maker] = {
    "paste.tare-left-in": _tare,
    "paste.after-above-before": _after,
    "paste.pounds-or-tare": _pounds_or_tare,
    "paste.loss-not-credible": _lost_too_much,
    "paste.flour-and-liquid-swapped": _swap("flour_kg", "liquid_kg"),
    "paste.not-in-its-shift": _shifted("cook_start", "cook_end"),
    "paste.times-out-of-order": _end_next_day("cook_end", "cook_minutes", 360),
    "paste.off-by-a-factor": _off_median("weight_before_kg", "before_on_median"),
    "dough.not-in-its-shift": _shifted("mixed_at"),
    "dough.off-by-a-factor": _off_median("flour_kg", "flour_on_median"),
    "proof.times-out-of-order": _end_next_day("proof_out", "proof_minutes", 720),
    "gas.kept-above-made": _swap("gas_produced_ml", "gas_retained_ml"),
    "output.pieces_made.not-whole": _thousands("pieces_made"),
    "output.pieces_wasted.not-whole": _thousands("pieces_wasted"),
    "output.wasted-above-made": _swap("pieces_made", "pieces_wasted"),
    "loaf.weight-and-volume-swapped": _swap("baked_g", "volume_ml"),
    "loaf.specific-volume-not-credible": _volume_or_weight,
    "loaf.bake-loss-not-credible": _slipped_point("baked_g", "scaled_g", *OF_ITS_DOUGH),
}
