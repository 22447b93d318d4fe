"""What each batch brings that the batches before it did not foretell.

In control a batch mean is taken to be

    y_i = level + lot effect + flour effect + a_i + w_i

with a lot effect drawn anew at each yeast lot (variance lot^2), of which a share `stay`
lives on from one day to the next, another at each flour lot (flour^2), a_i a first-order
autoregression along the batches (variance batch^2, coefficient phi) and w_i the error of a mean of few loaves
(variance within^2 / n_i). A Kalman filter over the state (lot, flour, a, level) gives the one-step forecast, and the
innovation e_i = y_i - forecast with its variance S_i. In control the standardised innovations are independent: a
lot that differs as lots here usually differ, or neighbours that are alike, are foretold and so are no news. A lot
that comes back is remembered.

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
LEAST_SCALE2 = 0.04
"""A chart never learns a spread below a fifth of the trade's: sheets are rounded, and rounding is no news."""
_DIFFUSE = 0.9
"""A batch whose gain on the level is beyond this tells nothing of the scale."""


@dataclass(frozen=True)
class Model:
    """Variation in control, as standard deviations on the chart's working scale; `nu`: degrees of freedom of the tails.

    stay: correlation of a lot's effect from day to day (1: days of a lot are alike). level_se is the uncertainty of
    the level. scale2 multiplies every variance. With `learns` level and scale are
    estimated on the way from there, the scale beginning with `scale_df` degrees of freedom.
    """

    level: float
    batch: float
    lot: float
    flour: float
    within: float
    phi: float
    nu: float
    level_se: float
    learns: bool
    scale2: float = 1.0
    scale_df: float = 1e9
    stay: float = 1.0


@dataclass(frozen=True)
class Known:
    """What is known of level and scale where the filter starts; level_var in units of scale2."""

    level: float
    level_var: float
    scale2: float
    scale_df: float


@dataclass(frozen=True)
class Series:
    """What is filtered: y, the variance of each mean's own error, integer labels of yeast and flour lots, and of days.

    days: None where a lot's effect does not change from day to day.
    """

    y: np.ndarray
    error_var: np.ndarray
    lots: np.ndarray
    flours: np.ndarray
    days: np.ndarray | None = None


@dataclass(frozen=True)
class Place:
    """Where a filter stands before batch `at`, so that it can go on from there as if it had never stopped.

    numbers: its state, in the order of `_pass`; lot, flour, day: labels of the batch before; kept: label -> what is
    remembered of a lot that may come back (yeast lots by their label, flour lots by -1 - label).
    """

    at: int
    numbers: tuple[float, ...]
    lot: int
    flour: int
    day: int
    kept: dict[int, tuple[float, float]]


@dataclass(frozen=True)
class Innovations:
    """The filtered series from `start` on; every array is as long as what was filtered.

    score: normal scores; root: 1 / sqrt(S), 1 / unit; gain_*: Kalman gains; same_lot, same_flour: how much of the
    lot's effect lives on in the next batch; offset: standardised response to a level that was off from the start;
    level, level_var, scale2, scale_df: what was known before the batch. end: where the filter stands after the last.
    """

    start: int
    phi: float
    score: np.ndarray
    root: np.ndarray
    gain_lot: np.ndarray
    gain_flour: np.ndarray
    gain_a: np.ndarray
    gain_level: np.ndarray
    same_lot: np.ndarray
    same_flour: np.ndarray
    offset: np.ndarray
    level: np.ndarray
    level_var: np.ndarray
    scale2: np.ndarray
    scale_df: np.ndarray
    end: Place

    def known(self, at: int) -> Known:
        """Level and scale before batch `at`, counted from the start."""
        return Known(float(self.level[at]), float(self.level_var[at]), float(self.scale2[at]), float(self.scale_df[at]))


def normal_score(t: np.ndarray | float, nu: np.ndarray | float) -> np.ndarray:
    """The normal deviate as far out as `t` is in Student's distribution with `nu` degrees of freedom.

    Wallace (1959), formula from memory; within 3 % of the exact score for nu >= 3.5 and |t| <= 10 (tested).
    """
    return np.sign(t) * (8 * nu + 1) / (8 * nu + 3) * np.sqrt(nu * np.log1p(np.square(t) / nu))


def student_score(score: np.ndarray | float, nu: float) -> np.ndarray:
    """Inverse of `normal_score`: the Student deviate that is as far out as a normal score."""
    return np.sign(score) * np.sqrt(nu * np.expm1(np.square(np.asarray(score) * (8 * nu + 3) / (8 * nu + 1)) / nu))


