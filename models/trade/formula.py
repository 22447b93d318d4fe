"""A product's formula out of the plant file, as the water ledger wants it."""

from __future__ import annotations

from models.plant import Plant, Product
from models.trade.paste import Formula

NO_PASTE = (0.0, 0.0, 100.0, 0.0)


def formula_of(plant: Plant, product: Product) -> Formula:
    """The formula of `product`; one without paste has a paste share of 0."""
    recipe = plant.pastes.get(product.paste or "")
    if recipe is None:
        return Formula(product.hydration_pct, *NO_PASTE)
    return Formula(
        product.hydration_pct,
        product.paste_flour_pct,
        recipe.liquid_ratio,
        recipe.liquid_water_pct,
        recipe.usual_loss_pct,
    )
