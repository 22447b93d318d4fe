"""A baseline held against the plant file: what is usual here may still not be good."""

from __future__ import annotations

from typing import TYPE_CHECKING

from models.shapes import Charted, Stream
from models.texts import texts

if TYPE_CHECKING:
    from models.plant import Plant, Window


def against_window(charted: Charted, plant: Plant) -> str | None:
    """One sentence where the baseline's level lies outside the plant's own limits for it; None where it does not.

    Nothing is said while there is no baseline, or of a characteristic that the plant file sets no limits for.
    """
    base, window = charted.baseline, _window(charted.stream, plant)
    if base is None or window is None:
        return None
    unit, t = charted.stream.unit, texts("curve")["baseline"]
    for (low, high), says in ((window[1], t["bad"]), (window[0], t["not_good"])):
        if not low <= base.level <= high:
            return says.format(level=base.level, unit=unit, low=low, high=high)
    return None


Limits = tuple[tuple[float, float], tuple[float, float]]


def _window(stream: Stream, plant: Plant) -> Limits | None:
    """Warning and action limits of the plant file for what the stream follows."""
    if stream.kettle is not None:
        recipe = plant.pastes.get(stream.product or plant.paste_of(stream.kettle) or "")
        kettle = {"paste loss": "loss_pct", "cook temperature": "cook_temp_c"}
        return _pair(getattr(recipe, kettle[stream.characteristic], None)) if stream.characteristic in kettle else None
    product = plant.products.get(stream.product or "")
    if product is None:
        return None
    if stream.characteristic == "specific volume" and product.specific_volume is not None:
        return product.specific_volume, product.specific_volume
    return _pair(product.dough_temp_c) if stream.characteristic == "dough temperature" else None


def _pair(window: Window | None) -> Limits | None:
    return None if window is None else (window.warn, window.act)
