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


def too_hot(cooled_minutes: Amount, plant: Plant) -> Amount:
    """Whether loaves were measured too hot: sooner out of the oven than the plant file allows. Not recorded: not known to be."""
    return cooled_minutes < plant.net_weight.min_cooled_minutes
