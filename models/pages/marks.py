"""What stands at the foot of a curve: yeast lots as they came into use, and changes that concern the stream."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from models.pages import words
from models.pages.shown import Mark
from models.plant import Plant
from models.shapes import Charted, Stream
from models.snapshot import records
from models.texts import texts

if TYPE_CHECKING:
    from models.pages.curves import Seen
    from models.snapshot import Snapshot


def marks(charted: Charted, snapshot: Snapshot | Seen, shown: list[int]) -> tuple[Mark, ...]:
    """Lots and changes between the first and the last of the points shown, in order of time."""
    if not shown:
        return ()
    found = [*_changes(charted, snapshot, shown), *_lots(charted, snapshot, shown)]
    return tuple(sorted(found, key=lambda mark: (mark.at, mark.kind, mark.says)))


def _lots(charted: Charted, snapshot: Snapshot | Seen, shown: list[int]) -> list[Mark]:
    points, found = charted.points, []
    says = texts("curve")["flour_lot" if charted.stream.kettle else "yeast_lot"]
    lots = points.lot[shown].tolist()
    seen = {lots[0], ""}
    for i, lot in zip(shown, lots, strict=True):
        if lot not in seen:
            seen.add(lot)
            at = points.at[i].astype(object)
            found.append(Mark(words.iso(at, snapshot.plant.zone), "lot", says.format(lot=lot)))
    return found


def _changes(charted: Charted, snapshot: Snapshot | Seen, shown: list[int]) -> list[Mark]:
    rows, zone = snapshot.changes, snapshot.plant.zone
    if not len(rows):
        return []
    rows = rows[rows["changed_at"].between(charted.points.at[shown[0]], charted.points.at[shown[-1]])]
    if not len(rows):
        return []
    yeast = set(charted.points.lot)
    found = []
    for row in records(rows):
        lot = row["scope"] == "lot"
        if (lot and row["name"] not in yeast) or (not lot and concerns(row, charted.stream, snapshot.plant)):
            at, when = words.iso(row["changed_at"], zone), words.when(row["changed_at"], zone)
            found.append(Mark(at, "lot" if lot else "change", f"{row['name']}: {row['what']}", when))
    return found


def concerns(row: dict[str, Any], stream: Stream, plant: Plant) -> bool:
    """Whether a change (a row of its log) may touch a stream: its line, its kettle, what it shares, or everything."""
    if row["scope"] == "plant":
        return True
    line = plant.lines.get(stream.line or "")
    own = {stream.line, stream.kettle}
    if line is not None:
        own |= {line.kettle, line.mixer, line.proofer, line.oven}
    if row["scope"] == "instrument":
        shared = {name for other in plant.lines.values() for name in (other.mixer, other.proofer, other.oven)}
        return row["name"] in own or row["name"] not in shared
    return row["name"] in own
