"""Blank log sheets, one workbook a kind of log, made from the logbook and the plant's own codes."""

from __future__ import annotations

import datetime as dt
import io
import re
import zipfile
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from models.logbook import TABLES, Column, Table
from models.plant import Plant, Product
from models.reader.spelling import plant_codes
from models.reader.workbook import EXAMPLE

if TYPE_CHECKING:
    from openpyxl import Workbook
    from openpyxl.worksheet.worksheet import Worksheet

ROWS = 1000
"""Rows of a blank sheet that have drop-downs."""

_FORMATS = {"text": "@", "date": "yyyy-mm-dd", "time": "yyyy-mm-dd hh:mm", "number": "General"}
_EXAMPLE_DAY = dt.date(2026, 3, 16)
_MINUTES = {
    "cook_start": 31, "cook_end": 43, "mixed_at": 77, "proof_in": 122, "proof_out": 178, "tested_at": 181,
    "measured_at": 291, "changed_at": 92, "checked_at": 16,
}  # fmt: skip
_TEXTS = {
    "paste_batch": "01", "dough_batch": "07", "loaf": "1", "gas_test": "G1", "flour_lot": "F-2201", "liquid_lot": "W-1",
    "yeast_lot": "Y-118", "thermometer": "T1", "scale": "S1", "volumeter": "V1", "position": "lane 2",
    "operator": "baker", "name": "T1", "what": "probe replaced", "instrument": "T1", "scope": "instrument",
    "quantity": "temperature",
}  # fmt: skip


def write(plant: Plant, folder: Path) -> list[Path]:
    """Write one blank workbook a kind of log into `folder`: first sheet the log, second a worked example.

    The same plant gives the same bytes. Raises FileExistsError, one line, rather than write over a sheet that
    somebody may have filled in.
    """
    books = {folder / f"blank-{kind}.xlsx": as_bytes(_book(table, plant)) for kind, table in TABLES.items()}
    keep(books)
    return list(books)


def keep(books: Mapping[Path, bytes]) -> None:
    """Write workbooks, all or none. Raises FileExistsError, one line, where one is there that somebody may have filled in."""
    for path, content in books.items():
        if path.exists() and path.read_bytes() != content and not _untouched(path):
            raise FileExistsError(f"{path}: is there already and differs; move it away, or name another folder")
    for path, content in books.items():
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(content)


def heading(column: Column) -> str:
    """A column's heading: its name, a star where it must be filled, its unit."""
    return column.name + ("*" if column.required else "") + (f" ({column.unit})" if column.unit else "")


def example(table: Table, plant: Plant) -> dict[str, Any]:
    """One row as it would be filled in, by column name; what would be empty is left out."""
    values = {column.name: _example_of(column, table.kind, plant) for column in table.columns}
    return {name: value for name, value in values.items() if value not in (None, "")}


def _book(table: Table, plant: Plant) -> Workbook:
    from openpyxl import Workbook
    from openpyxl.styles import Alignment, Font, PatternFill

    book = Workbook()
    log, shown, codes = book.active, book.create_sheet(EXAMPLE), book.create_sheet("codes")
    log.title, codes.sheet_state = table.kind, "hidden"
    for sheet in (log, shown):
        _row(sheet, 1, [heading(column) for column in table.columns])
        sheet.freeze_panes, sheet.row_dimensions[1].height = "A2", 45
        for place, column in enumerate(table.columns, 1):
            cell = sheet.cell(1, place)
            cell.font = Font(bold=column.required)
            cell.fill = PatternFill("solid", start_color="E6E6E6")
            cell.alignment = Alignment(wrap_text=True, vertical="top")
            _format(sheet, place, column)
    for place, column in enumerate(table.columns, 1):
        _limit(log, codes, place, column, plant)
    filled = example(table, plant)
    _row(shown, 2, [filled.get(column.name) for column in table.columns])
    for place, column in enumerate(table.columns, 1):
        shown.cell(2, place).number_format = _FORMATS[column.type]
    _meanings(shown, table, plant)
    return book


def _row(sheet: Worksheet, number: int, values: Sequence[Any]) -> None:
    for place, value in enumerate(values, 1):
        if value is not None:
            _put(sheet, number, place, value)


