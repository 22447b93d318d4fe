"""Patterns that readings taken one by one do not make: values copied down, clocks on the quarter hour, one last digit
too often, a kettle weight that is always the sum of its charge.

A pattern is no accusation. It says that the rows carry less evidence than they seem to, of which log and which shift, never
of which person. Each is held against what chance makes of independent readings, and the probability is multiplied by the
number of places looked at in the month (Bonferroni).

Times written down at the end of the shift are told by their own shape, over a month or on one sheet: the contract has no
column for when a row was written, so a sheet that was filled in late with likely times cannot be told from one that was not.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from models.judging.startup import STOOD_H, starts
from models.logbook import TABLES
from models.texts import texts

if TYPE_CHECKING:
    from models.plant import Plant

# what is read off an instrument by hand, and the column that names the instrument
READ: dict[str, dict[str, str]] = {
    "paste": {
        "weight_before_kg": "scale",
        "weight_after_kg": "scale",
        "weight_cold_kg": "scale",
        "residue_kg": "scale",
        "cook_temp_c": "thermometer",
        "temp_2h_c": "thermometer",
        "temp_6h_c": "thermometer",
    },
    "dough": {"dough_temp_c": "thermometer", "paste_temp_c": "thermometer"},
    "proof": {"proof_height_mm": ""},
    "gas": {"gas_produced_ml": "", "gas_retained_ml": ""},
    "loaf": {"scaled_g": "scale", "baked_g": "scale", "volume_ml": "volumeter", "core_temp_c": ""},
}
CLOCKS = {
    "paste": ("cook_start", "cook_end"),
    "dough": ("mixed_at",),
    "proof": ("proof_in", "proof_out"),
    "loaf": ("measured_at",),
}
UNIT = {
    "paste": ("kettle", "recipe"),
    "dough": ("line", "product"),
    "proof": ("line", "product"),
    "gas": (),
    "loaf": ("line", "product"),
}
SURE = 0.01  # probability, after Bonferroni, below which a pattern is shown
BY_HAND = 50_000  # rows of a log in a month that hands could have written; of more, an instrument wrote them
LEAST_PAIRS, LEAST_RUN, LEAST_TIMES, LEAST_DIGITS, LEAST_SUMS, LEAST_PROBED = 30, 4, 20, 40, 10, 10
LEAST_ON_A_SHEET = 5  # times of one sheet, all on the quarter hour
SKIN_C = 2.0  # an unstirred skin reads 3 to 8 °C low; half of it would not be worth a word
AS_MUCH_PCT = 0.3  # points of Wb: cooks that lost as much as the others were as hot
# least counts that instruments have, in the column's unit
STEPS = (0.001, 0.002, 0.005, 0.01, 0.02, 0.05, 0.1, 0.2, 0.5, 1.0, 2.0, 5.0, 10.0, 20.0, 25.0, 50.0, 100.0)


@dataclass(frozen=True)
class Note:
    """One pattern. n: rows it is of; probability: that chance makes one like it anywhere looked at, at most 1."""

    kind: str
    shift: str
    column: str
    pattern: str
    n: int
    probability: float
    says: str


@dataclass(frozen=True)
class Looked:
    """A month looked at. month: "2026-05"; places: how many patterns could have shown; notes: those that did."""

    month: str
    places: int
    notes: tuple[Note, ...]


@dataclass(frozen=True)
class _Found:
    """A candidate before the number of places is known. chance: of independent readings, at this place alone."""

    kind: str
    shift: str
    column: str
    pattern: str
    n: int
    chance: float
    says: str
    places: int = 1


def look(
    month: str, logs: Mapping[str, pd.DataFrame], plant: Plant, batches: pd.DataFrame | None = None
) -> Looked:
    """Look for patterns in a month's accepted rows.

    logs: kind -> the contract's columns, typed, in order of their clock; proof and loaf with their dough's product.
    batches: wide dough rows, of which those of the month are looked at for starts that are unlike their run.
    """
    found = [one for kind, rows in logs.items() if kind in READ and len(rows) for one in _log(kind, rows, plant)]
    if batches is not None:
        found += _starts(batches[batches["shift_date"].to_numpy("datetime64[M]") == np.datetime64(month)])
    places = sum(one.places for one in found)
    notes = [
        Note(one.kind, one.shift, one.column, one.pattern, one.n, min(1.0, one.chance * places), one.says)
        for one in found
    ]
    shown = sorted((n for n in notes if n.probability < SURE), key=lambda n: (n.probability, n.kind, n.shift, n.column))
    return Looked(month, places, tuple(shown))


def _log(kind: str, rows: pd.DataFrame, plant: Plant) -> Iterator[_Found]:
    rows = _placed(kind, rows, plant)
    sheets = _sheets(rows)
    for column, instrument in READ[kind].items():
        yield from _runs(kind, column, sheets)
        filled = rows.loc[rows[column].notna(), list(dict.fromkeys((column, "alike", "shift", instrument or column)))]
        yield from _digits(kind, column, filled.assign(instrument=filled[instrument].fillna("") if instrument else ""))
    for column in CLOCKS.get(kind, ()):
        yield from _quarters(kind, column, rows, plant)
    if kind == "paste":
        yield from _sums(rows)
        yield from _infrared(rows)


def _starts(batches: pd.DataFrame) -> Iterator[_Found]:
    """First doughs of a run that are unlike the rest of it: their loaves are a stratum of their own."""
    t = texts("month")["readings"]
    for one in starts(batches):
        says = t["start_less" if one.less_pct > 0 else "start_more"].format(
            line=one.line, product=one.product, stood=STOOD_H, pct=abs(one.less_pct), n=one.runs
        )
        yield _Found("loaf", one.shift, "specific_volume", "start unlike run", one.runs, one.chance, says)


def _placed(kind: str, rows: pd.DataFrame, plant: Plant) -> pd.DataFrame:
    """The rows with their shift and its day (from the clock where the log has none) and what they are alike in."""
    rows = rows.reset_index(drop=True)
    if "shift" not in rows:
        shift, day = shift_by_clock(rows[TABLES[kind].at], plant)
        rows = rows.assign(shift=shift, shift_date=day)
    names = [name for name in UNIT[kind] if name in rows]
    texts_of = [rows[name].fillna("").tolist() for name in names]
    alike = pd.Series([" ".join(row).strip() for row in zip(*texts_of, strict=True)], dtype="str") if names else ""
    return rows.assign(alike=alike)


def shift_by_clock(at: pd.Series, plant: Plant) -> tuple[pd.Series, pd.Series]:
    """The shift that was on at each instant (naive UTC) and the date it began on."""
    starts = sorted((t.hour * 60 + t.minute, code) for code, t in plant.shift_starts.items())
    local = at.dt.tz_localize("UTC").dt.tz_convert(plant.timezone).dt.tz_localize(None)
    minute = (local.dt.hour * 60 + local.dt.minute).fillna(0).to_numpy()
    place = np.searchsorted([start for start, _ in starts], minute, side="right") - 1
    shift = pd.Series(np.array([code for _, code in starts], dtype=object)[place], index=at.index, dtype="str")
    return shift, local.dt.normalize() - pd.to_timedelta((place < 0).astype(int), unit="D")


@dataclass(frozen=True)
class _Sheets:
    """A log's rows sheet by sheet. sheet, alike: numbers of each row's sheet and of what it is alike in.

    group: number of what it is alike in and its shift together (-1: no shift is known); names: of each such group.
    """

    rows: pd.DataFrame
    sheet: np.ndarray
    alike: np.ndarray
    group: np.ndarray
    names: list[tuple[str, str]]


def _sheets(rows: pd.DataFrame) -> _Sheets:
    by_sheet = ["alike", "shift_date", "shift"]
    rows = rows.sort_values(by_sheet, kind="stable")
    sheet = rows.groupby(by_sheet, sort=False).ngroup().to_numpy()
    group = rows.groupby(["alike", "shift"], sort=True).ngroup().to_numpy()
    numbers, first = np.unique(group, return_index=True)
    named = rows[["alike", "shift"]].iloc[first[numbers >= 0]]
    names = [(str(alike), str(shift)) for alike, shift in named.itertuples(index=False)]
    return _Sheets(rows, sheet, pd.factorize(rows["alike"])[0], group, names)


@dataclass(frozen=True)
class _Readings:
    """Readings of one column, sheet by sheet. follows: on the sheet of the one before; equal: and as it; run: of equal ones."""

    value: np.ndarray
    day: np.ndarray
    follows: np.ndarray
    equal: np.ndarray
    run: np.ndarray

    def of(self, which: np.ndarray) -> _Readings:
        """Some of them. which: one bool a reading."""
        return _Readings(self.value[which], self.day[which], self.follows[which], self.equal[which], self.run[which])


def _runs(kind: str, column: str, sheets: _Sheets) -> Iterator[_Found]:
    """Equal values one after another, by shift and by what the rows are alike in, against what is usual elsewhere."""
    filled = sheets.rows[column].notna().to_numpy()
    value, sheet = sheets.rows[column].to_numpy()[filled], sheets.sheet[filled]
    alike, group = sheets.alike[filled], sheets.group[filled]
    follows = np.append(False, sheet[1:] == sheet[:-1])[: len(value)]
    equal = follows & np.append(False, value[1:] == value[:-1])[: len(value)]
    every = _Readings(value, sheets.rows["shift_date"].to_numpy()[filled], follows, equal, np.cumsum(~equal))
    for number in np.unique(group[group >= 0]):
        which, (like, shift) = group == number, sheets.names[number]
        mine, others = every.of(which), every.of((alike == alike[which][0]) & ~which)
        yield from _longest(kind, column, like, shift, mine, others)
        yield from _hardly_moves(kind, column, like, shift, mine, others)


def _longest(
    kind: str, column: str, alike: str, shift: str, mine: _Readings, others: _Readings
) -> Iterator[_Found]:
    """The longest run of a shift: chance p^(k-1), p as in the other shifts, or where they are few in its own other rows."""
    runs, begin, lengths = np.unique(mine.run, return_index=True, return_counts=True)
    at = int(lengths.argmax())
    longest, first = int(lengths[at]), int(begin[at])
    usual = others if others.follows.sum() >= LEAST_PAIRS else mine.of(mine.run != runs[at])
    pairs = int(usual.follows.sum())
    if pairs < LEAST_PAIRS:
        return
    agree = _agree(usual)
    says = texts("month")["readings"]["equal"].format(
        column=column,
        value=mine.value[first],
        rows=longest,
        alike=alike,
        day=f"{pd.Timestamp(mine.day[first]):%Y-%m-%d}",
        every=1 / agree,
        n=pairs,
    )
    chance = agree ** (longest - 1) if longest >= LEAST_RUN else 1.0
    yield _Found(kind, shift, column, "equal in a row", longest, chance, says, int(mine.follows.sum()))


def _hardly_moves(
    kind: str, column: str, alike: str, shift: str, mine: _Readings, others: _Readings
) -> Iterator[_Found]:
    """A shift in which nearly every row agrees with the one before: binomial, p as in the other shifts."""
    from scipy.stats import binom

    pairs, n, same = int(others.follows.sum()), int(mine.follows.sum()), int(mine.equal.sum())
    if pairs < LEAST_PAIRS or n < LEAST_PAIRS:
        return
    agree = _agree(others)
    says = texts("month")["readings"]["hardly_moves"].format(
        column=column, same=same, rows=n, alike=alike, every=1 / agree, n=pairs
    )
    chance = float(binom.sf(same - 1, n, agree)) if same >= 0.8 * n else 1.0
    yield _Found(kind, shift, column, "hardly ever moves", n, chance, says)


def _agree(readings: _Readings) -> float:
    """Chance that a reading agrees with the one before: the larger of how often it did and how often any two would."""
    did = (readings.equal.sum() + 1) / (readings.follows.sum() + 2)
    return float(max(_match(readings.value), did))


def _match(values: np.ndarray) -> float:
    """Chance that two readings drawn from these agree."""
    n = len(values)
    counts = np.unique(values, return_counts=True)[1]
    return float((counts * (counts - 1)).sum() / (n * (n - 1))) if n > 1 else 1.0


def _step(values: np.ndarray) -> float:
    """The least count readings show: the coarsest that all but one in fifty keep to."""
    for step in reversed(STEPS):
        if (np.abs(values / step - np.round(values / step)) <= 1e-6).mean() >= 0.98:
            return step
    return float("nan")


def _digits(kind: str, column: str, rows: pd.DataFrame) -> Iterator[_Found]:
    """Last digits by shift, chi-square against ten equally likely ones; only where readings spread over five least counts."""
    from scipy.stats import chi2

    for (alike, instrument), read in rows.groupby(["alike", "instrument"], sort=True):
        step = _step(read[column].to_numpy())
        for shift, mine in read.groupby("shift", sort=True):
            n = len(mine)
            if n < LEAST_DIGITS or not mine[column].std() >= 5 * step:
                continue
            digits = np.bincount(np.round(mine[column].to_numpy() / step).astype(np.int64) % 10, minlength=10)
            top = int(digits.argmax())
            often = digits[top] >= 0.2 * n
            chance = float(chi2.sf(((digits - n / 10) ** 2 / (n / 10)).sum(), 9)) if often else 1.0
            says = texts("month")["readings"]["digit"].format(
                column=column,
                alike=", ".join(map(str, filter(None, (alike, instrument)))),
                ending=_ending(top, step),
                often=digits[top],
                rows=n,
                chance=n / 10,
            )
            yield _Found(kind, str(shift), column, "one last digit", n, chance, says)


def _ending(digit: int, step: float) -> str:
    return f"{digit * step:g}" if step < 1 else f"{digit * step:.0f}"


def _quarters(kind: str, column: str, rows: pd.DataFrame, plant: Plant) -> Iterator[_Found]:
    """Clock times on the quarter hour by shift: binomial, one in fifteen by chance, one in three where the log keeps to five minutes."""
    from scipy.stats import binom

    times = rows[["shift", "shift_date", column]].dropna().drop_duplicates(["shift", column])
    minute = times[column].dt.tz_localize("UTC").dt.tz_convert(plant.timezone).dt.minute
    usual = 1 / 3 if len(times) and (minute % 5 == 0).mean() >= 0.8 else 1 / 15
    yield from _sheet_of_quarters(kind, column, times.assign(on=minute % 15 == 0), usual)
    for shift, mine in minute.groupby(times["shift"], sort=True):
        n, on = len(mine), int((mine % 15 == 0).sum())
        if n < LEAST_TIMES:
            continue
        says = texts("month")["readings"]["quarter"].format(column=column, on=on, times=n, chance=usual * n)
        chance = float(binom.sf(on - 1, n, usual)) if on >= 0.9 * n else 1.0
        yield _Found(kind, str(shift), column, "on the quarter hour", n, chance, says)


def _sheet_of_quarters(kind: str, column: str, times: pd.DataFrame, usual: float) -> Iterator[_Found]:
    """One sheet of a shift whose times all stand on the quarter hour, while those of the log's other sheets do not.

    times: shift, shift_date, whether `on`. Chance: p to the number of its times, p the larger of what a clock makes and the
    share on the other sheets; times the shift's sheets, of which it is the one that stands out most.
    """
    sheets = times.groupby(["shift", "shift_date"])["on"].agg(["size", "sum"])
    enough = sheets[sheets["size"] >= LEAST_ON_A_SHEET]
    for shift, mine in enough.groupby(level="shift", sort=True):
        all_on = mine["size"].where(mine["size"] == mine["sum"], 0)
        (_, day), n = all_on.index[int(all_on.argmax())], int(all_on.max())
        others = sheets.drop(index=(shift, day)).sum()
        agree = max(usual, float((others["sum"] + 1) / (others["size"] + 2)))
        says = texts("month")["readings"]["quarter_sheet"].format(
            column=column, times=n, day=f"{day:%Y-%m-%d}", every=1 / agree, n=int(others["size"])
        )
        chance = min(1.0, agree**n * len(mine)) if n else 1.0
        yield _Found(kind, str(shift), column, "quarter-hour sheet", n, chance, says)


def _infrared(rows: pd.DataFrame) -> Iterator[_Found]:
    """Infrared readings of a shift below the contact probe's of the same kettle and recipe, while as much water was lost."""
    from scipy.stats import ttest_ind

    lost = 100 * (rows["weight_before_kg"] - rows["weight_after_kg"]) / rows["weight_before_kg"]
    read = rows.assign(lost=lost).dropna(subset=["cook_temp_c", "lost"])
    for alike, of in read.groupby("alike", sort=True):
        contact, infrared = of[of["probe"] == "contact"], of[of["probe"] == "infrared"]
        for shift, mine in infrared.groupby("shift", sort=True):
            if min(len(contact), len(mine)) < LEAST_PROBED:
                continue
            below = contact["cook_temp_c"].mean() - mine["cook_temp_c"].mean()
            as_hot = mine["lost"].mean() >= contact["lost"].mean() - AS_MUCH_PCT
            test = ttest_ind(mine["cook_temp_c"], contact["cook_temp_c"], equal_var=False, alternative="less")
            says = texts("month")["readings"]["infrared"].format(
                below=below, alike=alike, n=len(mine), n_contact=len(contact)
            )
            chance = float(test.pvalue) if below >= SKIN_C and as_hot else 1.0
            yield _Found("paste", str(shift), "cook_temp_c", "infrared reads low", len(mine), chance, says)


def _sums(rows: pd.DataFrame) -> Iterator[_Found]:
    """Wb that equals flour plus liquid to the last digit. By chance: a least count among those within 0.25 % of Wb."""
    from scipy.stats import binom

    weighed = rows.dropna(subset=["flour_kg", "liquid_kg", "weight_before_kg"])
    net = weighed["weight_before_kg"] - weighed["tare_kg"].fillna(0.0)
    same = (net - weighed["flour_kg"] - weighed["liquid_kg"]).abs() < 1e-6
    for shift, mine in same.groupby(weighed["shift"], sort=True):
        n, on = len(mine), int(mine.sum())
        by_chance = min(
            1.0, _step(weighed.loc[mine.index, "weight_before_kg"].to_numpy()) / (0.0025 * net[mine.index].median())
        )
        if n < LEAST_SUMS or not by_chance < 0.9:
            continue
        says = texts("month")["readings"]["summed"].format(on=on, rows=n)
        chance = float(binom.sf(on - 1, n, by_chance)) if on >= 0.9 * n else 1.0
        yield _Found("paste", str(shift), "weight_before_kg", "sum of the charge", n, chance, says)
