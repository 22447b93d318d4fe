"""The usual errors of sheets, put into the careful floor's sheets one by one, and the list of what was done.

Each is a function of the sheets that returns what it did; where the day is not there it does nothing.
Doughs and pastes spoilt here are line L3's, L4's and kettle K2's, so that the divided kettle keeps its four doughs.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from copy import copy
from dataclasses import dataclass, replace
from datetime import date, timedelta
from typing import Literal

from seed_data.sheets import Row, Sheet

Sheets = dict[str, Sheet]
Fate = Literal[
    "quarantined", "waiting", "duplicate", "superseded", "already taken", "passed over", "kept apart", "flagged"
]


@dataclass(frozen=True)
class Done:
    """A slip just made: the sheet, the row (None: the whole sheet) and the column it is about."""

    sheet: Sheet
    row: Row | None
    column: str


@dataclass(frozen=True)
class Slip:
    """One error of a sheet. `line`: as a spreadsheet shows it, None for a whole sheet. fate: what becomes of it."""

    kind: str
    file: str
    line: int | None
    column: str
    fate: Fate
    says: str


def _d(month: int, day: int) -> date:
    return date(2026, month, day)


def _rows(sheets: Sheets, kind: str, day: date, **match: object) -> Iterator[tuple[Sheet, Row]]:
    """Rows on the sheets of one day's folder whose cells match."""
    for path in sorted(sheets):
        if sheets[path].kind == kind and path.startswith(f"logs/{day}/"):
            for row in sheets[path].rows:
                if all(row.get(name) == value for name, value in match.items()):
                    yield sheets[path], row


def _overwrite(sheets: Sheets, kind: str, day: date, values: Row, column: str, **match: object) -> list[Done]:
    done = []
    for sheet, row in list(_rows(sheets, kind, day, **match))[:1]:
        row.update(values)
        done.append(Done(sheet, row, column))
    return done


def _number(value: object) -> float:
    assert isinstance(value, (int, float))
    return float(value)


def _tare_left_in(sheets: Sheets) -> list[Done]:
    return _overwrite(sheets, "paste", _d(10, 6), {"tare_kg": None}, "weight_before_kg", kettle="K2", paste_batch="02")


def _fahrenheit(sheets: Sheets) -> list[Done]:
    done = []
    for sheet, row in _rows(sheets, "dough", _d(10, 6), line="L4", dough_batch="02"):
        row["dough_temp_c"] = _number(row["dough_temp_c"]) * 1.8 + 32.0
        done.append(Done(sheet, row, "dough_temp_c"))
    return done


def _grams(sheets: Sheets) -> list[Done]:
    done = []
    for sheet, row in _rows(sheets, "dough", _d(10, 8), line="L4", dough_batch="06"):
        row["yeast_kg"] = f"{1000.0 * _number(row['yeast_kg']):.0f}"
        done.append(Done(sheet, row, "yeast_kg"))
    return done


def _weight_for_volume(sheets: Sheets) -> list[Done]:
    done = []
    for sheet, row in _rows(sheets, "loaf", _d(10, 9), line="L1", dough_batch="02", loaf="3"):
        row["baked_g"], row["volume_ml"] = row["volume_ml"], row["baked_g"]
        done.append(Done(sheet, row, "baked_g"))
    return done


def _after_above_before(sheets: Sheets) -> list[Done]:
    """Wa and Wb changed over; the right sheet comes the next day."""
    done = []
    for sheet, row in _rows(sheets, "paste", _d(10, 10), kettle="K2", paste_batch="03"):
        right = replace(sheet, path=f"logs/{_d(10, 11)}/late-paste-corrected.csv", rows=[copy(row)])
        row["weight_before_kg"], row["weight_after_kg"] = row["weight_after_kg"], row["weight_before_kg"]
        sheets[right.path] = right
        done.append(Done(sheet, row, "weight_after_kg"))
        break
    return done


def _unknown_line(sheets: Sheets) -> list[Done]:
    return _overwrite(sheets, "dough", _d(10, 12), {"line": "L33"}, "line", line="L3", dough_batch="03")


def _out_before_in(sheets: Sheets) -> list[Done]:
    done = []
    for sheet, row in _rows(sheets, "proof", _d(10, 13), line="L2", dough_batch="06"):
        row["proof_in"], row["proof_out"] = row["proof_out"], row["proof_in"]
        done.append(Done(sheet, row, "proof_out"))
    return done


def _missing_cell(sheets: Sheets) -> list[Done]:
    return _overwrite(sheets, "dough", _d(10, 14), {"yeast_kg": None}, "yeast_kg", line="L4", dough_batch="03")


def _units_row(sheets: Sheets) -> list[Done]:
    return _whole(sheets, f"logs/{_d(10, 15)}/early-loaf.csv", units=True)


