"""One stream, charted: baseline, limits, episodes, and in plain words what to expect of it.

The stretch up to the end of the baseline is charted as it was learned, forward in time; after it the frozen baseline
rules. With the same points and the same frozen baseline the answer is the same, and points that come later add to it
without moving a signal.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import partial
from typing import Literal

import numpy as np

from models.charts.baseline import freeze, frozen_model, learning, trade_model
from models.charts.boundary import FROZEN, LEARNING, boundary
from models.charts.characteristics import Characteristic, characteristic
from models.charts.follow import Followed, Raw, Scanning, following, together
from models.charts.innovations import Model, Series, filtered
from models.charts.learn import closed, learn, learn_until_complete
from models.charts.past import Past, fingerprint, usable
from models.charts.promise import promise
from models.charts.scan import WINDOW, expected_batches, information, reach
from models.charts.working import Working, working
from models.shapes import LASTING, Baseline, Charted, Episode, Points, Stream
from models.texts import texts

SHIFT_HOURS = 8.0
"""A signal that returns within this many hours of the end of the last is the same episode, resumed."""
TAKEN_UP = "a new level that was taken up as the baseline"
"""Kind of an episode that ended so; its change is from the level it left."""
_NORMAL_90 = 1.6449
Limits = tuple[float, float]
Drawn = tuple[float | None, float | None, Limits | None]
"""`Charted.lower`, `upper` and `lasting`."""
_LOOK = 400
"""The last points that tell how often lots change here."""


def chart(
    stream: Stream, points: Points, *, arl0: float, baseline: Baseline | None = None, shift_hours: float = SHIFT_HOURS
) -> Charted:
    """Chart a stream, from its first point.

    points: in order of production. arl0: in-control average run length in points. baseline: a frozen one of an
    earlier run or set by a person; None or a learning one: chosen here. Raises KeyError for an undeclared
    characteristic, ValueError for an arl0 below 2.
    """
    return chart_on(stream, points, arl0=arl0, baseline=baseline, shift_hours=shift_hours)[0]


def chart_on(
    stream: Stream,
    points: Points,
    *,
    arl0: float,
    baseline: Baseline | None = None,
    shift_hours: float = SHIFT_HOURS,
    past: Past | None = None,
) -> tuple[Charted, Past | None]:
    """Chart a stream as `chart` does, going on from its past where that is its past; and how far it is now.

    The answer is that of `chart`, but that `statistic` is NaN at points that were scanned before. No past: learning.
    """
    work = charting(stream, points, arl0=arl0, baseline=baseline, shift_hours=shift_hours, past=past)
    return together([work])[0]


def charting(
    stream: Stream,
    points: Points,
    *,
    arl0: float,
    baseline: Baseline | None = None,
    shift_hours: float = SHIFT_HOURS,
    past: Past | None = None,
    drawn: Drawn | None = None,
) -> Scanning[tuple[Charted, Past | None]]:
    """`chart_on`, that asks for what it scans. drawn: the limits of that past, which stand while the baseline does."""
    if arl0 < 2:
        raise ValueError(f"arl0 is {arl0}; an in-control run length is at least 2 points")
    if len(points) == 0:
        return Charted(stream, points, None, None, None, (), "no data", texts("curve")["promise"]["no_points"]), None
    char = characteristic(stream)
    fixed = baseline if baseline is not None and not baseline.learning else None
    work = working(char, points, fixed.extra["reference"] if fixed else None)
    past = usable(past, points, fixed, arl0) if fixed else None
    run = yield from _run(char, points, work, arl0, fixed, past)
    used, raws = run.baseline, (*run.learned, *run.followed.episodes) if run.followed else run.learned
    episodes = _resumed([_episode(raw, points, work, used) for raw in raws], points, shift_hours)
    model = frozen_model(used)
    limits = boundary(arl0, WINDOW, LEARNING if used.learning else FROZEN)
    series = work.series(model.within)
    lately = filtered(series, model, max(len(points) - _LOOK, 0))
    state: Literal["in control", "signal", "learning", "no data"]
    state = "signal" if episodes and not episodes[-1].over else "learning" if used.learning else "in control"
    found_after = partial(expected_batches, lately, limits, model.level_se, model.nu)
    words = promise(char, points, work, model, found_after, arl0, used)
    stretch = _stretch(used, points)
    if past is None or drawn is None or drawn[2] is None or stretch[1] > past.points:
        drawn = _drawn(work, series, model, limits, stretch)
    lower, upper, lasting = drawn
    charted = Charted(stream, points, used, lower, upper, tuple(episodes), state, words, run.statistic, lasting)
    return charted, _past_of(run, points, arl0)


@dataclass(frozen=True)
class _Run:
    """Both stretches: the baseline in force, episodes while it was learned, and what came after (None: learning)."""

    baseline: Baseline
    learned: tuple[Raw, ...]
    statistic: np.ndarray
    followed: Followed | None


def _run(
    char: Characteristic, points: Points, work: Working, arl0: float, fixed: Baseline | None, past: Past | None
) -> Scanning[_Run]:
    size = len(points)
    model, limits = trade_model(char, work), boundary(arl0, WINDOW, LEARNING)
    if fixed is not None:
        stop = _end_of(fixed, points)
        learned, statistic = (past.learned, np.full(stop, np.nan)) if past else _learned(work, model, limits, stop)
    else:
        found = learn_until_complete(work, model, limits)
        if found.done is None:
            return _Run(learning(char, points, work, found), found.episodes, found.statistic, None)
        stop, learned = found.done + 1, found.episodes
        statistic = found.statistic[:stop]
        fixed = freeze(char, points, work, found)
    frozen, since = frozen_model(fixed), past.progress if past else None
    limits = boundary(arl0, WINDOW, FROZEN)
    followed = yield from following(work.series(frozen.within), frozen, limits, stop, size, since=since)
    return _Run(fixed, learned, np.concatenate([statistic, followed.statistic]), followed)


def _learned(work: Working, model: Model, limits: np.ndarray, stop: int) -> tuple[tuple[Raw, ...], np.ndarray]:
    found = learn(work, model, limits, stop)
    return closed(found.episodes, stop), found.statistic[:stop]


def _past_of(run: _Run, points: Points, arl0: float) -> Past | None:
    if run.followed is None:
        return None
    size = len(points)
    return Past(size, fingerprint(points, size, run.baseline, arl0), run.learned, run.followed.progress)


def _end_of(baseline: Baseline, points: Points) -> int:
    """Index of the first point after the baseline's stretch."""
    after = int(np.searchsorted(points.at, np.datetime64(baseline.last_at, "us"), side="right"))
    if after and points.keys[after - 1] == baseline.last_key:
        return after
    last = np.flatnonzero(points.keys == baseline.last_key)
    return int(last[-1]) + 1 if len(last) else after


