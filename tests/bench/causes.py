"""How often the causes are called right, on plants drawn at random: `python -m tests.bench.causes [--quick]`.

A call's truth is the mean effect of each group over the batches it speaks of, less the baseline's mean.
"""

from __future__ import annotations

import argparse
import platform
import time
from contextlib import nullcontext
from datetime import datetime

import numpy as np
import pandas as pd

from models.causes.attribute import attribute
from models.shapes import GROUPS, Baseline, Call, Episode, Points, Stream
from tests.bench import plants, sloped, works
from tests.bench import told as knowing
from tests.bench.judged import LATER, Judged, report
from tests.bench.works import Simulated

SEED = 20260301
TYPED = (
    "dose_pct",
    "yeast_pct",
    "dough_temp_c",
    "proof_minutes",
    "proof_temp_c",
    "proof_rh_pct",
    "mix_minutes",
    "mix_energy_wh_kg",
    "usual_gap_points",
    "paste_temp_c",
    "paste_cook_temp_c",
    "bake_loss_pct",
    "gas_produced_ml",
    "lot_gas_ml",
    "gas_kept_pct",
)
PEER_GROUP = {
    "dose_pct": "paste",
    "usual_gap_points": "paste",
    "paste_temp_c": "paste",
    "paste_cook_temp_c": "paste",
    "mix_minutes": "handling",
    "mix_energy_wh_kg": "handling",
    "proof_rh_pct": "handling",
    "gas_kept_pct": "handling",
    "bake_loss_pct": "unexplained",
}


def points_of(frame: pd.DataFrame, line: str) -> Points:
    """The sampled batches of one line as points."""
    f = frame[(frame["line"] == line) & frame["specific_volume"].notna()].sort_values("mixed_at", kind="stable")
    return Points(
        f["batch_key"].to_numpy(dtype=object),
        f["mixed_at"].to_numpy(dtype="datetime64[us]"),
        f["specific_volume"].to_numpy(dtype=float),
        f["loaves"].to_numpy(dtype=float),
        f["specific_volume_sd"].to_numpy(dtype=float),
        f["yeast_lot"].fillna("").to_numpy(dtype=object),
        f["shift_date"].to_numpy(dtype="datetime64[D]"),
    )


def baseline_of(points: Points, count: int) -> Baseline:
    """The first `count` points as a frozen baseline; spread with the days' own."""
    v = points.value[:count]
    sd = float(v.std(ddof=1))
    when = [pd.Timestamp(points.at[i]).to_pydatetime() for i in (0, count - 1)]
    return Baseline(
        float(v.mean()),
        sd,
        float(np.nanmean(points.sd_within[:count])),
        0.2,
        sd / np.sqrt(count) * 1.5,
        0.1,
        str(points.keys[0]),
        str(points.keys[count - 1]),
        when[0],
        when[1],
        count,
        len(set(points.day[:count])),
        len(set(points.lot[:count])),
        (),
        "bench",
        False,
        "bench",
    )


def _cusum(z: np.ndarray, sign: float, start: int, k: float = 0.5, h: float = 5.0) -> int | None:
    total = 0.0
    for i in range(start, len(z)):
        total = max(0.0, total + sign * z[i] - k)
        if total > h:
            return i
    return None


def detect(points: Points, baseline: Baseline, until: int | None = None, watch_from: int = 0) -> Episode | None:
    """The first lasting departure after the baseline (or after `watch_from`): cumulative sums, then likelihood."""
    z = (points.value - baseline.level) / baseline.sd
    start = max(baseline.batches, watch_from)
    found = [(i, s) for s in (-1.0, 1.0) if (i := _cusum(z, s, start)) is not None]
    if not found:
        return None
    signalled, sign = min(found)
    sums = [
        (sign * z[b : signalled + 1].sum()) ** 2 / (signalled + 1 - b) / 2
        if sign * z[b : signalled + 1].sum() > 0
        else 0
        for b in range(max(baseline.batches, signalled - 60), signalled + 1)
    ]
    offset = max(baseline.batches, signalled - 60)
    best = int(np.argmax(sums))
    near = np.flatnonzero(np.array(sums) > max(sums) - 2)
    last = min(signalled if until is None else until, len(points) - 1)
    change = float(points.value[offset + best : last + 1].mean() - baseline.level)
    error = 1.645 * baseline.sd / np.sqrt(last + 1 - offset - best)
    return Episode(
        "low" if sign < 0 else "high",
        signalled,
        offset + best,
        offset + int(near[0]),
        offset + int(near[-1]),
        last,
        change,
        change - error,
        change + error,
        False,
        "step",
    )


