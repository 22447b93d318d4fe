"""Variance components of a baseline stretch, by likelihood over a grid, with the trade's values as prior.

For every combination of autocorrelation, yeast-lot and flour-lot sd (over the batch sd), and of how alike the days of
a lot are, the Kalman filter of
`innovations` gives the likelihood of the stretch, level and scale concentrated out. The prior is wide. The grid is then
averaged, leaning to the cautious side, because limits that are a little wide cost a batch and limits that are too
tight cost the shop's belief. The tails' degrees of freedom come from the standardised innovations of the averaged
fit, again with a prior and leaning to the heavy side: a hundred batches say little of one in ten thousand.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import product
from math import lgamma, log, pi

import numpy as np

from models.charts.innovations import Model, Series, filtered

PHI = (0.0, 0.1, 0.2, 0.3, 0.4, 0.5, 0.65)
RATIO = (0.0, 0.25, 0.5, 0.8, 1.1, 1.5, 2.1, 3.0)
STAY = (1.0, 0.8, 0.55, 0.25)
"""Correlation of a lot's effect from day to day."""
_STAY_PRIOR = {1.0: 0.4, 0.8: 0.3, 0.55: 0.2, 0.25: 0.1}
NU = np.array([3.0, 3.5, 4.0, 5.0, 6.0, 8.0, 12.0, 20.0, 50.0])
_NU_PRIOR = np.array([0.03, 0.05, 0.08, 0.14, 0.16, 0.18, 0.16, 0.12, 0.08])
PHI_MEAN, PHI_SD = 0.2, 0.25
"""Prior of the autocorrelation: neighbouring batches are alike, 0 to 0.5 (common practice, no source)."""
RATIO_SD = 0.8
"""Prior of ln(lot sd / batch sd) about the trade's."""
NU_TAKEN = 0.15
"""The quantile of the tails' degrees of freedom that is taken: below one half leans to the heavy side."""
LEAN = 0.8
"""Posterior sds added to the means of the lots' sds, on the scale of their prior, ln(ratio + RATIO_LEAST).

On that scale, because what five or eight lots leave open reaches far up: the mean of the variance itself, let alone one that
leans, was twice the true one for flour (tests.bench.charts_plants' plants), and a fall was taken for a flour lot.
"""
RATIO_LEAST = 0.2


@dataclass(frozen=True)
class Trade:
    """Prior centres: lot and flour sd over the batch sd."""

    lot: float
    flour: float


def fit(series: Series, trade: Trade, within: float) -> tuple[Model, float]:
    """Fit a stretch in control: the frozen model, and the relative standard error of its sd.

    trade: prior ratios. within: sd of one reading within a batch, passed on.
    """
    flours, stays = RATIO if _has_flours(series) else (0.0,), STAY if _has_days(series) else (1.0,)
    phi, lot, flour, stay = np.array(list(product(PHI, RATIO, flours, stays))).T
    batch2 = _start(series)
    loglik, scale2, level, level_var = _likelihood(series, phi, lot, flour, stay, batch2)
    log_weight = loglik - 0.5 * ((phi - PHI_MEAN) / PHI_SD) ** 2 - _apart(lot, trade.lot) - _apart(flour, trade.flour)
    log_weight += np.log([_STAY_PRIOR[s] for s in stay])
    weight = np.exp(log_weight - log_weight.max())
    weight /= weight.sum()
    batch = float(np.sqrt(batch2 * (weight @ scale2)))
    mean = float(weight @ level)
    level_se = float(np.sqrt(weight @ (level_var * scale2 + (level - mean) ** 2)))
    lot_sd, flour_sd = (batch * _leaning(weight, ratio) for ratio in (lot, flour))
    alike = float(weight @ (stay * lot**2) / max(weight @ lot**2, 1e-12))
    model = Model(
        mean, batch, lot_sd, flour_sd, within, float(weight @ phi), 50.0, level_se, False, stay=min(alike, 1.0)
    )
    return _with_tails(series, model), float((0.5 / max(len(series.y) - 1, 1)) ** 0.5)


def _has_flours(series: Series) -> bool:
    return len(np.unique(series.flours)) > 1


def _has_days(series: Series) -> bool:
    if series.days is None:
        return False
    return bool(((np.diff(series.days) != 0) & (np.diff(series.lots) == 0)).any())


def _apart(ratio: np.ndarray, centre: float) -> np.ndarray:
    return 0.5 * (np.log((ratio + RATIO_LEAST) / (centre + RATIO_LEAST)) / RATIO_SD) ** 2