def filtered(
    series: Series,
    model: Model,
    start: int = 0,
    stop: int | None = None,
    known: Known | None = None,
    hold: int | None = None,
    place: Place | None = None,
) -> Innovations:
    """Filter the series from start to stop. known: what is known before `start` (None: the model's own).

    From index `hold` on the scale is no longer learned. place: where an earlier pass stood before `start` (None: the
    filter starts afresh there).
    """
    stop = len(series.y) if stop is None else stop
    k = known or Known(model.level, model.level_se**2, model.scale2, model.scale_df)
    same_lot, same_flour = _same(series.lots, start, stop).astype(float), _same(series.flours, start, stop)
    if series.days is not None:
        same_lot[~_same(series.days, start, stop)] *= model.stay
    hold = (stop if hold is None else hold) if model.learns else start
    place = place or _afresh(series, model, k, start)
    rows, end = _pass(series, model, place, stop, hold)
    z, root, lot, flour, a, level, offset, mean, var, scale2, df = rows
    score = normal_score(z, np.minimum(model.nu, df) if model.learns else model.nu)
    return Innovations(
        start, model.phi, score, root, lot, flour, a, level, same_lot, same_flour, offset, mean, var, scale2, df, end
    )


def _same(labels: np.ndarray, start: int, stop: int) -> np.ndarray:
    same = np.ones(stop - start, dtype=bool)
    same[:-1] = labels[start + 1 : stop] == labels[start : stop - 1]
    return same


def _afresh(series: Series, model: Model, known: Known, start: int) -> Place:
    """A filter that knows nothing of the batches before `start` but level and scale."""
    level_var = known.level_var if model.learns else 0.0
    effects, covariances = (0.0,) * 6, (0.0,) * 6
    variances = (model.lot**2, model.flour**2, model.batch**2)
    numbers = (known.level, level_var, known.scale2, known.scale_df, *effects, *variances, *covariances)
    at = min(start, len(series.y) - 1)
    days = series.lots if series.days is None else series.days
    return Place(start, numbers, int(series.lots[at]), int(series.flours[at]), int(days[at]), {})


def _pass(series: Series, model: Model, place: Place, stop: int, hold: int) -> tuple[np.ndarray, Place]:
    """The filter itself, in scalars for speed; P as its ten entries (lot l, flour f, autoregression a, level m)."""
    start = place.at
    y, errors = series.y[start:stop].tolist(), series.error_var[start:stop].tolist()
    lots, flours = series.lots[start:stop].tolist(), series.flours[start:stop].tolist()
    days = lots if series.days is None else series.days[start:stop].tolist()
    stay, stay2 = model.stay, model.stay**2
    lot2, flour2, batch2, phi = model.lot**2, model.flour**2, model.batch**2, model.phi
    m, vm, scale2, df, fl, ff, fa, ol, of, oa, ll, f2, aa, lf, la, lm, fb, fm, am = place.numbers
    was_lot, was_flour, was_day, kept = place.lot, place.flour, place.day, dict(place.kept)
    rows: list[tuple[float, ...]] = []
    drift2 = (1.0 - phi * phi) * batch2
    for j, value in enumerate(y):
        if lots[j] != was_lot:
            kept[was_lot] = fl, ll
            was_lot = lots[j]
            fl, ll = kept.get(was_lot, (0.0, lot2))
            lf = la = lm = ol = 0.0
        elif days[j] != was_day:
            fl, ol, ll = stay * fl, stay * ol, stay2 * ll + (1.0 - stay2) * lot2
            lf, la, lm = stay * lf, stay * la, stay * lm
        was_day = days[j]
        if flours[j] != was_flour:
            kept[-1 - was_flour] = ff, f2
            was_flour = flours[j]
            ff, f2 = kept.get(-1 - was_flour, (0.0, flour2))
            lf = fb = fm = of = 0.0
        pl, pf, pa, pm = ll + lf + la + lm, lf + f2 + fb + fm, la + fb + aa + am, lm + fm + am + vm
        s = pl + pf + pa + pm + errors[j]
        kl, kf, ka, km = pl / s, pf / s, pa / s, pm / s
        root = 1.0 / (s * scale2) ** 0.5
        z = (value - m - fl - ff - fa) * root
        response = 1.0 - ol - of - oa
        rows.append((z, root, kl, kf, ka, km, response * root, m, vm, scale2, df))
        z = -CLIP if z < -CLIP else min(z, CLIP)
        if start + j < hold and km < _DIFFUSE:
            scale2 = max(scale2 * (df + z * z) / (df + 1.0), LEAST_SCALE2)
            df += 1.0
        e = z / root
        fl, ff, fa, m = fl + kl * e, ff + kf * e, phi * (fa + ka * e), m + km * e
        ol, of, oa = ol + kl * response, of + kf * response, phi * (oa + ka * response)
        ll, lf, la, lm = ll - kl * pl, lf - kl * pf, phi * (la - kl * pa), lm - kl * pm
        f2, fb, fm = f2 - kf * pf, phi * (fb - kf * pa), fm - kf * pm
        aa, am, vm = phi * phi * (aa - ka * pa) + drift2, phi * (am - ka * pm), vm - km * pm
    numbers = (m, vm, scale2, df, fl, ff, fa, ol, of, oa, ll, f2, aa, lf, la, lm, fb, fm, am)
    return np.array(rows).reshape(-1, 11).T, Place(max(stop, start), numbers, was_lot, was_flour, was_day, kept)