def truth_of(sim: Simulated, keys_base, keys_episode) -> np.ndarray:
    """Mean true effect of each group over the episode less the baseline, ln units."""
    place = {k: i for i, k in enumerate(sim.batches["batch_key"])}
    before = sim.effects[[place[k] for k in keys_base]].mean(axis=0)
    return sim.effects[[place[k] for k in keys_episode]].mean(axis=0) - before


def peer(sim: Simulated, base_keys, episode_keys) -> str:
    """The plain peer: the group of the driver that moved most, in its own baseline standard deviations."""
    frame = sim.batches.set_index("batch_key")
    before, after = frame.loc[list(base_keys)], frame.loc[list(episode_keys)]
    best, group = 0.0, "unexplained"
    for name in TYPED:
        b, a = before[name].dropna(), after[name].dropna()
        if len(b) > 4 and len(a) and b.std() > 0:
            z = abs(a.mean() - b.mean()) / b.std()
            if z > best:
                best, group = z, PEER_GROUP.get(name, "yeast")
    return group if best > 1.0 else "unexplained"


def _until(frame: pd.DataFrame, at: np.datetime64) -> pd.DataFrame:
    return frame[frame["mixed_at"].to_numpy(dtype="datetime64[us]") <= at]


def _elsewhere(sim: Simulated, frame: pd.DataFrame, line: str, counts: dict[str, int]) -> list:
    out = []
    for other in sim.setup.per_day:
        points = points_of(frame, other)
        if other == line or len(points) <= counts[other] + 2:
            continue
        episode = detect(points, baseline_of(points, counts[other]), len(points) - 1)
        if episode is not None:
            out.append(
                (
                    Stream("invented", "specific volume", "mL/g", other, sim.setup.plant.lines[other].products[0]),
                    episode,
                    points,
                )
            )
    return out


def judge(sim: Simulated, number: int, keep: list | None = None) -> list[Judged]:
    """Calls on the first faulted line's first episode: at the alarm, six and twelve sampled batches later."""
    fault = sim.faults[0]
    counts = {n: max(20, int(0.45 * len(points_of(sim.batches, n)))) for n in sim.setup.per_day}
    points = points_of(sim.batches, fault.line)
    if len(points) < 40:
        return []
    baseline = baseline_of(points, counts[fault.line])
    onset = plants.START + np.timedelta64(int(fault.start_h * 60), "m")
    watch_from = int((points.at < onset).sum()) - 5
    first = detect(points, baseline, watch_from=watch_from)
    if first is None:
        return []
    if points.at[first.signalled] < onset or (points.at > onset)[: first.signalled].sum() > 50:
        return []
    out = []
    for later in LATER:
        last = first.signalled + later
        if last >= len(points):
            break
        at = points.at[last]
        frame = _until(sim.batches, at)
        seen = points_of(frame, fault.line)
        episode = detect(seen, baseline, last, watch_from)
        stream = Stream(
            "invented", "specific volume", "mL/g", fault.line, sim.setup.plant.lines[fault.line].products[0]
        )
        others = _elsewhere(sim, frame, fault.line, counts)
        arguments = (sim.setup.plant, frame, sim.pastes, stream, baseline, episode, seen)
        if keep is not None:
            keep.append((arguments, others, sim))
        began = time.process_time()
        call = attribute(*arguments, changes=sim.changes, checks=sim.checks, others=others)
        seconds = time.process_time() - began
        reference = sloped.known(sim, arguments, float(np.log1p(episode.change / baseline.level)))
        out.append(_held(sim, call, baseline, episode, seen, later, seconds, number, reference))
    return out


