"""A small calm plant, made plainly, for the tests of the causes: three lines, six doughs a line and day."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import numpy as np
import pandas as pd

from models import plant as plant_file
from models.batchbook import BATCHES
from models.causes.attribute import attribute
from models.shapes import Baseline, Call, Cause, Episode, Points, Stream

START = np.datetime64("2026-03-02T06:00:00", "us")
DAYS, PER_DAY, LEVEL = 20, 6, 4.5
STREAM = Stream("north", "specific volume", "mL/g", "L1", "tin")


def plant(**changed: Any) -> plant_file.Plant:
    """Three lines, one kettle; L1 and L2 share the mixer M1. changed: keys of line L1."""
    lines = {
        name: {"kettle": "K1", "products": ["tin"], "mixer": mixer, "proofer": "P1", "oven": oven}
        for name, mixer, oven in (("L1", "M1", "O1"), ("L2", "M1", "O2"), ("L3", "M3", "O3"))
    }
    lines["L1"] |= changed
    return plant_file.parse(
        {
            "plant": "north",
            "timezone": "Europe/Lisbon",
            "shifts": {"early": "06:00"},
            "pastes": {"water-2": {"liquid_ratio": 2.0, "usual_loss_pct": 2.0}},
            "kettles": {"K1": {"pastes": ["water-2"]}},
            "lines": lines,
            "products": {
                "tin": {
                    "paste": "water-2",
                    "hydration_pct": 63.0,
                    "paste_flour_pct": 12.0,
                    "yeast_pct": 3.0,
                    "scaled_g": 450.0,
                }
            },
        }
    )


@dataclass
class Bakery:
    """Batches of the plant before anything went wrong; `ln` is what each test does to ln volume."""

    seed: int = 7
    frame: pd.DataFrame = field(init=False)
    ln: np.ndarray = field(init=False)

    def __post_init__(self) -> None:
        rng = np.random.default_rng(self.seed)
        rows = [(line, day, k) for day in range(DAYS) for k in range(PER_DAY) for line in ("L1", "L2", "L3")]
        n = len(rows)
        line, day, k = (np.array(x) for x in zip(*rows, strict=True))
        hours = day * 24 + k * 2.5 + (line == "L2") * 0.3 + (line == "L3") * 0.6
        dates = START.astype("datetime64[D]") + day.astype("timedelta64[D]")
        self.frame = pd.DataFrame(
            {
                "batch_key": [f"{d}/{a}/{b + 1:02d}" for d, a, b in zip(dates, line, k, strict=True)],
                "dough_batch": [f"{b + 1:02d}" for b in k],
                "line": line,
                "product": "tin",
                "shift_date": dates.astype("datetime64[us]"),
                "mixed_at": START + (hours * 3600e6).astype("timedelta64[us]"),
                "flour_lot": [f"F{d // 5}" for d in day],
                "yeast_lot": [f"Y{d // 3}" for d in day],
                "yeast_pct": 3.0 * np.exp(rng.normal(0, 0.005, n)),
                "dough_temp_c": 26 + rng.normal(0, 0.3, n),
                "paste_temp_c": 8 + rng.normal(0, 0.5, n),
                "mix_energy_wh_kg": 11 * np.exp(rng.normal(0, 0.02, n)),
                "proof_minutes": 60 * np.exp(rng.normal(0, 0.02, n)),
                "proof_temp_c": 38 + rng.normal(0, 0.3, n),
                "proof_rh_pct": 80.0,
                "paste_key": [f"{d}/K1/01" for d in dates],
                "kettle": "K1",
                "recipe": "water-2",
                "paste_loss_pct": 2.0,
                "paste_cook_temp_c": 67 + rng.normal(0, 0.5, n),
                "paste_age_h": 12.0,
                "dose_pct": 100.0,
                "usual_gap_points": rng.normal(0, 0.1, n),
                "water_made_good": "nothing owed",
                "bake_loss_pct": 11 + rng.normal(0, 0.15, n),
                "volumeter": "V1",
                "loaves": 4.0,
                "specific_volume_sd": LEVEL * 0.02 * np.sqrt(rng.chisquare(3, n) / 3),
            }
        )
        for column in BATCHES:
            if column.name not in self.frame:
                self.frame[column.name] = np.nan if column.type == "number" else None
        f = self.frame
        self.ln = (
            (
                0.36 * np.log(f["yeast_pct"] / 3)
                + 0.0266 * (f["dough_temp_c"] - 26)
                + 0.36 * np.log(f["proof_minutes"] / 60)
                + rng.normal(0, 0.01, n)
            )
            .to_numpy()
            .copy()
        )

    def rows(self, line: str | None = None, from_day: float = 15, to_day: float = DAYS) -> np.ndarray:
        """Rows of a line (all lines) from one day to before another."""
        day = (self.frame["mixed_at"].to_numpy() - START) / np.timedelta64(24, "h")
        mine = (self.frame["line"] == line).to_numpy() if line else np.ones(len(day), dtype=bool)
        return mine & (day >= from_day) & (day < to_day)

    def shift(self, rows: np.ndarray, column: str, by: float, ln: float) -> None:
        """Move a driver on some rows, and ln volume with it."""
        self.frame.loc[rows, column] += by
        self.ln[rows] += ln

    def measured(self) -> pd.DataFrame:
        """The frame with its volumes."""
        grams = 450 * (1 - self.frame["bake_loss_pct"].to_numpy() / 100)
        volume = LEVEL * np.exp(self.ln)
        return self.frame.assign(specific_volume=volume, baked_g=grams, volume_ml=volume * grams)

    def points(self, frame: pd.DataFrame, line: str = "L1") -> Points:
        """The points of a line's chart."""
        f = frame[frame["line"] == line]
        return Points(
            f["batch_key"].to_numpy(dtype=object),
            f["mixed_at"].to_numpy(dtype="datetime64[us]"),
            f["specific_volume"].to_numpy(),
            f["loaves"].to_numpy(),
            f["specific_volume_sd"].to_numpy(),
            f["yeast_lot"].fillna("").to_numpy(dtype=object),
            f["shift_date"].to_numpy(dtype="datetime64[D]"),
        )

    def call(self, began: int = 15 * PER_DAY, until: int = DAYS * PER_DAY - 1, **more: Any) -> Call:
        """Trace the change of L1 from one of its points to another; baseline: its first twelve days."""
        frame = self.measured()
        at = more.pop("plant", plant())
        points = self.points(frame)
        last = 12 * PER_DAY
        level = float(points.value[:last].mean())
        when = [points.at[i].astype("datetime64[us]").item() for i in (0, last - 1)]
        baseline = Baseline(
            level,
            float(points.value[:last].std(ddof=1)),
            0.09,
            0.0,
            0.01,
            0.1,
            str(points.keys[0]),
            str(points.keys[last - 1]),
            when[0],
            when[1],
            last,
            12,
            4,
            (),
            "test",
            False,
            "test",
        )
        over = more.pop("over", False)
        change = float(points.value[began : until + 1].mean() - level)
        episode = Episode(
            "low" if change < 0 else "high",
            min(began + 5, until),
            began,
            max(0, began - 2),
            began + 2,
            until,
            change,
            change - 0.05,
            change + 0.05,
            over,
            "shift",
        )
        frame = more.pop("shuffled", lambda x: x)(frame)
        return attribute(at, frame, pd.DataFrame({"paste_key": []}), STREAM, baseline, episode, points, **more)


def cause(call: Call, group: str) -> Cause:
    """The cause of one group."""
    return next(c for c in call.causes if c.group == group)


def leading(call: Call) -> str:
    """The group with the largest share."""
    return max(call.causes, key=lambda c: c.share).group
