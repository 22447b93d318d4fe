"""The caution lines, each where it belongs. They defer to local law and to those licensed to judge."""

from __future__ import annotations

from models.plant import Plant

HOT_PASTE = "Hot paste burns and sticks: read and stir at arm's length, never leaning over a boiling kettle."
POTABLE = "Water put back is potable, weighed and written down. No figure here makes a paste safe."
UNDER_BAKED = (
    "A low bake loss can mean an under-baked loaf, which moulds and may go ropy. Probe the core; whether such bread"
    " is sold is decided by the site's food-safety plan, not by this page."
)
LEGAL_WEIGHT = (
    "The weight on the label is a legal promise. What is shown here is a sign, not a reference test; the local code"
    " and the authority's method decide."
)


def cooling(plant: Plant) -> str:
    """Spore-formers and the paste that cooled too slowly, with whose limits are applied."""
    limits = plant.cooling
    whose = (
        f"The limits are the plant's own, approved by {limits.approved_by}"
        if limits
        else "The plant file names no limits"
    )
    return (
        "Spores survive the cook, and a toxin they can form in a warm paste survives the oven: baking does not repair a"
        f" paste that cooled too slowly. {whose}; local law and the site's food-safety plan come first."
    )


def of(characteristic: str, direction: str, plant: Plant) -> tuple[str, ...]:
    """The cautions that an alert of this kind carries."""
    if characteristic in ("paste loss", "cook temperature", "kettle overdrawn"):
        return HOT_PASTE, POTABLE, cooling(plant)
    if characteristic in ("cooling", "paste age", "paste at 2 h", "paste at 6 h"):
        return (cooling(plant),)
    if characteristic == "bake loss" and direction == "low":
        return (UNDER_BAKED,)
    if characteristic in ("net weight", "weight"):
        return (LEGAL_WEIGHT,)
    return ()
