"""Net weight of a day's loaves against the label: the three rules for packers, or Handbook 133 as an option.

Tolerable negative errors and packers' rules: Directive 76/211/EEC, annexes I and II. Sample sizes and
acceptance numbers of the non-destructive plans, and every figure of Handbook 133: from memory. Weights g.
"""

from __future__ import annotations

from collections.abc import Hashable, Iterator
from dataclasses import dataclass, replace
from decimal import ROUND_CEILING, Decimal
from math import ceil, fsum, sqrt
from typing import TYPE_CHECKING, Literal

from models.trade.loaf import too_hot
from models.trade.placed import placed

if TYPE_CHECKING:
    import numpy as np
    import pandas as pd

    from models.plant import Plant

Word = Literal["met", "not met", "cannot tell"]
Verdict = Literal["met", "not met", "indicative", "not enough data"]
FINENESS = 1 / 5  # of the tolerable negative error: how far off the scale may be (WELMEC guide 6.9)
FEWEST = 5  # fewer loaves say nothing at all of a day

# Directive 76/211/EEC annex I: nominal from, to (g), and the error in % (rounded up to 0.1 g) or in g.
TOLERABLE: tuple[tuple[float, float, str | None, float], ...] = (
    (5, 50, "9", 0),
    (50, 100, None, 4.5),
    (100, 200, "4.5", 0),
    (200, 300, None, 9.0),
    (300, 500, "3", 0),
    (500, 1000, None, 15.0),
    (1000, 10000, "1.5", 0),
    (10000, 15000, None, 150.0),
    (15000, 25000, "1", 0),
)

# Handbook 133 table 2-5, maximum allowable variation: label to below (g), g. From memory.
ALLOWED_VARIATION: tuple[tuple[float, float], ...] = (
    (54, 3.6),
    (81, 5.4),
    (117, 7.2),
    (154, 9.0),
    (208, 10.8),
    (263, 12.7),
    (317, 14.5),
    (381, 16.3),
    (426, 18.1),
    (489, 19.9),
    (571, 21.7),
    (635, 23.5),
    (698, 25.4),
    (771, 27.2),
    (852, 29.0),
    (970, 31.7),
    (1120, 35.3),
)


@dataclass(frozen=True)
class Plan:
    """A sampling plan: `n` packages; up to `accept` beyond T1 pass, `reject` fail, between them: a second sample."""

    n: int
    accept: int
    reject: int


# 76/211/EEC annex II: destructive n 20; non-destructive first samples (numbers from memory).
PLANS = (Plan(20, 1, 2), Plan(30, 1, 3), Plan(50, 2, 5), Plan(80, 3, 7))


@dataclass(frozen=True)
class NetWeight:
    """What a day's loaves of one line and product say of the label.

    verdict: met, not met, indicative (too few loaves or an unproven scale) or not enough data. leaning:
    what an indicative sample points to. t1_g, t2_g: label less one and two tolerable negative errors
    (Handbook 133: t1_g the label less the allowed variation, no t2). mean_limit_g: the lowest mean that
    sampling alone explains. left_out: loaves that were measured but do not count, by reason. why: one
    sentence a finding.
    """

    rule: str
    line: str
    product: str
    day: object
    label_g: float
    n: int
    n_wanted: int
    mean_g: float | None
    sd_g: float | None
    mean_limit_g: float | None
    t1_g: float | None
    t2_g: float | None
    below_t1: int
    below_t2: int
    verdict: Verdict
    leaning: Word
    left_out: tuple[tuple[str, int], ...]
    why: tuple[str, ...]


def tolerable_negative_error(label_g: float) -> float:
    """Tolerable negative error (g) of a nominal weight; percentages rounded up to the next 0.1 g.

    Raises ValueError outside the scope of the rule, 5 g to 25 kg.
    """
    for low, high, percent, grams in TOLERABLE:
        if low <= label_g <= high:
            if percent is None:
                return grams
            exact = Decimal(str(label_g)) * Decimal(percent) / 100
            return float(exact.quantize(Decimal("0.1"), ROUND_CEILING))
    raise ValueError(f"a label of {label_g:g} g: 76/211/EEC covers 5 g to 25 000 g")


