"""What to do at the kettle: the water ledger's figures turned into one instruction.

Plain Python and the plant file; nothing heavy, so that it answers before the paste is used.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal

from models.logbook import HOTTEST_PASTE_C, NO_COOK_LOSES_PCT
from models.plant import Paste, Plant, Product
from models.texts import texts
from models.trade import paste as ledger
from models.trade.formula import formula_of
from models.trade.paste import Formula

Do = Literal["put water back", "nothing to put back", "cook on", "stir and measure again", "scrap and ask QA"]
Place = Literal["kettle", "mixer"]

# A scale is good to 0.1 % of what stands on it (trade guidance for scale checks); two weighings, two sd.
WEIGHING = 2 * 2**0.5 * 0.001
# A steel wall reads this low under paste that is cooked. Derived from the emissivity of steel.
STEEL_WALL_C = 55.0


@dataclass(frozen=True)
class Weighing:
    """What stands on the paste sheet: net weights in kg, temperature in °C; None where not taken."""

    before_kg: float
    after_kg: float
    residue_kg: float | None = None
    temp_c: float | None = None
    capacity_kg: float | None = None


@dataclass(frozen=True)
class Advice:
    """One instruction, and the figures behind it. Weights kg, points of hydration, temperatures °C.

    water_kg: to put back in all. each_kg and dose_each_kg: water and paste for each dough, where the
    doughs are known. less_paste_pct: how much less paste than written each dough takes, where it is
    weighed out. reads_kg: what the scale shows, net, once the water is in the kettle. pressing: the points
    that decide; where the paste is weighed out they stand for the kettle that runs short, too.
    """

    do: Do
    why: tuple[str, ...]
    lost_kg: float
    loss_pct: float
    usual_kg: float
    excess_kg: float
    points: float
    pressing: float
    plus_minus_kg: float
    place: Place
    water_kg: float = 0.0
    doughs: int | None = None
    each_kg: float | None = None
    dose_each_kg: float | None = None
    less_paste_pct: float | None = None
    reads_kg: float | None = None
    water_temp: str = ""
    notes: tuple[str, ...] = ()
    not_checked: tuple[str, ...] = ()


@dataclass(frozen=True)
class _Ledger:
    """One kettle's figures, before anything is decided."""

    formula: Formula
    recipe: Paste
    weighing: Weighing
    flour_kg: float
    made: ledger.Paste
    lost_kg: float
    excess_kg: float
    points: float

    @property
    def loss_pct(self) -> float:
        return _as_read(ledger.loss_pct(self.weighing.before_kg, self.lost_kg))

    @property
    def usual_kg(self) -> float:
        return self.weighing.before_kg * self.recipe.usual_loss_pct / 100

    @property
    def pressing(self) -> float:
        """Points that decide. Weighed out, every dough lacks little but the last lacks the whole excess."""
        if self.recipe.dosing == "divided":
            return self.points
        return max(self.points, _as_read(ledger.points_of_excess(self.formula, self.excess_kg, self.flour_kg)))


def _said(table: str, key: str, **filled: float) -> str:
    """One sentence of the advice, its figures in it."""
    return texts("advice")[table][key].format(**filled)


def _as_read(value: float) -> float:
    """Without the last digits, which come from the arithmetic and not from a scale: on a limit is not beyond it."""
    return round(float(value), 9)


def advise(
    plant: Plant, product: Product, weighing: Weighing, place: Place = "kettle", doughs: int | None = None
) -> Advice:
    """What to do with a paste for `product`, between its weighing and its use.

    weighing: net. place: where the water is put back. doughs: how many the kettle goes into, if known.
    Raises ValueError where the product has no paste.
    """
    book = _book(plant, product, weighing)
    do, why = _decide(book, doughs)
    advice = Advice(
        do,
        why,
        book.lost_kg,
        book.loss_pct,
        book.usual_kg,
        book.excess_kg,
        book.points,
        book.pressing,
        WEIGHING * weighing.before_kg,
        place,
        doughs=doughs,
        notes=_notes(book, do),
        not_checked=_not_checked(weighing),
    )
    return _with_water(advice, book) if do == "put water back" else advice


