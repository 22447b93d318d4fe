"""The water ledger of a cooked paste: what the kettle lost, what the dough then lacks, what to put back.

Elementary mass balance: flour is conserved and only water evaporates. Every function is arithmetic
alone, so it takes numbers at the kettle and whole columns (numpy, pandas) elsewhere. Weights are kg,
net; shares are fractions of 1; hydration and points are % of all flour. Nothing here knows a missing
value: a caller decides what an empty cell means before it asks, and NaN in gives NaN out.
"""

from __future__ import annotations

from typing import Any, NamedTuple

Amount = Any  # a number, or a column of numbers
Dosing = str  # "divided" or "weighed", as in the plant file


def positive(value: Amount) -> Amount:
    """`value` where it is above zero, else 0; unit kept."""
    return (value + abs(value)) / 2


def smaller(one: Amount, other: Amount) -> Amount:
    """The smaller of two amounts of one unit."""
    return other - positive(other - one)


# --- the kettle ---------------------------------------------------------------------------------


def charge(before_kg: Amount, liquid_ratio: Amount) -> tuple[Amount, Amount]:
    """Flour and liquid (kg) of a kettle that was only weighed whole: Wb shared out by the recipe.

    liquid_ratio: kg liquid to 1 kg flour.
    """
    flour_kg = before_kg / (1 + liquid_ratio)
    return flour_kg, before_kg - flour_kg


def evaporated(before_kg: Amount, after_kg: Amount, residue_kg: Amount = 0.0) -> Amount:
    """Water that left the kettle (kg): Wb - Wa - residue.

    Paste left on kettle and tools weighs but does not concentrate the rest, so it is no evaporation.
    With residue 0 because nobody weighed it, the answer is an upper bound and holds the residue too.
    """
    return before_kg - after_kg - residue_kg


def loss_pct(before_kg: Amount, evaporated_kg: Amount) -> Amount:
    """Water lost, % of Wb."""
    return 100 * evaporated_kg / before_kg


def cooling_loss(after_kg: Amount, kettle_water_kg: Amount, cold_kg: Amount) -> Amount:
    """Water lost between the hot and the cold weighing (kg), never below 0: a paste gains none by standing."""
    return positive(after_kg + kettle_water_kg - cold_kg)


def put_back_unwritten(after_kg: Amount, cold_kg: Amount, evaporated_kg: Amount) -> Amount:
    """Water put back that nobody wrote (kg): the rise from Wa to Wc, up to what had evaporated.

    Only for a kettle whose water is not recorded. A rise beyond the loss cannot be repair: it is a tub
    on the scale, and counts nothing.
    """
    rise = positive(cold_kg - after_kg)
    repair = (rise <= positive(evaporated_kg)) * 1.0
    return rise * repair


def excess(before_kg: Amount, evaporated_kg: Amount, usual_loss_pct: Amount, put_back_kg: Amount = 0.0) -> Amount:
    """Water lost beyond what the formula already allows for, and not put back (kg).

    Below 0: less was lost than usual, the doughs are wetter than the formula.
    """
    return evaporated_kg - before_kg * usual_loss_pct / 100 - put_back_kg


class Paste(NamedTuple):
    """Cooked paste: its weight, and the flour and water in it, kg. The rest is milk solids and the like."""

    kg: Amount
    flour_kg: Amount
    water_kg: Amount

    @property
    def flour_share(self) -> Amount:
        """kg flour in 1 kg of it."""
        return self.flour_kg / self.kg

    @property
    def water_share(self) -> Amount:
        """kg water in 1 kg of it."""
        return self.water_kg / self.kg

    def portion(self, kg: Amount) -> Paste:
        """`kg` weighed out of it."""
        return Paste(kg, self.flour_share * kg, self.water_share * kg)

    def with_water(self, kg: Amount) -> Paste:
        """The same paste with `kg` of water stirred in; below 0: dried out by as much."""
        return Paste(self.kg + kg, self.flour_kg, self.water_kg + kg)


def cooked(
    flour_kg: Amount,
    liquid_kg: Amount,
    liquid_water_pct: Amount,
    before_kg: Amount,
    after_kg: Amount,
    residue_kg: Amount = 0.0,
) -> Paste:
    """The paste that came out of the kettle: Wa of it, before any water is put back.

    liquid_water_pct: water in the liquid, % by weight (milk is about 87): only water evaporates, so
    milk paste keeps all its solids.
    """
    lost_kg = evaporated(before_kg, after_kg, residue_kg)
    whole = Paste(before_kg - lost_kg, flour_kg, liquid_kg * liquid_water_pct / 100 - lost_kg)
    return whole.portion(after_kg)


