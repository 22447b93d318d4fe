"""One stream, charted: baseline, limits, episodes, and in plain words what to expect of it.

The stretch up to the end of the baseline is charted as it was learned, forward in time; after it the frozen baseline
rules. With the same points and the same frozen baseline the answer is the same, and points that come later add to it
without moving a signal.
"""

from __future__ import annotations

import numpy as np

from models.charts.baseline import complete_at, freeze, frozen_model, learning, trade_model
from models.charts.boundary import FROZEN, LEARNING, Caution, boundary
from models.charts.characteristics import characteristic
from models.charts.follow import Followed, Raw, follow
from models.charts.innovations import Model, student_score
from models.charts.promise import promise
from models.charts.scan import WINDOW
from models.charts.working import Working, working
from models.shapes import Baseline, Charted, Episode, Points, Stream

QUIET = 8
"""Batches at the very start of a learning chart that cannot signal."""
SHIFT_HOURS = 8.0
"""A signal that returns within this many hours of the end of the last is the same episode, resumed."""
_NORMAL_90 = 1.6449


def chart(
    stream: Stream, points: Points, *, arl0: float, baseline: Baseline | None = None, shift_hours: float = SHIFT_HOURS
) -> Charted:
    """Chart a stream.

    points: in order of production. arl0: in-control average run length in points. baseline: a frozen one of an
    earlier run or set by a person; None or a learning one: chosen here. Raises KeyError for an undeclared
    characteristic, ValueError for an arl0 below 2.
    """
    if arl0 < 2:
        raise ValueError(f"arl0 is {arl0}; an in-control run length is at least 2 points")
    if len(points) == 0:
        return Charted(stream, points, None, None, None, (), "no data", "No points yet.")
    char = characteristic(stream)
    fixed = baseline if baseline is not None and not baseline.learning else None
    work = working(char, points, fixed.extra["reference"] if fixed else None)
    used, raws, statistic = _run(char, points, work, arl0, fixed)
    episodes = _resumed([_episode(raw, points, work, used) for raw in raws], points, shift_hours)
    model = frozen_model(used)
    lower, upper = _limits(work, model, boundary(arl0, 1, _caution(used)))
    state = "signal" if episodes and not episodes[-1].over else "learning" if used.learning else "in control"
    words = promise(char, points, work, model, boundary(arl0, WINDOW, _caution(used)), arl0, used)
    return Charted(stream, points, used, lower, upper, tuple(episodes), state, words, statistic)


def _caution(baseline: Baseline) -> Caution:
    return LEARNING if baseline.learning else FROZEN


def _run(char, points: Points, work: Working, arl0: float, fixed: Baseline | None):
    """The baseline in force, the episodes of both stretches, and the statistic of every point."""
    size = len(points)
    wide = boundary(arl0, WINDOW, LEARNING)
    model = trade_model(char, work)
    stop = size if fixed is None else int(np.searchsorted(points.at, np.datetime64(fixed.last_at, "us"), side="right"))
    learned = follow(work.series(model.within), model, wide, 0, stop, QUIET)
    if fixed is None:
        done = complete_at(work, learned.episodes)
        if done is None:
            return learning(char, points, work, learned.known, learned.episodes), learned.episodes, learned.statistic
        stop = done + 1
        learned = Followed(_known_by(learned.episodes, stop), learned.statistic[:stop], learned.known)
        fixed = freeze(char, points, work, stop, learned.episodes)
    frozen = frozen_model(fixed)
    limits = boundary(arl0, WINDOW, FROZEN)
    monitored = follow(work.series(frozen.within), frozen, limits, stop, size)
    return fixed, learned.episodes + monitored.episodes, np.concatenate([learned.statistic[:stop], monitored.statistic])


def _known_by(episodes: tuple[Raw, ...], stop: int) -> tuple[Raw, ...]:
    return tuple(raw for raw in episodes if raw.signalled < stop)


def _episode(raw: Raw, points: Points, work: Working, baseline: Baseline) -> Episode:
    """An episode in the stream's unit; change: mean from began to until less the baseline's level."""
    span = slice(raw.began, raw.until + 1)
    change = float(points.value[span].mean()) - baseline.level
    half = _NORMAL_90 * _change_se(raw, points, work, baseline)
    return Episode(
        direction="high" if raw.direction > 0 else "low", signalled=raw.signalled, began=raw.began,
        began_low=raw.began_low, began_high=raw.began_high, until=raw.until, change=change, change_low=change - half,
        change_high=change + half, over=raw.declared is not None, kind=_kind(raw.lag),
    )


def _change_se(raw: Raw, points: Points, work: Working, baseline: Baseline) -> float:
    """Standard error of the mean of the episode less the level: batches alike, few loaves, and the level's own error."""
    x, span = baseline.extra, slice(raw.began, raw.until + 1)
    count = raw.until + 1 - raw.began
    alike = (1 + baseline.phi) / (1 - baseline.phi) if count > 1 else 1.0
    batches = x["batch"] ** 2 * min(alike, count) / count
    own = float(work.error_var(x["within"])[span].mean()) / count
    return work.unit_sd(((batches + own) * x["scale2"] + x["level_se"] ** 2) ** 0.5, x["level"])


def _kind(lag: int) -> str:
    if lag < 2:
        return "far from the level at once"
    return "shift" if lag < 20 else "small lasting shift"


def _resumed(episodes: list[Episode], points: Points, hours: float) -> list[Episode]:
    """Episodes of one direction that follow within a shift are one: the first signal stands."""
    joined: list[Episode] = []
    for episode in episodes:
        last = joined[-1] if joined else None
        gap = points.at[episode.began] - points.at[last.until] if last else None
        if last and last.direction == episode.direction and gap <= np.timedelta64(int(hours * 3600), "s"):
            joined[-1] = _joined(last, episode, points)
        else:
            joined.append(episode)
    return joined


def _joined(first: Episode, second: Episode, points: Points) -> Episode:
    level = float(points.value[first.began : first.until + 1].mean()) - first.change
    change = float(points.value[first.began : second.until + 1].mean()) - level
    half = min(first.change_high - first.change_low, second.change_high - second.change_low) / 2
    return Episode(
        first.direction, first.signalled, first.began, first.began_low, first.began_high, second.until, change,
        change - half, change + half, second.over, first.kind,
    )


def _limits(work: Working, model: Model, limits: np.ndarray) -> tuple[float, float]:
    """Limits for a single batch of the usual number of readings, in the stream's unit."""
    error = float(np.median(work.error_var(model.within)))
    variance = (model.batch**2 + model.lot**2 + model.flour**2 + error) * model.scale2 + model.level_se**2
    reach = float(student_score(limits[0], model.nu)) * variance**0.5
    return work.unit(model.level - reach), work.unit(model.level + reach)