def _episode(raw: Raw, points: Points, work: Working, baseline: Baseline) -> Episode:
    """An episode in the stream's unit; change: mean from began to until less the baseline's level.

    Where a learning chart took the new level up, the change is from the level it left.
    """
    change, half = over_span(raw.began, raw.until, points, work, baseline)
    if raw.settled:
        change += baseline.level - work.unit(raw.level)
    return Episode(
        direction="high" if raw.direction > 0 else "low",
        signalled=raw.signalled,
        began=raw.began,
        began_low=raw.began_low,
        began_high=raw.began_high,
        until=raw.until,
        change=change,
        change_low=change - half,
        change_high=change + half,
        over=raw.declared is not None,
        kind=_kind(raw),
    )


def over_span(began: int, until: int, points: Points, work: Working, baseline: Baseline) -> tuple[float, float]:
    """Mean of points[began..until] less the baseline's level, in the stream's unit, and half its 90 % interval.

    Its error: batches alike, lots that differ, few loaves, and the level's own.
    """
    x, span, count = baseline.extra, slice(began, until + 1), until + 1 - began
    alike = (1 + baseline.phi) / (1 - baseline.phi) if count > 1 else 1.0
    batches = x["batch"] ** 2 * min(alike, count) / count
    lots = x["lot"] ** 2 * _one_share(work.lots[span]) + x["flour"] ** 2 * _one_share(work.flours[span])
    own = float(work.error_var(x["within"])[span].mean()) / count
    error = work.unit_sd(((batches + lots + own) * x["scale2"] + x["level_se"] ** 2) ** 0.5, x["level"])
    return float(points.value[span].mean()) - baseline.level, _NORMAL_90 * error