def _book(plant: Plant, product: Product, weighing: Weighing) -> _Ledger:
    if product.paste is None or product.paste_flour_pct == 0:
        raise ValueError("the product has no paste")
    recipe, formula = plant.pastes[product.paste], formula_of(plant, product)
    flour_kg, liquid_kg = ledger.charge(weighing.before_kg, recipe.liquid_ratio)
    residue_kg = weighing.residue_kg or 0.0
    made = ledger.cooked(
        flour_kg, liquid_kg, recipe.liquid_water_pct, weighing.before_kg, weighing.after_kg, residue_kg
    )
    lost_kg = ledger.evaporated(weighing.before_kg, weighing.after_kg, residue_kg)
    return _Ledger(
        formula,
        recipe,
        weighing,
        flour_kg,
        made,
        lost_kg,
        ledger.excess(weighing.before_kg, lost_kg, recipe.usual_loss_pct),
        _as_read(ledger.points_lost(formula, made, flour_kg, recipe.dosing)),
    )


# --- which instruction --------------------------------------------------------------------------


def _decide(book: _Ledger, doughs: int | None) -> tuple[Do, tuple[str, ...]]:
    doubts = _doubts(book)
    if doubts:
        return "stir and measure again", doubts
    ruined = _ruined(book)
    if ruined:
        return "scrap and ask QA", ruined
    window, temp_c = book.recipe.cook_temp_c, book.weighing.temp_c
    if temp_c is not None and temp_c < window.act[0]:
        return "cook on", (_said("cook_on", "why", temp=temp_c, least=window.act[0], to=window.warn[0]),)
    if book.pressing <= book.recipe.hydration_points.warn / 2:
        return "nothing to put back", (_within(book),)
    return "put water back", _takes(book, doughs)


def _within(book: _Ledger) -> str:
    if book.points < -0.05:
        return _said("within", "wetter", points=-book.points)
    return _said("within", "borne", points=abs(book.points))


def _takes(book: _Ledger, doughs: int | None) -> tuple[str, ...]:
    points = book.points
    if book.recipe.dosing == "divided":
        return (_said("takes", "divided", points=points, warn=book.recipe.hydration_points.warn),)
    if not doughs:
        return (_said("takes", "weighed", points=points, short=book.excess_kg),)
    dose_kg = (book.weighing.before_kg - book.usual_kg) / doughs
    last_kg = ledger.last_dose(book.weighing.after_kg, dose_kg, doughs)
    return (_said("takes", "weighed_of", points=points, doughs=doughs, last=last_kg, dose=dose_kg),)


def _doubts(book: _Ledger) -> tuple[str, ...]:
    """Reasons to believe that a reading is wrong, worst first."""
    return tuple(reason for reason in (*_weight_doubts(book), *_temperature_doubts(book)) if reason)


def _weight_doubts(book: _Ledger) -> tuple[str, ...]:
    weighing, lowest = book.weighing, book.recipe.loss_pct.act[0]
    gross_pct = _as_read(ledger.loss_pct(weighing.before_kg, weighing.before_kg - weighing.after_kg))
    return (
        _said("doubt", "above_capacity", before=weighing.before_kg, holds=weighing.capacity_kg)
        if weighing.capacity_kg and weighing.before_kg > weighing.capacity_kg
        else "",
        _said("doubt", "heavier") if gross_pct < lowest else "",
        _said("doubt", "residue") if gross_pct >= lowest and book.loss_pct < lowest else "",
        _said("doubt", "no_cook", lost=gross_pct) if gross_pct > NO_COOK_LOSES_PCT else "",
    )


def _temperature_doubts(book: _Ledger) -> tuple[str, ...]:
    temp_c, window = book.weighing.temp_c, book.recipe.cook_temp_c
    if temp_c is None:
        return ()
    if temp_c > HOTTEST_PASTE_C:
        return (_said("doubt", "fahrenheit", temp=temp_c, meant=(temp_c - 32) / 1.8),)
    if temp_c < window.act[0] and book.pressing > book.recipe.hydration_points.warn:
        return (_said("doubt", "apart", temp=temp_c, lost=book.lost_kg),)
    if temp_c < STEEL_WALL_C and book.loss_pct >= book.recipe.loss_pct.warn[0]:
        return (_said("doubt", "steel", temp=temp_c),)
    return ()


