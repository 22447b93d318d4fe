"""Independent normal batches, level and sd known: delays, in-control run lengths, the table of limits, the onset."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from models.charts.boundary import SLOPE, boundary
from models.charts.follow import follow
from models.charts.innovations import Model, Series
from models.charts.scan import WINDOW
from tests.reference.yardsticks.run_lengths import best_cusum

SHIFTS = (0.5, 0.75, 1.0, 1.5, 2.0, 3.0)
LIMITS = {
    370: (28.8, 15.6, 9.9, 5.2, 3.3, 1.7),
    1344: (38.8, 20.1, 12.5, 6.3, 3.9, 2.0),
    20000: (59.3, 29.3, 17.7, 8.6, 5.2, 2.6),
}
"""Delay in batches of the best CUSUM tuned to each single shift."""
ALLOWED = (1.15, 1.10, 1.10, 1.10, 1.10, 1.15)
UNIT = Model(0.0, 1.0, 0.0, 0.0, 0.0, 0.0, 1e9, 0.0, False)


def beyond(met: bool) -> str:
    """What stands behind a line whose limit is not met."""
    return "" if met else "  BEYOND"


def _sums(x: np.ndarray) -> np.ndarray:
    return np.concatenate([np.zeros((*x.shape[:-1], 1)), np.cumsum(x, axis=-1)], axis=-1)


def delay(arl0: float, shift: float, paths: int, seed: int) -> tuple[float, float]:
    """Mean delay in batches after a step at the first batch, and its standard error."""
    limits = boundary(arl0, WINDOW)
    steps = int(40 + 8 * (limits[0] / shift) ** 2)
    rng, found = np.random.default_rng(seed), []
    for _ in range(max(paths // 2000, 1)):
        s = _sums(rng.standard_normal((2000, steps)) + shift)
        hit = np.zeros((2000, steps), dtype=bool)
        for m in range(1, min(WINDOW, steps) + 1):
            hit[:, m - 1 :] |= np.abs(s[:, m:] - s[:, :-m]) > limits[m - 1] * m**0.5
        found.append(np.where(hit.any(axis=1), hit.argmax(axis=1) + 1.0, steps))
    all_found = np.concatenate(found)
    return float(all_found.mean()), float(all_found.std() / len(all_found) ** 0.5)


def run_lengths(levels: np.ndarray, points: int, seed: int, chunk: int = 200_000) -> np.ndarray:
    """In-control run lengths, starting afresh after each alarm, for a set of limits c in boundary = c - SLOPE ln m."""
    rng, alarms, done = np.random.default_rng(seed), np.zeros(len(levels)), 0
    lower = SLOPE * np.log(np.arange(1, WINDOW + 1))
    while done < points:
        s = _sums(rng.standard_normal(chunk))
        best = np.full(chunk, -np.inf)
        for m in range(1, WINDOW + 1):
            score = np.abs(s[m:] - s[:-m]) / m**0.5 + lower[m - 1]
            np.maximum(best[m - 1 :], score, out=best[m - 1 :])
        alarms += [_alarms(s, np.flatnonzero(best > level), level, lower) for level in levels]
        done += chunk
    return done / np.maximum(alarms, 1)


def _alarms(s: np.ndarray, candidates: np.ndarray, level: float, lower: np.ndarray) -> int:
    """Alarms among the candidates when windows may not reach back over the last alarm."""
    count, last = 0, -1
    for t in candidates:
        m = np.arange(1, min(t - last, WINDOW) + 1)
        if t - last >= WINDOW or (np.abs(s[t + 1] - s[t + 1 - m]) / m**0.5 + lower[: len(m)] > level).any():
            count, last = count + 1, t
    return count


def show_delays(paths: int, points: int) -> None:
    """Print the table of delays beside the limits, and the in-control run lengths reached."""
    print("\nDelay after a step, batches; normal, independent, level and sd known; one scheme for all sizes")
    print("  arl0   shift   ours (se)        limit  ratio  allowed   best CUSUM (own computation)")
    for arl0, limits in LIMITS.items():
        for shift, limit, allowed in zip(SHIFTS, limits, ALLOWED, strict=True):
            ours, se = delay(arl0, shift, paths, seed=int(1000 * shift) + arl0)
            verdict = beyond(ours <= allowed * limit)
            best = best_cusum(shift, arl0)[2]
            print(
                f"{arl0:6d} {shift:6.2f} {ours:8.2f} ({se:.2f}) {limit:10.1f} {ours / limit:6.3f} {allowed:6.2f}"
                f" {best:12.2f}{verdict}"
            )
    for arl0 in (370, 1344):
        reached = run_lengths(boundary(arl0, 1), points, seed=arl0)[0]
        print(f"in-control run length wanted {arl0}, simulated {reached:.0f} ({points:,} points)")


@dataclass
class Onset:
    """Errors (batches) and hits of the 90 % interval."""

    errors: list[int]
    covered: list[bool]
    width: list[int]


def onset(shift: float, runs: int, later: int, seed: int, arl0: float = 1344.0) -> Onset:
    """Onset found at the signal, or `later` batches after it, over runs with a step after 60 to 90 batches."""
    rng, limits, out = np.random.default_rng(seed), boundary(arl0, WINDOW), Onset([], [], [])
    while len(out.errors) < runs:
        true = int(rng.integers(60, 90))
        x = rng.standard_normal(true + 400)
        x[true:] += shift * rng.choice([-1.0, 1.0])
        found = _episode(x, limits, len(x))
        if found is None or found.signalled < true:
            continue
        found = _episode(x, limits, found.signalled + 1 + later)
        out.errors.append(found.began - true)
        out.covered.append(found.began_low <= true <= found.began_high)
        out.width.append(found.began_high - found.began_low + 1)
    return out


def _episode(x: np.ndarray, limits: np.ndarray, stop: int):
    alike = np.zeros(len(x), dtype=int)
    episodes = follow(Series(x, np.zeros(len(x)), alike, alike), UNIT, limits, 0, stop).episodes
    return episodes[0] if episodes else None


def show_onsets(runs: int) -> None:
    """Print the onset's error and the coverage of its interval."""
    for later in (0, 20):
        print(f"\nOnset, {later} batches after the signal; coverage wanted: 0.85 at every size, 0.88 to 0.96 over all")
        hits: list[bool] = []
        for shift in SHIFTS:
            one = onset(shift, runs, later, seed=int(1000 * shift) + later)
            hits += one.covered
            size = np.abs(one.errors)
            print(
                f"  shift {shift:4.2f}: median error {np.median(one.errors):+4.0f}, mean size {size.mean():5.1f}, "
                f"interval {np.mean(one.width):5.1f} batches, coverage {np.mean(one.covered):.3f} (n = {runs})"
                f"{beyond(np.mean(one.covered) >= 0.85)}"
            )
        print(f"  over all: {np.mean(hits):.3f}{beyond(0.88 <= np.mean(hits) <= 0.96)}")


def show_calibration(points: int = 120_000_000) -> None:
    """Print the table that models.charts.boundary keeps: limit and in-control run length, smoothed by a cubic."""
    levels = np.arange(27, 51) / 10.0
    short = levels < 3.55
    raw = np.concatenate([run_lengths(levels[short], points // 30, 11), run_lengths(levels[~short], points, 12)])
    weight = np.sqrt(np.where(short, points / 30, points) / raw)
    smooth = np.exp(np.polyval(np.polyfit(levels, np.log(raw), 3, w=weight), levels))
    for level, run, fitted in zip(levels, raw, smooth, strict=True):
        print(f"{level:.1f} {run:10.1f} {fitted:10.1f}")