def allowed_variation(label_g: float) -> float:
    """Maximum allowable variation of Handbook 133 (g); from memory. Raises ValueError beyond 1120 g."""
    if 0 < label_g < 36:
        return 0.1 * label_g
    for below, grams in ALLOWED_VARIATION:
        if 0 < label_g < below:
            return grams
    raise ValueError(f"a label of {label_g:g} g: the table held here ends at 1120 g")


def mean_limit(label_g: float, sd_g: float, n: int, probability: float = 0.995) -> float:
    """Lowest sample mean (g) that passes: label - s t / sqrt(n). 76/211/EEC annex II 2.3 has 0.995.

    Handbook 133 is the same at 0.975 (its sample correction factor). n at least 2.
    """
    from scipy.special import stdtrit

    return label_g - sd_g * float(stdtrit(n - 1, probability)) / sqrt(n)


def wanted(pieces_made: float | None) -> int:
    """How many packages the reference test wants of a batch of so many; unknown counts as the largest."""
    if pieces_made is None or pieces_made > 3200:
        return 80
    if pieces_made > 500:
        return 50
    return min(30, max(1, int(pieces_made)))


def wanted_133(pieces_made: float | None) -> int:
    """Handbook 133 category A: packages wanted of a lot of so many. From memory."""
    if pieces_made is None or pieces_made > 3200:
        return 48
    if pieces_made > 250:
        return 24
    return min(12, max(1, int(pieces_made)))


# --- the rules, one by one ----------------------------------------------------------------------


def judge_mean(label_g: float, mean_g: float, lowest_g: float) -> Word:
    """Rule 1, the mean: met from the label up, not met below what sampling explains, else cannot tell."""
    if mean_g >= label_g:
        return "met"
    return "not met" if mean_g < lowest_g else "cannot tell"


def judge_t1(below_t1: int, n: int) -> Word:
    """Rule 2, packages beyond one tolerable negative error: the reference plan of this n, scaled up with n."""
    plan = max((p for p in PLANS if p.n <= n), key=lambda p: p.n, default=Plan(n, 0, 2))
    accept, reject = plan.accept, plan.reject
    if n > PLANS[-1].n:
        accept, reject = plan.accept * n // plan.n, ceil(plan.reject * n / plan.n)
    if below_t1 <= accept:
        return "met"
    return "not met" if below_t1 >= reject else "cannot tell"


def _together(words: list[Word]) -> Word:
    for worst in ("not met", "cannot tell"):
        if worst in words:
            return worst
    return "met"


OF_LOAVES = ("batch_key", "reason", "cooled_minutes", "baked_g", "scale", "measured_at")
"""What is asked of a loaf."""
TIMES = "times"
"""Column of a frame in which one row stands for loaves that are alike in `OF_LOAVES`: how many; without it each row is one."""


@dataclass(frozen=True)
class _Weights:
    """Weights in g, and how many loaves have each. Sums are exactly rounded: no order of the loaves changes them."""

    g: np.ndarray
    times: np.ndarray

    @property
    def n(self) -> int:
        return int(self.times.sum())

    def below(self, limit_g: float) -> int:
        return int(self.times[self.g < limit_g].sum())

    def sum_of(self, values: np.ndarray) -> float:
        return fsum((values * self.times).tolist())


# --- a day of loaves ----------------------------------------------------------------------------


def verdicts(
    plant: Plant,
    batches: pd.DataFrame,
    loaves: pd.DataFrame,
    output: pd.DataFrame | None = None,
    checks: pd.DataFrame | None = None,
) -> tuple[NetWeight, ...]:
    """One verdict a line, product and production day, for products with a label, in that order by day.

    batches: wide rows; loaves: accepted loaf rows with `batch_key`, alike ones together where they have `TIMES`; output and
    checks: their logs, as far as there are any. A line and day whose dough has no loaf that counts still has its verdict.
    """
    rows = batches[batches["product"].isin([n for n, p in plant.products.items() if p.label_g])]
    rows = rows[["batch_key", "line", "product", "shift_date"]]
    each = loaves[[*OF_LOAVES, TIMES]] if TIMES in loaves else loaves[list(OF_LOAVES)].assign(**{TIMES: 1})
    measured = placed(each, rows, ("line", "product", "shift_date"))
    days = rows.drop(columns="batch_key").drop_duplicates().sort_values(["shift_date", "line", "product"])
    by = {key: part for key, part in measured.groupby(["shift_date", "line", "product"], observed=True)}
    made, none = _made(output), measured.iloc[:0]
    keys = [tuple(key) for key in days[["shift_date", "line", "product"]].itertuples(index=False)]
    return tuple(_verdict(plant, key, by.get(key, none), made.get(key), checks) for key in keys)


