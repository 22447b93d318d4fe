"""Columns that the rules need beside a log's own: known codes, hours off the shift, ratios, limits.

Pure: a frame in, a frame out, rows and their order kept. Times are naive UTC, as everywhere inside.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from models.judging import years
from models.judging.rules import CROSS_COLUMN, DERIVED
from models.logbook import TABLES

if TYPE_CHECKING:
    from models.plant import Plant

# logs whose rows are held against the year of their file
YEARS_OF = frozenset(rule.kind for rule in CROSS_COLUMN if "usual_date" in rule.needs)
# logs whose rows are measured by the other rows of their file
OF_THE_FILE = YEARS_OF | {"paste", "dough"}
# a ratio to the log's own median is only worth something with this many rows beside it
ENOUGH_FOR_MEDIAN = 5
DIGITS = 9


def for_truth(kind: str, frame: pd.DataFrame, file: pd.Series, plant: Plant) -> pd.DataFrame:
    """A log's typed rows with every column its truth rules use.

    frame: the contract's columns of `kind`, typed; file: which file each row came in. A file's own rows
    serve as the measure of what is usual in it, so a file is judged on its own.
    """
    rows = frame.reset_index(drop=True).copy()
    rows["file"] = file.to_numpy()
    for code, known in codes(plant).items():
        column = next((c.name for c in TABLES[kind].columns if c.plant_code == code), None)
        if column:
            rows[f"known_{code}"] = rows[column].isin(known)
    if "shift" in rows and "shift_date" in rows:
        _hours_off_shift(kind, rows, plant)
    if kind == "paste":
        _paste_columns(rows, plant)
    if kind == "change":
        _change_columns(rows, plant)
    for name, expression in DERIVED.get(kind, {}).items():
        rows[name] = rows.eval(expression)
    if kind in YEARS_OF:
        rows[["usual_date", "year_off"]] = years.beside_their_file(kind, rows)
    extra = {
        "paste": _paste_ratios,
        "dough": _dough_ratios,
        "gas": _gas_columns,
        "proof": _proof_columns,
    }.get(kind)
    if extra:
        extra(rows)
    return rows.replace([np.inf, -np.inf], np.nan)


def codes(plant: Plant) -> dict[str, list[str]]:
    """What each kind of code may be: plant code -> the plant file's own names."""
    return {
        "kettle": sorted(plant.kettles),
        "line": sorted(plant.lines),
        "product": sorted(plant.products),
        "shift": list(plant.shifts),
        "recipe": sorted(plant.pastes),
    }


def shift_start_utc(shift_date: pd.Series, shift: pd.Series, plant: Plant) -> pd.Series:
    """Start of each row's shift, naive UTC; missing where date or code is."""
    clock = shift.map({code: pd.Timedelta(hours=t.hour, minutes=t.minute) for code, t in plant.shift_starts.items()})
    local = pd.to_datetime(shift_date) + pd.to_timedelta(clock)
    zoned = local.dt.tz_localize(plant.timezone, ambiguous=np.ones(len(local), dtype=bool), nonexistent="shift_forward")
    return zoned.dt.tz_convert("UTC").dt.tz_localize(None)


def _hours_off_shift(kind: str, rows: pd.DataFrame, plant: Plant) -> None:
    first = {"paste": "cook_start", "dough": "mixed_at"}.get(kind)
    if first is None:
        return
    offset = _hours(rows[first] - shift_start_utc(rows["shift_date"], rows["shift"], plant))
    rows["shift_offset_h"] = offset
    rows["shift_late_h"] = offset - rows["shift"].map(plant.shift_hours).astype(float)


def _hours(span: pd.Series) -> pd.Series:
    return span.dt.total_seconds() / 3600


def _minutes(start: pd.Series, end: pd.Series) -> pd.Series:
    return (end - start).dt.total_seconds() / 60


def _paste_columns(rows: pd.DataFrame, plant: Plant) -> None:
    rows["tare_or_0_kg"] = rows["tare_kg"].fillna(0.0)
    rows["water_or_0_kg"] = rows["kettle_water_kg"].fillna(0.0)
    rows["cook_minutes"] = _minutes(rows["cook_start"], rows["cook_end"])
    recipe = rows["recipe"].where(rows["recipe"].notna(), rows["kettle"].map(plant.paste_of))
    rows["recipe_ratio"] = recipe.map({name: paste.liquid_ratio for name, paste in plant.pastes.items()}).astype(float)


