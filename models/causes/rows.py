"""The rows of the response model: volumes, laboratory tests, proof heights and proof times, one design.

A yeast lot's gas is one unknown in all of them; each kind of row has its own noise.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from models.causes import effects
from models.causes.drivers import Terms, gas_index, ratio
from models.causes.effects import BY_NAME, EFFECTS, PLACE
from models.causes.field import Field
from models.causes.lots import flours_of, lot_age, lots_of
from models.causes.moved import SLOPE_NOW, everyday, now_columns
from models.causes.stiffness import UNTOLD, LeftDry

SHARED = {"paste_temp": "dough_temp"}
SILENT_NOW_SD = 0.4
KINDS: tuple[str, ...] = ("volume", "lot test", "dough test", "height", "time")
FREE_SD = 10.0
SPREADS = {
    "streams": 0.25,
    "lots": effects.LOT_SD,
    "flour": 0.012,
    "days": 0.008,
    "stints": 0.006,
    "height stints": 0.012,
    "time stints": 0.012,
    "height apart": 0.04,
    "time apart": 0.04,
}
"""How much kinds of effects differ, ln, before the site's own batches are seen."""
UNRECORDED_FLOUR_SD = 0.008
"""The same for some days of flour nobody wrote down: the days are not the lots, and even them out."""
FEWEST_ANSWERS = 8
LOT_ANSWERS = 0.25
"""How far volume's answer to a yeast lot's gas may be from what dose, warmth and proof taught of it, as a share: lines and doughs
differ, and gas known to a hundredth is no volume known to a hundredth. Common practice, no source."""


@dataclass(frozen=True)
class Block:
    """Columns of one kind in the design; `sd` is the prior spread that batches may revise."""

    name: str
    columns: slice
    sd: float
    labels: tuple[str, ...] = ()


@dataclass(frozen=True)
class Design:
    """Rows (observations) by coefficients, prior mean and prior precision.

    kind: index into KINDS; the first rows are the field's volumes, in its order. source: the row's batch in the
    field, -1 for a test of a lot alone. lot: the row's yeast lot. gain: how the row answers to gas made. count:
    readings behind the row. coefficient: column of each effect's slope. since: volumes of all lines since the episode began.
    """

    y: np.ndarray
    d: np.ndarray
    kind: np.ndarray
    source: np.ndarray
    lot: np.ndarray
    gain: np.ndarray
    count: np.ndarray
    mean: np.ndarray
    precision: np.ndarray
    blocks: dict[str, Block]
    coefficient: tuple[int, ...]
    since: np.ndarray

    @property
    def now(self) -> dict[str, int]:
        """Column of each unusual driver's effect in the episode beyond its everyday slope."""
        block = self.blocks["now"]
        return {name: block.columns.start + i for i, name in enumerate(block.labels)}

    @property
    def slopes(self) -> int:
        """How many slopes there are; they are the first columns."""
        return self.blocks["slopes"].columns.stop

    def column(self, volume: np.ndarray, gas: np.ndarray | None = None, lot: str | None = None) -> np.ndarray:
        """A step over all rows: `volume` on the volumes; `gas` (ln gas, by batch) answered by the other rows."""
        out = np.zeros(len(self.y))
        out[: len(volume)] = volume
        if gas is not None:
            rest = np.arange(len(volume), len(self.y))
            source = self.source[rest]
            out[rest] = self.gain[rest] * np.where(source >= 0, gas[source], self.lot[rest] == lot)
        return out


