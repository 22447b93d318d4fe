"""The kettles: each paste as it really was, and what it brings into a dough."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime, timedelta

from seed_data.chance import Chance
from seed_data.faults import COOLING_MISSED, COOLING_NOT_READ, LONG_BOIL, UNWRITTEN_WATER
from seed_data.lots import Flour, flour_of
from seed_data.plan import COOKS, DOUGHS_A_SHIFT, Cook, instant, plant, shift_of

LOSS_MEDIAN = 2.05
LOSS_SD = 0.20
UNWRITTEN_LOSS = 5.6
TUB_TARE_KG = 48.2


@dataclass(frozen=True)
class PasteMade:
    """One paste batch, true values. kg, °C, % of Wb; `water_back_kg` is what really went back, written or not."""

    number: str
    kettle: str
    recipe: str
    day: date
    shift: str
    flour_lot: str
    liquid_lot: str
    flour_kg: float
    liquid_kg: float
    loss_pct: float
    after_kg: float
    residue_kg: float
    water_back_kg: float
    water_written: bool
    cold_kg: float | None
    cook_start: datetime
    cook_end: datetime
    cook_temp_c: float
    temp_2h_c: float | None
    temp_6h_c: float | None
    at_mixing_c: float

    @property
    def before_kg(self) -> float:
        """Wb."""
        return self.flour_kg + self.liquid_kg

    @property
    def flour_share(self) -> float:
        """kg flour in 1 kg of the paste as it is used."""
        return self.flour_kg / self._whole

    @property
    def water_share(self) -> float:
        """kg water in 1 kg of the paste as it is used."""
        water = self.liquid_kg * plant().pastes[self.recipe].liquid_water_pct / 100.0
        return (water - self.before_kg * self.loss_pct / 100.0 + self.water_back_kg) / self._whole

    @property
    def _whole(self) -> float:
        return self.before_kg * (1.0 - self.loss_pct / 100.0) + self.water_back_kg

    @property
    def part_kg(self) -> float:
        """An equal part of the kettle, where it is divided."""
        return (self.after_kg + self.water_back_kg) / DOUGHS_A_SHIFT


def dose_kg(product: str, flour_kg: float) -> float:
    """Weight of paste the formula asks for where it is weighed out, kg: at the usual loss."""
    recipe = plant().pastes[plant().products[product].paste or ""]
    cooked = flour_kg * plant().products[product].paste_flour_pct / 100.0
    return cooked * (1.0 + recipe.liquid_ratio) * (1.0 - recipe.usual_loss_pct / 100.0)


def cook_all(seed: int, dates: list[date], flours: list[Flour]) -> list[PasteMade]:
    """Every paste of these shift dates; on the eve of the first only kettle K1 works."""
    eve = dates[0] - timedelta(days=1)
    found = [cook_one(seed, eve, cook, flours) for cook in COOKS if cook.kettle == "K1"]
    found += [cook_one(seed, day, cook, flours) for day in dates for cook in COOKS]
    return found


def cook_one(seed: int, day: date, cook: Cook, flours: list[Flour]) -> PasteMade:
    """One paste."""
    chance = Chance(seed, "paste", day, cook.kettle, cook.number)
    start = instant(day, cook.clock) + timedelta(minutes=round(chance.uniform(-6, 6)))
    boils = cook.kettle == LONG_BOIL.kettle and LONG_BOIL.acts(start)
    loss = chance.lognormal(LOSS_MEDIAN, LOSS_SD)
    unwritten = (day, cook.kettle, cook.number) == UNWRITTEN_WATER
    loss = UNWRITTEN_LOSS if unwritten else loss + (LONG_BOIL.size if boils else 0.0)
    recipe = plant().pastes[cook.recipe]
    flour = cook.flour_kg + chance.normal(0.0, 0.04)
    liquid = cook.flour_kg * recipe.liquid_ratio + chance.normal(0.0, 0.10)
    residue = (flour + liquid) * max(0.3, chance.normal(1.2, 0.25)) / 100.0
    after = (flour + liquid) * (1.0 - loss / 100.0) - residue
    minutes = round(11.5 + 1.1 * (loss - 2.0) + chance.normal(0.0, 0.8)) + (4 if boils else 0)
    temp = 66.2 + 0.8 * (min(loss, 4.0) - 2.0) + chance.normal(0.0, 0.8) + (4.5 if boils else 0.0)
    excess = (flour + liquid) * (loss - recipe.usual_loss_pct) / 100.0
    back = excess if unwritten or (loss > recipe.loss_pct.warn[1] and not boils) else 0.0
    warm_2h, warm_6h = _cooling(seed, day, cook)
    chilled = chance.uniform(0.1, 0.3) if cook.kettle == "K2" and chance.happens(0.6) else None
    return PasteMade(
        cook.number,
        cook.kettle,
        cook.recipe,
        day,
        shift_of(start)[1],
        flour_of(flours, start).lot,
        f"M{day:%m%d}" if cook.recipe == "milk-5" else "",
        flour,
        liquid,
        loss,
        after,
        residue,
        back,
        not (boils or unwritten),
        after * (1 - chilled / 100.0) if chilled else None,
        start,
        start + timedelta(minutes=minutes),
        temp,
        warm_2h,
        warm_6h,
        chance.normal(5.5, 0.8),
    )


def _cooling(seed: int, day: date, cook: Cook) -> tuple[float | None, float | None]:
    """Temperatures 2 h and 6 h after the cook, or None where nobody read them."""
    chance = Chance(seed, "cooling", day, cook.kettle, cook.number)
    warm_2h, warm_6h = chance.normal(17.0, 1.2, within=2.5), chance.normal(4.1, 0.3, within=2.5)
    if (day, cook.kettle, cook.number) == COOLING_MISSED:
        return 27.4, 7.6
    if day == COOLING_NOT_READ and cook.number in ("02", "03"):
        return None, None
    forgot = chance.uniform()
    return (None if forgot < 0.03 else warm_2h), (None if forgot < 0.02 else warm_6h)


def boiled(paste: PasteMade) -> bool:
    """Whether the paste is one of those that boiled too long."""
    return paste.kettle == LONG_BOIL.kettle and LONG_BOIL.acts(paste.cook_start)
