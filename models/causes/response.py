"""The response model: ln specific volume as drivers, yeast lots, flour lots, days and lines. Gaussian, conjugate.

Beside the volumes stand other answers to the same gas: laboratory tests, proof height, and, where a line
proofs to a height, proof time. Each is a row with its own noise; a yeast lot's gas is one unknown in all.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from models.causes import effects
from models.causes.drivers import Terms
from models.causes.effects import EFFECTS
from models.causes.field import Field

SHARED = {"paste_temp": "dough_temp"}
SILENT_SHARE, SILENT_SHARE_SD, SILENT_NOW_SD = 0.5, 0.4, 0.4
KINDS: tuple[str, ...] = ("volume", "lot test", "dough test", "height", "time")
NOISE = {"volume": (0.018, 10.0), "lot test": (0.035, 6.0), "dough test": (0.05, 6.0), "height": (0.03, 10.0),
         "time": (0.035, 10.0)}
LEARNED = {"lots": 6.0, "flour": 6.0, "days": 6.0, "stints": 6.0, "height stints": 6.0}
TAIL_DF = 6.0


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

    kind: index into KINDS; the first rows are the field's volumes, in its order. source: the row's batch in
    the field, -1 for a test of a lot alone. lot: the row's yeast lot. gain: how the row answers to gas made.
    count: readings behind the row. coefficient: column of each effect's slope.
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

    def column(self, volume: np.ndarray, gas: np.ndarray | None = None, lot: str | None = None) -> np.ndarray:
        """A step over all rows: `volume` on the volumes; `gas` (ln gas, by batch) answered by the other rows."""
        out = np.zeros(len(self.y))
        out[:len(volume)] = volume
        if gas is not None:
            rest = np.arange(len(volume), len(self.y))
            source = self.source[rest]
            out[rest] = self.gain[rest] * np.where(source >= 0, gas[source], self.lot[rest] == lot)
        return out


@dataclass(frozen=True)
class Fit:
    """Posterior of the coefficients: mean (p), covariance (p by p); weights: 1/variance of each row."""

    mean: np.ndarray
    cov: np.ndarray
    weights: np.ndarray
    design: Design
    sds: dict[str, float]
    elasticity: float


def slope_prior() -> tuple[np.ndarray, np.ndarray, np.ndarray, tuple[int, ...]]:
    """Prior mean and covariance of the slopes, their covariance with the elasticity, each effect's coefficient.

    Gas slopes share the unknown elasticity, so that each teaches the others. The last three slopes: water whose
    putting back was not recorded, how this episode's habit of putting back differs, a yeast lot's age in days.
    """
    own = [e for e in EFFECTS if e.name not in SHARED]
    place = {e.name: i for i, e in enumerate(own)}
    water = own[0].slope
    mean = np.array([e.slope for e in own] + [SILENT_SHARE * water, 0.0, -effects.LOT_LOSS_PER_DAY])
    sd = np.array([e.slope_sd for e in own] + [SILENT_SHARE_SD * water, SILENT_NOW_SD * water, effects.LOT_LOSS_SD])
    gas = np.array([e.slope / effects.ELASTICITY if e.of_gas else 0.0 for e in own] + [0.0, 0.0, 0.0])
    cov = np.diag(sd**2) + effects.ELASTICITY_SD**2 * np.outer(gas, gas)
    return mean, cov, effects.ELASTICITY_SD**2 * gas, tuple(place[SHARED.get(e.name, e.name)] for e in EFFECTS)


def _dummies(values: np.ndarray, labels: tuple[str, ...] | None = None) -> tuple[np.ndarray, tuple[str, ...]]:
    labels = labels or tuple(sorted({str(v) for v in values if str(v)}))
    place = {label: i for i, label in enumerate(labels)}
    out = np.zeros((len(values), len(labels)))
    for row, value in enumerate(values):
        if str(value) in place:
            out[row, place[str(value)]] = 1.0
    return out, labels


def lots_of(field: Field) -> np.ndarray:
    """Yeast lot of each batch; where none was recorded, two plant days stand in for one."""
    day = (field.day - field.day.min()).astype(int) // 2 if len(field) else field.day
    return np.array([lot or f"unrecorded {d}" for lot, d in zip(field.text["yeast_lot"], day, strict=True)], dtype=object)


def lot_age(field: Field, lots: np.ndarray) -> np.ndarray:
    """Days since each batch's yeast lot was first used in the plant; 0 where lots were not recorded."""
    age = np.zeros(len(field))
    for lot in set(lots):
        rows = lots == lot
        if not lot.startswith("unrecorded"):
            age[rows] = (field.hours[rows] - field.hours[rows].min()) / 24
    return age