def _ruined(book: _Ledger) -> tuple[str, ...]:
    """Beyond what water repairs: twice the action limit of loss, or past it and far too hot.

    Far too hot: as far past the action limit as that lies past the warning limit. The plant's own limits,
    stretched by common practice, no source.
    """
    temp, loss, temp_c = book.recipe.cook_temp_c, book.recipe.loss_pct, book.weighing.temp_c
    far_c = 2 * temp.act[1] - temp.warn[1]
    first = _said("ruined", "first")
    if book.loss_pct > 2 * loss.act[1] > 0:
        return _said("ruined", "lost", lost=book.loss_pct, limit=loss.act[1]), first
    if temp_c is not None and temp_c > far_c and book.loss_pct > loss.act[1]:
        return _said("ruined", "overcooked", temp=temp_c, lost=book.loss_pct), first
    return ()


# --- how much, and how --------------------------------------------------------------------------


def _with_water(advice: Advice, book: _Ledger) -> Advice:
    weighed, shares = book.recipe.dosing == "weighed", advice.doughs
    if advice.place == "kettle":
        water_kg = book.excess_kg if weighed else _all_in(book)
        temp_c = book.weighing.temp_c or book.recipe.cook_temp_c.warn[0]
        return replace(
            advice,
            water_kg=water_kg,
            reads_kg=book.weighing.after_kg + water_kg,
            water_temp=_said("water", "kettle", temp=temp_c),
        )
    advice = replace(advice, water_temp=_said("water", "mixer"))
    if shares:
        water_kg = _all_in(book)
        return replace(
            advice, water_kg=water_kg, each_kg=water_kg / shares, dose_each_kg=book.weighing.after_kg / shares
        )
    return (
        replace(advice, water_kg=_all_in(book))
        if not weighed
        else replace(advice, water_kg=book.excess_kg, less_paste_pct=_less_paste_pct(book))
    )


def _less_paste_pct(book: _Ledger) -> float:
    """How much less of the stronger paste than written stands for one dose (%)."""
    less, _ = ledger.stronger_dose(
        100.0, book.weighing.before_kg - book.usual_kg, book.weighing.before_kg - book.lost_kg
    )
    return float(100.0 - less)


def _all_in(book: _Ledger) -> float:
    """Water that brings all doughs of the kettle to the formula when the whole paste goes into them (kg)."""
    doughs = ledger.kettle_doughs(book.formula, book.made, book.flour_kg, "divided")
    return float(doughs.water_to(book.formula.hydration_pct))


# --- what else to say ---------------------------------------------------------------------------


def _notes(book: _Ledger, do: Do) -> tuple[str, ...]:
    if do in ("stir and measure again", "scrap and ask QA"):
        return ()
    points, window, temp_c = book.recipe.hydration_points, book.recipe.cook_temp_c, book.weighing.temp_c
    notes = []
    if book.pressing > points.act:
        notes.append(_said("note", "beyond"))
    if book.points < -points.warn:
        notes.append(_said("note", "wetter", points=-book.points))
    if temp_c is not None and window.act[0] <= temp_c < window.warn[0]:
        notes.append(_said("note", "low", temp=temp_c, least=window.warn[0]))
    if temp_c is not None and temp_c > window.warn[1]:
        notes.append(_said("note", "past_action" if temp_c > window.act[1] else "past_warning", temp=temp_c))
    if book.recipe.dosing == "weighed" and book.weighing.residue_kg:
        notes.append(_said("note", "residue", kg=book.weighing.residue_kg))
    return tuple(notes)


def _not_checked(weighing: Weighing) -> tuple[str, ...]:
    missing = []
    if weighing.temp_c is None:
        missing.append(_said("not_checked", "temperature"))
    if weighing.residue_kg is None:
        missing.append(_said("not_checked", "residue"))
    return tuple(missing)
