"""The day's water in sentences: lost, given, owed, and what the logs do not say."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date
from typing import TYPE_CHECKING

from models.judging.rules import OVERDRAWN_IN_DOUBT
from models.pages import words
from models.pages.words import number
from models.snapshot import records

if TYPE_CHECKING:
    import pandas as pd

    from models.snapshot import Snapshot


def water(snapshot: Snapshot, pastes: pd.DataFrame, batches: pd.DataFrame, day: date) -> Iterator[str]:
    """Sentences on the water of a day's pastes and doughs (wide rows); none where nothing was cooked or mixed."""
    yield from _lost(pastes)
    yield from _given(pastes, batches)
    yield from _owed(batches)
    yield from _not_written(snapshot, batches)
    yield from _overdrawn(snapshot, pastes, day)


def _lost(pastes: pd.DataFrame) -> Iterator[str]:
    losses = pastes["loss_pct"].dropna()
    if len(losses):
        spread = words.interval(losses.min(), losses.max(), "% of Wb")
        mean = number(losses.mean(), "% of Wb")
        yield f"{words.counted(len(pastes), 'cook')}: loss {spread}, mean {mean} (n = {len(losses)})."


def _given(pastes: pd.DataFrame, batches: pd.DataFrame) -> Iterator[str]:
    kettle, mixer = pastes["kettle_water_kg"].dropna(), batches["makeup_water_kg"].dropna()
    if len(kettle) or len(mixer):
        yield (
            f"Water given: {number(kettle.sum(), 'kg', 1)} into the kettles ({len(kettle)} of"
            f" {words.counted(len(pastes), 'paste')} say), {number(mixer.sum(), 'kg', 1)} at the mixers ({len(mixer)} of"
            f" {words.counted(len(batches), 'dough')} say)."
        )


def _owed(batches: pd.DataFrame) -> Iterator[str]:
    short = batches[batches["water_made_good"] == "no"]
    if len(short):
        owed = number(short["water_owed_kg"].sum(), "kg", 1)
        yield f"{owed} of water owed and not given, in {words.counted(len(short), 'dough')}."


def _not_written(snapshot: Snapshot, batches: pd.DataFrame) -> Iterator[str]:
    """Water owed where nobody wrote whether it was given; a normal volume then says that it probably was."""
    unknown = batches[batches["water_made_good"] == words.NOT_RECORDED]
    if not len(unknown):
        return
    yield (
        f"{number(unknown['water_owed_kg'].sum(), 'kg', 1)} of water owed in {words.counted(len(unknown), 'dough')} where"
        " nobody wrote whether it was given."
    )
    normal = [row["batch_key"] for row in records(unknown) if _normal_volume(snapshot, row)]
    if normal:
        yield (
            f"Of these, {words.counted(len(normal), 'dough')} came out at normal volume all the same: probably made good,"
            " not written."
        )


def _normal_volume(snapshot: Snapshot, row: dict) -> bool:
    """Whether a dough's specific volume lies within half of the way from its chart's level to the limits."""
    for charted in snapshot.charted:
        stream = charted.stream
        if stream.characteristic == "specific volume" and (stream.line, stream.product) == (
            row["line"],
            row["product"],
        ):
            if charted.baseline is None or charted.lower is None:
                return False
            return row["specific_volume"] >= (charted.baseline.level + charted.lower) / 2
    return False


def _overdrawn(snapshot: Snapshot, pastes: pd.DataFrame, day: date) -> Iterator[str]:
    found = snapshot.findings
    in_doubt = found[found["rule"] == OVERDRAWN_IN_DOUBT].set_index("key")["says"]
    for row in records(pastes[pastes["overdrawn_kg"] > 0]):
        if row["paste_key"] in in_doubt.index:
            yield f"{words.batch(row['paste_key'], day)}: {in_doubt[row['paste_key']]}."
            continue
        more = number(row["overdrawn_kg"], "kg")
        yield f"{words.batch(row['paste_key'], day)}: {more} more paste used than was made."