def slope_prior() -> tuple[np.ndarray, np.ndarray, np.ndarray, tuple[int, ...]]:
    """Prior mean and covariance of the slopes, their covariance with the elasticity, each effect's coefficient.

    Gas slopes share the unknown elasticity, so that each teaches the others. The last three slopes: water whose
    putting back was not recorded, how this episode's habit of putting back differs, a yeast lot's age in days.
    """
    own = [e for e in EFFECTS if e.name not in SHARED]
    place = {e.name: i for i, e in enumerate(own)}
    water = own[0].slope
    mean = np.array([*(e.slope for e in own), UNTOLD.share * water, 0.0, -effects.LOT_LOSS_PER_DAY])
    sd = np.array([*(e.slope_sd for e in own), UNTOLD.sd * water, SILENT_NOW_SD * water, effects.LOT_LOSS_SD])
    gas = np.array([*(e.slope / effects.ELASTICITY if e.of_gas else 0.0 for e in own), 0.0, 0.0, 0.0])
    cov = np.diag(sd**2) + effects.ELASTICITY_SD**2 * np.outer(gas, gas)
    return mean, cov, effects.ELASTICITY_SD**2 * gas, tuple(place[SHARED.get(e.name, e.name)] for e in EFFECTS)


def elasticity(to_height: np.ndarray) -> np.ndarray:
    """Volume answer of each batch to gas made, per unit of ln gas, before the site has taught it."""
    return np.where(to_height, effects.ELASTICITY_AT_HEIGHT, effects.ELASTICITY)


def _dummies(values: np.ndarray, labels: tuple[str, ...] | None = None) -> tuple[np.ndarray, tuple[str, ...]]:
    labels = labels or tuple(sorted({str(v) for v in values if str(v)}))
    place = {label: i for i, label in enumerate(labels)}
    out = np.zeros((len(values), len(labels)))
    for row, value in enumerate(values):
        if str(value) in place:
            out[row, place[str(value)]] = 1.0
    return out, labels


def _stints(field: Field, at: np.ndarray) -> np.ndarray:
    return np.array([f"{field.stream[i]}|{field.day[i]}" for i in at], dtype=object)


def slope_columns(
    field: Field, found: Terms, coefficient: tuple[int, ...], size: int, age: np.ndarray, gain: np.ndarray
) -> np.ndarray:
    """Each batch's terms in the columns of their slopes."""
    x = np.zeros((len(found.x), size))
    for k, effect in enumerate(EFFECTS):
        if effect.name == "water":
            silent = np.where(found.silent, found.x[:, k], 0.0)
            x[:, coefficient[k]] += found.x[:, k] - silent
            x[:, -3] += silent
            x[:, -2] += np.where(field.episode, silent, 0.0)
        elif effect.name == "water_curve":
            x[:, coefficient[k]] += found.dry * found.x[:, k]
        else:
            x[:, coefficient[k]] += found.x[:, k]
    x[:, -1] = gain * age
    return x


class _Builder:
    """One design, put together kind by kind of row; blocks get their columns in the order they are named."""

    def __init__(self, field: Field) -> None:
        self.field = field
        self.lots = lots_of(field)
        self.lot_names = tuple(sorted(set(self.lots)))
        self.sizes: dict[str, tuple[int, float, tuple[str, ...]]] = {}
        self.parts: list[dict[str, np.ndarray]] = []
        self.y: list[np.ndarray] = []
        self.marks: list[tuple[np.ndarray, ...]] = []
        self.levels: dict[str, float] = {}

    def block(self, name: str, labels: tuple[str, ...] | int, sd: float | None = None) -> None:
        names = labels if isinstance(labels, tuple) else ()
        size = labels if isinstance(labels, int) else len(labels)
        self.sizes[name] = (size, SPREADS[name] if sd is None else sd, names)

    def add(
        self,
        kind: str,
        y: np.ndarray,
        parts: dict[str, np.ndarray],
        source: np.ndarray,
        lot: np.ndarray,
        gain: np.ndarray,
        count: np.ndarray,
    ) -> None:
        self.y.append(y)
        self.parts.append(parts)
        self.marks.append((np.full(len(y), KINDS.index(kind)), source, lot, gain, count))

    def of_lots(self, at: np.ndarray) -> np.ndarray:
        return _dummies(self.lots[at], self.lot_names)[0]

    def of_streams(self, at: np.ndarray) -> np.ndarray:
        return np.eye(len(self.field.streams))[self.field.stream[at]]

    def level(self, name: str, size: int, value: float) -> None:
        """A block of free levels, expected near `value`."""
        self.block(name, size, FREE_SD)
        self.levels[name] = value

    def blocks(self) -> dict[str, Block]:
        out, start = {}, 0
        for name, (size, sd, labels) in self.sizes.items():
            out[name] = Block(name, slice(start, start + size), sd, labels)
            start += size
        return out