def _total_row(sheets: Sheets) -> list[Done]:
    path = f"logs/{_d(10, 15)}/output.csv"
    if path not in sheets:
        return []
    made = sum(_number(row["pieces_made"]) for row in sheets[path].rows)
    wasted = sum(_number(row["pieces_wasted"]) for row in sheets[path].rows)
    return _whole(sheets, path, totals={"line": "Total", "pieces_made": made, "pieces_wasted": wasted})


def _title_rows(sheets: Sheets) -> list[Done]:
    return _whole(sheets, f"logs/{_d(10, 15)}/late-dough.csv", above=("MIXER SHEET   late shift   15 October", ""))


def _decimal_comma(sheets: Sheets) -> list[Done]:
    return _whole(sheets, f"logs/{_d(10, 16)}/early-dough.csv", decimal_comma=True)


def _whole(sheets: Sheets, path: str, **changed: object) -> list[Done]:
    if path not in sheets:
        return []
    for name, value in changed.items():
        setattr(sheets[path], name, value)
    return [Done(sheets[path], None, "")]


def _corrected(sheets: Sheets, day: date, line: str, dough: str) -> list[Done]:
    """A day's late loaf sheet written again the next day: one dough's weights were read off the wrong lines."""
    path = f"logs/{day}/late-loaf.csv"
    if path not in sheets:
        return []
    again = replace(sheets[path], path=f"logs/{day + timedelta(days=1)}/late-loaf-corrected.csv")
    again.rows = [copy(row) for row in sheets[path].rows]
    wrong = [row for row in sheets[path].rows if (row["line"], row["dough_batch"]) == (line, dough)]
    for row in wrong:
        row["baked_g"] = _number(row["baked_g"]) - 21.0
    sheets[again.path] = again
    return [Done(sheets[path], row, "baked_g") for row in wrong]


def _weights_low(sheets: Sheets) -> list[Done]:
    return _corrected(sheets, _d(10, 17), "L1", "03")


def _weights_low_again(sheets: Sheets) -> list[Done]:
    return _corrected(sheets, _d(11, 7), "L1", "03")


def _sheet_sent_twice(sheets: Sheets) -> list[Done]:
    """The same rows on another sheet of paper: the copy has a title."""
    path = f"logs/{_d(10, 19)}/proof.csv"
    if path not in sheets:
        return []
    again = replace(sheets[path], path=f"logs/{_d(10, 20)}/proof-of-yesterday.csv", above=("PROOFER, copy",))
    sheets[again.path] = again
    return [Done(again, row, "") for row in again.rows]


def _file_sent_twice(sheets: Sheets) -> list[Done]:
    path = f"logs/{_d(10, 20)}/early-dough.csv"
    if path not in sheets:
        return []
    again = replace(sheets[path], path=f"logs/{_d(10, 21)}/early-dough (copy).csv")
    sheets[again.path] = again
    return [Done(again, None, "")]


def _row_twice(sheets: Sheets) -> list[Done]:
    for sheet, row in _rows(sheets, "dough", _d(10, 30), line="L4", dough_batch="04"):
        again = copy(row)
        sheet.rows.append(again)
        return [Done(sheet, again, "")]
    return []


def _dough_never_logged(sheets: Sheets) -> list[Done]:
    day, line, dough = _d(10, 20), "L4", "02"
    for sheet, row in list(_rows(sheets, "dough", day, line=line, dough_batch=dough)):
        sheet.rows.remove(row)
    waiting = [*_rows(sheets, "proof", day, line=line, dough_batch=dough)]
    waiting += _rows(sheets, "loaf", day, line=line, dough_batch=dough)
    return [Done(sheet, row, "dough_batch") for sheet, row in waiting]


def _paste_not_written(sheets: Sheets) -> list[Done]:
    nothing: Row = {"paste_batch": None, "paste_kg": None}
    return _overwrite(sheets, "dough", _d(10, 21), nothing, "paste_batch", line="L4", dough_batch="03")


def _litres(sheets: Sheets) -> list[Done]:
    done = []
    for sheet, row in _rows(sheets, "loaf", _d(10, 23), line="L2", dough_batch="04"):
        row["volume_ml"] = f"{_number(row['volume_ml']) / 1000.0:.3f}"
        done.append(Done(sheet, row, "volume_ml"))
    return done


def _steel_wall(sheets: Sheets) -> list[Done]:
    wall: Row = {"cook_temp_c": 37.5, "probe": "infrared", "thermometer": "T5"}
    return _overwrite(sheets, "paste", _d(10, 27), wall, "cook_temp_c", kettle="K2", paste_batch="01")


def _measured_hot(sheets: Sheets) -> list[Done]:
    """Weighed and measured 20 min out of the oven: 2 % heavier than they will be."""
    done = []
    for sheet, row in _rows(sheets, "loaf", _d(10, 28), line="L1", dough_batch="02"):
        at = row["measured_at"]
        row["measured_at"] = at - timedelta(minutes=_number(row["cooled_minutes"]) - 20)  # type: ignore[operator]
        row["cooled_minutes"] = 20
        row["baked_g"] = _number(row["baked_g"]) * 1.02
        done.append(Done(sheet, row, "cooled_minutes"))
    return done