def equal_part(made_kg: Amount, parts: Amount) -> Amount:
    """One dough's part of a divided kettle (kg)."""
    return made_kg / parts


def parts_meant(flour_kg: Amount, flour_each_kg: Amount) -> Amount:
    """How many doughs a divided kettle was meant for: its flour over the paste flour one dough should get.

    A kettle up to a quarter of a dose short still counts as meant for the whole number. At least 1.
    """
    whole = (flour_kg / flour_each_kg + 0.25) // 1
    return 1 + positive(whole - 1)


def overdrawn(used_kg: Amount, made_kg: Amount) -> Amount:
    """Paste written as used beyond what was made (kg); 0 where it was not."""
    return positive(used_kg - made_kg)


def last_dose(made_kg: Amount, dose_kg: Amount, doughs: Amount) -> Amount:
    """What is left for the last of `doughs` when every other one took `dose_kg` (kg); never below 0."""
    return positive(smaller(made_kg - dose_kg * (doughs - 1), dose_kg))


# --- the dough ----------------------------------------------------------------------------------


class Dough(NamedTuple):
    """All flour and all water of a dough, its paste's included, kg."""

    flour_kg: Amount
    water_kg: Amount

    @property
    def hydration_pct(self) -> Amount:
        """All water over all flour, %."""
        return 100 * self.water_kg / self.flour_kg

    def with_paste(self, paste: Paste) -> Dough:
        """The dough with this much paste in it."""
        return Dough(self.flour_kg + paste.flour_kg, self.water_kg + paste.water_kg)

    def with_water(self, kg: Amount) -> Dough:
        """The dough with `kg` of water more."""
        return Dough(self.flour_kg, self.water_kg + kg)

    def water_to(self, hydration_pct: Amount) -> Amount:
        """Water that brings it to `hydration_pct` (kg); below 0: so much too wet."""
        return self.flour_kg * hydration_pct / 100 - self.water_kg


class Formula(NamedTuple):
    """What a product's formula wants of dough and paste; as in the plant file, or columns of it.

    The hydration is that of the dough as it should really be: the paste's usual loss has already
    happened in it, and the liquid weighed into the dough already makes up for that.
    """

    hydration_pct: Amount
    paste_flour_pct: Amount
    liquid_ratio: Amount
    liquid_water_pct: Amount
    usual_loss_pct: Amount

    def charge_kg(self, all_flour_kg: Amount) -> Amount:
        """Wb of the paste for so much flour (kg)."""
        return all_flour_kg * self.paste_flour_pct / 100 * (1 + self.liquid_ratio)

    def usual_loss_kg(self, all_flour_kg: Amount) -> Amount:
        """What that paste usually loses (kg)."""
        return self.charge_kg(all_flour_kg) * self.usual_loss_pct / 100

    def usual_loss_points(self) -> Amount:
        """What the usual loss would take from the hydration had the formula not allowed for it."""
        return self.usual_loss_kg(100.0)

    def paste(self, all_flour_kg: Amount) -> Paste:
        """The paste as it usually comes out, for so much flour."""
        flour_kg = all_flour_kg * self.paste_flour_pct / 100
        liquid_kg = flour_kg * self.liquid_ratio
        before_kg = flour_kg + liquid_kg
        after_kg = before_kg - self.usual_loss_kg(all_flour_kg)
        return cooked(flour_kg, liquid_kg, self.liquid_water_pct, before_kg, after_kg)

    def beside_paste(self, all_flour_kg: Amount) -> Dough:
        """Flour and water that go into the mixer beside the paste, for so much flour in all."""
        paste = self.paste(all_flour_kg)
        return Dough(all_flour_kg - paste.flour_kg, all_flour_kg * self.hydration_pct / 100 - paste.water_kg)

    def all_flour_of(self, flour_kg: Amount) -> Amount:
        """All flour of a dough into which `flour_kg` went beside the paste (kg)."""
        return flour_kg / (1 - self.paste_flour_pct / 100)

    def all_flour_of_kettle(self, paste_flour_kg: Amount) -> Amount:
        """All flour of the doughs that a kettle with so much flour is meant for (kg)."""
        return paste_flour_kg * 100 / self.paste_flour_pct


def gaps(formula: Formula, hydration_pct: Amount) -> tuple[Amount, Amount]:
    """Two gaps to the formula, in points: had all paste loss come out of it, and beyond the usual loss.

    A formula already allows for its usual loss; water is owed for the second alone.
    """
    beyond = hydration_pct - formula.hydration_pct
    return beyond - formula.usual_loss_points(), beyond