def _made(output: pd.DataFrame | None) -> dict[Hashable, float]:
    """Pieces made by day, line and product, as far as they are recorded."""
    if output is None or not len(output):
        return {}
    return output.groupby(["shift_date", "line", "product"], observed=True)["pieces_made"].sum().to_dict()


def _verdict(
    plant: Plant, key: tuple[object, str, str], loaves: pd.DataFrame, made: float | None, checks: pd.DataFrame | None
) -> NetWeight:
    day, line, product = key
    label_g = float(plant.products[product].label_g or 0.0)
    counts, left_out = _counting(plant, loaves)
    weights = _Weights(counts["baked_g"].to_numpy(dtype=float), counts[TIMES].to_numpy(dtype="int64"))
    blank = NetWeight(
        rule=plant.net_weight.rule,
        line=line,
        product=product,
        day=day,
        label_g=label_g,
        n=weights.n,
        n_wanted=0,
        mean_g=None,
        sd_g=None,
        mean_limit_g=None,
        t1_g=None,
        t2_g=None,
        below_t1=0,
        below_t2=0,
        verdict="not enough data",
        leaning="cannot tell",
        left_out=left_out,
        why=(),
    )
    judged = _judge_133 if plant.net_weight.rule == "Handbook 133" else _judge_eu
    try:
        doubt = scale_doubt(counts, checks, tolerable_negative_error(label_g) * FINENESS)
        return judged(blank, weights, made, doubt)
    except ValueError as error:
        return replace(blank, why=(f"Not judged: {error}.",))


def _counting(plant: Plant, loaves: pd.DataFrame) -> tuple[pd.DataFrame, tuple[tuple[str, int], ...]]:
    """Loaves that may speak of the net weight, and how many others there are, by reason."""
    suspicion = (loaves["reason"] == "suspicion").to_numpy(dtype=bool)
    minutes = loaves["cooled_minutes"].to_numpy()
    unknown = ~suspicion & (minutes != minutes)
    hot = ~suspicion & too_hot(minutes, plant)
    reasons = {"measured on suspicion": suspicion, "cooling time not recorded": unknown, "measured too hot": hot}
    times = loaves[TIMES].to_numpy(dtype="int64")
    left_out = tuple((why, int(times[mask].sum())) for why, mask in reasons.items() if mask.any())
    return loaves[~(suspicion | unknown | hot)] if left_out else loaves, left_out


def scale_doubt(loaves: pd.DataFrame, checks: pd.DataFrame | None, bears_g: float) -> str:
    """Why the scale does not suffice for a verdict; empty where it does.

    It does where every loaf names its scale and that scale's last check before the loaf was off by no more
    than `bears_g`.
    """
    import pandas as pd

    if not len(loaves):
        return ""
    if loaves["scale"].isna().any():
        return "not every loaf names its scale"
    if checks is None or not len(checks):
        return "no check of the scale is recorded"
    weight = checks[checks["quantity"] == "weight"].rename(columns={"instrument": "scale"}).sort_values("checked_at")
    rows = loaves[["measured_at", "scale"]].sort_values("measured_at").astype({"scale": "str"})
    last = pd.merge_asof(rows, weight, left_on="measured_at", right_on="checked_at", by="scale")
    if last["as_found"].isna().any():
        return "the scale was not checked before the loaves"
    off = float((last["as_found"] - last["standard"]).abs().max())
    return f"the scale was off by {off:.1f} g, the test bears {bears_g:.1f} g" if off > bears_g else ""