def _slopes(found: Terms, field: Field, coefficient: tuple[int, ...], size: int, age: np.ndarray, gain: np.ndarray) -> np.ndarray:
    x = np.zeros((len(found.x), size))
    for k, effect in enumerate(EFFECTS):
        if effect.name == "water":
            x[:, coefficient[k]] += np.where(found.silent, 0.0, found.x[:, k])
            x[:, -3] += np.where(found.silent, found.x[:, k], 0.0)
            x[:, -2] += np.where(found.silent & field.episode, found.x[:, k], 0.0)
        elif effect.name == "water_curve":
            x[:, coefficient[k]] += np.where(found.silent, SILENT_SHARE, 1.0) * found.x[:, k]
        else:
            x[:, coefficient[k]] += found.x[:, k]
    x[:, -1] = gain * age
    return x


def elasticity(to_height: np.ndarray, value: float = effects.ELASTICITY) -> np.ndarray:
    """Volume answer of each batch to gas made, per unit of ln gas."""
    return np.where(to_height, effects.ELASTICITY_AT_HEIGHT / effects.ELASTICITY, 1.0) * value


def gas_index(found: Terms, to_time: bool) -> np.ndarray:
    """Gas made by what was recorded (dose, temperature, proof), ln, by the trade's slopes."""
    out = np.zeros(len(found.gas))
    for k, effect in enumerate(EFFECTS):
        if effect.of_gas and effect.name != "paste_temp" and (to_time or effect.name != "proof_time"):
            out += np.where(np.isfinite(found.gas[:, k]), found.gas[:, k], 0.0) * effect.slope / effects.ELASTICITY
    return out


class _Rows:
    """Rows of one design, added kind by kind; blocks get their columns in the order they are first named."""

    def __init__(self) -> None:
        self.sds: dict[str, tuple[int, float, tuple[str, ...]]] = {}
        self.parts: list[tuple[int, dict[str, np.ndarray]]] = []
        self.y: list[np.ndarray] = []
        self.marks: list[tuple[np.ndarray, ...]] = []

    def block(self, name: str, size: int, sd: float, labels: tuple[str, ...] = ()) -> None:
        self.sds[name] = (size, sd, labels)

    def add(self, kind: str, y: np.ndarray, parts: dict[str, np.ndarray], source: np.ndarray, lot: np.ndarray,
            gain: np.ndarray, count: np.ndarray) -> None:
        self.y.append(y)
        self.parts.append((len(y), parts))
        self.marks.append((np.full(len(y), KINDS.index(kind)), source, lot, gain, count))

    def blocks(self) -> dict[str, Block]:
        out, start = {}, 0
        for name, (size, sd, labels) in self.sds.items():
            out[name] = Block(name, slice(start, start + size), sd, labels)
            start += size
        return out

    def matrix(self, blocks: dict[str, Block]) -> np.ndarray:
        d = np.zeros((sum(n for n, _ in self.parts), max(b.columns.stop for b in blocks.values())))
        start = 0
        for n, parts in self.parts:
            for name, part in parts.items():
                d[start:start + n, blocks[name].columns] = part
            start += n
        return d


def _volumes(rows: _Rows, field: Field, found: Terms, to_height: np.ndarray, coefficient, size: int, lots: np.ndarray,
             lot_names: tuple[str, ...]) -> None:
    n = len(field)
    gain = elasticity(to_height)
    flour, flour_names = _dummies(field.text["flour_lot"])
    days, day_names = _dummies(field.day.astype(str))
    stints, stint_names = _dummies(np.array([f"{s}|{d}" for s, d in zip(field.stream, field.day, strict=True)], dtype=object))
    rows.block("flour", len(flour_names), 0.012, flour_names)
    rows.block("days", len(day_names), 0.008, day_names)
    rows.block("stints", len(stint_names), 0.006, stint_names)
    rows.add("volume", field.y,
             {"slopes": _slopes(found, field, coefficient, size, lot_age(field, lots), gain),
              "streams": np.eye(len(field.streams))[field.stream], "lots": _dummies(lots, lot_names)[0] * gain[:, None],
              "flour": flour, "days": days, "stints": stints}, np.arange(n), lots, gain, np.ones(n))