def _one_share(labels: np.ndarray) -> float:
    """Variance of a mean over lots, in variances of one lot: sum of the squared shares."""
    shares = np.unique(labels, return_counts=True)[1] / len(labels)
    return float(shares @ shares)


def _kind(raw: Raw) -> str:
    if raw.settled:
        return TAKEN_UP
    if raw.lag < 2:
        return "far from the level at once"
    return "shift" if raw.lag < 20 else "small lasting shift"


def _resumed(episodes: list[Episode], points: Points, hours: float) -> list[Episode]:
    """Episodes of one direction that follow within a shift are one: the first signal stands."""
    joined: list[Episode] = []
    for episode in episodes:
        last = joined[-1] if joined else None
        if last and last.direction == episode.direction and _hours(points, last.until, episode.began) <= hours:
            joined[-1] = _joined(last, episode, points)
        else:
            joined.append(episode)
    return joined


def _hours(points: Points, earlier: int, later: int) -> float:
    return float((points.at[later] - points.at[earlier]) / np.timedelta64(1, "h"))


def _joined(first: Episode, second: Episode, points: Points) -> Episode:
    level = float(points.value[first.began : first.until + 1].mean()) - first.change
    change = float(points.value[first.began : second.until + 1].mean()) - level
    half = min(first.change_high - first.change_low, second.change_high - second.change_low) / 2
    return Episode(
        first.direction,
        first.signalled,
        first.began,
        first.began_low,
        first.began_high,
        second.until,
        change,
        change - half,
        change + half,
        second.over,
        first.kind,
    )


def _stretch(baseline: Baseline, points: Points) -> tuple[int, int]:
    """First index and end of the baseline's batches; of all points while it learns or where they are gone."""
    if baseline.learning:
        return 0, len(points)
    start, stop = int(np.searchsorted(points.at, np.datetime64(baseline.first_at, "us"))), _end_of(baseline, points)
    return (start, stop) if stop > start else (0, len(points))


def _drawn(work: Working, series: Series, model: Model, limits: np.ndarray, stretch: tuple[int, int]) -> Drawn:
    """The limits that are drawn; where eight batches say enough, they rest on the baseline's stretch alone."""
    own = information(filtered(series, model, *stretch), LASTING)
    lower, upper = _beyond(2, work, model, limits, own) or _usual(work, model, limits)
    return lower, upper, _beyond(LASTING, work, model, limits, own)


def _beyond(window: int, work: Working, model: Model, limits: np.ndarray, held: np.ndarray) -> Limits | None:
    """How far off `window` batches in a row are, each alike, when they signal, in the stream's unit.

    held: of the baseline's stretch, so that what is drawn does not move later; None where it is too short. Drawn for
    two, because with heavy tails a single far batch proves little: one alone must be much farther off.
    """
    if len(held) < window:
        return None
    far = float(reach(held, limits, model.level_se, model.nu)[window - 1])
    return work.unit(model.level - far), work.unit(model.level + far)


def _usual(work: Working, model: Model, limits: np.ndarray) -> Limits:
    """The same for two batches where there are too few to tell what two hold: as if they were independent."""
    error = float(np.median(work.error_var(model.within)))
    variance = (model.batch**2 + model.lot**2 + model.flour**2 + error) * model.scale2
    far = float(reach(np.array([1.0, 2.0]) / variance, limits, model.level_se, model.nu)[1])
    return work.unit(model.level - far), work.unit(model.level + far)