def _put(sheet: Worksheet, row: int, place: int, value: Any) -> None:
    """A cell's value; a text is a text whatever it begins with."""
    if not isinstance(value, str):
        sheet.cell(row, place, value)
        return
    cell = sheet.cell(row, place)
    cell.value = "".join(c for c in value if c.isprintable())
    cell.data_type = "s"
    if value[:1] in ("=", "+", "-", "@"):
        cell.quotePrefix = True


def _format(sheet: Worksheet, place: int, column: Column) -> None:
    from openpyxl.utils import get_column_letter

    wide = 18 if column.type == "time" else 30 if column.name in ("note", "what") else max(11, len(column.name) + 1)
    sheet.column_dimensions[get_column_letter(place)].width = wide
    sheet.column_dimensions[get_column_letter(place)].number_format = _FORMATS[column.type]


def codes_of(column: Column, plant: Plant) -> tuple[str, ...]:
    """What a drop-down offers: the plant's codes or the column's choices; empty where anything may be written."""
    return column.choices or plant_codes(column, plant)


def _limit(log: Worksheet, codes: Worksheet, place: int, column: Column, plant: Plant) -> None:
    """A drop-down for codes and choices; a warning for numbers that cannot be."""
    from openpyxl.utils import get_column_letter
    from openpyxl.worksheet.datavalidation import DataValidation

    letter = get_column_letter(place)
    offered = codes_of(column, plant)
    if offered:
        for row, code in enumerate(offered, 1):
            _put(codes, row, place, code)
        rule = DataValidation(type="list", formula1=f"codes!${letter}$1:${letter}${len(offered)}", allow_blank=True)
        rule.error = f"{column.name} is one of the list"
    elif column.can_be:
        low, high = column.can_be
        rule = DataValidation(
            type="decimal", operator="between", formula1=f"{low:g}", formula2=f"{high:.10g}", allow_blank=True
        )
        rule.errorStyle = "warning"
        rule.error = f"{column.name} is a number from {low:g} to {high:.10g} {column.unit}"
    else:
        return
    rule.showErrorMessage = True
    rule.add(f"{letter}2:{letter}{ROWS + 1}")
    log.add_data_validation(rule)


def _meanings(sheet: Worksheet, table: Table, plant: Plant) -> None:
    from openpyxl.styles import Font

    _row(sheet, 4, ["column", "unit", "needed", "may be", "meaning"])
    for place in range(1, 6):
        sheet.cell(4, place).font = Font(bold=True)
    for row, column in enumerate(table.columns, 5):
        may_be = ", ".join(codes_of(column, plant))
        if column.can_be:
            may_be = f"{column.can_be[0]:g} to {column.can_be[1]:.10g}"
        _row(sheet, row, [column.name, column.unit, "yes" if column.required else "", may_be, column.says])
        for place in range(1, 6):
            sheet.cell(row, place).number_format = "@"
    _put(sheet, len(table.columns) + 6, 1, "An empty cell means not recorded: never zero, never fine. 0 means none.")


def _example_of(column: Column, kind: str, plant: Plant) -> Any:
    if column.type == "number":
        return _numbers(kind, plant).get(column.name)
    if column.type == "date":
        return _EXAMPLE_DAY
    if column.type == "time":
        start = next(iter(plant.shift_starts.values()))
        return dt.datetime.combine(_EXAMPLE_DAY, start) + dt.timedelta(minutes=_MINUTES[column.name])
    if column.plant_code:
        return _code(column, plant)
    if column.name == "paste_batch" and kind == "dough" and _first_product(plant).paste is None:
        return None
    return _TEXTS.get(column.name) or (column.choices[0] if column.choices else None)


def _first_product(plant: Plant) -> Product:
    return plant.products[next(iter(plant.lines.values())).products[0]]


def _code(column: Column, plant: Plant) -> str:
    line = next(iter(plant.lines))
    kettle = plant.lines[line].kettle or next(iter(plant.kettles), "K1")
    recipe = plant.kettles[kettle].pastes[0] if kettle in plant.kettles else ""
    codes = {"line": line, "product": plant.lines[line].products[0], "kettle": kettle, "recipe": recipe}
    return codes[column.plant_code] if column.plant_code in codes else next(iter(plant.shifts))