def _judge_eu(blank: NetWeight, weights: _Weights, made: float | None, doubt: str) -> NetWeight:
    """76/211/EEC: mean, at most 1 in 40 beyond one tolerable negative error, none beyond two."""
    error_g = tolerable_negative_error(blank.label_g)
    t1_g, t2_g = round(blank.label_g - error_g, 6), round(blank.label_g - 2 * error_g, 6)
    figures = replace(
        _figures(blank, weights, 0.995),
        n_wanted=wanted(made),
        t1_g=t1_g,
        t2_g=t2_g,
        below_t1=weights.below(t1_g),
        below_t2=weights.below(t2_g),
    )
    words: list[Word] = [judge_t1(figures.below_t1, figures.n), "not met" if figures.below_t2 else "met"]
    return _concluded(figures, words, doubt, broken=figures.below_t2 > 0)


def _judge_133(blank: NetWeight, weights: _Weights, made: float | None, doubt: str) -> NetWeight:
    """Handbook 133: the average error within the sample error limit, none beyond the allowed variation."""
    t1_g = round(blank.label_g - allowed_variation(blank.label_g), 6)
    figures = replace(
        _figures(blank, weights, 0.975), n_wanted=wanted_133(made), t1_g=t1_g, below_t1=weights.below(t1_g)
    )
    allowed = 1 if figures.n >= 48 else 0
    words: list[Word] = ["not met" if figures.below_t1 > allowed else "met"]
    return _concluded(figures, words, doubt, broken=False)


def _figures(blank: NetWeight, weights: _Weights, probability: float) -> NetWeight:
    if weights.n < 2:
        return replace(blank, mean_g=float(weights.g[0]) if weights.n else None)
    mean_g = weights.sum_of(weights.g) / weights.n
    sd_g = sqrt(weights.sum_of((weights.g - mean_g) ** 2) / (weights.n - 1))
    return replace(
        blank, mean_g=mean_g, sd_g=sd_g, mean_limit_g=mean_limit(blank.label_g, sd_g, weights.n, probability)
    )


def _concluded(figures: NetWeight, words: list[Word], doubt: str, broken: bool) -> NetWeight:
    """The verdict. One loaf beyond two errors breaks the law whatever the sample; all else wants n and method."""
    if figures.mean_g is not None and figures.mean_limit_g is not None:
        words = [judge_mean(figures.label_g, figures.mean_g, figures.mean_limit_g), *words]
    leaning = _together(words)
    enough = figures.n >= figures.n_wanted and not doubt
    verdict: Verdict = "indicative"
    if broken:
        verdict = "not met"
    elif figures.n < FEWEST:
        verdict, leaning = "not enough data", "cannot tell"
    elif enough and leaning != "cannot tell":
        verdict = leaning
    return replace(figures, verdict=verdict, leaning=leaning, why=tuple(_why(figures, doubt)))


def _why(figures: NetWeight, doubt: str) -> Iterator[str]:
    if figures.n < figures.n_wanted:
        yield f"{'1 loaf counts' if figures.n == 1 else f'{figures.n} loaves count'}, the test wants {figures.n_wanted}."
    if doubt:
        yield f"{doubt[0].upper()}{doubt[1:]}."
    for reason, count in figures.left_out:
        yield f"{count} left out: {reason}."
    if figures.mean_g is None:
        return
    yield f"Mean {figures.mean_g:.1f} g of {figures.n}, label {figures.label_g:g} g." + _mean_says(figures)
    if figures.below_t1 and figures.t1_g is not None:
        yield f"{figures.below_t1} of {figures.n} below {figures.t1_g:g} g."
    if figures.below_t2 and figures.t2_g is not None:
        yield f"{figures.below_t2} of {figures.n} below {figures.t2_g:g} g: none may be."


def _mean_says(figures: NetWeight) -> str:
    if figures.mean_g is None or figures.mean_limit_g is None or figures.mean_g >= figures.label_g:
        return ""
    if figures.mean_g < figures.mean_limit_g:
        return f" Below {figures.mean_limit_g:.1f} g: not by chance."
    return f" Below the label, but not below {figures.mean_limit_g:.1f} g: so few loaves cannot tell."