def _paste_ratios(rows: pd.DataFrame) -> None:
    rows["before_on_median"] = _on_median(rows, "net_before_kg", ["file", "kettle"])
    rows["usual_tare_kg"] = rows.groupby(["file", "kettle"], observed=True, dropna=False)["tare_kg"].transform("median")
    usual = rows["cook_minutes"].between(3, 60) & rows["gross_loss_pct"].between(0.2, 20)
    steel = rows["cook_temp_c"].between(20, 55, inclusive="left") & (rows["probe"] == "infrared")
    rows["wall_reading"] = steel & usual
    rows["swapped_charge"] = (rows["liquid_kg"] / rows["flour_kg"]).lt(rows["recipe_ratio"] / 2.5) & (
        rows["flour_kg"] / rows["liquid_kg"]
    ).between(rows["recipe_ratio"] * 0.8, rows["recipe_ratio"] * 1.25)


def _dough_ratios(rows: pd.DataFrame) -> None:
    rows["flour_on_median"] = _on_median(rows, "flour_kg", ["file", "line", "product"])


def _proof_columns(rows: pd.DataFrame) -> None:
    rows["proof_minutes"] = _minutes(rows["proof_in"], rows["proof_out"])


def _gas_columns(rows: pd.DataFrame) -> None:
    of_dough = rows["dough_batch"].notna() & rows["line"].notna()
    rows["names_nothing"] = ~(of_dough | rows["yeast_lot"].notna())


def _change_columns(rows: pd.DataFrame, plant: Plant) -> None:
    known = codes(plant)
    rows["known_name"] = True
    for scope in ("line", "kettle"):
        rows.loc[rows["scope"] == scope, "known_name"] = rows["name"].isin(known[scope])


def _on_median(rows: pd.DataFrame, column: str, by: list[str]) -> pd.Series:
    """Each value over the median of its group in this log; missing where the group is too small to say."""
    groups = rows.groupby(by, observed=True, dropna=True)[column]
    ratio = rows[column] / groups.transform("median")
    return ratio.where(groups.transform("count") >= ENOUGH_FOR_MEDIAN)


def _as_read(wide: pd.DataFrame, *worked_out: str) -> pd.DataFrame:
    """Wide rows to be held against limits. What is worked out loses the digits that come from the arithmetic and from no
    scale or clock: 7.2 of 120 kg are 6 %, and on a limit is not beyond it."""
    rows = wide.reset_index(drop=True).copy()
    rows[list(worked_out)] = rows[list(worked_out)].round(DIGITS)
    return rows


def for_good_pastes(pastes: pd.DataFrame, plant: Plant) -> pd.DataFrame:
    """Wide paste rows with the limits of their recipe beside them, and what rules ask beside limits.

    `sheet_awaited`, where they have it, as `storage.awaited` says.
    """
    rows = pastes_and_limits(pastes, plant)
    made = rows["after_kg"] + rows["kettle_water_kg"].fillna(0.0)
    if "sheet_awaited" not in rows:
        rows["sheet_awaited"] = ""
    rows["overdrawn_pct"] = (100 * rows["overdrawn_kg"] / made).round(DIGITS).where(rows["sheet_awaited"] == "")
    rows["overdrawn_warn"], rows["overdrawn_act"] = 2.0, 4.0
    rows["cooling_missed"] = rows["cooling"] == "missed"
    rows["low_but_lost"] = (rows["cook_temp_c"] < rows["cook_warn_low"]) & (rows["loss_pct"] >= rows["usual_loss_pct"])
    rows["recipe_listed"] = [
        k in plant.kettles and r in plant.kettles[k].pastes for k, r in zip(rows["kettle"], rows["recipe"], strict=True)
    ]
    return rows


