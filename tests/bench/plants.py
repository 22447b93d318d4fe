"""Invented plants, drawn at random over wide ranges of the trade's figures, with one or two faults put in.

Frames are made in the shape of the wide rows (`models.batchbook`) directly. What is drawn: coefficients,
noise, autocorrelation, tails, lots, sampling, what is recorded at all, who shares what. The response is the
trade's (hydration curve, gas with an elasticity, mixing with an optimum, gas kept), not the model's linear one.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from models import plant as plant_file
from models.plant import Plant

GROUPS = ("paste", "yeast", "handling", "unexplained")
START = np.datetime64("2026-03-02T04:00:00", "us")


@dataclass(frozen=True)
class Truth:
    """How one plant's volume really answers, and how it varies. ln units unless said."""

    gas: float
    degree: float
    of_dose: float
    of_time: float
    of_box: float
    water: float
    curve: float
    under: float
    over: float
    kept: float
    dry_air: float
    bake: float
    cook: float
    loaf: float
    seed: float
    batch: float
    day: float
    line_day: float
    phi: float
    tail_df: float
    lot: float
    decline: float
    flour: float


@dataclass(frozen=True)
class Setup:
    """One plant: its file, what it records, how it works."""

    plant: Plant
    truth: Truth
    days: int
    per_day: dict[str, int]
    sampled: float
    loaves: int
    records: dict[str, bool]
    made_good: float
    writes_made_good: bool
    residue_weighed: bool
    gas_tests: str
    gas_error: float
    kept_tests: float
    lot_days: tuple[int, int]
    compensates: bool
    decoy: bool
    points_per_pct: float
    volumeter: dict[str, str]
    loss_sd: float
    dough_sd: float
    proof_sd: float


@dataclass(frozen=True)
class Fault:
    """One fault. amount: its effect on ln volume at full size; ramp: hours until full; recorded: leaves a record."""

    name: str
    group: str
    line: str
    amount: float
    start_h: float
    ramp_h: float
    recorded: bool = True


def draw_truth(rng: np.random.Generator) -> Truth:
    u = rng.uniform
    return Truth(
        gas=u(0.27, 0.55),
        degree=u(0.045, 0.09),
        of_dose=u(0.7, 1.0),
        of_time=u(0.6, 1.1),
        of_box=u(0.02, 0.06),
        water=u(0.005, 0.016),
        curve=u(0.001, 0.004),
        under=u(0.15, 0.45),
        over=u(0.07, 0.27),
        kept=u(0.006, 0.014),
        dry_air=u(0.0015, 0.0045),
        bake=0.011,
        cook=u(0.002, 0.007),
        loaf=u(0.012, 0.03),
        seed=u(0.005, 0.013),
        batch=u(0.010, 0.018),
        day=u(0.004, 0.012),
        line_day=u(0.0, 0.009),
        phi=float(rng.choice([0.0, 0.2, 0.4])),
        tail_df=float(rng.choice([5.0, 1e6])),
        lot=u(0.02, 0.045),
        decline=u(0.0, 0.008),
        flour=u(0.004, 0.015),
    )


