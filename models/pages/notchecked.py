"""What was not checked, and why: an empty cell is never fine."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterator
from datetime import date
from typing import TYPE_CHECKING

from models.pages import words
from models.pages.production_day import of_day
from models.pages.shown import Item
from models.snapshot import records
from models.texts import texts
from models.trade import likely

if TYPE_CHECKING:
    import pandas as pd

    from models.snapshot import Snapshot


def not_checked(snapshot: Snapshot, day: date) -> tuple[Item, ...]:
    """Everything about the day that no record answers for, the gravest first."""
    pastes, batches = of_day(snapshot.pastes, day), of_day(snapshot.batches, day)
    found = [
        *_cooling(snapshot, pastes, day),
        *_missing_lines(snapshot, batches),
        *_missing_kettles(snapshot, pastes),
        *_doughs(snapshot, batches, day),
        *_pastes(pastes),
        *_typed_twice(pastes, "paste", day),
        *_typed_twice(batches, "dough", day),
        *_waiting(snapshot, day),
        *_rules(snapshot, day),
    ]
    return tuple(found)


MOST_WHYS = 6  # reasons to wait that are told; the row account tells all


def _of(part: int, whole: int, what: str) -> str:
    return f"{part} of {words.counted(whole, what)}"


def _item(title: str, says: str = "", detail: tuple[str, ...] = ()) -> Item:
    return Item("unchecked", words.sentence(title), says, detail)


def _cooling(snapshot: Snapshot, pastes: pd.DataFrame, day: date) -> Iterator[Item]:
    if not len(pastes):
        return
    unread = pastes[pastes["cooling"] == "not checked"]
    if snapshot.plant.cooling is None:
        yield _item(
            f"cooling of {words.counted(len(pastes), 'paste')}",
            "The plant file has no [cooling] section: the limits come from the plant's own food-safety plan.",
        )
    elif len(unread):
        names = words.join(words.batch(key, day) for key in unread["paste_key"])
        yield _item(
            f"cooling: no reading on {_of(len(unread), len(pastes), 'paste')}",
            "Not shown to have met the cooling limits. Whoever approved them decides what that means for the paste.",
            (f"{names}.",),
        )


def _missing_lines(snapshot: Snapshot, batches: pd.DataFrame) -> Iterator[Item]:
    silent = sorted(set(snapshot.plant.lines) - set(batches["line"].dropna()))
    if silent:
        yield _item(f"no dough recorded on {words.join(silent)}", "Not running, or not written: the logs do not say.")


def _missing_kettles(snapshot: Snapshot, pastes: pd.DataFrame) -> Iterator[Item]:
    silent = sorted(set(snapshot.plant.kettles) - set(pastes["kettle"].dropna()))
    if silent:
        yield _item(f"no paste recorded in {'kettle' if len(silent) == 1 else 'kettles'} {words.join(silent)}")


def _doughs(snapshot: Snapshot, batches: pd.DataFrame, day: date) -> Iterator[Item]:
    n = len(batches)
    if not n:
        return
    bare = batches[batches["loaves"].fillna(0) == 0]
    if len(bare):
        yield _item(
            f"{_of(len(bare), n, 'dough')} {'has' if len(bare) == 1 else 'have'} no loaves yet",
            "Their volume and weight are unknown.",
            _by_line(bare),
        )
    hot = int((batches["loaves_hot"].fillna(0) > 0).sum())
    if hot:
        yield _item(
            f"loaves of {_of(hot, n, 'dough')} were measured too soon out of the oven", "Kept apart, not charted."
        )
    for column, words_for, detail in (
        ("paste_link", "the paste used", _likely_pastes(snapshot, batches, day)),
        ("water_made_good", "water put back", ()),
    ):
        blank = int((batches[column] == words.NOT_RECORDED).sum())
        if blank:
            yield _item(f"{words_for}: not recorded on {_of(blank, n, 'dough')}", "", detail)
    for column, words_for in (("proof_minutes", "proof"), ("mix_minutes", "mixing time"), ("yeast_lot", "yeast lot")):
        blank = int(batches[column].isna().sum())
        if blank:
            yield _item(f"{words_for}: not recorded on {_of(blank, n, 'dough')}")
    untested = int((batches["gas_tests"].fillna(0) == 0).sum())
    if untested:
        yield _item(f"gas made and gas kept: no test on {_of(untested, n, 'dough')}")


def _likely_pastes(snapshot: Snapshot, batches: pd.DataFrame, day: date) -> tuple[str, ...]:
    """The pastes that doughs without one probably got, in sentences; nothing else is made of them."""
    says, found = texts("batch")["dough"]["likely_paste"], likely.pastes(snapshot.batches, set(batches["batch_key"]))
    told = (says.format(dough=words.batch(key, day), paste=words.batch(paste, day)) for key, paste in found.items())
    return tuple(told)[:MOST_WHYS]


def _by_line(batches: pd.DataFrame) -> tuple[str, ...]:
    per_line = batches.groupby("line", sort=True)["batch_key"].count()
    return (words.join(f"{line}: {many}" for line, many in per_line.items()) + ".",)


def _pastes(pastes: pd.DataFrame) -> Iterator[Item]:
    if not len(pastes):
        return
    unweighed = int(pastes["residue_kg"].isna().sum())
    if unweighed:
        yield _item(
            f"residue: not weighed on {_of(unweighed, len(pastes), 'paste')}",
            "Their loss holds what stuck to the kettle as well as what boiled off.",
        )


def _typed_twice(rows: pd.DataFrame, what: str, day: date) -> Iterator[Item]:
    """Batches of one kettle or line whose numbers are the same but for zeros, blanks, hyphens and capitals."""
    place, number, key = ("kettle", "paste_batch", "paste_key") if what == "paste" else ("line", "dough_batch", "batch_key")
    alike: dict[tuple[str, str], list[str]] = {}
    for row in records(rows.sort_values(key)):
        alike.setdefault((row[place], bare_number(row[number])), []).append(row[key])
    found = [words.join(words.batch(key, day) for key in keys) for keys in alike.values() if len(keys) > 1]
    if found:
        yield _item(
            f"{words.counted(sum(len(keys) for keys in alike.values() if len(keys) > 1), what)} may have been typed twice",
            "Their numbers are the same but for zeros, blanks or hyphens. All of them are counted: ask who wrote them.",
            tuple(f"{one}." for one in found[:MOST_WHYS]),
        )


def bare_number(number: str) -> str:
    """A batch's number without what a spreadsheet or a hand leaves out or puts in; as `storage.waitsfor.bare` has it in the store."""
    return re.sub(r"(^|[^0-9])0+(?=[0-9])", r"\1", re.sub(r"[\s_-]", "", number.lower()))


