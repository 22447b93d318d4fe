"""What nobody recorded: the steps that may lie behind a change, weighed against each other."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import combinations

import numpy as np

from models.causes.response import Fit
from models.shapes import Group

LARGEST_SET = 3
KEPT_SETS = 60


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

    weight: probability of each set; mean (sets, terms) and cov (sets, terms, terms): the functionals asked for,
    under each set. present: probability of each candidate; size: its mean size, 0 counted where it is not there.
    """

    candidates: tuple[Candidate, ...]
    weight: np.ndarray
    mean: np.ndarray
    cov: np.ndarray
    present: np.ndarray
    size: np.ndarray


def _log_odds(candidates: tuple[Candidate, ...], extra: dict[int, float]) -> tuple[float, np.ndarray]:
    """Log prior of the empty set, and what each candidate's being there adds to it."""
    chance = np.array([c.chance for c in candidates])
    gain = np.log(chance) - np.log1p(-chance) + np.array([extra.get(i, 0.0) for i in range(len(candidates))])
    return float(np.log1p(-chance).sum()), gain


def _weigh_size(k: int, prior: np.ndarray, s_matrix: np.ndarray, s_vector: np.ndarray) -> tuple[np.ndarray, ...]:
    """All sets of k candidates: members (m, k), log likelihood ratio, size's mean and covariance."""
    pick = np.array(list(combinations(range(len(prior)), k)), dtype=int).reshape(-1, k)
    inner = s_matrix[pick[:, :, None], pick[:, None, :]]
    own = np.zeros_like(inner)
    own[:, range(k), range(k)] = 1 / prior[pick]
    small = np.linalg.inv(own + inner)
    at = np.einsum("mij,mj->mi", small, s_vector[pick])
    log = 0.5 * (s_vector[pick] * at).sum(axis=1) + 0.5 * np.linalg.slogdet(small)[1] - 0.5 * np.log(prior[pick]).sum(axis=1)
    return pick, log, at, small


def weigh(found: Fit, candidates: tuple[Candidate, ...], ask: np.ndarray, ask_candidates: np.ndarray,
          extra: dict[int, float]) -> Weighed:
    """Weigh every set of up to three candidates and give the functionals under each.

    ask: (terms, p) weights on the model's coefficients; ask_candidates: (terms, q) weights on the candidates'
    sizes; extra: log likelihood ratio that other evidence (spread, gas kept, a recorded change) gives a
    candidate being there against its not being there.
    """
    d, count = found.design.d, len(candidates)
    c = np.column_stack([x.column for x in candidates])
    weighted = c * found.weights[:, None]
    cross = found.cov @ (d.T @ weighted)
    s_matrix = c.T @ weighted - (d.T @ weighted).T @ cross
    s_vector = weighted.T @ (found.design.y - d @ found.mean)
    base_mean, base_cov = ask @ found.mean, ask @ found.cov @ ask.T
    change = ask_candidates - ask @ cross
    none, gain = _log_odds(candidates, extra)
    prior = np.array([x.sd**2 for x in candidates])
    logs, means, covs, members, sizes = [np.array([none])], [base_mean[None]], [base_cov[None]], [np.zeros((1, count))], [
        np.zeros((1, count))]
    for k in range(1, min(LARGEST_SET, count) + 1):
        pick, log, at, small = _weigh_size(k, prior, s_matrix, s_vector)
        kept = log + none + gain[pick].sum(axis=1)
        best = np.argsort(-kept, kind="stable")[:KEPT_SETS]
        pick, at, small = pick[best], at[best], small[best]
        moved = change[:, pick].transpose(1, 0, 2)
        logs.append(kept[best])
        means.append(base_mean + np.einsum("mtk,mk->mt", moved, at))
        covs.append(base_cov + moved @ small @ moved.transpose(0, 2, 1))
        rows = np.arange(len(pick))[:, None]
        member, size = np.zeros((len(pick), count)), np.zeros((len(pick), count))
        member[rows, pick], size[rows, pick] = 1.0, at
        members.append(member)
        sizes.append(size)
    log = np.concatenate(logs)
    weight = np.exp(log - log.max())
    weight /= weight.sum()
    return Weighed(candidates, weight, np.concatenate(means), np.concatenate(covs), weight @ np.concatenate(members),
                   weight @ np.concatenate(sizes))


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
