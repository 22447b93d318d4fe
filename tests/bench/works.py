"""An invented plant at work: its drivers with faults in them, how volume answers, and what its sheets say of it."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
import pandas as pd

from models.batchbook import BATCHES
from tests.bench.plants import START, Fault, Setup


@dataclass
class Simulated:
    """Frames and the true effect of each group on every dough (n by 4)."""

    setup: Setup
    batches: pd.DataFrame
    pastes: pd.DataFrame
    changes: pd.DataFrame
    checks: pd.DataFrame
    effects: np.ndarray
    faults: tuple[Fault, ...]
    extra: dict = field(default_factory=dict)


def _grid(setup: Setup, rng: np.random.Generator) -> pd.DataFrame:
    rows = []
    for line, count in setup.per_day.items():
        for day in range(setup.days):
            hours = day * 24 + np.sort(rng.uniform(0, 20, count))
            rows += [(line, day, i + 1, h) for i, h in enumerate(hours)]
    frame = pd.DataFrame(rows, columns=["line", "day", "number", "hour"])
    return frame.sort_values(["hour", "line"], kind="stable").reset_index(drop=True)


def _lots(
    setup: Setup, grid: pd.DataFrame, rng: np.random.Generator, letter: str, days: tuple[int, int], spread_h: float
) -> tuple[np.ndarray, np.ndarray, dict[int, float]]:
    """Lot index of each dough, hours since the lot came, and when each lot came; lines change over apart."""
    starts, at = [], -float(rng.uniform(0, 48))
    while at < setup.days * 24:
        starts.append(at)
        at += 24 * float(rng.uniform(*days))
    lag = {line: float(rng.uniform(0, spread_h)) for line in setup.per_day}
    hour = grid["hour"].to_numpy() - grid["line"].map(lag).to_numpy()
    index = np.searchsorted(starts, hour, side="right") - 1
    index = np.maximum(index, 0)
    return index, grid["hour"].to_numpy() - np.array(starts)[index], dict(enumerate(starts))


def strength(fault: Fault, hour: np.ndarray) -> np.ndarray:
    """0 before the fault, 1 when full."""
    if fault.ramp_h <= 0:
        return (hour >= fault.start_h).astype(float)
    return np.clip((hour - fault.start_h) / fault.ramp_h, 0.0, 1.0)


def _noise(rng: np.random.Generator, n: int, df: float) -> np.ndarray:
    if df > 1e5:
        return rng.standard_normal(n)
    return rng.standard_t(df, n) / np.sqrt(df / (df - 2))


class Works:
    """One plant running: drivers, faults in them, volume, records."""

    def __init__(self, setup: Setup, faults: tuple[Fault, ...], rng: np.random.Generator):
        self.setup, self.faults, self.rng = setup, faults, rng
        self.grid = _grid(setup, rng)
        self.n = len(self.grid)
        self.line = self.grid["line"].to_numpy(dtype=object)
        self.hour = self.grid["hour"].to_numpy()
        self.day = self.grid["day"].to_numpy()
        self.spread = np.ones(self.n)
        self.shock = np.zeros(self.n)

    def rows(self, fault: Fault) -> np.ndarray:
        """How strongly a fault works on each dough: by line, or by what the line shares."""
        lines = self.setup.plant.lines
        shared = {
            "dough_cold": "mixer",
            "dough_warm": "mixer",
            "undermix": "mixer",
            "overmix": "mixer",
            "proof_short": "proofer",
            "proof_cold": "proofer",
            "proof_dry": "proofer",
            "oven_cold": "oven",
            "oven_hot": "oven",
            "over_evap": "kettle",
            "under_cook": "kettle",
            "paste_hot": "kettle",
            "chill": "kettle",
        }.get(fault.name)
        if fault.name in ("yeast_lot", "yeast_aged", "flour_lot"):
            return strength(fault, self.hour)
        if fault.name == "volumeter":
            meter = self.setup.volumeter
            same = {n for n in lines if meter[n] == meter[fault.line]}
        elif shared:
            same = {n for n in lines if getattr(lines[n], shared) == getattr(lines[fault.line], shared)}
        else:
            same = {fault.line}
        return strength(fault, self.hour) * np.isin(self.line.astype(str), list(same))

    def fault(self, *names: str) -> list[tuple[Fault, np.ndarray]]:
        return [(f, self.rows(f)) for f in self.faults if f.name in names]

    def ar(self, sd: float, phi: float = 0.3) -> np.ndarray:
        """Noise that is alike in neighbouring doughs of a line."""
        out = np.zeros(self.n)
        for line in self.setup.per_day:
            rows = np.flatnonzero(self.line == line)
            e = self.rng.standard_normal(len(rows)) * np.sqrt(1 - phi**2)
            value = self.rng.standard_normal()
            for i, row in enumerate(rows):
                value = phi * value + e[i]
                out[row] = value
        return sd * out

    def paste(self) -> None:
        """Paste batches of each kettle, five doughs each, and what a dough got of them."""
        s, t, rng = self.setup, self.setup.truth, self.rng
        kettle = np.array([s.plant.lines[n].kettle for n in self.line], dtype=object)
        batch = np.zeros(self.n, dtype=int)
        for k in set(kettle):
            rows = np.flatnonzero(kettle == k)
            batch[rows] = np.arange(len(rows)) // 5
        self.kettle, self.paste_batch = kettle, batch
        keys = np.array([f"{k}-{b:04d}" for k, b in zip(kettle, batch, strict=True)], dtype=object)
        names, inverse = np.unique(keys.astype(str), return_inverse=True)
        first = np.array([np.flatnonzero(inverse == i)[0] for i in range(len(names))])
        m = len(names)
        loss = 2.0 * np.exp(rng.normal(-0.5 * (s.loss_sd / 2.2) ** 2, s.loss_sd / 2.2, m))
        residue = 0.0 if s.residue_weighed else np.maximum(rng.normal(0.8, 0.3, m), 0) - 0.8
        cook, paste_temp = rng.normal(67, 1.5, m), rng.normal(8, 1.5, m)
        for f, w in self.fault("over_evap"):
            loss += self._points_for(f.amount) / s.points_per_pct * w[first]
            cook += 6 * w[first]
        self.undercook = np.zeros(m)
        for f, w in self.fault("under_cook"):
            cook -= w[first] * (abs(f.amount) / t.cook + 3)
            self.undercook += abs(f.amount) * w[first]
            loss -= 0.6 * w[first]
        self.paste_extra = np.zeros(m)
        product = next(iter(s.plant.products.values()))
        kg = product.paste_flour_pct / 100 * (1 + s.plant.pastes["r1"].liquid_ratio)
        self.brought = 0.78 * kg * rng.uniform(0.8, 1.2)
        for f, w in self.fault("chill"):
            self.paste_extra += w[first] * f.amount / (t.gas * t.degree * self.brought)
        self.pastes = pd.DataFrame(
            {
                "paste_key": names,
                "loss_pct": np.maximum(loss + residue, -0.4),
                "cook_temp_c": cook,
                "kettle": kettle[first],
            }
        )
        self.loss, self.inverse = loss[inverse], inverse
        self.cook = cook[inverse]
        self.paste_temp = paste_temp[inverse] + rng.normal(0, 1, self.n) + self.paste_extra[inverse]
        self.paste_names = names

    def _points_for(self, amount: float) -> float:
        """Hydration points whose loss takes `amount` (negative) of ln volume."""
        t = self.setup.truth
        root = np.sqrt(t.water**2 + 4 * t.curve * abs(amount))
        return float((root - t.water) / (2 * t.curve))

    def water(self) -> None:
        s, rng = self.setup, self.rng
        self.dose = 100 + rng.normal(0, 0.6, self.n)
        for f, w in self.fault("paste_dose"):
            self.dose -= self._points_for(f.amount) / 0.17 * w
        owed = np.maximum((self.loss - 2.0) * s.points_per_pct, 0)
        made = (rng.random(self.n) < s.made_good) & (owed > 0.3)
        if any(f.name == "over_evap" for f in self.faults):
            made[:] = False
        elif s.decoy and self.faults:
            late = (self.line == self.faults[0].line) & (self.hour >= self.faults[0].start_h)
            extra = np.where(late, rng.uniform(1.0, 2.5), 0.0)
            self.loss, owed, made = self.loss + extra / s.points_per_pct, owed + extra, made | late
            self.pastes.loc[np.unique(self.inverse[late]), "loss_pct"] += extra.max() / s.points_per_pct
        noise = rng.normal(0, 0.1, self.n)
        per_dose = 0.17 * (self.dose - 100)
        self.gap = -(self.loss - 2.0) * s.points_per_pct + per_dose + noise + np.where(made, owed, 0)
        seen_loss = self.pastes["loss_pct"].to_numpy()[self.inverse]
        written = s.writes_made_good
        self.gap_seen = -(seen_loss - 2.0) * s.points_per_pct + per_dose + (np.where(made, owed, 0) if written else 0)
        owes = self.gap_seen < -0.05
        if written:
            self.good = np.where(made, "yes", np.where(owes, "no", "nothing owed"))
        else:
            self.good = np.where(owes, "not recorded", "nothing owed")

    def gas(self) -> None:
        s, t, rng = self.setup, self.setup.truth, self.rng
        index, age_h, starts = _lots(s, self.grid, rng, "Y", s.lot_days, 30.0)
        power = rng.normal(0, t.lot, len(starts) + 1)
        for f, _ in self.fault("yeast_lot"):
            hit = index[(self.line == f.line) & (self.hour >= f.start_h)]
            power[hit[0] : hit[0] + 3] = f.amount / t.gas if len(hit) else 0.0
        self.lot = index
        self.power = power[index] - t.decline * age_h / 24
        for f, _ in self.fault("yeast_aged"):
            first = index[(self.line == f.line) & (self.hour >= f.start_h)][:1]
            aged = np.isin(index, [*first, *(first + 1)])
            self.power = self.power + f.amount / t.gas * np.clip(age_h / 72, 0, 1.3) * aged
        self.lot_power = power
        self.yeast_dose = 100 * np.exp(rng.normal(0, 0.01, self.n))
        for f, w in self.fault("yeast_dose"):
            self.yeast_dose *= np.exp(f.amount / (t.gas * t.of_dose) * w)
        if s.compensates:
            self._compensate()
        self.warm = self.ar(s.dough_sd)
        for f, w in self.fault("dough_cold"):
            self.warm += f.amount / (t.gas * t.degree) * w
        usual = rng.choice([0.0, 0.5, 1.0]) * (self.paste_temp - self.paste_extra[self.inverse] - 8)
        self.via_paste = self.brought * (usual + self.paste_extra[self.inverse])
        self.proof = np.exp(self.ar(s.proof_sd, 0.2))
        self.box = self.ar(0.5, 0.6)
        to_time = np.array([s.plant.lines[n].proof_mode == "time" for n in self.line])
        for f, w in self.fault("proof_short"):
            w = w * to_time
            self.proof *= np.exp(f.amount / (t.gas * t.of_time) * w)
        for f, w in self.fault("proof_cold"):
            self.box += f.amount / (t.gas * t.of_box) * w

    def _compensate(self) -> None:
        """Half a day after a fault, somebody raises (or lowers) the yeast on the line that suffers."""
        raised = self.rng.uniform(0.02, 0.05)
        for f in self.faults[:1]:
            rows = (self.line == f.line) & (self.hour > f.start_h + 12 + f.ramp_h)
            self.yeast_dose[rows] *= np.exp(-np.sign(f.amount) * raised)

    def handling(self) -> None:
        t, rng = self.setup.truth, self.rng
        self.work = self.ar(0.03, 0.3)
        for f, w in self.fault("undermix"):
            self.work -= abs(f.amount) / t.under * w
            self.spread *= 1 + 0.25 * w
        for f, w in self.fault("overmix"):
            self.work += (abs(f.amount) / t.over + 0.05) * w
            self.spread *= 1 + 0.3 * w
        self.rh = np.minimum(80 + self.ar(2.5, 0.5), 97)
        for f, w in self.fault("proof_dry"):
            self.rh -= (abs(f.amount) / t.dry_air + 10) * w
            self.spread *= 1 + 0.2 * w
        self.retention = rng.normal(0, 1.0, self.n)
        self.unseen_handling = np.zeros(self.n)
        for f, w in self.fault("moulder"):
            self.unseen_handling += f.amount * w
            self.spread *= 1 + rng.uniform(0.25, 0.5) * w
        for f, w in self.fault("shock"):
            self.unseen_handling += f.amount * w
            self.shock += 0.25 * w
            self.spread *= 1 + 0.5 * w

    def other(self) -> None:
        s, t, rng = self.setup, self.setup.truth, self.rng
        flour, _, starts = _lots(s, self.grid, rng, "F", (3, 8), 6.0)
        power = rng.normal(0, t.flour, len(starts) + 1)
        for f, _ in self.fault("flour_lot"):
            hit = flour[self.hour >= f.start_h]
            power[hit[0] + 1 : hit[0] + 3] = f.amount
        self.flour = flour
        days = rng.normal(0, t.day, s.days)
        pairs = {(line, d): rng.normal(0, t.line_day) for line in s.per_day for d in range(s.days)}
        self.rest = power[flour] + days[self.day] + np.array([pairs[k] for k in zip(self.line, self.day, strict=True)])
        self.bake = self.ar(0.3, 0.4)
        self.meter = np.zeros(self.n)
        for f, w in self.fault("oven_cold", "oven_hot"):
            self.bake += (1.0 if f.name == "oven_hot" else -1.0) * 1.2 * w
            self.rest += f.amount * w
        for f, w in self.fault("volumeter"):
            self.rest += f.amount * w
            self.meter += f.amount * w
        for f, w in self.fault("loaf_scale"):
            self.rest += f.amount * w
            self.bake -= 90 * abs(f.amount) * w
        for f, w in self.fault("unknown"):
            self.rest += f.amount * w

    def respond(self) -> np.ndarray:
        """True effect of each group on ln volume, n by 4."""
        t = self.setup.truth
        dose = np.log(self.yeast_dose / 100)
        parts = {
            "lot": self.power,
            "dose": t.of_dose * dose,
            "warm": t.degree * self.warm,
            "time": t.of_time * np.log(self.proof),
            "box": t.of_box * self.box,
        }
        via = t.degree * self.via_paste
        height = np.array([self.setup.plant.lines[n].proof_mode == "height" for n in self.line])
        total = sum(parts.values()) + via
        over = np.maximum(total - 0.10, 0)
        factor = np.where(over > 0, 1 - np.minimum(3 * over**2 / np.maximum(total, 1e-9), 0.95), 1)
        a = np.where(height, 0.1, t.gas) * factor
        internal = {k: v * (0.0 if k in ("time", "box") else 1.0) for k, v in parts.items()}
        gas = np.where(height, sum(internal.values()), sum(parts.values()))
        if height.any():
            self.proof = np.where(height, self.proof * np.exp(-(total - parts["time"]) / 0.9), self.proof)
        gap = np.clip(self.gap, -10, 5)
        paste = t.water * gap - t.curve * gap**2 - self.undercook[self.inverse] + a * via - 0.003 * np.maximum(-gap, 0)
        work = self.work
        handling = (
            -t.under * np.maximum(-work, 0)
            - t.over * np.maximum(work - 0.05, 0)
            + t.kept * self.retention
            - t.dry_air * np.maximum(70 - self.rh, 0)
            + self.unseen_handling
        )
        rest = self.rest + t.bake * self.bake * np.where(self._oven_rows(), 0.0, 1.0)
        return np.column_stack([paste, a * gas, handling, rest])

    def _oven_rows(self) -> np.ndarray:
        rows = np.zeros(self.n, dtype=bool)
        for _, w in self.fault("oven_cold", "oven_hot", "loaf_scale"):
            rows |= w > 0
        return rows

    def measure(self, effects: np.ndarray) -> pd.DataFrame:
        s, t, rng = self.setup, self.setup.truth, self.rng
        level = {line: rng.uniform(4.0, 5.2) for line in s.per_day}
        noise = np.zeros(self.n)
        for line in s.per_day:
            rows = np.flatnonzero(self.line == line)
            e = t.batch * _noise(rng, len(rows), t.tail_df) * np.sqrt(1 - t.phi**2)
            value = 0.0
            for i, row in enumerate(rows):
                value = t.phi * value + e[i]
                noise[row] = value
        k = s.loaves
        each = rng.standard_normal((self.n, k)) * np.hypot(t.loaf, t.seed) * self.spread[:, None]
        struck = rng.random((self.n, k)) < self.shock[:, None]
        each += np.where(struck, -0.08, 0.0) + 0.08 * self.shock[:, None]
        base = np.array([level[n] for n in self.line])
        sv = base[:, None] * np.exp(effects.sum(axis=1)[:, None] + noise[:, None] + each)
        sampled = rng.random(self.n) < s.sampled
        mean, sd = sv.mean(axis=1), sv.std(axis=1, ddof=1)
        return pd.DataFrame(
            {
                "specific_volume": np.where(sampled, mean, np.nan),
                "specific_volume_sd": np.where(sampled, sd, np.nan),
                "loaves": np.where(sampled, k, 0.0),
            }
        )

    def records(self, effects: np.ndarray) -> pd.DataFrame:
        s, rng, n = self.setup, self.rng, self.n
        plant = s.plant
        product = np.array([plant.lines[x].products[0] for x in self.line], dtype=object)
        dates = START.astype("datetime64[D]") + self.day.astype("timedelta64[D]")
        at = START + (self.hour * 3600e6).astype("timedelta64[us]")
        number = self.grid["number"].to_numpy()
        key = [f"{d}/{x}/{k:02d}" for d, x, k in zip(dates, self.line, number, strict=True)]
        target = {p: sum(v.dough_temp_c.warn) / 2 for p, v in plant.products.items()}
        nothing = np.full(n, np.nan)
        yes = s.records

        def kept(name: str, values: np.ndarray) -> np.ndarray:
            return values if yes[name] else nothing

        frame = pd.DataFrame(
            {
                "batch_key": key,
                "dough_batch": [f"{k:02d}" for k in number],
                "line": self.line,
                "product": product,
                "shift_date": dates.astype("datetime64[us]"),
                "shift": "a",
                "mixed_at": at,
                "flour_lot": [f"F{i}" if yes["flour_lot"] else None for i in self.flour],
                "yeast_lot": [f"Y{i}" if yes["yeast_lot"] else None for i in self.lot],
                "yeast_pct": np.array([plant.products[p].yeast_pct for p in product]) * self.yeast_dose / 100,
                "dough_temp_c": np.array([target[p] for p in product])
                + self.warm
                + self.via_paste
                + rng.normal(0, 0.15, n),
                "paste_temp_c": kept("paste_temp", self.paste_temp),
                "mix_minutes": kept("minutes", 12 * np.exp(self.work + rng.normal(0, 0.01, n))),
                "mix_energy_wh_kg": kept("energy", 11 * np.exp(self.work - 0.03 * self.gap + rng.normal(0, 0.01, n))),
                "paste_link": "linked",
                "paste_key": self.paste_names[self.inverse],
                "kettle": self.kettle,
                "recipe": "r1",
                "paste_dose": plant.pastes["r1"].dosing,
                "paste_loss_pct": self.pastes["loss_pct"].to_numpy()[self.inverse],
                "paste_cook_temp_c": self.cook,
                "paste_age_h": 12.0,
                "dose_pct": self.dose,
                "usual_gap_points": self.gap_seen,
                "water_made_good": self.good,
                "proof_minutes": kept("proof", 60 * self.proof),
                "proof_temp_c": kept("proof_temp", 38 + self.box),
                "proof_rh_pct": kept("rh", self.rh),
                "bake_loss_pct": kept("bake_loss", 11 + self.bake + rng.normal(0, 0.1, n)),
                "volumeter": [s.volumeter[x] for x in self.line],
            }
        )
        gas = effects[:, 1] / s.truth.gas
        self._holes(frame)
        frame["proof_height_mm"] = kept("proof_height", 90 * np.exp(0.7 * gas + rng.normal(0, 0.03, n)))
        self._tests(frame)
        return frame

    def _holes(self, frame: pd.DataFrame) -> None:
        """Cells left empty here and there, and doughs whose paste nobody wrote down."""
        share = self.rng.choice([0.0, 0.05, 0.2])
        for name in (
            "proof_minutes",
            "proof_temp_c",
            "paste_temp_c",
            "mix_minutes",
            "mix_energy_wh_kg",
            "bake_loss_pct",
        ):
            frame.loc[self.rng.random(self.n) < share, name] = np.nan
        lost = self.rng.random(self.n) < share
        frame.loc[lost, ["paste_loss_pct", "paste_cook_temp_c", "paste_age_h", "dose_pct", "usual_gap_points"]] = np.nan
        frame.loc[lost, ["paste_link", "water_made_good", "paste_dose"]] = "not recorded"
        frame.loc[lost, ["paste_key", "kettle", "recipe"]] = None

    def _tests(self, frame: pd.DataFrame) -> None:
        s, rng, n = self.setup, self.rng, self.n
        for name in ("gas_produced_ml", "gas_kept_pct", "gas_tests", "lot_gas_ml", "lot_gas_tests"):
            frame[name] = np.nan
        frame["gas_sampled_after"] = None
        if s.gas_tests == "lot":
            tested = rng.random(len(self.lot_power)) < 0.7
            value = 1500 * np.exp(self.lot_power + rng.normal(0, s.gas_error, len(self.lot_power)))
            known = tested[self.lot] & s.records["yeast_lot"]  # a lot nobody wrote down has no test of its own
            frame["lot_gas_ml"] = np.where(known, value[self.lot], np.nan)
            frame["lot_gas_tests"] = np.where(known, 1.0, np.nan)
        if s.gas_tests == "dough":
            tested = rng.random(n) < 0.08
            value = 1500 * np.exp(self.power + 0.9 * np.log(self.yeast_dose / 100) + rng.normal(0, s.gas_error, n))
            frame["gas_produced_ml"] = np.where(tested, value, np.nan)
            frame["gas_tests"] = np.where(tested, 1.0, 0.0)
        kept = rng.random(n) < s.kept_tests
        after = rng.choice(["mixer", "divider", "moulder"], n)
        moulded = np.where(after == "moulder", self.unseen_handling / s.truth.kept * 0.6, 0.0)
        mixed = (
            -s.truth.under * np.maximum(-self.work, 0) - s.truth.over * np.maximum(self.work - 0.05, 0)
        ) / s.truth.kept
        value = 84 + self.retention + np.clip(mixed, -8, 0) + moulded + rng.normal(0, 1.3, n)
        frame["gas_kept_pct"] = np.where(kept, value, np.nan)
        frame["gas_sampled_after"] = np.where(kept, after, None)


def simulate(setup: Setup, faults: tuple[Fault, ...], rng: np.random.Generator) -> Simulated:
    """Run one plant with its faults; returns its wide frames and the true effects."""
    works = Works(setup, faults, rng)
    works.paste()
    works.water()
    works.gas()
    works.handling()
    works.other()
    effects = works.respond()
    frame = pd.concat([works.records(effects), works.measure(effects)], axis=1)
    grams = 450 * (1 - (11 + works.bake) / 100) * np.exp(works.rng.normal(0, 0.003, works.n))
    frame["baked_g"] = np.where(frame["specific_volume"].notna(), grams, np.nan)
    frame["volume_ml"] = frame["specific_volume"] * frame["baked_g"]
    for column in BATCHES:
        if column.name not in frame:
            frame[column.name] = np.nan
    return Simulated(setup, frame, works.pastes, works_changes(works), works_checks(works), effects, faults)


def works_changes(works: Works) -> pd.DataFrame:
    """The change log: now and then something harmless, and a moulder's setting where the plant writes such things."""
    rows = []
    if works.setup.records["changes"]:
        for f in works.faults:
            if f.name == "moulder":
                when = START + np.timedelta64(int(f.start_h * 60), "m")
                rows.append((when, "line", f.line, "moulder gap closed after maintenance"))
        for _ in range(3):
            when = START + np.timedelta64(int(works.rng.uniform(0, works.setup.days * 24) * 60), "m")
            rows.append((when, "line", str(works.rng.choice(list(works.setup.per_day))), "knife changed on the slicer"))
    return pd.DataFrame(rows, columns=["changed_at", "scope", "name", "what"])


def works_checks(works: Works) -> pd.DataFrame:
    """The check log: every volumeter against its block once a day, where the plant does that."""
    rows = []
    if works.setup.records["checks"]:
        for name in sorted(set(works.setup.volumeter.values())):
            mine = np.array([works.setup.volumeter[n] == name for n in works.line])
            for day in range(works.setup.days):
                off = works.meter[mine & (works.hour <= day * 24 + 8)]
                error = (off[-1] if len(off) else 0.0) + works.rng.normal(0, 0.002)
                rows.append((START + np.timedelta64(day * 24 + 8, "h"), name, "volume", 1800.0, 1800 * np.exp(error)))
    return pd.DataFrame(rows, columns=["checked_at", "instrument", "quantity", "standard", "as_found"])
