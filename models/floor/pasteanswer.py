"""What to do with a paste that was weighed at the screen, and which dough will run short of it. Pure."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

from models.floor.openpaste import Work
from models.floor.typed import Cells, number_of
from models.trade import kettle as trade
from models.trade import paste as ledger

if TYPE_CHECKING:
    from models.plant import Plant


@dataclass(frozen=True)
class Short:
    """Paste weighed out of a kettle that gives less than planned. kg; doughs, dose, last and each only where the number of doughs
    is known: what each was to get, what is left for the last, and what each gets if all share it."""

    planned_kg: float
    made_kg: float
    doughs: int | None = None
    dose_kg: float | None = None
    last_kg: float | None = None
    each_kg: float | None = None


@dataclass(frozen=True)
class Answer:
    """What to do with one paste. now: short if nobody acts; then: short even when the water is in. put_kg: what was put back,
    written or shown by a cold weight above Wa, None where not recorded; owed_kg: still to put back; cold_kg: Wc, None where not
    weighed, and cooling_kg what left the paste up to it. advice: None where no product takes this paste."""

    key: str
    name: str
    kettle: str
    recipe: str
    stage: str
    cells: Cells
    advice: trade.Advice | None
    now: Short | None
    then: Short | None
    tare_kg: float
    put_kg: float | None
    owed_kg: float
    cold_kg: float | None = None
    cooling_kg: float = 0.0


@dataclass(frozen=True)
class Stood:
    """A paste between its hot weighing and now, kg net. after_kg: Wa less what cooling took; put_kg: as in `Answer`."""

    after_kg: float
    put_kg: float | None
    cold_kg: float | None
    cooling_kg: float


def stood(cells: Mapping[str, str]) -> Stood | None:
    """What became of a paste by its cold weight, as the batch book has it; None before both weighings. Wc is net, always."""
    before, after = net(cells, "weight_before_kg"), net(cells, "weight_after_kg")
    if before is None or after is None:
        return None
    put, cold = number_of(cells, "kettle_water_kg"), number_of(cells, "weight_cold_kg")
    if cold is None:
        return Stood(after, put, None, 0.0)
    if put is None:
        lost = ledger.evaporated(before, after, number_of(cells, "residue_kg") or 0.0)
        put = float(ledger.put_back_unwritten(after, cold, lost)) or None
    cooling = float(ledger.cooling_loss(after, put or 0.0, cold))
    return Stood(after - cooling, put, cold, cooling)


def net(cells: Mapping[str, str], name: str) -> float | None:
    """A weight less the tare of its row (kg); None where it is not there."""
    value = number_of(cells, name)
    return None if value is None else value - (number_of(cells, "tare_kg") or 0.0)


def loss_pct(cells: Mapping[str, str]) -> float | None:
    """Water lost in the cook, % of Wb, as the batch book has it; None before both weighings."""
    before, after = net(cells, "weight_before_kg"), net(cells, "weight_after_kg")
    if before is None or after is None or before <= 0:
        return None
    return ledger.loss_pct(before, ledger.evaporated(before, after, number_of(cells, "residue_kg") or 0.0))


def advice_of(cells: Mapping[str, str], plant: Plant, doughs: int | None = None) -> trade.Advice | None:
    """The one instruction for a paste, by the product it matters most to; None before both weighings, or where no product
    takes such a paste."""
    from models.trade.batches import meant_for

    kettle, recipe = cells.get("kettle", ""), cells.get("recipe", "")
    product = meant_for(plant).get((kettle, recipe))
    before, now = net(cells, "weight_before_kg"), stood(cells)
    if product is None or before is None or now is None or before <= 0 or now.after_kg <= 0:
        return None
    weighing = trade.Weighing(
        before,
        now.after_kg,
        number_of(cells, "residue_kg"),
        number_of(cells, "cook_temp_c"),
        plant.kettles[kettle].capacity_kg,
    )
    return trade.advise(plant, product, weighing, "kettle", doughs)


def short(before_kg: float, made_kg: float, usual_kg: float, doughs: int | None) -> Short | None:
    """What is missing where doughs weigh their paste out of a kettle; None where a scale could not tell (kg, net)."""
    planned_kg = before_kg - usual_kg
    if planned_kg - made_kg <= trade.WEIGHING * before_kg:
        return None
    if not doughs:
        return Short(planned_kg, made_kg)
    dose_kg = planned_kg / doughs
    last_kg = float(ledger.last_dose(made_kg, dose_kg, doughs))
    return Short(planned_kg, made_kg, doughs, dose_kg, last_kg, float(ledger.equal_part(made_kg, doughs)))


def answer(work: Work, plant: Plant) -> Answer:
    """What to do with a weighed paste, and which dough will run short."""
    cells = work.cells
    doughs = int(work.more["doughs"]) if work.more.get("doughs") else None
    advice = advice_of(cells, plant, doughs)
    stands = stood(cells)
    put_kg = stands.put_kg if stands else None
    now = then = None
    owed_kg = 0.0
    if advice is not None:
        owed_kg = max(0.0, advice.water_kg - (put_kg or 0.0))
        owed_kg = owed_kg if owed_kg > advice.plus_minus_kg else 0.0
        before_kg, after_kg = net(cells, "weight_before_kg") or 0.0, stands.after_kg if stands else 0.0
        if plant.pastes[cells["recipe"]].dosing == "weighed":
            now = short(before_kg, after_kg + (put_kg or 0.0), advice.usual_kg, doughs)
            then = short(before_kg, after_kg + (put_kg or 0.0) + owed_kg, advice.usual_kg, doughs)
    return Answer(
        work.key,
        cells["paste_batch"],
        cells["kettle"],
        cells["recipe"],
        work.stage,
        cells,
        advice,
        now,
        then,
        number_of(cells, "tare_kg") or 0.0,
        put_kg,
        owed_kg,
        stands.cold_kg if stands else None,
        stands.cooling_kg if stands else 0.0,
    )