def _volumes(b: _Builder, found: Terms, coefficient: tuple[int, ...], size: int, unusual: tuple[str, ...]) -> None:
    field, every = b.field, np.arange(len(b.field))
    gain = elasticity(found.to_height)
    flour, flour_names = _dummies(flours_of(field))
    days, day_names = _dummies(field.day.astype(str))
    stints, stint_names = _dummies(_stints(field, every))
    b.block("flour", flour_names, SPREADS["flour"] if (field.text["flour_lot"] != "").any() else UNRECORDED_FLOUR_SD)
    b.block("days", day_names)
    b.block("stints", stint_names)
    slopes = slope_columns(field, found, coefficient, size, lot_age(field, b.lots), gain)
    b.block("now", unusual, SLOPE_NOW)
    b.block("lots answer", 1, LOT_ANSWERS)
    b.add(
        "volume",
        field.y,
        {
            "slopes": slopes,
            "now": now_columns(field, found, unusual),
            "lots answer": np.zeros((len(field), 1)),  # filled in as the lots' gas is learned
            "streams": b.of_streams(every),
            "lots": b.of_lots(every) * gain[:, None],
            "flour": flour,
            "days": days,
            "stints": stints,
        },
        every,
        b.lots,
        gain,
        np.ones(len(field)),
    )


def _lot_tests(b: _Builder) -> None:
    """Tests of a yeast lot alone: one row a lot, the mean of its tests so far."""
    gas = b.field.num["lot_gas_ml"]
    last = {b.lots[i]: i for i in np.flatnonzero(gas > 0)}
    if not last:
        return
    at = np.array(list(last.values()))
    y = np.log(gas[at])
    b.level("lot test level", 1, float(np.median(y)))
    b.add(
        "lot test",
        y,
        {"lot test level": np.ones((len(at), 1)), "lots": b.of_lots(at)},
        np.full(len(at), -1),
        b.lots[at],
        np.ones(len(at)),
        np.fmax(b.field.num["lot_gas_tests"][at], 1.0),
    )


def _dough_tests(b: _Builder) -> None:
    """Tests of a dough: its yeast dose is taken off, its recipe is a level of its own."""
    at = np.flatnonzero(b.field.num["gas_produced_ml"] > 0)
    if not len(at):
        return
    dose = np.nan_to_num(ratio(b.field, "yeast_pct")[at])
    y = np.log(b.field.num["gas_produced_ml"][at]) - effects.GAS_OF_DOSE * dose
    b.level("dough test levels", len(b.field.streams), float(np.median(y)))
    b.add(
        "dough test",
        y,
        {"dough test levels": b.of_streams(at), "lots": b.of_lots(at)},
        at,
        b.lots[at],
        np.ones(len(at)),
        np.fmax(b.field.num["gas_tests"][at], 1.0),
    )


def _proof_answers(
    b: _Builder, kind: str, values: np.ndarray, at: np.ndarray, index: np.ndarray, apart: bool
) -> None:
    """Heights, or times on lines that proof to a height: level by line, recorded gas, lots, and their own drift.

    apart: the episode's may have moved for what is no gas made, on all lines since and on its own.
    """
    if len(at) < FEWEST_ANSWERS:
        return
    gain, sd = (
        (effects.HEIGHT_OF_GAS, effects.HEIGHT_OF_GAS_SD)
        if kind == "height"
        else (effects.TIME_OF_GAS, effects.TIME_OF_GAS_SD)
    )
    y = np.log(values[at]) - gain * index[at]
    b.level(f"{kind} levels", len(b.field.streams), float(np.median(y)))
    b.block(f"{kind} of gas", 1, sd)
    stints, names = _dummies(_stints(b.field, at))
    b.block(f"{kind} stints", names)
    lasts = np.column_stack([b.field.since()[at], b.field.episode[at]]).astype(float)[:, : 2 * apart]
    b.block(f"{kind} apart", lasts.shape[1])
    b.add(
        kind,
        y,
        {
            f"{kind} levels": b.of_streams(at),
            f"{kind} of gas": index[at][:, None],
            f"{kind} stints": stints,
            f"{kind} apart": lasts,
            "lots": gain * b.of_lots(at),
        },
        at,
        b.lots[at],
        np.full(len(at), gain),
        np.ones(len(at)),
    )