def pastes_and_limits(pastes: pd.DataFrame, plant: Plant) -> pd.DataFrame:
    """Wide paste rows with the limits of their recipe beside them."""
    rows = _as_read(pastes, "loss_pct", "points_lost")
    _limits(
        rows,
        "recipe",
        {
            name: {
                **_ends("cook", p.cook_temp_c),
                **_ends("loss", p.loss_pct),
                "points_warn": p.hydration_points.warn,
                "points_act": p.hydration_points.act,
            }
            for name, p in plant.pastes.items()
        },
    )
    rows["cooling_judged"] = rows["cooling"].where(rows["cooling"].isin(["met", "missed"]))
    rows["cooling_over_c"] = _over_the_cooling_limits(rows, plant)
    return rows


def _over_the_cooling_limits(rows: pd.DataFrame, plant: Plant) -> pd.Series:
    """By how much, °C, the worst reading lies over a limit that was due when it was taken; below 0: under it."""
    over = [
        rows[reading] - temperature
        for temperature, within_h in (plant.cooling.limits if plant.cooling else ())
        for reading, hour in (("temp_2h_c", 2.0), ("temp_6h_c", 6.0))
        if hour >= within_h
    ]
    return pd.concat(over, axis=1).max(axis=1) if over else pd.Series(float("nan"), index=rows.index)


def for_good_batches(batches: pd.DataFrame, plant: Plant) -> pd.DataFrame:
    """Wide dough rows with the limits of their product and of their paste beside them, and what rules ask beside limits."""
    rows = batches_and_limits(batches, plant)
    rows["product_paste"] = (
        rows["product"].map({n: p.paste for n, p in plant.products.items() if p.paste}).astype("str")
    )
    rows["other_recipe"] = (rows["recipe"] != rows["product_paste"]) & rows["recipe"].notna()
    rows["undeclared"] = _undeclared(rows, plant)
    rows["product_listed"] = [
        ln in plant.lines and p in plant.lines[ln].products for ln, p in zip(rows["line"], rows["product"], strict=True)
    ]
    return rows


def batches_and_limits(batches: pd.DataFrame, plant: Plant) -> pd.DataFrame:
    """Wide dough rows with the limits of their product and of their paste beside them."""
    rows = _as_read(batches, "usual_gap_points", "paste_age_h", "specific_volume")
    _limits(
        rows,
        "product",
        {
            name: {
                **_ends("dough", p.dough_temp_c),
                **(dict(zip(("sv_low", "sv_high"), p.specific_volume, strict=True)) if p.specific_volume else {}),
            }
            for name, p in plant.products.items()
        },
        ("sv_low", "sv_high"),
    )
    lidded = rows["line"].map({name: line.lidded for name, line in plant.lines.items()}).fillna(False).astype(bool)
    rows.loc[lidded, ["sv_low", "sv_high"]] = np.nan
    _limits(
        rows,
        "recipe",
        {
            name: {
                "age_warn": p.age_h.warn,
                "age_act": p.age_h.act,
                "points_warn": p.hydration_points.warn,
                "points_act": p.hydration_points.act,
            }
            for name, p in plant.pastes.items()
        },
    )
    return rows


def _undeclared(rows: pd.DataFrame, plant: Plant) -> pd.Series:
    """Allergens the paste brings and the product does not declare; missing where the paste is not known."""
    said = {
        (recipe, product): ", ".join(sorted(paste.allergens - made.allergens))
        for recipe, paste in plant.pastes.items()
        for product, made in plant.products.items()
    }
    found = [said.get(pair) for pair in zip(rows["recipe"], rows["product"], strict=True)]
    return pd.Series(found, index=rows.index, dtype="str")


def _ends(name: str, window) -> dict[str, float]:
    return {
        f"{name}_{kind}_{end}": bounds[i]
        for kind, bounds in (("act", window.act), ("warn", window.warn))
        for i, end in enumerate(("low", "high"))
    }


def _limits(rows: pd.DataFrame, by: str, table: dict[str, dict[str, float]], also: tuple[str, ...] = ()) -> None:
    """Add one column per limit, looked up by recipe or product; missing where there is none."""
    names = dict.fromkeys([key for limits in table.values() for key in limits] + list(also))
    code, known = pd.factorize(rows[by])  # missing: -1, so the last
    for name in names:
        of_each = [table.get(key, {}).get(name, np.nan) for key in known]
        rows[name] = np.array([*of_each, np.nan], dtype=float)[code]