def _lot_tests(rows: _Rows, field: Field, lots: np.ndarray, lot_names: tuple[str, ...]) -> None:
    known = np.isfinite(field.num["lot_gas_ml"]) & (field.num["lot_gas_ml"] > 0)
    last = {lots[i]: i for i in np.flatnonzero(known)}
    if not last:
        return
    at = np.array(list(last.values()))
    rows.block("lot test level", 1, 10.0)
    rows.add("lot test", np.log(field.num["lot_gas_ml"][at]),
             {"lot test level": np.ones((len(at), 1)), "lots": _dummies(lots[at], lot_names)[0]}, np.full(len(at), -1), lots[at],
             np.ones(len(at)), np.fmax(field.num["lot_gas_tests"][at], 1.0))


def _dough_tests(rows: _Rows, field: Field, lots: np.ndarray, lot_names: tuple[str, ...]) -> None:
    at = np.flatnonzero(field.num["gas_produced_ml"] > 0)
    if not len(at):
        return
    rows.block("dough test levels", len(field.streams), 10.0)
    dose = np.log(field.num["yeast_pct"][at] / field.usual["yeast_pct"][at])
    y = np.log(field.num["gas_produced_ml"][at]) - effects.GAS_OF_DOSE * np.where(np.isfinite(dose), dose, 0.0)
    rows.add("dough test", y, {"dough test levels": np.eye(len(field.streams))[field.stream[at]],
                               "lots": _dummies(lots[at], lot_names)[0]}, at, lots[at], np.ones(len(at)),
             np.fmax(field.num["gas_tests"][at], 1.0))


def _proof_answers(rows: _Rows, kind: str, at: np.ndarray, values: np.ndarray, index: np.ndarray, gain: float,
                   field: Field, lots: np.ndarray, lot_names: tuple[str, ...]) -> None:
    """Heights, or times on lines that proof to a height: level by line, recorded gas, lots, and their own drift."""
    if len(at) < 8:
        return
    rows.block(f"{kind} levels", len(field.streams), 10.0)
    rows.block(f"{kind} of gas", 1, effects.HEIGHT_OF_GAS_SD if kind == "height" else effects.TIME_OF_GAS_SD)
    stints, names = _dummies(np.array([f"{field.stream[i]}|{field.day[i]}" for i in at], dtype=object))
    rows.block(f"{kind} stints", len(names), 0.012, names)
    rows.add(kind, np.log(values[at]) - gain * index[at],
             {f"{kind} levels": np.eye(len(field.streams))[field.stream[at]], f"{kind} of gas": index[at][:, None],
              f"{kind} stints": stints, "lots": gain * _dummies(lots[at], lot_names)[0]}, at, lots[at],
             np.full(len(at), gain), np.ones(len(at)))


def design(field: Field, found: Terms, to_height: np.ndarray) -> Design:
    """All rows of the response model for the measured batches of a plant."""
    mean, cov, _, coefficient = slope_prior()
    lots = lots_of(field)
    lot_names = tuple(sorted(set(lots)))
    rows = _Rows()
    rows.block("slopes", len(mean), 0.0)
    rows.block("streams", len(field.streams), 0.25)
    rows.block("lots", len(lot_names), effects.LOT_SD, lot_names)
    _volumes(rows, field, found, to_height, coefficient, len(mean), lots, lot_names)
    _lot_tests(rows, field, lots, lot_names)
    _dough_tests(rows, field, lots, lot_names)
    height, minutes = field.num["proof_height_mm"], field.num["proof_minutes"]
    _proof_answers(rows, "height", np.flatnonzero((height > 0) & ~to_height), height, gas_index(found, True),
                   effects.HEIGHT_OF_GAS, field, lots, lot_names)
    _proof_answers(rows, "time", np.flatnonzero((minutes > 0) & to_height), minutes, gas_index(found, False),
                   effects.TIME_OF_GAS, field, lots, lot_names)
    return _assemble(rows, field, mean, cov, coefficient)


def _assemble(rows: _Rows, field: Field, mean: np.ndarray, cov: np.ndarray, coefficient: tuple[int, ...]) -> Design:
    blocks = rows.blocks()
    d = rows.matrix(blocks)
    y = np.concatenate(rows.y)
    prior, precision = np.zeros(d.shape[1]), np.zeros((d.shape[1], d.shape[1]))
    for block in blocks.values():
        if block.name != "slopes":
            np.fill_diagonal(precision[block.columns, block.columns], 1 / block.sd**2)
    first = blocks["slopes"].columns
    prior[first], precision[first, first] = mean, np.linalg.inv(cov)
    for s in range(len(field.streams)):
        mine = field.stream == s
        prior[blocks["streams"].columns.start + s] = np.median(field.y[mine]) if mine.any() else np.median(field.y)
    kind, source, lot, gain, count = (np.concatenate(x) for x in zip(*rows.marks, strict=True))
    for name, of in (("lot test level", "lot test"), ("dough test levels", "dough test"), ("height levels", "height"),
                     ("time levels", "time")):
        if name in blocks:
            prior[blocks[name].columns] = np.median(y[kind == KINDS.index(of)])
    return Design(y, d, kind, source, lot, gain, count, prior, precision, blocks, coefficient)