def _numbers(kind: str, plant: Plant) -> dict[str, float]:
    """Plausible values: from the plant's own targets where they tell, else usual for a small plant."""
    product = _first_product(plant)
    baked = round(product.scaled_g * 0.89, 1)
    window = product.specific_volume or (4.2, 5.2)
    if kind == "paste":
        return _paste_numbers(product, plant)
    if kind == "dough":
        return _dough_numbers(product, plant)
    return {
        "proof_temp_c": 36.0, "proof_rh_pct": 80.0, "proof_height_mm": 95.0, "gas_produced_ml": 410.0,
        "gas_retained_ml": 370.0, "piece_g": 50.0, "test_minutes": 120.0, "scaled_g": product.scaled_g,
        "baked_g": baked, "volume_ml": round(baked * sum(window) / 2), "cooled_minutes": 75.0, "core_temp_c": 96.0,
        "pieces_made": 4200.0, "pieces_wasted": 12.0, "stopped_minutes": 10.0, "standard": 0.0, "as_found": 0.3,
    }  # fmt: skip


def _paste_numbers(product: Product, plant: Plant) -> dict[str, float]:
    paste = plant.pastes.get(product.paste or "") or next(iter(plant.pastes.values()), None)
    ratio = paste.liquid_ratio if paste else 2.0
    cook = sum(paste.cook_temp_c.warn) / 2 if paste else 66.0
    return {
        "flour_kg": round(36 / (1 + ratio), 2), "liquid_kg": round(36 * ratio / (1 + ratio), 2),
        "weight_before_kg": 36.0, "weight_after_kg": 35.0, "residue_kg": 0.2, "kettle_water_kg": 0.0,
        "weight_cold_kg": 34.6, "cook_temp_c": round(cook, 1), "temp_2h_c": 20.0, "temp_6h_c": 4.0,
    }  # fmt: skip


def _dough_numbers(product: Product, plant: Plant) -> dict[str, float]:
    """A dough of 100 kg of flour, the paste's included."""
    paste = plant.pastes.get(product.paste or "")
    scald = product.paste_flour_pct if paste else 0.0
    water = scald * paste.liquid_ratio * paste.liquid_water_pct / 100 if paste else 0.0
    dose = {"paste_kg": round(scald * (1 + paste.liquid_ratio), 1), "paste_temp_c": 6.0} if paste else {}
    return dose | {
        "flour_kg": round(100 - scald, 1), "liquid_kg": round(max(product.hydration_pct - water, 0.0), 1),
        "makeup_water_kg": 0.0, "yeast_kg": round(product.yeast_pct, 2), "room_temp_c": 22.0, "flour_temp_c": 20.0,
        "water_temp_c": 8.0, "dough_temp_c": round(sum(product.dough_temp_c.warn) / 2, 1), "mix_minutes": 12.0,
        "mix_energy_wh_kg": 9.0,
    }  # fmt: skip


PROPERTIES = "docProps/core.xml"
# the moment that stands in a workbook as it was written here; whatever saves it again puts its own
NEVER = b"2026-01-01T00:00:00Z"


def _untouched(path: Path) -> bool:
    """Whether a workbook is as it was written here: nobody saved anything in it."""
    try:
        with zipfile.ZipFile(path) as parts:
            return parts.read(PROPERTIES).count(NEVER) == 2
    except (zipfile.BadZipFile, KeyError):
        return False


def as_bytes(book: Workbook) -> bytes:
    """The workbook's bytes without the moment it was made: the same sheet is the same file."""
    made, fixed = io.BytesIO(), io.BytesIO()
    book.save(made)
    with zipfile.ZipFile(made) as parts, zipfile.ZipFile(fixed, "w", zipfile.ZIP_DEFLATED) as packed:
        for name in parts.namelist():
            part = parts.read(name)
            if name == PROPERTIES:
                part = re.sub(rb"(<dcterms:(created|modified)[^>]*>)[^<]*", rb"\g<1>" + NEVER, part)
            packed.writestr(zipfile.ZipInfo(name), part, zipfile.ZIP_DEFLATED)
    return fixed.getvalue()