def _held(
    sim: Simulated,
    call: Call,
    baseline: Baseline,
    episode: Episode,
    points: Points,
    later: int,
    seconds: float,
    number: int,
    reference: np.ndarray,
) -> Judged:
    base_keys = points.keys[: baseline.batches]
    keys = points.keys[episode.began : episode.until + 1]
    truth = truth_of(sim, base_keys, keys)
    parts = np.array([c.contribution for c in call.causes]) / baseline.level
    sign = np.sign(episode.change)
    fault = sim.faults[0]
    shares = [c.share for c in call.causes]
    return Judged(
        fault.name,
        fault.group,
        GROUPS[int(np.argmax(truth * sign))],
        GROUPS[int(np.argmax(shares))],
        all(f.recorded for f in sim.faults),
        abs(truth.sum()),
        later,
        truth,
        parts,
        np.array([c.low for c in call.causes]) / baseline.level,
        np.array([c.high for c in call.causes]) / baseline.level,
        len(sim.faults) > 1,
        fault.ramp_h > 0,
        sim.setup.gas_tests,
        peer(sim, base_keys, keys),
        GROUPS[int(np.argmax(reference * sign))],
        seconds,
        number,
        {f.group: plants.left_behind(sim.setup, f) for f in sim.faults},
    )


GAINS = ("yeast_dose", "dough_cold", "proof_short", "yeast_lot", "flour_lot", "volumeter", "unknown", "proof_cold")


def simulate(number: int) -> Simulated:
    """Plant `number` with its fault: the kinds take turns, one in six has a second fault at the same time."""
    rng = np.random.default_rng([SEED, number])
    setup = plants.draw_setup(rng)
    name = list(plants.FAULTS)[number % len(plants.FAULTS)]
    size = float(rng.uniform(0.02, 0.065))
    amount = size if name in GAINS and rng.random() < 0.25 or name == "chill" else -size
    start = setup.days * 24 * float(rng.uniform(0.55, 0.75))
    faults = [plants.draw_fault(setup, rng, name, amount, start)]
    if rng.random() < 1 / 6:
        second = str(rng.choice([f for f in plants.FAULTS if plants.FAULTS[f] != plants.FAULTS[name] and f != "chill"]))
        one = plants.draw_fault(
            setup, rng, second, np.sign(amount) * size * 0.7 if second in GAINS else -size * 0.7, start
        )
        faults.append(
            plants.Fault(
                one.name,
                one.group,
                faults[0].line,
                one.amount,
                start,
                one.ramp_h,
                plants.left_record(setup, second, faults[0].line),
            )
        )
    return works.simulate(setup, tuple(faults), rng)


def _judged(number: int, told: bool) -> list[Judged]:
    sim = simulate(number)
    with knowing.told(sim.setup) if told else nullcontext():
        return judge(sim, number)


def main() -> None:
    """Print the tables."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--quick", action="store_true", help="120 plants instead of 900")
    parser.add_argument("--plants", type=int, default=0)
    parser.add_argument("--first", type=int, default=0)
    parser.add_argument("--told", action="store_true", help="with every plant's own slopes and spreads told: a ceiling")
    chosen = parser.parse_args()
    count = chosen.plants or (120 if chosen.quick else 900)
    began = time.process_time()
    calls = [j for i in range(chosen.first, chosen.first + count) for j in _judged(i, chosen.told)]
    print(
        f"{count} plants, seed {SEED}, {len([j for j in calls if j.later == 0])} episodes, {platform.machine()}, "
        f"{datetime.now():%Y-%m-%d}; processor time of a call {np.mean([j.seconds for j in calls]):.3f} s, largest "
        f"{max(j.seconds for j in calls):.3f} s"
    )
    print("\n".join(report(calls)))
    print(f"{time.process_time() - began:.0f} s")


if __name__ == "__main__":
    main()