def _variances(model: Design, residual: np.ndarray, leverage: np.ndarray, robust: np.ndarray) -> dict[str, float]:
    """Noise variance of each kind of row, held near the trade's by a few readings' worth of belief."""
    out = {}
    for k, name in enumerate(KINDS):
        rows = model.kind == k
        sd, belief = NOISE[name]
        spread = float((model.count * robust * (residual**2 + leverage))[rows].sum())
        out[name] = (spread + belief * sd**2) / (rows.sum() + belief)
    return out


def _lot_gain(beta: np.ndarray) -> float:
    """What the slopes of dose, temperature and proof have taught about the elasticity."""
    mean, cov, with_gas, _ = slope_prior()
    found = effects.ELASTICITY + with_gas @ np.linalg.solve(cov, beta[:len(mean)] - mean)
    return float(np.clip(found, 0.15, 0.8))


def _rescaled(model: Design, value: float, now: float) -> Design:
    """The same design with the volumes answering their yeast lots by another elasticity."""
    d, gain = model.d.copy(), model.gain.copy()
    volumes = model.kind == 0
    d[np.ix_(volumes, np.arange(d.shape[1])[model.blocks["lots"].columns])] *= value / now
    d[volumes, model.blocks["slopes"].columns.stop - 1] *= value / now
    gain[volumes] *= value / now
    return replace(model, d=d, gain=gain)


def fit(model: Design, nuisance: np.ndarray, rounds: int = 6) -> Fit:
    """Learn variances with `nuisance` steps (rows by q, own wide prior) absorbing known episodes; then without.

    Empirical Bayes by expectation and maximisation; tails by Student weights with six degrees of freedom.
    """
    q, p = nuisance.shape[1], len(model.mean)
    mean = np.concatenate([model.mean, np.zeros(q)])
    precision = np.zeros((p + q, p + q))
    precision[:p, :p] = model.precision
    precision[range(p, p + q), range(p, p + q)] = 1 / 0.06**2
    robust, sds, gain = np.ones(len(model.y)), {}, effects.ELASTICITY
    noise = {name: sd**2 for name, (sd, _) in NOISE.items()}
    for turn in range(rounds):
        d = np.hstack([model.d, nuisance])
        variance = np.array([noise[k] for k in KINDS])[model.kind] / model.count
        cov, beta = _solve(d, model.y, robust / variance, mean, precision)
        residual = model.y - d @ beta
        leverage = ((d @ cov) * d).sum(axis=1)
        noise = _variances(model, residual, leverage, robust)
        robust = (TAIL_DF + 1) / (TAIL_DF + residual**2 / variance)
        for name, belief in LEARNED.items():
            if name in model.blocks:
                sds[name] = _spread(model.blocks[name], beta, cov, belief, precision)
        if turn in (2, rounds - 1):
            model, gain = _rescaled(model, _lot_gain(beta), gain), _lot_gain(beta)
    variance = np.array([noise[k] for k in KINDS])[model.kind] / model.count
    weights = robust / variance
    cov, beta = _solve(model.d, model.y, weights, model.mean, precision[:p, :p])
    sds.update({name: float(np.sqrt(v)) for name, v in noise.items()})
    return Fit(beta, cov, weights, model, sds, gain)


def _spread(block: Block, beta: np.ndarray, cov: np.ndarray, belief: float, precision: np.ndarray) -> float:
    """One round's spread of a kind of effect; its prior precision is revised in place."""
    b = beta[block.columns]
    moments = float((b**2 + np.diag(cov)[block.columns]).sum())
    sd2 = (moments + belief * block.sd**2) / (len(b) + belief)
    columns = range(block.columns.start, block.columns.stop)
    precision[columns, columns] = 1 / sd2
    return float(np.sqrt(sd2))


def _solve(d: np.ndarray, y: np.ndarray, weights: np.ndarray, mean: np.ndarray,
           precision: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    weighted = d * weights[:, None]
    cov = np.linalg.inv(precision + d.T @ weighted)
    cov = (cov + cov.T) / 2
    return cov, cov @ (precision @ mean + weighted.T @ y)
