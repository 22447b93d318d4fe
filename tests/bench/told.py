"""A plant's own slopes and spreads told to the model: what knowing them would be worth, and what chance leaves besides."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from unittest.mock import patch

import numpy as np

from models.causes import attribute, effects, moved, response, rows
from models.causes.effects import EFFECTS
from tests.bench.plants import Setup, Truth

SURE = 1e-5
MANY = 1e6


def slopes(truth: Truth) -> dict[str, float]:
    """What each driver does to ln specific volume, a unit; drivers that do nothing in these plants are 0."""
    return dict.fromkeys((e.name for e in EFFECTS), 0.0) | {
        "water": truth.water,
        "water_curve": -truth.curve,
        "undercooked": -truth.cook,
        "paste_temp": truth.gas * truth.degree,
        "yeast_dose": truth.gas * truth.of_dose,
        "dough_temp": truth.gas * truth.degree,
        "proof_time": truth.gas * truth.of_time,
        "proof_temp": truth.gas * truth.of_box,
        "undermixed": -truth.under,
        "overmixed": -truth.over,
        "proof_dry": -truth.dry_air,
        "bake_loss": truth.bake,
    }


def spreads(truth: Truth) -> dict[str, float]:
    """How much lots, flour, days and a line's days differ, ln."""
    return {"lots": truth.lot, "flour": truth.flour, "days": truth.day, "stints": max(truth.line_day, 1e-3)}


@contextmanager
def told(setup: Setup) -> Iterator[None]:
    """While it lasts the model takes this plant's slopes and spreads for known; nothing of the fault is told."""
    truth, known = setup.truth, slopes(setup.truth)
    noise = float(np.hypot(truth.batch, np.hypot(truth.loaf, truth.seed) / np.sqrt(setup.loaves)))
    as_declared = {e.name: (e.slope, e.slope_sd) for e in EFFECTS}
    with ExitStack() as stack:
        for module, name, value in (
            (effects, "ELASTICITY", truth.gas),
            (effects, "ELASTICITY_SD", SURE),
            (effects, "LOT_LOSS_PER_DAY", truth.decline),
            (effects, "LOT_LOSS_SD", SURE),
            (moved, "SLOPE_NOW", 1e-3),
            (rows, "SLOPE_NOW", 1e-3),
            (rows, "LOT_ANSWERS", 1e-3),
            (attribute, "SLOPE_ELSEWHERE", 0.0),
        ):
            stack.enter_context(patch.object(module, name, value))
        stack.enter_context(patch.dict(rows.SPREADS, spreads(truth)))
        stack.enter_context(patch.dict(response.LEARNED, dict.fromkeys(spreads(truth), MANY)))
        stack.enter_context(patch.dict(response.NOISE, {"volume": (noise, MANY)}))
        try:
            for effect in EFFECTS:
                object.__setattr__(effect, "slope", known[effect.name])
                object.__setattr__(effect, "slope_sd", SURE)
            yield
        finally:
            for effect in EFFECTS:
                for name, value in zip(("slope", "slope_sd"), as_declared[effect.name], strict=True):
                    object.__setattr__(effect, name, value)
