"""The response model learned: Gaussian and conjugate, spreads by empirical Bayes, tails by Student weights."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from models.causes import effects
from models.causes.rows import KINDS, Block, Design, slope_prior

NOISE = {
    "volume": (0.018, 10.0),
    "lot test": (0.035, 6.0),
    "dough test": (0.05, 6.0),
    "height": (0.03, 10.0),
    "time": (0.035, 10.0),
}
"""Noise of each kind of row, ln, and for how many readings that belief counts."""
LEARNED = {"lots": 6.0, "flour": 6.0, "days": 6.0, "stints": 6.0, "height stints": 6.0, "time stints": 6.0}
"""Effects whose spread the site's batches revise, and for how many of them the trade's value counts."""
TAIL_DF = 6.0
NUISANCE_SD = 0.06
ROUNDS = 5
ELASTICITY_RANGE = (0.15, 0.8)


@dataclass(frozen=True)
class Fit:
    """Posterior of the coefficients: mean (p), covariance (p by p); weights: 1/variance of each row.

    sds: learned spread of each kind of effect and row, ln. elasticity: volume for gas, as the site taught it.
    """

    mean: np.ndarray
    cov: np.ndarray
    weights: np.ndarray
    design: Design
    sds: dict[str, float]
    elasticity: float


def _solve(
    d: np.ndarray, y: np.ndarray, weights: np.ndarray, mean: np.ndarray, precision: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    weighted = d * weights[:, None]
    cov = np.linalg.inv(precision + d.T @ weighted)
    cov = (cov + cov.T) / 2
    return cov, cov @ (precision @ mean + weighted.T @ y)


def _noise(model: Design, d: np.ndarray, cov: np.ndarray, residual: np.ndarray, robust: np.ndarray) -> dict[str, float]:
    """Noise variance of each kind of row, held near the trade's by a few readings' worth of belief.

    The coefficients' own doubt is added by the trace of what each kind of row told of them.
    """
    out = {}
    for k, name in enumerate(KINDS):
        rows = model.kind == k
        sd, belief = NOISE[name]
        told, doubt = (model.count * robust)[rows], 0.0
        if rows.any():
            doubt = float((cov * (d[rows].T @ (d[rows] * told[:, None]))).sum())
        out[name] = (float((told * residual[rows] ** 2).sum()) + doubt + belief * sd**2) / (int(rows.sum()) + belief)
    return out


def _spread(block: Block, beta: np.ndarray, cov: np.ndarray, precision: np.ndarray) -> float:
    """One round's spread of a kind of effect; its prior precision is revised in place."""
    b = beta[block.columns]
    moments = float((b**2 + np.diag(cov)[block.columns]).sum())
    belief = LEARNED[block.name]
    variance = (moments + belief * block.sd**2) / (len(b) + belief)
    columns = range(block.columns.start, block.columns.stop)
    precision[columns, columns] = 1 / variance
    return float(np.sqrt(variance))


def _taught(beta: np.ndarray) -> float:
    """What the slopes of dose, temperature and proof have taught about the elasticity."""
    mean, cov, with_gas, _ = slope_prior()
    found = effects.ELASTICITY + with_gas @ np.linalg.solve(cov, beta[: len(mean)] - mean)
    return float(np.clip(found, *ELASTICITY_RANGE))


def _rescaled(model: Design, factor: float) -> Design:
    """The same design with the volumes answering their yeast lots more or less."""
    d, gain = model.d.copy(), model.gain.copy()
    volumes = np.flatnonzero(model.kind == 0)
    lots = model.blocks["lots"].columns
    d[volumes, lots] *= factor
    d[volumes, model.slopes - 1] *= factor
    gain[volumes] *= factor
    return replace(model, d=d, gain=gain)


def _answering(model: Design, weights: np.ndarray, precision: np.ndarray) -> Design:
    """The same design with what the lots' gas would do to the volumes since the episode began, as tests, heights and proof times
    alone tell of it: how much of it the volumes answer is a coefficient of its own. Gas that volumes alone tell of needs none."""
    if not (model.kind > 0).any():
        return model
    _, told = _solve(model.d, model.y, weights * (model.kind > 0), model.mean, precision)
    d, n = model.d.copy(), len(model.since)
    lots = model.blocks["lots"].columns
    gas = d[:n, lots] @ told[lots]
    before = gas[~model.since]
    d[:n, model.blocks["lots answer"].columns.start] = model.since * (gas - (before.mean() if len(before) else 0.0))
    return replace(model, d=d)


def _row_variance(model: Design, noise: dict[str, float]) -> np.ndarray:
    return np.array([noise[k] for k in KINDS])[model.kind] / model.count


def fit(model: Design, nuisance: np.ndarray) -> Fit:
    """Learn the spreads with `nuisance` steps (rows by q, own wide prior) absorbing known episodes; then without."""
    q, p = nuisance.shape[1], len(model.mean)
    mean = np.concatenate([model.mean, np.zeros(q)])
    precision = np.diag(np.full(p + q, 1 / NUISANCE_SD**2))
    precision[:p, :p] = model.precision
    robust, gain = np.ones(len(model.y)), effects.ELASTICITY
    noise, sds = {name: sd**2 for name, (sd, _) in NOISE.items()}, {}
    for turn in range(ROUNDS):
        d = np.hstack([model.d, nuisance])
        variance = _row_variance(model, noise)
        cov, beta = _solve(d, model.y, robust / variance, mean, precision)
        residual = model.y - d @ beta
        noise = _noise(model, d, cov, residual, robust)
        robust = (TAIL_DF + 1) / (TAIL_DF + residual**2 / variance)
        sds = {name: _spread(model.blocks[name], beta, cov, precision) for name in LEARNED if name in model.blocks}
        if turn in (ROUNDS // 2 - 1, ROUNDS - 1):
            taught = _taught(beta)
            model, gain = _rescaled(model, taught / gain), taught
            model = _answering(model, robust / variance, precision[:p, :p])
    weights = robust / _row_variance(model, noise)
    cov, beta = _solve(model.d, model.y, weights, model.mean, precision[:p, :p])
    return Fit(beta, cov, weights, model, sds | {name: float(np.sqrt(v)) for name, v in noise.items()}, gain)
