"""The caution lines, each where it belongs. They defer to local law and to those licensed to judge."""

from __future__ import annotations

from typing import TYPE_CHECKING

from models.pages.words import utc
from models.texts import texts

if TYPE_CHECKING:
    from models.fixed import Ground
    from models.plant import Plant
    from models.shapes import Alert
    from models.snapshot import Snapshot

_SAID = texts("cautions")
HOT_PASTE: str = _SAID["hot_paste"]
SPORES: str = _SAID["spores"]
POTABLE: str = _SAID["potable"]
UNDER_BAKED: str = _SAID["under_baked"]
LEGAL_WEIGHT: str = _SAID["legal_weight"]
FOREIGN_BODY: str = _SAID["foreign_body"]
ALLERGEN: str = _SAID["allergen"]
OTHER_GROUND: str = _SAID["other_ground"]


def cooling(plant: Plant) -> str:
    """Spore-formers and the paste that cooled too slowly, with whose limits are applied."""
    limits, said = plant.cooling, _SAID["cooling"]
    if limits is None:
        return said["no_limits"].format(spores=SPORES)
    return said["approved"].format(spores=SPORES, by=limits.approved_by)


def at_the_kettle(plant: Plant) -> tuple[str, ...]:
    """What must stand beside every instruction at the kettle: burns, the cooling limits, spore-formers."""
    limits, said = plant.cooling, _SAID["in_time"]
    in_time = said["no_limits"]
    if limits is not None:
        in_time = said["approved"].format(
            to_21=limits.to_21_c_within_h, to_5=limits.to_5_c_within_h, by=limits.approved_by
        )
    return HOT_PASTE, in_time, said["in_doubt"].format(spores=SPORES)


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
    if name in ("allergen", "paste recipe"):
        return (ALLERGEN,)
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