def _share(rng: np.random.Generator, lines: list[str], letter: str) -> dict[str, str]:
    pattern = rng.choice(["own", "one", "pairs"], p=[0.4, 0.3, 0.3])
    place = {"own": lambda i: i, "one": lambda i: 0, "pairs": lambda i: i // 2}[pattern]
    return {line: f"{letter}{place(i) + 1}" for i, line in enumerate(lines)}


def _plant_file(rng: np.random.Generator, lines: list[str]) -> Plant:
    ratio = float(rng.choice([1.0, 2.0, 5.0]))
    flour = float(rng.choice([5, 8, 10, 12])) if ratio == 5 else float(rng.choice([8, 12, 20]))
    kettles = [f"K{i + 1}" for i in range(rng.integers(1, 3))]
    shared = {kind: _share(rng, lines, letter) for kind, letter in (("mixer", "M"), ("proofer", "P"), ("oven", "O"))}
    temp = float(rng.choice([25.0, 26.0, 27.0]))
    products = {
        f"p{i + 1}": {
            "paste": "r1",
            "hydration_pct": float(rng.uniform(60, 72)),
            "paste_flour_pct": flour,
            "yeast_pct": float(rng.uniform(2, 4)),
            "scaled_g": 450.0,
            "dough_temp_c": {"warn": [temp - 1, temp + 1], "act": [temp - 2, temp + 2]},
        }
        for i in range(int(rng.integers(1, 3)))
    }
    content = {
        "plant": "invented",
        "timezone": "UTC",
        "shifts": {"a": "06:00", "b": "14:00", "c": "22:00"},
        "pastes": {
            "r1": {"liquid_ratio": ratio, "usual_loss_pct": 2.0, "dosing": str(rng.choice(["divided", "weighed"]))}
        },
        "kettles": {k: {"pastes": ["r1"]} for k in kettles},
        "products": products,
        "lines": {
            line: {
                "kettle": kettles[i % len(kettles)],
                "products": [list(products)[i % len(products)]],
                "proof_mode": "height" if rng.random() < 0.15 else "time",
                **{kind: names[line] for kind, names in shared.items()},
            }
            for i, line in enumerate(lines)
        },
    }
    return plant_file.parse(content)


def draw_setup(rng: np.random.Generator) -> Setup:
    """A plant of one to five lines, its habits of recording and its true response."""
    lines = [f"L{i + 1}" for i in range(int(rng.choice([1, 2, 3, 4, 5], p=[0.08, 0.22, 0.3, 0.3, 0.1])))]
    plant = _plant_file(rng, lines)
    recipe, product = plant.pastes["r1"], next(iter(plant.products.values()))
    phi = product.paste_flour_pct / 100
    per = phi * (1 + recipe.liquid_ratio) if recipe.dosing == "divided" else phi * (1 + product.hydration_pct / 100)
    records = {
        name: bool(rng.random() < p)
        for name, p in {
            "proof": 0.8,
            "proof_temp": 0.7,
            "rh": 0.5,
            "energy": 0.5,
            "minutes": 0.8,
            "paste_temp": 0.7,
            "bake_loss": 0.7,
            "yeast_lot": 0.92,
            "flour_lot": 0.6,
            "proof_height": 0.3,
            "changes": 0.4,
            "checks": 0.4,
        }.items()
    }
    meters = [f"V{i + 1}" for i in range(1 if rng.random() < 0.7 else 2)]
    return Setup(
        plant,
        draw_truth(rng),
        int(rng.integers(22, 32)),
        {n: int(rng.integers(6, 21)) for n in lines},
        float(rng.choice([0.4, 0.6, 1.0])),
        int(rng.integers(3, 7)),
        records,
        float(rng.choice([0.0, 0.0, 0.5, 1.0])),
        bool(rng.random() < 0.6),
        bool(rng.random() < 0.4),
        str(rng.choice(["none", "lot", "dough"], p=[0.5, 0.3, 0.2])),
        float(rng.uniform(0.025, 0.08)),
        float(rng.choice([0.0, 0.0, 0.05, 0.15])),
        (2, 5),
        bool(rng.random() < 0.15),
        bool(rng.random() < 0.15),
        per,
        {n: meters[i % len(meters)] for i, n in enumerate(lines)},
        float(rng.uniform(0.5, 1.0)),
        float(rng.uniform(0.4, 0.9)),
        float(rng.uniform(0.02, 0.045)),
    )


FAULTS: dict[str, str] = {
    "over_evap": "paste",
    "under_cook": "paste",
    "paste_dose": "paste",
    "chill": "paste",
    "yeast_lot": "yeast",
    "yeast_dose": "yeast",
    "yeast_aged": "yeast",
    "dough_cold": "yeast",
    "proof_short": "yeast",
    "proof_cold": "yeast",
    "undermix": "handling",
    "overmix": "handling",
    "moulder": "handling",
    "shock": "handling",
    "proof_dry": "handling",
    "flour_lot": "unexplained",
    "oven_hot": "unexplained",
    "oven_cold": "unexplained",
    "volumeter": "unexplained",
    "loaf_scale": "unexplained",
    "unknown": "unexplained",
}


def left_record(setup: Setup, name: str, line: str) -> bool:
    """Whether this plant's sheets show such a fault at all."""
    r = setup.records
    lots = r["yeast_lot"] and (len(setup.per_day) > 1 or setup.gas_tests != "none")
    return {
        "yeast_lot": lots,
        "yeast_aged": lots,
        "proof_short": r["proof"],
        "proof_cold": r["proof_temp"],
        "undermix": r["energy"] or r["minutes"],
        "overmix": r["energy"] or r["minutes"],
        "proof_dry": r["rh"],
        "chill": r["paste_temp"],
        "moulder": True,
        "shock": True,
    }.get(name, FAULTS[name] != "unexplained")


RECORD, TRACE, NOTHING = "a record", "a trace", "nothing"


def left_behind(setup: Setup, fault: Fault) -> str:
    """What a fault left in the sheets: a record of the driver itself, a trace of what it does, or nothing at all.

    A trace: the dough's temperature for a paste that was not chilled, the spread within batches for mixing and a dry
    proof, the height of the proof, or the time to it, for gas.
    """
    if fault.recorded:
        return RECORD
    height = setup.records["proof_height"] or setup.plant.lines[fault.line].proof_mode == "height"
    traced = {"chill": True, "undermix": True, "overmix": True, "proof_dry": True}
    gas = dict.fromkeys(("yeast_lot", "yeast_aged", "proof_short", "proof_cold"), height)
    return TRACE if (traced | gas).get(fault.name, False) else NOTHING


def draw_fault(setup: Setup, rng: np.random.Generator, name: str, amount: float, start_h: float) -> Fault:
    """A fault on one line of the plant; one in four comes on slowly."""
    line = str(rng.choice(list(setup.per_day)))
    ramp = float(rng.uniform(24, 72)) if rng.random() < 0.25 or name == "yeast_aged" else 0.0
    return Fault(name, FAULTS[name], line, amount, start_h, ramp, left_record(setup, name, line))
