"""Bakeries drawn at random that write the contract's logs, each with one fault put in; apart from `plants` and `works`.

How volume answers and how much everything varies are one table of the trade (common practice, no source), not drawn
anew for each plant: what is asked here is whether the whole program, from files to calls, gets the ordinary faults right.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pandas as pd

START = pd.Timestamp("2026-03-02")
DAYS_BEFORE, DAYS_AFTER = 23, 5
COOKED_EVERY_H, WEIGHT_BEFORE_KG, USUAL_LOSS_PCT = 2.0, 300.0, 2.0
DOUGHS_A_DAY, MEASURED, LOAVES = 14, 0.6, 4
USUAL_VOLUME, GAS_OF_A_TEST_ML = 4.6, 1400.0
SEED = 20260417


@dataclass(frozen=True)
class Line:
    """What a line uses; lines that name the same one share it."""

    kettle: str
    mixer: str
    proofer: str
    oven: str
    volumeter: str
    product: str


LINES = {
    "L1": Line("K1", "M1", "P1", "O1", "V1", "milk-loaf"),
    "L2": Line("K1", "M2", "P1", "O2", "V1", "milk-loaf"),
    "L3": Line("K2", "M3", "P2", "O2", "V2", "soft-roll"),
}


@dataclass(frozen=True)
class Kind:
    """A fault of the trade's list: its group, what the lines that have it share, and what it does at full size."""

    group: str
    shared: str
    does: tuple[tuple[str, float], ...]


FAULTS = {
    "over-evaporated": Kind("paste", "kettle", (("loss", 4.0), ("cook", 6.0))),
    "under-cooked": Kind("paste", "kettle", (("loss", -1.5), ("cook", -6.0), ("paste", -0.03))),
    "paste dose": Kind("paste", "line", (("dose", -0.10),)),
    "chill missed": Kind("paste", "line", (("paste temp", 15.0), ("warmed", 3.0))),
    "yeast lot": Kind("yeast", "lot", (("lot", -0.10),)),
    "yeast dose": Kind("yeast", "line", (("yeast", -0.10),)),
    "dough cold": Kind("yeast", "mixer", (("dough", -2.0),)),
    "proof short": Kind("yeast", "line", (("minutes", -8.0),)),
    "proof cold": Kind("yeast", "proofer", (("box", -3.0),)),
    "under-mixed": Kind("handling", "mixer", (("mix", -0.15), ("spread", 0.25))),
    "over-mixed": Kind("handling", "mixer", (("mix", 0.20), ("spread", 0.30))),
    "moulder": Kind("handling", "line", (("handling", -0.06), ("spread", 0.35))),
    "transfer": Kind("handling", "line", (("handling", -0.045), ("low tail", 0.18))),
    "oven hot": Kind("unexplained", "oven", (("rest", -0.03), ("bake loss", 1.0))),
    "volumeter": Kind("unexplained", "volumeter", (("rest", -0.04),)),
    "not recorded": Kind("unexplained", "line", (("rest", -0.045),)),
}


@dataclass(frozen=True)
class Fault:
    """One fault: on which line, from which hour, how many times the trade's size."""

    name: str
    line: str
    hour: float
    times: float

    @property
    def kind(self) -> Kind:
        """What it is."""
        return FAULTS[self.name]

    def on(self, what: str, line: np.ndarray, hour: np.ndarray) -> np.ndarray | float:
        """By how much the fault moves something on each dough; 0 for what it leaves alone."""
        size = dict(self.kind.does).get(what, 0.0)
        if not size or self.kind.shared == "lot":
            return 0.0
        same = line == self.line
        if self.kind.shared != "line":
            mine = getattr(LINES[self.line], self.kind.shared)
            same = np.array([getattr(LINES[name], self.kind.shared) == mine for name in line])
        return size * self.times * (same & (hour >= self.hour))


