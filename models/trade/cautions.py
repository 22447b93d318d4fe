"""The caution lines, each where it belongs. They defer to local law and to those licensed to judge."""

from __future__ import annotations

from typing import TYPE_CHECKING

from models.pages.words import utc

if TYPE_CHECKING:
    from models.fixed import Ground
    from models.plant import Plant
    from models.shapes import Alert
    from models.snapshot import Snapshot

HOT_PASTE = (
    "Hot paste burns and sticks: at 64 °C skin burns in 2 seconds. Read and stir at arm's length, never leaning over a boiling"
    " kettle."
)
SPORES = (
    "Spores survive the cook, and a toxin they can form in a warm paste survives the oven: baking does not repair a paste that"
    " cooled too slowly."
)
POTABLE = "Water put back is potable, weighed and written down. No figure here makes a paste safe."
UNDER_BAKED = (
    "A low bake loss can mean an under-baked loaf, which moulds and may go ropy. Probe the core; whether such bread"
    " is sold is decided by the site's food-safety plan, not by this page."
)
LEGAL_WEIGHT = (
    "The weight on the label is a legal promise. What is shown here is a sign, not a reference test; the local code"
    " and the authority's method decide."
)
FOREIGN_BODY = (
    "A foreign body seldom comes alone: all that was made since the last good check is in doubt. What is held, searched or"
    " called back is decided by the site's food-safety plan and local law, not by this page."
)
ALLERGEN = (
    "An allergen that the label does not name can do grave harm. Nothing of it leaves; if some has left, QA and the authority"
    " are told at once. Local law and the site's food-safety plan come first."
)
OTHER_GROUND = "Whether held bread may be sold is decided by local law and the site's food-safety plan, through those licensed to judge."


def cooling(plant: Plant) -> str:
    """Spore-formers and the paste that cooled too slowly, with whose limits are applied."""
    limits = plant.cooling
    whose = (
        f"The limits are the plant's own, approved by {limits.approved_by}"
        if limits
        else "The plant file names no limits"
    )
    return f"{SPORES} {whose}; local law and the site's food-safety plan come first."


def at_the_kettle(plant: Plant) -> tuple[str, ...]:
    """What must stand beside every instruction at the kettle: burns, the cooling limits, spore-formers."""
    limits = plant.cooling
    in_time = (
        f"Cool it in time: 21 °C within {limits.to_21_c_within_h:g} h, 5 °C within {limits.to_5_c_within_h:g} h "
        f"(approved by {limits.approved_by})."
        if limits
        else "Cool it in time: the plant file holds no cooling limits, ask QA for them."
    )
    return HOT_PASTE, in_time, f"{SPORES} In doubt QA decides."


def of_hold(ground: Ground, plant: Plant) -> str:
    """The caution that a hold carries, by what kind of doubt it rests on."""
    if ground == "cooling":
        return cooling(plant)
    own = {"under-baked": UNDER_BAKED, "foreign body": FOREIGN_BODY, "allergen": ALLERGEN, "short weight": LEGAL_WEIGHT}
    return own.get(ground, OTHER_GROUND)


def of(alert: Alert, snapshot: Snapshot) -> tuple[str, ...]:
    """The cautions that an alert carries: by what it speaks of, and by what moved with it."""
    return named(alert, snapshot.plant, bool(alert.line) and _less_baked(alert, snapshot))


def named(alert: Alert, plant: Plant, less_baked: bool) -> tuple[str, ...]:
    """The cautions of an alert where it is known whether the loaves of its line and product lost less in the oven."""
    name = alert.characteristic
    if name in ("paste loss", "cook temperature", "kettle overdrawn"):
        return HOT_PASTE, POTABLE, cooling(plant)
    if name in ("cooling", "paste age", "paste at 2 h", "paste at 6 h"):
        return (cooling(plant),)
    found = (UNDER_BAKED,) if less_baked else ()
    return (*found, LEGAL_WEIGHT) if name in ("net weight", "weight") else found


def _less_baked(alert: Alert, snapshot: Snapshot) -> bool:
    """Whether the bake loss of the alert's line and product was down while the alert was on."""
    if alert.characteristic == "bake loss":
        return alert.direction == "low"
    import numpy as np

    began, until = (np.datetime64(utc(at), "us") for at in (alert.began_at, alert.until_at))
    for charted in snapshot.charted:
        stream, at = charted.stream, charted.points.at
        if stream.characteristic == "bake loss" and (stream.line, stream.product) == (alert.line, alert.product):
            return any(e.direction == "low" and at[e.began] <= until and at[e.until] >= began for e in charted.episodes)
    return False