def _leaning(weight: np.ndarray, ratio: np.ndarray) -> float:
    """The ratio taken: the mean of ln(ratio + RATIO_LEAST), and LEAN sds of it on top."""
    value = np.log(ratio + RATIO_LEAST)
    mean = float(weight @ value)
    return max(float(np.exp(mean + LEAN * np.sqrt(weight @ (value - mean) ** 2))) - RATIO_LEAST, 0.0)


def _start(series: Series) -> float:
    """A first value of the batch variance: the robust scatter about the lots' medians, less the means' own error."""
    y, lots = series.y, series.lots
    medians = {lot: np.median(y[lots == lot]) for lot in np.unique(lots)}
    robust = (1.4826 * float(np.median(np.abs(y - np.array([medians[lot] for lot in lots]))))) ** 2
    robust = max(robust, 1e-3 * float(np.var(y)), 1e-12)
    return max(robust - float(np.mean(series.error_var)), 0.1 * robust)


def _likelihood(series: Series, phi, lot, flour, stay, batch2):
    """Log likelihood for every combination, its scale, and the level with its variance before scaling.

    The same recursion as innovations._pass, over the whole grid at once; squares are cut, as there.
    """
    y, errors, lots, flours = series.y, series.error_var, series.lots, series.flours
    days = lots if series.days is None else series.days
    zero = np.zeros_like(phi)
    lot2, flour2, drift2 = lot**2 * batch2, flour**2 * batch2, (1 - phi**2) * batch2
    fl, ff, fa, m = zero, zero, zero, zero + y[0]
    ll, f2, aa, vm = lot2, flour2, zero + batch2, zero + 1e4 * (batch2 + float(np.var(y)))
    lf = la = lm = fb = fm = am = zero
    squares, logs = zero, zero
    for i in range(len(y)):
        pl, pf, pa, pm = ll + lf + la + lm, lf + f2 + fb + fm, la + fb + aa + am, lm + fm + am + vm
        s = pl + pf + pa + pm + errors[i]
        kl, kf, ka, km = pl / s, pf / s, pa / s, pm / s
        root = np.sqrt(s)
        z = np.clip((y[i] - m - fl - ff - fa) / root, -3.0, 3.0)
        if i:
            squares, logs = squares + z * z, logs + np.log(s)
        e = z * root
        fl, ff, fa, m = fl + kl * e, ff + kf * e, phi * (fa + ka * e), m + km * e
        ll, lf, la, lm = ll - kl * pl, lf - kl * pf, phi * (la - kl * pa), lm - kl * pm
        f2, fb, fm = f2 - kf * pf, phi * (fb - kf * pa), fm - kf * pm
        aa, am, vm = phi * phi * (aa - ka * pa) + drift2, phi * (am - ka * pm), vm - km * pm
        if i + 1 < len(y) and lots[i + 1] != lots[i]:
            fl, ll, lf, la, lm = zero, lot2, zero, zero, zero
        elif i + 1 < len(y) and days[i + 1] != days[i]:
            fl, ll = stay * fl, stay * stay * ll + (1 - stay * stay) * lot2
            lf, la, lm = stay * lf, stay * la, stay * lm
        if i + 1 < len(y) and flours[i + 1] != flours[i]:
            ff, f2, lf, fb, fm = zero, flour2, zero, zero, zero
    count = max(len(y) - 1, 1)
    scale2 = squares / count
    return -0.5 * (count * np.log(scale2) + logs + squares / scale2), scale2, m, vm


def _with_tails(series: Series, model: Model) -> Model:
    """The model with the tails' degrees of freedom and the scale that goes with them."""
    v = filtered(series, replace(model, nu=1e9, learns=True, level_se=1e3 * model.batch))
    z = v.score[1:]
    scales = np.array([_student_scale2(z, nu) for nu in NU])
    log_weight = np.log(_NU_PRIOR) + np.array([_student_loglik(z, nu, s) for nu, s in zip(NU, scales, strict=True)])
    weight = np.exp(log_weight - log_weight.max())
    taken = int(np.searchsorted(np.cumsum(weight / weight.sum()), NU_TAKEN))
    return replace(model, nu=float(NU[taken]), scale2=float(scales[taken]))


def _student_scale2(z: np.ndarray, nu: float) -> float:
    """Scale^2 of Student's t about 0, by iterated weights."""
    scale2 = float(np.mean(z * z)) * (nu - 2.0) / nu if nu > 2 else float(np.median(z * z))
    for _ in range(30):
        weight = (nu + 1.0) / (nu + z * z / scale2)
        scale2 = float(np.mean(weight * z * z))
    return scale2


def _student_loglik(z: np.ndarray, nu: float, scale2: float) -> float:
    constant = lgamma((nu + 1) / 2) - lgamma(nu / 2) - 0.5 * log(nu * pi * scale2)
    return len(z) * constant - 0.5 * (nu + 1) * float(np.sum(np.log1p(z * z / (nu * scale2))))
