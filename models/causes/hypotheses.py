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
    """One thing that may have happened, unrecorded: its column over the rows, prior sd of its size, its chance.

    kind: what it is; name: which one; says: how a call names it, empty where none does. `inside` is False for a
    nuisance that is no part of this call (another line's own episode). lots: the yeast lots that it is about.
    stands_for: equipment besides that works on the very same doughs and cannot be told apart from it by them.
    """

    kind: str
    name: str
    group: Group
    says: str
    column: np.ndarray
    sd: float
    chance: float
    inside: bool = True
    lots: tuple[str, ...] = ()
    stands_for: tuple[str, ...] = ()


@dataclass(frozen=True)
class Weighed:
    """Posterior over sets of candidates.

    weight: probability of each set; mean (sets, terms) and cov (sets, terms, terms): the functionals asked for, under
    each set. members: (sets, candidates), whether the candidate is in the set.
    """

    candidates: tuple[Candidate, ...]
    weight: np.ndarray
    mean: np.ndarray
    cov: np.ndarray
    members: np.ndarray

    @property
    def present(self) -> tuple[tuple[float, Candidate], ...]:
        """Each thing inside the call that may have happened, and how likely it is: what may have reached more lines or fewer,
        such as handling at a mixer or on one of its lines, is one thing."""
        alike: dict[tuple[str, str, Group], list[int]] = {}
        for i, c in enumerate(self.candidates):
            if c.inside:
                alike.setdefault((c.kind, c.name, c.group), []).append(i)
        return tuple(
            (float(self.weight @ self.members[:, mine].any(axis=1)), self.candidates[mine[0]]) for mine in alike.values()
        )


@dataclass(frozen=True)
class _Marginal:
    """All that the candidates' likelihood and the functionals need, the coefficients integrated out."""

    information: np.ndarray
    score: np.ndarray
    mean: np.ndarray
    cov: np.ndarray
    change: np.ndarray


def _marginal(found: Fit, candidates: tuple[Candidate, ...], ask: np.ndarray, ask_candidates: np.ndarray) -> _Marginal:
    d = found.design.d
    c = np.column_stack([x.column for x in candidates])
    weighted = c * found.weights[:, None]
    across = d.T @ weighted
    cross = found.cov @ across
    return _Marginal(
        c.T @ weighted - across.T @ cross,
        weighted.T @ (found.design.y - d @ found.mean),
        ask @ found.mean,
        ask @ found.cov @ ask.T,
        ask_candidates - ask @ cross,
    )


def _of_size(k: int, prior: np.ndarray, m: _Marginal) -> tuple[np.ndarray, ...]:
    """All sets of k candidates: members (m, k), log likelihood ratio, sizes' mean and covariance."""
    pick = np.array(list(combinations(range(len(prior)), k)), dtype=int).reshape(-1, k)
    inner = m.information[pick[:, :, None], pick[:, None, :]].copy()
    inner[:, range(k), range(k)] += 1 / prior[pick]
    small = np.linalg.inv(inner)
    at = np.einsum("mij,mj->mi", small, m.score[pick])
    log = 0.5 * ((m.score[pick] * at).sum(axis=1) + np.linalg.slogdet(small)[1] - np.log(prior[pick]).sum(axis=1))
    return pick, log, at, small


def weigh(
    found: Fit, candidates: tuple[Candidate, ...], ask: np.ndarray, ask_candidates: np.ndarray, extra: np.ndarray
) -> Weighed:
    """Weigh every set of up to three candidates and give the functionals under each.

    ask: (terms, p) weights on the model's coefficients; ask_candidates: (terms, q) weights on the candidates' sizes;
    extra: (q) log likelihood ratio that other evidence (spread, gas kept, a recorded change, a check) gives each
    candidate's being there against its not being there.
    """
    m = _marginal(found, candidates, ask, ask_candidates)
    chance, prior = np.array([x.chance for x in candidates]), np.array([x.sd**2 for x in candidates])
    gain = np.log(chance) - np.log1p(-chance) + extra
    logs, means, covs = [np.zeros(1)], [m.mean[None]], [m.cov[None]]
    members = [np.zeros((1, len(candidates)))]
    for k in range(1, min(LARGEST_SET, len(candidates)) + 1):
        pick, log, at, small = _of_size(k, prior, m)
        log = log + gain[pick].sum(axis=1)
        best = np.argsort(-log, kind="stable")[:KEPT_SETS]
        pick, at, small = pick[best], at[best], small[best]
        moved = m.change[:, pick].transpose(1, 0, 2)
        logs.append(log[best])
        means.append(m.mean + np.einsum("mtk,mk->mt", moved, at))
        covs.append(m.cov + moved @ small @ moved.transpose(0, 2, 1))
        member = np.zeros((len(pick), len(candidates)))
        member[np.arange(len(pick))[:, None], pick] = 1.0
        members.append(member)
    log = np.concatenate(logs)
    weight = np.exp(log - log.max())
    weight /= weight.sum()
    return Weighed(candidates, weight, np.concatenate(means), np.concatenate(covs), np.concatenate(members))


def bounds(weight: np.ndarray, mean: np.ndarray, sd: np.ndarray, tail: float = 0.05) -> tuple[float, float]:
    """Both quantiles (tail, 1 - tail) of a mixture of normal distributions, by bisection."""
    keep = weight > 1e-4
    weight, mean, sd = weight[keep] / weight[keep].sum(), mean[keep], np.maximum(sd[keep], 1e-9)

    def quantile(p: float) -> float:
        low, high = float((mean - 5 * sd).min()), float((mean + 5 * sd).max())
        for _ in range(50):
            middle = (low + high) / 2
            below = float((weight * normal((middle - mean) / sd)).sum())
            low, high = (middle, high) if below < p else (low, middle)
        return (low + high) / 2

    return quantile(tail), quantile(1 - tail)


def normal(z: np.ndarray) -> np.ndarray:
    """Normal distribution function, to 1e-7 (Abramowitz and Stegun 26.2.17, from memory)."""
    t = 1 / (1 + 0.2316419 * np.abs(z))
    series = t * (0.319381530 + t * (-0.356563782 + t * (1.781477937 + t * (-1.821255978 + t * 1.330274429))))
    upper = np.exp(-(z**2) / 2) / np.sqrt(2 * np.pi) * series
    return np.where(z > 0, 1 - upper, upper)
