"""Average run lengths of classical schemes, exactly: what the chart is measured against.

All for independent normal batches of known level and sd; shifts in sd. Shewhart limits with supplementary runs rules
by the Markov chain of Champ and Woodall (1987); EWMA by Crowder's integral equation (1987), the cases of Lucas and
Saccucci (1990); CUSUM by its integral equation with an atom at zero (Page 1954; Goel and Wu 1971), two-sided and
with a headstart after Lucas and Crosier (1982).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np


@dataclass(frozen=True)
class Rule:
    """`k` of the last `m` batches between `low` and `high` sd on one side."""

    k: int
    m: int
    low: float
    high: float


BEYOND_3 = Rule(1, 1, 3.0, np.inf)
TWO_OF_THREE = Rule(2, 3, 2.0, 3.0)
FOUR_OF_FIVE = Rule(4, 5, 1.0, 3.0)
EIGHT_ALIKE = Rule(8, 8, 0.0, 3.0)
NINE_ALIKE = Rule(9, 9, 0.0, 3.0)

State = tuple[int, ...]


def shewhart(rules: tuple[Rule, ...], shift: float) -> float:
    """Average run length of a Shewhart chart with runs rules, both sides, from a fresh start.

    The state is each rule's last m - 1 marks on each side; what can no longer complete the rule is forgotten.
    """
    edges = sorted({e for rule in rules for e in (rule.low, rule.high, -rule.low, -rule.high)} | {np.inf, -np.inf})
    chances = _normal_between(edges, shift)
    middles = [_middle(a, b) for a, b in zip(edges, edges[1:], strict=False)]
    start: State = (0,) * (2 * len(rules))
    index, queue, rows = {start: 0}, [start], []
    for state in queue:
        row: dict[int, float] = {}
        for middle, chance in zip(middles, chances, strict=True):
            following = _next(state, rules, middle)
            if following is None:
                continue
            if following not in index:
                index[following] = len(queue)
                queue.append(following)
            row[index[following]] = row.get(index[following], 0.0) + chance
        rows.append(row)
    return float(_mean_steps(rows)[0])


def _middle(low: float, high: float) -> float:
    if np.isinf(low):
        return high - 1.0
    return low + 1.0 if np.isinf(high) else 0.5 * (low + high)


def _next(state: State, rules: tuple[Rule, ...], x: float) -> State | None:
    """The marks after a batch at x; None: a rule is met."""
    after = []
    for j, rule in enumerate(rules):
        for side, sign in enumerate((1.0, -1.0)):
            mark = int(rule.low < sign * x < rule.high)
            marks = (state[2 * j + side] << 1 | mark) & ((1 << rule.m) - 1)
            if marks.bit_count() >= rule.k:
                return None
            after.append(_useful(marks & ((1 << (rule.m - 1)) - 1), rule))
    return tuple(after)


def _useful(marks: int, rule: Rule) -> int:
    """Marks without the old ones that leave the window before the rule could be met with them."""
    for bit in reversed(range(rule.m - 1)):
        if marks >> bit & 1 and marks.bit_count() + (rule.m - 1 - bit) < rule.k:
            marks &= ~(1 << bit)
    return marks


def _mean_steps(rows: list[dict[int, float]]) -> np.ndarray:
    from scipy.sparse import csr_array, eye_array
    from scipy.sparse.linalg import spsolve

    at = [(i, j, p) for i, row in enumerate(rows) for j, p in row.items()]
    size = len(rows)
    i, j, p = (np.array(part) for part in zip(*at, strict=True)) if at else (np.zeros(0, int),) * 3
    stay = csr_array((p, (i, j)), shape=(size, size))
    return np.atleast_1d(spsolve((eye_array(size) - stay).tocsc(), np.ones(size)))


def _normal_between(edges: list[float], shift: float) -> list[float]:
    from scipy.special import ndtr

    below = ndtr(np.array(edges) - shift)
    above = ndtr(shift - np.array(edges))
    inside = np.where(np.array(edges[:-1]) > shift, above[:-1] - above[1:], below[1:] - below[:-1])
    return [float(p) for p in inside]


def ewma(weight: float, limit: float, shift: float, nodes: int = 121) -> float:
    """Average run length of a two-sided EWMA, asymptotic limits, zero state. limit in sd of the EWMA."""
    reach = limit * np.sqrt(weight / (2.0 - weight))
    x, w = np.polynomial.legendre.leggauss(nodes)
    x, w = reach * x, reach * w
    kernel = _density((x[None, :] - (1.0 - weight) * x[:, None]) / weight - shift) / weight * w[None, :]
    lengths = np.linalg.solve(np.eye(nodes) - kernel, np.ones(nodes))
    first = _density(x / weight - shift) / weight * w
    return float(1.0 + first @ lengths)


def _density(z: np.ndarray) -> np.ndarray:
    return np.exp(-0.5 * z * z) / np.sqrt(2.0 * np.pi)


class OneSided(NamedTuple):
    """Average run lengths of a one-sided CUSUM from zero and from its headstart."""

    zero: float
    head: float


def cusum_one_sided(k: float, h: float, shift: float, headstart: float = 0.0, nodes: int = 80) -> OneSided:
    """Average run length of the upper CUSUM S = max(0, S + z - k), signal above h; headstart in sd."""
    from scipy.special import ndtr

    x, w = np.polynomial.legendre.leggauss(nodes)
    s, w = 0.5 * h * (x + 1.0), 0.5 * h * w
    grid = np.concatenate([[0.0], s])
    moves = _density(s[None, :] - grid[:, None] + k - shift) * w[None, :]
    atom = ndtr(k - shift - grid)
    stay = np.column_stack([atom, moves])
    lengths = np.linalg.solve(np.eye(nodes + 1) - stay, np.ones(nodes + 1))
    from_head = 1.0 + ndtr(k - shift - headstart) * lengths[0]
    from_head += float((_density(s - headstart + k - shift) * w) @ lengths[1:])
    return OneSided(float(lengths[0]), float(from_head))


def cusum(k: float, h: float, shift: float, headstart: float = 0.0) -> float:
    """Average run length of the two-sided CUSUM, each side with the headstart.

    Lucas and Crosier (1982): from the run lengths of the two one-sided schemes, which cannot both be near their limit.
    """
    up, down = cusum_one_sided(k, h, shift, headstart), cusum_one_sided(k, h, -shift, headstart)
    return (up.head * down.zero + up.zero * down.head - up.zero * down.zero) / (up.zero + down.zero)


def cusum_limit(k: float, arl0: float) -> float:
    """The decision limit h at which the two-sided CUSUM has this in-control run length."""
    from scipy.optimize import brentq

    longest = (np.log(2.0 * arl0) + 3.0) / (2.0 * k)
    return float(brentq(lambda h: np.log(cusum(k, h, 0.0)) - np.log(arl0), 0.05, longest, xtol=1e-8))


def best_cusum(shift: float, arl0: float) -> tuple[float, float, float]:
    """Reference value, limit and delay of the CUSUM that finds one size of shift soonest at this arl0."""
    from scipy.optimize import minimize_scalar

    def delay(k: float) -> float:
        return cusum(k, cusum_limit(k, arl0), shift)

    found = minimize_scalar(delay, bounds=(0.3 * shift, 0.9 * shift + 0.1), method="bounded", options={"xatol": 1e-3})
    k = float(found.x)
    return k, cusum_limit(k, arl0), float(found.fun)