@dataclass(frozen=True)
class Bakery:
    """Doughs in order of mixing with the true effect of each group (n by 4, ln), and the logs that tell of them.

    doughs: line, hour, key (shift_date/line/dough_batch) and whether loaves were measured.
    """

    fault: Fault
    gas_tests: str
    doughs: pd.DataFrame
    effects: np.ndarray
    logs: dict[str, pd.DataFrame]
    plant_file: str

    def write(self, folder: Path) -> None:
        """The plant file and one CSV a log."""
        (folder / "logs").mkdir(parents=True)
        (folder / "plant.toml").write_text(self.plant_file, encoding="utf-8")
        for kind, rows in self.logs.items():
            rows.to_csv(folder / "logs" / f"{kind}.csv", index=False)


def plant_file(dosing: str) -> str:
    """A plant of these lines."""
    parts = [
        'plant = "invented"\ntimezone = "UTC"\n[shifts]\nday = "00:00"\n[pastes.water-2]\nliquid_ratio = 2.0',
        f'usual_loss_pct = {USUAL_LOSS_PCT}\ndosing = "{dosing}"\ncook_temp_c = {{ warn = [62, 70], act = [55, 80] }}',
        "loss_pct = { warn = [0.2, 5.0], act = [-0.5, 12.0] }\nhydration_points = { warn = 2.0, act = 6.0 }",
    ]
    parts += [f'[kettles.{name}]\npastes = ["water-2"]' for name in ("K1", "K2")]
    parts += [
        f'[products.{name}]\npaste = "water-2"\nhydration_pct = 63.0\npaste_flour_pct = 20.0\nyeast_pct = 3.0\n'
        "dough_temp_c = { warn = [23, 29], act = [20, 33] }\nscaled_g = 450.0\nspecific_volume = [3.0, 6.5]"
        for name in ("milk-loaf", "soft-roll")
    ]
    parts += [
        f'[lines.{name}]\nkettle = "{line.kettle}"\nproducts = ["{line.product}"]\nmixer = "{line.mixer}"\n'
        f'proofer = "{line.proofer}"\noven = "{line.oven}"'
        for name, line in LINES.items()
    ]
    return "\n".join(parts) + "\n"


@dataclass(frozen=True)
class _Lots:
    """Lots of one delivery: hour each came, and what each is worth, ln."""

    at: np.ndarray
    worth: np.ndarray

    def of(self, hour: np.ndarray) -> np.ndarray:
        return np.maximum(np.searchsorted(self.at, hour) - 1, 0)


def _lots(rng: np.random.Generator, sd: float, days: tuple[float, float]) -> _Lots:
    at = [-float(rng.uniform(0, 48))]
    while at[-1] < (DAYS_BEFORE + DAYS_AFTER + 2) * 24:
        at.append(at[-1] + 24 * float(rng.uniform(*days)))
    return _Lots(np.array(at), rng.normal(0, sd, len(at)))


def draw(number: int) -> Bakery:
    """Bakery `number`: the kinds of fault take turns, one to twice the trade's size; half have no gas tests."""
    rng = np.random.default_rng([SEED, number])
    name, line = list(FAULTS)[number % len(FAULTS)], str(rng.choice(list(LINES)))
    dosing = "weighed" if name == "paste dose" else str(rng.choice(["divided", "weighed"]))
    gas_tests = str(rng.choice(["none", "lot", "dough"], p=[0.5, 0.3, 0.2]))
    hour, times = 24 * (DAYS_BEFORE + float(rng.random())), float(rng.uniform(1.0, 2.0))
    yeast, flour = _lots(rng, 0.04, (2, 4)), _lots(rng, 0.015, (3, 7))
    if name == "yeast lot":
        hour = float(yeast.at[np.searchsorted(yeast.at, hour)])
        yeast.worth[np.searchsorted(yeast.at, hour)] = times * dict(FAULTS[name].does)["lot"]
    return _Works(rng, Fault(name, line, hour, times), yeast, flour, dosing, gas_tests).bakery()


def _h(points: np.ndarray) -> np.ndarray:
    """Volume for hydration beyond the formula, ln."""
    return 0.010 * points - 0.0025 * points**2


