"""Every charted characteristic, declared once, and the streams of points made from the two wide rows.

A chart follows one characteristic of one line and product, of one kettle and recipe, or of one yeast lot's
tests over the plant. The values of the trade stand in while a chart learns; most are common practice,
no source, and a baseline of the bakery's own replaces them.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Literal

import numpy as np

from models.shapes import Points, Stream

if TYPE_CHECKING:
    from pandas import DataFrame

    from models.plant import Plant

Scale = Literal["plain", "spread", "loss"]


@dataclass(frozen=True)
class Trade:
    """What the trade expects: standard deviations, in the unit or relative to the level (`relative`).

    batch: between batches of one lot; lot: between yeast lots; flour: between flour lots; within: of one loaf or
    reading within a batch. Specific volume: measured and assumed values of the trade; the rest common practice.
    """

    batch: float
    lot: float
    flour: float = 0.0
    within: float = 0.0
    relative: bool = False


@dataclass(frozen=True)
class Characteristic:
    """One charted characteristic.

    `column` of `frame` is charted; `count` is the column that says how many readings the value is a mean of
    (None: one), `spread` the column with their standard deviation. `family` is the event it belongs to;
    `rank` orders the members of a family: the lowest leads. `scale` is the scale the chart works on.
    `small` is the change the promise speaks of, in the unit, or relative to the level.
    """

    name: str
    unit: str
    frame: Literal["batches", "pastes"]
    column: str
    at: str
    per: Literal["line", "kettle", "plant"]
    family: str
    rank: int
    trade: Trade
    small: float
    scale: Scale = "plain"
    count: str | None = None
    spread: str | None = None
    open_lines_only: bool = False
    proof_mode: Literal["time", "height"] | None = None


def _loaf(name: str, unit: str, column: str, rank: int, trade: Trade, small: float, **more) -> Characteristic:
    return Characteristic(
        name, unit, "batches", column, "mixed_at", "line", "loaf", rank, trade, small, count="loaves", **more
    )


def _dough(name: str, unit: str, column: str, trade: Trade, small: float, **more) -> Characteristic:
    return Characteristic(name, unit, "batches", column, "mixed_at", "line", name, 0, trade, small, **more)


def _kettle(name: str, unit: str, column: str, trade: Trade, small: float, **more) -> Characteristic:
    return Characteristic(name, unit, "pastes", column, "cook_end", "kettle", name, 0, trade, small, **more)


_SV = Trade(0.020, 0.016, 0.012, 0.020, relative=True)

DECLARED: tuple[Characteristic, ...] = (
    _loaf(
        "specific volume", "mL/g", "specific_volume", 0, _SV, 0.03, spread="specific_volume_sd", open_lines_only=True
    ),
    _loaf("volume", "mL", "volume_ml", 1, _SV, 0.03, open_lines_only=True),
    _loaf("weight", "g", "baked_g", 2, Trade(0.006, 0.002, 0.002, 0.012, relative=True), 0.01),
    _loaf("bake loss", "%", "bake_loss_pct", 3, Trade(0.35, 0.10, 0.15, 0.60), 0.5),
    Characteristic(
        "within-batch spread",
        "mL/g",
        "batches",
        "specific_volume_sd",
        "mixed_at",
        "line",
        "within-batch spread",
        0,
        Trade(0.10, 0.05, 0.05, relative=True),
        0.5,
        scale="spread",
        count="loaves",
        open_lines_only=True,
    ),
    _dough("dough temperature", "°C", "dough_temp_c", Trade(0.7, 0.2, 0.2), 1.0),
    _dough("proof time", "min", "proof_minutes", Trade(0.04, 0.03, 0.01, relative=True), 0.05, proof_mode="height"),
    _dough("proof height", "mm", "proof_height_mm", Trade(0.03, 0.025, 0.01, relative=True), 0.05, proof_mode="time"),
    _dough("gassing power", "mL", "gas_produced_ml", Trade(0.03, 0.04, relative=True), 0.05, count="gas_tests"),
    _dough("share of gas kept", "%", "gas_kept_pct", Trade(1.5, 0.2, 1.0), 3.0, count="gas_tests"),
    Characteristic(
        "gassing power of the lot",
        "mL",
        "batches",
        "lot_gas_ml",
        "mixed_at",
        "plant",
        "gassing power of the lot",
        0,
        Trade(0.05, 0.0, relative=True),
        0.1,
    ),
    _kettle("paste loss", "% of Wb", "loss_pct", Trade(0.8, 0.3), 1.0, scale="loss"),
    _kettle("cook temperature", "°C", "cook_temp_c", Trade(2.0, 0.8), 2.0),
    _kettle("paste at 2 h", "°C", "temp_2h_c", Trade(2.0, 1.0), 3.0),
    _kettle("paste at 6 h", "°C", "temp_6h_c", Trade(1.0, 0.5), 2.0),
)
BESIDE = _loaf(
    "specific volume beside the other lines",
    "mL/g",
    "specific_volume",
    4,
    Trade(0.022, 0.006, 0.004, 0.020, relative=True),
    0.03,
    spread="specific_volume_sd",
    open_lines_only=True,
)
"""Made of the points of specific volume (models.charts.beside); what it finds is an episode of specific volume, shown there alone."""
CHARACTERISTICS: dict[str, Characteristic] = {c.name: c for c in (*DECLARED, BESIDE)}


def characteristic(stream: Stream) -> Characteristic:
    """The declaration behind a stream. Raises KeyError where the name is not declared."""
    return CHARACTERISTICS[stream.characteristic]


def family(stream: Stream) -> tuple[str, str, str, str]:
    """The event family of a stream: streams of one family raise one alert between them."""
    return characteristic(stream).family, stream.line or "", stream.kettle or "", stream.product or ""


def streams(plant: Plant, pastes: DataFrame, batches: DataFrame) -> dict[Stream, Points]:
    """Every stream of a plant with its points in order of production.

    pastes, batches: one row a batch, columns as declared in models.batchbook. A row without the value, without
    its time, or (for what loaves say) without a routine loaf is left out. An empty stream is left out.
    """
    frames = {"pastes": pastes, "batches": batches}
    ordered: dict[tuple[str, str], _Ordered] = {}
    found: dict[Stream, Points] = {}
    for char in DECLARED:
        which = char.frame, char.at
        if which not in ordered:
            ordered[which] = _ordered(frames[char.frame], char)
        for stream, places in _groups(plant, char, ordered[which]):
            found[stream] = _points(char, ordered[which], places)
    return found


@dataclass(frozen=True)
class _Ordered:
    """What every chart of a frame takes from its rows, in order of production: put in order once for all of them.

    texts: "" where nothing is recorded; group: number of each row's place and product among `groups`.
    """

    frame: DataFrame
    order: np.ndarray
    at: np.ndarray
    day: np.ndarray
    texts: dict[str, np.ndarray]
    group: np.ndarray
    groups: list[tuple[str, str]]
    _numbers: dict[str, np.ndarray] = field(default_factory=dict)

    def number(self, column: str) -> np.ndarray:
        """A column of numbers in this order."""
        if column not in self._numbers:
            self._numbers[column] = self.frame[column].to_numpy(dtype=float)[self.order]
        return self._numbers[column]


def _ordered(frame: DataFrame, char: Characteristic) -> _Ordered:
    key = "paste_key" if char.frame == "pastes" else "batch_key"
    by = ["kettle", "recipe"] if char.frame == "pastes" else ["line", "product"]
    named = frame[[char.at, key]].reset_index(drop=True)
    if _in_order(named[char.at].to_numpy(dtype="datetime64[us]"), named[key].to_numpy(dtype=object)):
        order = np.arange(len(named))  # as the store gives them
    else:
        order = named.sort_values([char.at, key], kind="stable").index.to_numpy()
    lots = ["flour_lot"] if char.frame == "pastes" else ["yeast_lot", "flour_lot"]
    texts = {name: frame[name].fillna("").to_numpy(dtype=object)[order] for name in (*by, *lots)}
    texts["key"] = frame[key].to_numpy(dtype=object)[order]
    pairs = list(zip(texts[by[0]], texts[by[1]], strict=True))
    groups = sorted(set(pairs))
    number = {pair: i for i, pair in enumerate(groups)}
    at = frame[char.at].to_numpy(dtype="datetime64[us]")[order]
    day = frame["shift_date"].to_numpy(dtype="datetime64[D]")[order]
    return _Ordered(frame, order, at, day, texts, np.array([number[pair] for pair in pairs], dtype=int), groups)


def _in_order(at: np.ndarray, keys: np.ndarray) -> bool:
    """Whether rows stand in order of their time, then of their key, those without a time last."""
    none = np.isnat(at)
    later = (at[1:] > at[:-1]) | (none[1:] & ~none[:-1])
    alike = (at[1:] == at[:-1]) | (none[1:] & none[:-1])
    return bool((later | alike).all()) and all(keys[i] <= keys[i + 1] for i in np.flatnonzero(alike))


def _usable(char: Characteristic, rows: _Ordered) -> np.ndarray:
    """Places of the rows that the chart may hold."""
    keep = ~np.isnan(rows.number(char.column)) & ~np.isnat(rows.at)
    if char.count is not None:
        keep &= np.nan_to_num(rows.number(char.count), nan=0.0) >= (2 if char.scale == "spread" else 1)
    places = np.flatnonzero(keep)
    if char.per != "plant":
        return places
    lots = rows.texts["yeast_lot"][places]
    known = places[lots != ""]
    return np.sort(known[np.unique(rows.texts["yeast_lot"][known].astype(str), return_index=True)[1]])


def _groups(plant: Plant, char: Characteristic, rows: _Ordered) -> Iterator[tuple[Stream, np.ndarray]]:
    places = _usable(char, rows)
    if char.per == "plant":
        if len(places):
            yield Stream(plant.plant, char.name, char.unit), places
        return
    of = rows.group[places]
    for number, (place, what) in enumerate(rows.groups):
        mine = places[of == number]
        if not len(mine):
            continue
        if char.per == "kettle":
            yield Stream(plant.plant, char.name, char.unit, kettle=place, product=_recipe(plant, place, what)), mine
        elif _charted_on(plant, char, place):
            yield Stream(plant.plant, char.name, char.unit, line=place, product=what), mine


def _recipe(plant: Plant, kettle: str, recipe: str) -> str | None:
    """The recipe is part of the name only where the kettle makes several."""
    return None if not recipe or plant.paste_of(kettle) == recipe else recipe


def _charted_on(plant: Plant, char: Characteristic, line: str) -> bool:
    known = plant.lines.get(line)
    if known is None:
        return False
    if char.open_lines_only and known.lidded:
        return False
    return char.proof_mode is None or known.proof_mode == char.proof_mode


def _points(char: Characteristic, rows: _Ordered, places: np.ndarray) -> Points:
    pastes, plain = char.frame == "pastes", char.per == "plant"
    size, texts = len(places), rows.texts
    return Points(
        keys=texts["key"][places],
        at=rows.at[places],
        value=rows.number(char.column)[places],
        n=np.nan_to_num(rows.number(char.count)[places], nan=1.0) if char.count else np.ones(size),
        sd_within=rows.number(char.spread)[places] if char.spread else np.full(size, np.nan),
        lot=np.full(size, "", dtype=object) if plain else texts["flour_lot" if pastes else "yeast_lot"][places],
        day=rows.day[places],
        flour=None if pastes or plain else texts["flour_lot"][places],
    )
