"""The baked loaf: specific volume, bake loss, and the piece to scale for a weight on the label.

Arithmetic alone: numbers or whole columns. Weights g, volumes mL.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from models.plant import Plant

Amount = Any  # a number, or a column of numbers


def specific_volume(volume_ml: Amount, baked_g: Amount) -> Amount:
    """Loaf volume over baked weight, mL/g."""
    return volume_ml / baked_g


def bake_loss_pct(scaled_g: Amount, baked_g: Amount) -> Amount:
    """Weight lost from dough piece to baked loaf, % of the piece. Both of the same loaf."""
    return 100 * (scaled_g - baked_g) / scaled_g


def scaling_for(baked_g: Amount, loss_pct: Amount) -> Amount:
    """Dough piece (g) that bakes out to `baked_g` at a bake loss of `loss_pct`.

    Divided by what is left, not multiplied by what is lost: 454 g at 12 % is 515.9 g, not 508.5 g.
    Raises ValueError for a loss of 100 % or more.
    """
    left = 1 - loss_pct / 100
    if _any_at_most_zero(left):
        raise ValueError(f"a bake loss of {loss_pct} % leaves no loaf; it may be 0 to below 100")
    return baked_g / left


def too_hot(cooled_minutes: Amount, plant: Plant) -> Amount:
    """Whether loaves were measured too hot: sooner out of the oven than the plant file allows. Not recorded: not known to be."""
    return cooled_minutes < plant.net_weight.min_cooled_minutes


def _any_at_most_zero(value: Amount) -> bool:
    bad = value <= 0
    return bool(bad if isinstance(bad, bool) else bad.any())


def split_change(volume_change_pct: Amount, weight_change_pct: Amount) -> Amount:
    """Change of specific volume (%) that goes with these changes of volume and weight (%).

    An identity: a loaf 1.1 % lighter is 1.1 % up in specific volume though no larger.
    """
    return 100 * ((1 + volume_change_pct / 100) / (1 + weight_change_pct / 100) - 1)