def _of_gas(gas: np.ndarray) -> np.ndarray:
    """Volume for gas made, ln of the usual: flattens beyond 10 % more."""
    return 0.40 * (gas - 3.0 * np.maximum(gas - 0.10, 0.0) ** 2)


class _Works:
    """One bakery at work, dough by dough; rates and spreads are common practice, no source."""

    def __init__(
        self, rng: np.random.Generator, fault: Fault, yeast: _Lots, flour: _Lots, dosing: str, gas_tests: str
    ) -> None:
        self.rng, self.fault, self.yeast, self.flour = rng, fault, yeast, flour
        self.dosing, self.gas_tests = dosing, gas_tests
        end = fault.hour + 24 * DAYS_AFTER
        rows = [
            (line, hour)
            for line in LINES
            for day in range(int(end // 24) + 1)
            for hour in 24 * day + np.sort(rng.uniform(0, 23.5, DOUGHS_A_DAY))
            if hour < end
        ]
        grid = pd.DataFrame(rows, columns=["line", "hour"]).sort_values("hour", kind="stable").reset_index(drop=True)
        self.line, self.hour, self.n = grid["line"].to_numpy(dtype=object), grid["hour"].to_numpy(), len(grid)
        self._cook()
        self._mix()
        self._answer()

    def moved(self, what: str) -> np.ndarray | float:
        return self.fault.on(what, self.line, self.hour)

    def around(self, mean: float, sd: float) -> np.ndarray:
        return self.rng.normal(mean, sd, self.n)

    def _cook(self) -> None:
        """Kettles cook on the hour; a dough takes the newest paste of its line's kettle that is three hours old."""
        each = int((self.hour[-1] + 12) // COOKED_EVERY_H)
        kettle = np.repeat(["K1", "K2"], each).astype(object)
        start = np.tile(np.arange(each) * COOKED_EVERY_H - 10.0, 2)
        hit = (self.fault.kind.shared == "kettle") & (kettle == LINES[self.fault.line].kettle)
        on = hit * (start + 3 >= self.fault.hour) * self.fault.times
        does, n = dict(self.fault.kind.does), len(kettle)
        loss = np.exp(self.rng.normal(np.log(2.2) - 0.06, 0.35, n)) + does.get("loss", 0.0) * on
        self.pastes = pd.DataFrame(
            {
                "kettle": kettle,
                "start": start,
                "loss": np.maximum(loss, 0.3),
                "residue": np.maximum(self.rng.normal(1.2, 0.4, n), 0.1),
                "cook": self.rng.normal(66, 2, n) + does.get("cook", 0.0) * on,
            }
        )
        latest = np.floor((self.hour - 3 + 10.0) / COOKED_EVERY_H).astype(int)
        own = np.array([LINES[line].kettle == "K2" for line in self.line])
        self.paste = np.clip(latest, 0, each - 1) + own * each

    def _mix(self) -> None:
        """What goes into each dough: 100 kg of flour, 20 of them cooked; water made up for is written as none."""
        made = self.pastes.iloc[self.paste]
        loss, residue = made["loss"].to_numpy() / 100, made["residue"].to_numpy() / 100
        weight = 60 * (1 - loss - residue) if self.dosing == "divided" else 60 * (1 - USUAL_LOSS_PCT / 100)
        self.paste_kg = weight * self.around(1.0, 0.006) * (1 + self.moved("dose"))
        flour = self.paste_kg / 3 / (1 - loss)
        self.liquid_kg = self.around(63 - (60 * (1 - USUAL_LOSS_PCT / 100) - 20), 0.1)
        self.points = 100 * (self.liquid_kg + self.paste_kg - flour) / (80 + flour) - 63
        self.yeast_kg = 3 * self.around(1.0, 0.007) * (1 + self.moved("yeast"))
        self.paste_c = self.around(20, 2) + self.moved("paste temp")
        self.warmed = self.moved("warmed") + np.zeros(self.n)
        self.dough_c = self.around(26, 0.7) + self.moved("dough") + self.warmed
        self.minutes = np.round(60 * np.exp(self.around(0, 0.04)) + self.moved("minutes"))
        self.box_c = self.around(36, 0.6) + self.moved("box")
        self.mixed = self.around(0, 0.03) + self.moved("mix")
        self.baked_off = self.around(11, 0.35) + self.moved("bake loss")

    def _answer(self) -> None:
        """True effect of each group on ln specific volume."""
        self.yeast_lot, self.flour_lot = self.yeast.of(self.hour), self.flour.of(self.hour)
        age = (self.hour - self.yeast.at[self.yeast_lot]) / 24
        self.lot_gas = self.yeast.worth[self.yeast_lot] - 0.006 * age
        gas = self.lot_gas + 0.9 * np.log(self.yeast_kg / 3) + 0.0665 * (self.dough_c - 26)
        gas = gas + 0.9 * np.log(self.minutes / 60) + 0.04 * (self.box_c - 36) + 0.008 * np.minimum(self.points, 0)
        self.kept = self.around(0, 1.5)
        day = self.rng.normal(0, 0.010, int(self.hour[-1] // 24) + 1)[(self.hour // 24).astype(int)]
        without = _of_gas(gas - 0.0665 * self.warmed)
        cooked = self.fault.on("paste", self.line, self.hour)
        self.effects = np.column_stack(
            [
                _h(self.points) + _of_gas(gas) - without + cooked,
                without,
                0.010 * self.kept
                - 0.30 * np.maximum(-self.mixed, 0)
                - 0.20 * np.maximum(self.mixed - 0.05, 0)
                + self.moved("handling"),
                self.flour.worth[self.flour_lot] + day + self.around(0, 0.015) + self.moved("rest"),
            ]
        )

    def bakery(self) -> Bakery:
        """Written down."""
        self.measured = self.rng.random(self.n) < MEASURED
        self.name = np.array([f"{i:05d}" for i in range(self.n)], dtype=object)
        at = START + pd.to_timedelta(self.hour, unit="h")
        self.at, self.date = at, np.array(at.strftime("%Y-%m-%d"), dtype=object)
        logs = {"paste": self._paste_log(), "dough": self._dough_log(), "proof": self._proof_log()}
        logs |= {"loaf": self._loaf_log()} | ({} if self.gas_tests == "none" else {"gas": self._gas_log()})
        doughs = pd.DataFrame(
            {
                "line": self.line,
                "hour": self.hour,
                "key": self.date + "/" + self.line + "/" + self.name,
                "measured": self.measured,
            }
        )
        return Bakery(self.fault, self.gas_tests, doughs, self.effects, logs, plant_file(self.dosing))

    def _paste_log(self) -> pd.DataFrame:
        p, start = self.pastes, START + pd.to_timedelta(self.pastes["start"], unit="h")
        residue = WEIGHT_BEFORE_KG * p["residue"] / 100
        return pd.DataFrame(
            {
                "paste_batch": self._paste_names(),
                "kettle": p["kettle"],
                "shift_date": start.dt.strftime("%Y-%m-%d"),
                "shift": "day",
                "weight_before_kg": WEIGHT_BEFORE_KG,
                "weight_after_kg": (WEIGHT_BEFORE_KG * (1 - p["loss"] / 100) - residue).round(1),
                "residue_kg": residue.round(1),
                "kettle_water_kg": 0,
                "cook_start": _stamp(start),
                "cook_end": _stamp(start + pd.Timedelta("35min")),
                "cook_temp_c": p["cook"].round(1),
                "probe": "contact",
            }
        )

    def _paste_names(self) -> np.ndarray:
        return np.array([f"{k}-{i:04d}" for i, k in enumerate(self.pastes["kettle"])], dtype=object)

    def _dough_log(self) -> pd.DataFrame:
        return pd.DataFrame(
            {
                "dough_batch": self.name,
                "line": self.line,
                "product": [LINES[line].product for line in self.line],
                "shift_date": self.date,
                "shift": "day",
                "mixed_at": _stamp(self.at),
                "flour_kg": 80,
                "liquid_kg": self.liquid_kg.round(2),
                "flour_lot": [f"F{i}" for i in self.flour_lot],
                "makeup_water_kg": 0,
                "paste_batch": self._paste_names()[self.paste],
                "paste_kg": self.paste_kg.round(2),
                "yeast_lot": [f"Y{i}" for i in self.yeast_lot],
                "yeast_kg": self.yeast_kg.round(3),
                "paste_temp_c": self.paste_c.round(1),
                "dough_temp_c": self.dough_c.round(1),
                "mix_minutes": (10 * (1 + self.mixed)).round(1),
                "mix_energy_wh_kg": (12 * (1 + self.mixed) * (1 - 0.03 * np.minimum(self.points, 2))).round(2),
            }
        )

    def _proof_log(self) -> pd.DataFrame:
        into = self.at + pd.Timedelta("30min")
        return pd.DataFrame(
            {
                "dough_batch": self.name,
                "line": self.line,
                "proof_in": _stamp(into),
                "proof_out": _stamp(into + pd.to_timedelta(self.minutes, unit="min")),
                "proof_temp_c": self.box_c.round(1),
                "proof_rh_pct": self.around(80, 2).round(),
            }
        )

    def _loaf_log(self) -> pd.DataFrame:
        own = np.repeat(np.flatnonzero(self.measured), LOAVES)
        spread = 1 + (self.moved("spread") + np.zeros(self.n))[own]
        tail = (self.moved("low tail") + np.zeros(self.n))[own]
        n, rng = len(own), self.rng
        odd = rng.normal(0, 1, n) * np.hypot(0.018 * spread, 0.010)
        odd = (
            odd + tail * 0.25 - np.where(rng.random(n) < 0.25, tail, 0.0)
        )  # a quarter of the loaves, the mean as it is
        scaled = 450 * np.exp(rng.normal(0, 0.012, n))
        baked = scaled * (1 - self.baked_off[own] / 100)
        volume = USUAL_VOLUME * np.exp(self.effects.sum(axis=1)[own] + odd) * baked
        return pd.DataFrame(
            {
                "loaf": np.tile(np.arange(LOAVES) + 1, n // LOAVES),
                "dough_batch": self.name[own],
                "line": self.line[own],
                "measured_at": _stamp(self.at[own] + pd.Timedelta("4h")),
                "scaled_g": scaled.round(1),
                "baked_g": baked.round(1),
                "volume_ml": volume.round(),
                "volumeter": [LINES[line].volumeter for line in self.line[own]],
            }
        )

    def _gas_log(self) -> pd.DataFrame:
        if self.gas_tests == "lot":
            came = self.yeast.at + self.rng.uniform(4, 12, len(self.yeast.at))
            use = np.flatnonzero((self.yeast.at > 0) & (came < self.hour[-1]))
            made, at = self.yeast.worth[use], START + pd.to_timedelta(came[use], unit="h")
            own = pd.DataFrame({"yeast_lot": [f"Y{i}" for i in use]})
        else:
            use = np.flatnonzero(self.rng.random(self.n) < 0.06)
            made, at = self.lot_gas[use] + 0.9 * np.log(self.yeast_kg[use] / 3), self.at[use] + pd.Timedelta("4h")
            lots = [f"Y{i}" for i in self.yeast_lot[use]]
            own = pd.DataFrame({"dough_batch": self.name[use], "line": self.line[use], "yeast_lot": lots})
        measured = GAS_OF_A_TEST_ML * np.exp(made + self.rng.normal(0, 0.03, len(use)))
        tests = {"gas_test": [f"G{i}" for i in use], "tested_at": _stamp(at), "gas_produced_ml": measured.round()}
        return own.assign(**tests)


def _stamp(at: pd.DatetimeIndex | pd.Series) -> pd.Index | pd.Series:
    return (at.dt if isinstance(at, pd.Series) else at).strftime("%Y-%m-%dT%H:%M")
