"""What nobody recorded: the steps that may lie behind a change, weighed against each other."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import combinations

import numpy as np

from models.causes.response import Fit
from models.shapes import Group

LARGEST_SET = 3


@dataclass(frozen=True)
class Candidate:
    """One thing that may have happened, unrecorded: its column over the n rows, prior sd of its size, its odds.

    `inside` is False for a nuisance that is no part of this call (another line's own episode).
    """

    name: str
    group: Group
    says: str
    column: np.ndarray
    sd: float
    chance: float
    inside: bool = True


@dataclass(frozen=True)
class Weighed:
    """Posterior over sets of candidates.

    sets: each a tuple of indices into candidates; weight: their probabilities; mean (sets, terms) and
    cov (sets, terms, terms): the functionals asked for, under each set. present: probability of each candidate.
    """

    candidates: tuple[Candidate, ...]
    sets: tuple[tuple[int, ...], ...]
    weight: np.ndarray
    mean: np.ndarray
    cov: np.ndarray
    present: np.ndarray
    size: np.ndarray


def _sets(count: int) -> list[tuple[int, ...]]:
    return [s for k in range(min(LARGEST_SET, count) + 1) for s in combinations(range(count), k)]


def weigh(found: Fit, candidates: tuple[Candidate, ...], ask: np.ndarray, ask_candidates: np.ndarray,
          extra: dict[int, float]) -> Weighed:
    """Weigh every set of up to three candidates and give the functionals under each.

    ask: (terms, p) weights on the model's coefficients; ask_candidates: (terms, q) weights on the candidates'
    sizes; extra: log likelihood ratio that other evidence (spread, gas kept, a recorded change) gives a
    candidate being there against its not being there.
    """
    d = found.design.d
    c = np.column_stack([x.column for x in candidates]) if candidates else np.empty((len(d), 0))
    weighted = c * found.weights[:, None]
    cross = found.cov @ (d.T @ weighted)
    s_matrix = c.T @ weighted - (d.T @ weighted).T @ cross
    s_vector = weighted.T @ (found.design.y - d @ found.mean)
    base_mean, base_cov = ask @ found.mean, ask @ found.cov @ ask.T
    change = ask_candidates - ask @ cross
    sets, logs, means, covs, sizes = _sets(len(candidates)), [], [], [], []
    for chosen in sets:
        pick = list(chosen)
        log = sum(np.log(x.chance) + extra.get(i, 0.0) if i in chosen else np.log1p(-x.chance)
                  for i, x in enumerate(candidates))
        size = np.zeros(len(candidates))
        if pick:
            prior = np.diag([candidates[i].sd ** 2 for i in pick])
            inner = s_matrix[np.ix_(pick, pick)]
            small = np.linalg.inv(np.linalg.inv(prior) + inner)
            at = small @ s_vector[pick]
            log += 0.5 * s_vector[pick] @ at - 0.5 * np.linalg.slogdet(np.eye(len(pick)) + inner @ prior)[1]
            size[pick] = at
            means.append(base_mean + change[:, pick] @ at)
            covs.append(base_cov + change[:, pick] @ small @ change[:, pick].T)
        else:
            means.append(base_mean)
            covs.append(base_cov)
        logs.append(log)
        sizes.append(size)
    weight = np.exp(np.array(logs) - max(logs))
    weight /= weight.sum()
    member = np.array([[i in s for i in range(len(candidates))] for s in sets], dtype=float).reshape(len(sets), -1)
    return Weighed(candidates, tuple(sets), weight, np.array(means), np.array(covs), weight @ member, weight @ np.array(sizes))


def bounds(weight: np.ndarray, mean: np.ndarray, sd: np.ndarray, tail: float = 0.05) -> tuple[float, float]:
    """Both quantiles (tail, 1 - tail) of a mixture of normal distributions, by bisection."""
    keep = weight > 1e-4
    weight, mean, sd = weight[keep] / weight[keep].sum(), mean[keep], np.maximum(sd[keep], 1e-9)

    def quantile(p: float) -> float:
        low, high = float((mean - 5 * sd).min()), float((mean + 5 * sd).max())
        for _ in range(50):
            middle = (low + high) / 2
            below = float((weight * _normal((middle - mean) / sd)).sum())
            low, high = (middle, high) if below < p else (low, middle)
        return (low + high) / 2

    return quantile(tail), quantile(1 - tail)


def _normal(z: np.ndarray) -> np.ndarray:
    """Normal distribution function, to 1e-7 (Abramowitz and Stegun 26.2.17; from memory)."""
    t = 1 / (1 + 0.2316419 * np.abs(z))
    series = t * (0.319381530 + t * (-0.356563782 + t * (1.781477937 + t * (-1.821255978 + t * 1.330274429))))
    upper = np.exp(-z**2 / 2) / np.sqrt(2 * np.pi) * series
    return np.where(z > 0, 1 - upper, upper)
