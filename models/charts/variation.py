"""Variance components of a baseline stretch, by likelihood over a grid, with the trade's values as prior.

For every pair of autocorrelation and lot-to-batch ratio the Kalman filter of `innovations` gives the likelihood of the
stretch (level and scale concentrated out); the prior is wide. The grid is then averaged, leaning to the cautious
side, because limits that are a little wide cost a batch and limits that are too tight cost the shop's belief.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

PHI_GRID = np.array([0.0, 0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7])
RATIO_GRID = np.array([0.0, 0.15, 0.3, 0.5, 0.7, 0.9, 1.2, 1.6, 2.2, 3.0])
NU_GRID = np.array([3.5, 4.0, 5.0, 6.0, 8.0, 12.0, 30.0])
_NU_PRIOR = np.log(np.array([0.04, 0.10, 0.18, 0.22, 0.22, 0.14, 0.10]))


@dataclass(frozen=True)
class Variation:
    """Fitted variation on the working scale: sd between batches and lots, phi, tails, level and their uncertainty."""

    level: float
    level_se: float
    batch: float
    lot: float
    phi: float
    nu: float
    sd_rel_se: float


def fit(y: np.ndarray, error_var: np.ndarray, lots: np.ndarray, trade_ratio: float) -> Variation:
    """Fit a stretch in control. error_var: variance of each mean's own error; trade_ratio: lot sd over batch sd."""
    phi, ratio = (g.ravel() for g in np.meshgrid(PHI_GRID, RATIO_GRID, indexing="ij"))
    guess = _within_lot_var(y, lots)
    share = np.clip(1.0 - float(np.mean(error_var)) / guess, 0.1, 1.0)
    batch2 = share * guess
    loglik, scale2, level, level_var = _likelihood(y, error_var, lots, phi, ratio, batch2)
    log_prior = -0.5 * ((phi - 0.2) / 0.25) ** 2 - 0.5 * (np.log((ratio + 0.2) / (trade_ratio + 0.2)) / 0.9) ** 2
    weight = np.exp(loglik + log_prior - np.max(loglik + log_prior))
    weight /= weight.sum()
    phi_hat, scale = float(weight @ phi), float(weight @ scale2)
    ratio_hat = float(np.sqrt(weight @ ratio**2))
    level_hat = float(weight @ level)
    spread = float(weight @ (level_var * scale2 + (level - level_hat) ** 2))
    batch = float(np.sqrt(batch2 * scale))
    return Variation(level_hat, spread**0.5, batch, ratio_hat * batch, phi_hat, 8.0, (0.5 / len(y)) ** 0.5)


def _within_lot_var(y: np.ndarray, lots: np.ndarray) -> float:
    """Mean square within lots, robust: from the median absolute deviation about the lots' medians."""
    residual = y - np.array([np.median(y[lots == lot]) for lot in np.unique(lots)])[np.unique(lots, return_inverse=True)[1]]
    robust = (1.4826 * float(np.median(np.abs(residual)))) ** 2
    return max(robust, 1e-4 * float(np.var(y)), 1e-12)


def _likelihood(y, error_var, lots, phi, ratio, batch2):
    """Log likelihood for every pair (phi, ratio), its scale, and the level with its variance before scaling."""
    lot2, drift2 = ratio**2 * batch2, (1 - phi**2) * batch2
    zero = np.zeros_like(phi)
    fl, fa, m = zero, zero, zero + y[0]
    pll, paa, vm = lot2, zero + batch2, zero + 1e4 * (batch2 + float(np.var(y)))
    pla, plm, pam = zero, zero, zero
    squares, logs, count = zero, zero, 0
    for i in range(len(y)):
        pl, pa, pm = pll + pla + plm, pla + paa + pam, plm + pam + vm
        s = pl + pa + pm + error_var[i]
        e = y[i] - m - fl - fa
        kl, ka, km = pl / s, pa / s, pm / s
        if i:
            squares, logs, count = squares + np.minimum(e * e / s, 9.0), logs + np.log(s), count + 1
        cut = 3.0 * np.sqrt(s)
        e = np.clip(e, -cut, cut)
        fl, fa, m = fl + kl * e, fa + ka * e, m + km * e
        pll, pla, plm = pll - kl * pl, pla - kl * pa, plm - kl * pm
        paa, pam, vm = paa - ka * pa, pam - ka * pm, vm - km * pm
        fa, paa, pla, pam = phi * fa, phi**2 * paa + drift2, phi * pla, phi * pam
        if i + 1 < len(y) and lots[i + 1] != lots[i]:
            fl, pll, pla, plm = zero, lot2, zero, zero
    scale2 = squares / count
    return -0.5 * (count * np.log(scale2) + logs), scale2, m, vm