def _waiting(snapshot: Snapshot, day: date) -> Iterator[Item]:
    rows = of_day(snapshot.excluded, day)
    waiting = rows[rows["status"] == "waiting"]
    if len(waiting):
        kinds = waiting.groupby("kind", sort=True)["row"].count()
        says = words.join(words.counted(many, "row_of").format(kind=kind) for kind, many in kinds.items())
        one = len(waiting) == 1
        whys = Counter((row["kind"], words.text(row["why"])) for row in records(waiting))
        detail = tuple(
            words.sentence(f"{words.counted(many, 'row_of').format(kind=kind)}: {why}")
            for (kind, why), many in sorted(whys.items())
        )
        yield _item(
            f"{says} {'waits for the batch it names' if one else 'wait for the batches they name'}",
            "",
            detail[:MOST_WHYS],
        )


def _rules(snapshot: Snapshot, day: date) -> Iterator[Item]:
    """Rules that failed to run, and those that found no row to judge; a rule without a row for the day had none."""
    import pandas as pd

    rules = snapshot.rules
    of_the_day = rules[(rules["shift_date"] == pd.Timestamp(day)) | rules["shift_date"].isna()]
    failed = of_the_day[of_the_day["outcome"] == "could not run"]
    if len(failed):
        names = words.join(f"{row['kind']} {words.rule(row['rule'])}" for row in records(failed))
        yield _item(
            f"{words.counted(len(failed), 'rule')} could not run", "Their answer is unknown, not good.", (f"{names}.",)
        )
    judged = set(of_the_day.loc[of_the_day["judged"] > 0, "rule"]) | set(failed["rule"])
    idle = rules[~rules["rule"].isin(judged)].drop_duplicates("rule")
    if len(idle):
        per_kind = tuple(
            f"{kind}: {'; '.join(sorted(words.rule(code) for code in alike['rule']))}."
            for kind, alike in idle.groupby("kind", sort=True)
        )
        yield _item(f"{words.counted(len(idle), 'rule')} had nothing to judge", "", per_kind)
