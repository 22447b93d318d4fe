"""What was not recorded, not tested or not checked, by group. Never shown as fine."""

from __future__ import annotations

import numpy as np

from models.causes.effects import EFFECTS
from models.causes.story import Story, tested
from models.texts import in_number, texts


def not_checked(story: Story, group: str) -> tuple[str, ...]:
    """One line for each thing that was not recorded or tested in the episode."""
    lines = _missing(story, group)
    lines += {"yeast": _yeast, "paste": _paste, "handling": _handling, "unexplained": _rest}[group](story)
    return tuple(dict.fromkeys(lines))


def _missing(story: Story, group: str) -> list[str]:
    field, total = story.field, int(story.field.episode.sum())
    found: dict[str, int] = {}
    for k, effect in enumerate(EFFECTS):
        if effect.group == group and effect.unchecked:
            found[effect.unchecked] = int((~np.isfinite(story.known.terms.shown[field.episode, k])).sum())
    t = texts("unchecked")
    return [
        (t["never"] if n == total else t["some"]).format(what=what, n=n, total=total) for what, n in found.items() if n
    ]


def _yeast(story: Story) -> list[str]:
    field, t = story.field, texts("unchecked")
    blank, total = int((field.text["yeast_lot"][field.episode] == "").sum()), int(field.episode.sum())
    lines = [in_number(t["yeast_lot"], total).format(n=blank, total=total)] if blank else []
    lots = dict.fromkeys(lot for lot in field.text["yeast_lot"][field.episode] if lot)
    untested = [str(lot) for lot in lots if not tested(story, lot)]
    if untested:
        lines.append(in_number(t["gas_of_lot"], len(untested)).format(lots=", ".join(untested)))
    return lines


def _paste(story: Story) -> list[str]:
    silent, total = int(story.known.terms.silent[story.field.episode].sum()), int(story.field.episode.sum())
    keys = set(story.field.text["paste_key"][story.field.episode]) - {""}
    t = texts("unchecked")
    lines = [in_number(t["water"], total).format(n=silent, total=total)] if silent else []
    if keys and len(story.pastes) and "residue_kg" in story.pastes:
        mine = story.pastes[story.pastes["paste_key"].isin(keys)]
        unweighed = int(mine["residue_kg"].isna().sum())
        if unweighed:
            lines.append(in_number(t["residue"], len(mine)).format(n=unweighed, total=len(mine)))
    return lines


def _handling(story: Story) -> list[str]:
    lines, t = [], texts("unchecked")
    points, _, places = story.known.signs.kept
    if not np.isfinite(points):
        lines.append(t["gas_kept"])
    elif "moulder" not in places:
        lines.append(t["after_moulder"])
    if not np.isfinite(story.known.signs.spread[0]):
        lines.append(t["spread"])
    return [*lines, t["settings"]]


def _rest(story: Story) -> list[str]:
    seen = {c.instrument for c in story.known.signs.volumeters if np.isfinite(c.after)}
    meters = sorted(set(story.field.text["volumeter"][story.field.episode]) - {""})
    t = texts("unchecked")
    lines = [t["volumeter"].format(name=name) for name in meters if name not in seen]
    if not meters:
        lines.append(t["no_volumeter"])
    blank, total = int((story.field.text["flour_lot"][story.field.episode] == "").sum()), int(story.field.episode.sum())
    if blank:
        lines.append(in_number(t["flour_lot"], total).format(n=blank, total=total))
    return [*lines, t["no_column"]]