def _yesterdays_date(sheets: Sheets) -> list[Done]:
    done = []
    for sheet, row in _rows(sheets, "dough", _d(10, 29), line="L3", dough_batch="07"):
        row["mixed_at"] = row["mixed_at"] - timedelta(days=1)  # type: ignore[operator]
        done.append(Done(sheet, row, "mixed_at"))
    return done


def _unknown_shift(sheets: Sheets) -> list[Done]:
    return _overwrite(sheets, "dough", _d(10, 31), {"shift": "nigth"}, "shift", line="L4", dough_batch="07")


def _dropped_point(sheets: Sheets) -> list[Done]:
    done = []
    for sheet, row in _rows(sheets, "loaf", _d(11, 1), line="L4", dough_batch="02", loaf="2"):
        row["baked_g"] = f"{_number(row['baked_g']) / 10.0:.1f}"
        done.append(Done(sheet, row, "baked_g"))
    return done


def _cook_ends_first(sheets: Sheets) -> list[Done]:
    done = []
    for sheet, row in _rows(sheets, "paste", _d(11, 1), kettle="K2", paste_batch="02"):
        row["cook_start"], row["cook_end"] = row["cook_end"], row["cook_start"]
        done.append(Done(sheet, row, "cook_end"))
    return done


def _not_sure(sheets: Sheets) -> list[Done]:
    doubtful: Row = {"dough_temp_c": "26.1 ?"}
    return _overwrite(sheets, "dough", _d(11, 5), doubtful, "dough_temp_c", line="L3", dough_batch="02")


def _unknown_product(sheets: Sheets) -> list[Done]:
    return _overwrite(sheets, "dough", _d(11, 7), {"product": "tosat"}, "product", line="L3", dough_batch="03")


_ALL: tuple[tuple[Callable[[Sheets], list[Done]], Fate, str], ...] = (
    (_tare_left_in, "quarantined", "kettle K2's tub weighed in, its tare not written"),
    (_fahrenheit, "quarantined", "dough temperature in °F"),
    (_grams, "quarantined", "yeast in grams in a column for kilograms"),
    (_weight_for_volume, "quarantined", "weight and volume of one loaf changed over"),
    (_after_above_before, "superseded", "Wa above Wb: changed over; the corrected row came the next day"),
    (_unknown_line, "quarantined", "a line that the plant does not have"),
    (_out_before_in, "quarantined", "out of the proofer before it went in"),
    (_missing_cell, "quarantined", "no yeast weight"),
    (_units_row, "passed over", "a row of units under the header"),
    (_total_row, "passed over", "a row of totals under the rows"),
    (_title_rows, "passed over", "a title and a blank line over the header"),
    (_decimal_comma, "flagged", "semicolons and decimal commas: read as such"),
    (_weights_low, "superseded", "one dough's loaf weights 21 g low; the right sheet came the next day"),
    (_dough_never_logged, "waiting", "proof and loaves of a dough that nobody logged"),
    (_sheet_sent_twice, "duplicate", "Monday's proof sheet typed again on Tuesday"),
    (_file_sent_twice, "already taken", "the same file once more under another name"),
    (_paste_not_written, "flagged", "paste not recorded"),
    (_litres, "quarantined", "volumes in litres in a column for millilitres"),
    (_steel_wall, "quarantined", "infrared thermometer held on the steel wall"),
    (_measured_hot, "kept apart", "loaves measured 20 min out of the oven"),
    (_yesterdays_date, "quarantined", "after midnight, with the date of the evening before"),
    (_row_twice, "duplicate", "one row typed twice"),
    (_unknown_shift, "quarantined", "a shift that the plant does not have"),
    (_dropped_point, "quarantined", "a loaf's weight a tenth of what it was"),
    (_cook_ends_first, "quarantined", "the cook ends before it starts"),
    (_not_sure, "quarantined", "a question mark behind a number"),
    (_unknown_product, "quarantined", "a product that the line does not make"),
    (_weights_low_again, "superseded", "the same once more, on the last day but one"),
)  # fmt: skip


def put_in(sheets: Sheets) -> list[Slip]:
    """Put every slip into the sheets; returns what was done, in order of the days."""
    done = [(what, fate, says) for make, fate, says in _ALL for what in make(sheets)]
    return [Slip(what.sheet.kind, what.sheet.path, _line(what), what.column, fate, says) for what, fate, says in done]


def _line(done: Done) -> int | None:
    if done.row is None:
        return None
    place = next(i for i, row in enumerate(done.sheet.rows) if row is done.row)
    return len(done.sheet.above) + 2 + int(done.sheet.units) + place