def unwritten_other_water(formula: Formula, flour_kg: Amount, liquid_water_kg: Amount) -> Amount:
    """Water that eggs, syrups, yeast and the like bring, where nobody wrote it: as the formula has it (kg).

    flour_kg and liquid_water_kg: weighed in beside the paste. It is what remains of the formula's water
    after its paste and the liquid; 0 where the liquid covers everything. So a dough made by the formula
    has the formula's hydration, and every kilogram the paste lost beyond the usual still shows; too little
    liquid shows only where the other water is written down (0 is an answer).
    """
    beside = formula.beside_paste(formula.all_flour_of(flour_kg))
    return positive(beside.water_kg - liquid_water_kg)


# --- what a loss does, and what undoes it -------------------------------------------------------


def kettle_doughs(formula: Formula, paste: Paste, charged_flour_kg: Amount, dosing: Dosing) -> Dough:
    """All doughs of one kettle together, as they come out if nobody acts.

    divided: the whole paste goes in. weighed: the formula's weight goes in, of this stronger paste (the
    kettle then runs short, see `last_dose`).
    """
    all_flour_kg = formula.all_flour_of_kettle(charged_flour_kg)
    dose = paste if dosing == "divided" else paste.portion(formula.paste(all_flour_kg).kg)
    return formula.beside_paste(all_flour_kg).with_paste(dose)


def points_lost(formula: Formula, paste: Paste, charged_flour_kg: Amount, dosing: Dosing) -> Amount:
    """What the paste takes from the hydration of its doughs, in points; below 0: it gives."""
    return formula.hydration_pct - kettle_doughs(formula, paste, charged_flour_kg, dosing).hydration_pct


def points_of_excess(formula: Formula, excess_kg: Amount, charged_flour_kg: Amount) -> Amount:
    """Points that `excess_kg` takes where a kettle is divided: 1 kg per 100 kg of flour is 1 point."""
    return 100 * excess_kg / formula.all_flour_of_kettle(charged_flour_kg)


def stronger_dose(dose_kg: Amount, usual_kg: Amount, made_kg: Amount) -> tuple[Amount, Amount]:
    """Fewer kilograms of a stronger paste, and the water beside it, that stand for `dose_kg` as usual.

    usual_kg, made_kg: what the kettle usually gives and what it gave, residue included (Wb - E). Restores
    flour and water of every dough, and the kettle does not run short.
    """
    less_kg = dose_kg * made_kg / usual_kg
    return less_kg, dose_kg - less_kg


# --- what a loss can explain --------------------------------------------------------------------

# Fall of specific volume (%) with the share of all flour that is cooked (%): 5 to 10 % takes about
# 2 to 4 %, 40 % about 10 %. Common practice, no source.
SHARE_AND_FALL = ((0.0, 0.0), (5.0, 2.0), (10.0, 4.0), (40.0, 10.0))
MOST = 2.0  # a plant's own slope may well be twice the starting value


def fall_by_water_pct(points: Amount) -> Amount:
    """Fall of specific volume (%) when a dough lacks `points` of hydration; below 0: a rise.

    ln SV = 0.010 dH - 0.0025 dH^2, dH in points: a starting value, a guess until the plant's own slope is known.
    """
    lacking = -points
    return 100 * (1 - 2.718281828459045 ** (0.010 * lacking - 0.0025 * lacking * lacking))


def fall_by_share_pct(paste_flour_pct: float) -> float:
    """Fall of specific volume (%) that cooking this share of the flour brings; a number, not a column."""
    for (low, fall_low), (high, fall_high) in zip(SHARE_AND_FALL, SHARE_AND_FALL[1:], strict=False):
        if paste_flour_pct <= high:
            return fall_low + (fall_high - fall_low) * (paste_flour_pct - low) / (high - low)
    return SHARE_AND_FALL[-1][1] * paste_flour_pct / SHARE_AND_FALL[-1][0]


class Explained(NamedTuple):
    """How much of a fall in specific volume (%) a paste can explain: about, and at the very most."""

    likely_pct: float
    most_pct: float


def explainable_fall(points: float, paste_flour_pct: float) -> Explained:
    """How large a fall of specific volume (%) the paste of a product can explain at all.

    likely: the water it took (`points` beyond the usual, not made up). most: twice that, and a paste so
    wrong that its whole share counts against the loaf once more. A fall beyond `most_pct` has another cause.
    """
    water = fall_by_water_pct(positive(points))
    return Explained(water, MOST * water + fall_by_share_pct(paste_flour_pct))