def design(field: Field, found: Terms, unusual: tuple[str, ...] = (), apart: bool = False) -> Design:
    """All rows of the response model for the measured batches of a plant.

    unusual: drivers outside their limits. apart: something is seen to be off that takes from the proof's height and is
    no gas made, so that heights tell less of the gas while the episode lasts.
    """
    mean, cov, _, coefficient = slope_prior()
    b = _Builder(field)
    b.block("slopes", len(mean), 1.0)
    b.block("streams", len(field.streams), SPREADS["streams"])
    b.block("lots", b.lot_names)
    _volumes(b, found, coefficient, len(mean), unusual)
    _lot_tests(b)
    _dough_tests(b)
    height, minutes = field.num["proof_height_mm"], field.num["proof_minutes"]
    _proof_answers(b, "height", height, np.flatnonzero((height > 0) & ~found.to_height), gas_index(found.gas, True), apart)
    _proof_answers(b, "time", minutes, np.flatnonzero((minutes > 0) & found.to_height), gas_index(found.gas, False), apart)
    return _assemble(b, mean, cov, coefficient, found.told)


def _told(prior: np.ndarray, precision: np.ndarray, slopes: int, told: LeftDry) -> np.ndarray:
    """Prior mean with what the mixer tells of the episode's silent water; the precision is revised in place.

    Told is the slope of the silent water, the episode's own habit counted, as a share of the slope of water.
    """
    if told is UNTOLD:
        return prior
    row = np.zeros(len(prior))
    row[[PLACE["water"], slopes - 3, slopes - 2]] = -told.share, 1.0, 1.0
    right = precision @ prior
    precision += np.outer(row, row) / (told.sd * BY_NAME["water"].slope) ** 2
    return np.linalg.solve(precision, right)


def _assemble(
    b: _Builder, mean: np.ndarray, cov: np.ndarray, coefficient: tuple[int, ...], told: LeftDry
) -> Design:
    blocks = b.blocks()
    kind, source, lot, gain, count = (np.concatenate(x) for x in zip(*b.marks, strict=True))
    d = np.zeros((len(kind), max(x.columns.stop for x in blocks.values())))
    start = 0
    for y, parts in zip(b.y, b.parts, strict=True):
        for name, part in parts.items():
            d[start : start + len(y), blocks[name].columns] = part
        start += len(y)
    prior, precision = (
        np.zeros(d.shape[1]),
        np.diag(
            np.repeat(
                [1 / x.sd**2 for x in blocks.values()], [x.columns.stop - x.columns.start for x in blocks.values()]
            )
        ),
    )
    now = blocks["now"]
    joint = [*range(len(mean)), *range(now.columns.start, now.columns.stop)]
    prior[: len(mean)] = mean
    precision[np.ix_(joint, joint)] = np.linalg.inv(everyday(cov, now.labels, coefficient))
    for name, value in b.levels.items():
        prior[blocks[name].columns] = value
    for s in range(len(b.field.streams)):
        mine = b.field.stream == s
        prior[blocks["streams"].columns.start + s] = np.median(b.field.y[mine]) if mine.any() else np.median(b.field.y)
    prior = _told(prior, precision, len(mean), told)
    return Design(
        np.concatenate(b.y), d, kind, source, lot, gain, count, prior, precision, blocks, coefficient, b.field.since()
    )
