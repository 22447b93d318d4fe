"""The laboratory: a gas test of each yeast lot, one of a dough a day, and the instruments' checks."""

from __future__ import annotations

from datetime import date, datetime, timedelta

from seed_data.chance import Chance
from seed_data.doughs import DoughMade
from seed_data.lots import GAS_ML, Yeast
from seed_data.plan import ZONE, instant
from seed_data.sheets import Row

LOT_TEST_SD = 0.02
DOUGH_TEST_SD = 0.025
USUAL_DOSE_PCT = 2.5


def lot_tests(seed: int, lots: list[Yeast]) -> list[Row]:
    """Each lot alone, in a dough of the laboratory's own, on the morning or afternoon after it was opened."""
    found = []
    for lot in lots:
        chance = Chance(seed, "lot test", lot.number)
        at = _next_bench(lot.opened)
        made = GAS_ML * lot.strength_at(at) * (1.0 + chance.normal(0.0, LOT_TEST_SD))
        found.append(_test(at, None, lot, made, None, None))
    return found


def dough_tests(seed: int, doughs: list[DoughMade]) -> list[Row]:
    """One dough a day, taken from the lines in turn, after the mixer; every fifth after the moulder."""
    by_day: dict[date, list[DoughMade]] = {}
    for dough in doughs:
        by_day.setdefault(dough.slot.day, []).append(dough)
    found = []
    for n, (day, made) in enumerate(sorted(by_day.items())):
        line = f"L{n % 4 + 1}"
        chosen = [d for d in made if d.slot.line == line][1 + n % 3]
        found.append(_dough_test(Chance(seed, "dough test", day), chosen, "moulder" if n % 5 == 4 else "mixer"))
    return found


def _dough_test(chance: Chance, dough: DoughMade, after: str) -> Row:
    charge, at = dough.charge, dough.mixing.at
    dose = 100.0 * charge.yeast_kg / (charge.flour_kg + charge.paste_kg * charge.paste.flour_share)
    gassing = dough.mixing.yeast.strength_at(at) * (dose / USUAL_DOSE_PCT) ** 0.9
    made = GAS_ML * gassing * (1.0 + chance.normal(0.0, DOUGH_TEST_SD))
    kept = made * (dough.proof.kept_pct + chance.normal(0.0, 1.0)) / 100.0
    return _test(at + timedelta(minutes=210), dough, dough.mixing.yeast, made, kept, after)


def _test(at: datetime, dough: DoughMade | None, lot: Yeast, made: float, kept: float | None, after: str | None) -> Row:
    name = f"G{at.astimezone(ZONE):%m%d%H%M}" + (f"-{dough.slot.line}" if dough else f"-{lot.lot}")
    return {
        "gas_test": name,
        "tested_at": at,
        "dough_batch": dough.slot.number if dough else None,
        "line": dough.slot.line if dough else None,
        "yeast_lot": lot.lot,
        "gas_produced_ml": made,
        "gas_retained_ml": kept,
        "piece_g": 300,
        "test_minutes": 180,
        "sampled_after": after,
    }


def _next_bench(at: datetime) -> datetime:
    day = at.astimezone(ZONE).date()
    benches = [instant(day + timedelta(days=more), clock) for more in (0, 1) for clock in ("10:00", "15:00")]
    return next(bench for bench in benches if bench >= at)


_EVERY_DAY = (
    ("V1", "volume", 850.0, 6.0), ("V1", "volume", 1800.0, 6.0),
    ("V2", "volume", 850.0, 2.5), ("V2", "volume", 1800.0, 2.5),
)  # fmt: skip
_ON_MONDAY = (
    ("S1", "weight", 100000.0, 15.0), ("S2", "weight", 20000.0, 3.0), ("S3", "weight", 500.0, 0.2),
    ("T1", "temperature", 0.0, 0.1), ("T2", "temperature", 0.0, 0.1), ("T3", "temperature", 0.0, 0.1),
    ("T4", "temperature", 0.0, 0.1),
)  # fmt: skip


def checks(seed: int, day: date) -> list[Row]:
    """Volume blocks every morning; scales and thermometers on Mondays."""
    chance = Chance(seed, "checks", day)
    todo = [("08:10", *check) for check in _EVERY_DAY]
    todo += [("08:30", *check) for check in _ON_MONDAY if day.weekday() == 0]
    return [
        {
            "checked_at": instant(day, clock), "instrument": instrument, "quantity": quantity, "standard": standard,
            "as_found": standard + chance.normal(0.0, sd, within=2.0),
        }
        for clock, instrument, quantity, standard, sd in todo
    ]  # fmt: skip
