"""A line beside the others: what they share is taken off, what one line does alone is found, and it is its own volume's."""

from __future__ import annotations

from collections import Counter
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from models.charts import beside, parted
from models.charts.baseline import chosen
from models.charts.budget import share_budget
from models.charts.chart import TAKEN_UP, chart
from models.shapes import Charted, Points, Stream

DAYS, A_DAY, LEVEL = 40, 8, 4.7
LINES = ("L1", "L2", "L3", "L4")


def stream(line: str) -> Stream:
    return Stream("north", beside.OF, "mL/g", line=line, product="tin")


def plant(seed: int, lines: tuple[str, ...] = LINES, lot: float = 0.03, **moved: float) -> dict[Stream, Points]:
    """Lines that share yeast lots of two days (sd `lot`, ln); `moved`: what a line does alone in the last six days, ln."""
    rng = np.random.default_rng(seed)
    lots, days = rng.normal(0, lot, DAYS), rng.normal(0, 0.008, DAYS)
    found = {}
    for line in lines:
        day = np.repeat(np.arange(DAYS), A_DAY)
        hour = np.sort(rng.uniform(0, 24, (DAYS, A_DAY)), axis=1).ravel()
        own = rng.normal(0, 0.02, len(day)) + rng.uniform(-0.05, 0.05) + moved.get(line, 0.0) * (day >= DAYS - 6)
        found[stream(line)] = Points(
            keys=np.array([f"{line}/{i:03}" for i in range(len(day))], dtype=object),
            at=np.datetime64("2026-05-01", "us") + ((24 * day + hour) * 3.6e9).astype("timedelta64[us]"),
            value=LEVEL * np.exp(own + lots[day // 2] + days[day]),
            n=np.full(len(day), 4.0),
            sd_within=np.full(len(day), 0.09),
            lot=np.array([f"Y{d // 2}" for d in day], dtype=object),
            day=np.datetime64("2026-05-01", "D") + day,
            flour=np.array(["F1"] * len(day), dtype=object),
        )
    return found


def both(found: dict[Stream, Points], line: str, arl0: float = 800.0) -> tuple[Charted, Charted]:
    """A line's own chart, and what it is beside the others."""
    other = next(s for s in beside.beside(found) if s.line == line)
    return chart(stream(line), found[stream(line)], arl0=arl0), chart(other, beside.beside(found)[other], arl0=arl0)


def by_hand(found: dict[Stream, Points], line: str) -> pd.Series:
    """The same values batch by batch with pandas, from the module's own words."""
    frames = {s.line: pd.DataFrame({"at": p.at, "v": p.value, "lot": p.lot, "key": p.keys}) for s, p in found.items()}
    until = min(f["at"].max() for name, f in frames.items() if name != line)  # all run to the end: nothing is given up
    made = {}
    for row in frames[line].itertuples():
        off: list[float] = []
        ran = 0
        for name, frame in frames.items():
            usual = frame["v"].iloc[:20].median()
            seen = frame[(frame["at"] < row.at) & (frame["at"] >= row.at - pd.Timedelta(hours=24)) & (frame["lot"] == row.lot)]
            if name != line and len(seen) and row.at > frame["at"].iloc[19]:
                off += list(np.log(seen["v"].tail(8) / usual))
                ran += 1
        if ran >= 2 and row.at <= until:
            made[row.key] = row.v * np.exp(-np.mean(off))
    return pd.Series(made)


def test_the_points_are_those_reckoned_batch_by_batch() -> None:
    # pandas, batch by batch; a median of logs is the log of a median but for the two middle ones of an even number
    found = plant(1)
    points = next(p for s, p in beside.beside(found).items() if s.line == "L2")
    expected = by_hand(found, "L2")
    assert list(points.keys) == list(expected.index) and len(points) > 150
    assert points.value == pytest.approx(expected.to_numpy(), rel=2e-4)


def test_what_lots_do_to_all_lines_is_taken_off() -> None:
    found = plant(2, lot=0.06)
    own = found[stream("L1")].value
    less = next(p for s, p in beside.beside(found).items() if s.line == "L1").value
    assert np.std(np.log(less)) < 0.5 * np.std(np.log(own))
    assert np.std(np.log(less)) == pytest.approx(0.02 * np.sqrt(1 + 1 / 10), rel=0.25)  # a batch and the mean of some ten


def test_batches_that_come_later_change_no_point() -> None:
    """Line by line, as bakeries measure them: one has all of its day in the store, another not yet its day before."""
    whole = plant(3)
    until, then = np.datetime64("2026-05-25T09:00", "us"), beside.beside(whole)
    for hours in ((0, 0, 0, 0), (0, 3, 7, 20), (23, 0, 0, 22), (0, 0, 23, 0)):
        ends = [until - np.timedelta64(h, "h") for h in hours]
        now = beside.beside({s: _upto(p, end) for (s, p), end in zip(whole.items(), ends, strict=True)})
        assert len(now) == len(LINES)
        for s, points in now.items():
            assert (then[s].keys[: len(points)] == points.keys).all()
            assert (then[s].value[: len(points)] == points.value).all()
            assert until - points.at[-1] <= np.timedelta64(36, "h")


def test_a_line_that_stopped_is_waited_for_a_day_and_no_longer() -> None:
    whole = plant(7)
    stops = np.datetime64("2026-05-25T09:00", "us")
    whole[stream("L4")] = _upto(whole[stream("L4")], stops)
    last = {hours: _newest(whole, stops + np.timedelta64(hours, "h")) for hours in (12, 20, 40, 96)}
    assert last[12] <= stops and last[20] <= stops, "its loaves of today may still come"
    assert stops + np.timedelta64(12, "h") <= last[40] <= stops + np.timedelta64(16, "h")
    assert last[96] >= stops + np.timedelta64(80, "h"), "it is not in use"


def _newest(whole: dict[Stream, Points], until: np.datetime64) -> np.datetime64:
    found = beside.beside({s: _upto(p, until) for s, p in whole.items()})
    return next(p.at[-1] for s, p in found.items() if s.line == "L1")


def _upto(p: Points, until: np.datetime64) -> Points:
    n = int(np.searchsorted(p.at, until))
    return Points(p.keys[:n], p.at[:n], p.value[:n], p.n[:n], p.sd_within[:n], p.lot[:n], p.day[:n], p.flour[:n])  # type: ignore[index]


def test_a_line_is_seen_by_the_others_once_its_usual_is_known_and_that_stays() -> None:
    """A fourth line begins late: its first twenty batches tell the others nothing, neither then nor later."""
    whole = plant(6)
    new = whole[stream("L4")]
    start = len(new) - 60
    whole[stream("L4")] = _from(new, start)
    for batches in (10, 19, 20, 40, 60):
        now = whole | {stream("L4"): _upto(_from(new, start), new.at[start + batches - 1] + np.timedelta64(1, "s"))}
        points = next(p for s, p in beside.beside(now).items() if s.line == "L1")
        alone = next(p for s, p in beside.beside({s: p for s, p in now.items() if s.line != "L4"}).items() if s.line == "L1")
        until = new.at[start + 19]
        assert (points.value[points.at <= until] == alone.value[alone.at <= until]).all()
        assert (points.value != alone.value[: len(points)]).any() == (batches >= 20)


def _from(p: Points, n: int) -> Points:
    return Points(p.keys[n:], p.at[n:], p.value[n:], p.n[n:], p.sd_within[n:], p.lot[n:], p.day[n:], p.flour[n:])  # type: ignore[index]


def test_what_a_line_began_with_is_not_its_usual() -> None:
    """A fourth line begins on days with a good lot: the others were told ever after that it had fallen since, so that they rose."""
    whole = plant(8, lot=0.0)
    for points in whole.values():
        points.value[(points.day >= points.day[0] + 18) & (points.day < points.day[0] + 22)] *= 1.08
    start = int(np.flatnonzero(whole[stream("L4")].day >= whole[stream("L4")].day[0] + 18)[0])
    now = beside.beside(whole | {stream("L4"): _from(whole[stream("L4")], start)})
    for line in LINES[:3]:
        points = next(p for s, p in now.items() if s.line == line)
        early, late = points.day < points.day[0] + 18, points.day >= points.day[0] + 24
        assert np.log(points.value[late].mean() / points.value[early].mean()) == pytest.approx(0.0, abs=0.01)


def test_two_lines_cannot_say_which_of_them_moved() -> None:
    assert not beside.beside(plant(4, lines=("L1", "L2"), L1=-0.06))


def test_a_batch_on_a_lot_that_no_other_line_had_yet_has_no_point() -> None:
    found = plant(5)
    mine = found[stream("L1")]
    mine.lot[100:110] = "only here"
    points = next(p for s, p in beside.beside(found).items() if s.line == "L1")
    assert not set(mine.keys[100:110]) & set(points.keys) and mine.keys[99] in set(points.keys)


@pytest.mark.parametrize("fall", [-0.035, 0.035])
def test_what_one_line_does_alone_is_found_among_lots_that_differ(fall: float) -> None:
    """Lots of 3 % that change every two days: the line's own chart takes a change of 3.5 % for a lot."""
    alone, beside_others = 0, 0
    for seed in range(10, 22):
        own, other = both(plant(seed, L2=fall), "L2")
        since = own.points.day[-1] - 5
        told = [e for e in parted.lent([own, other])[0].episodes if own.points.day[e.signalled] >= since]
        alone += any(own.points.day[e.signalled] >= since for e in own.episodes)
        beside_others += any(e.direction == ("low" if fall < 0 else "high") for e in told)
    assert alone <= 4 and beside_others >= 8


@pytest.mark.parametrize("size", [-0.10, 0.06])
def test_what_another_line_does_is_not_laid_to_this_one(size: float) -> None:
    """A fall of one line of three is a rise of the other two beside it, and good lots would have their volume agree."""
    signals, told, moved = 0, 0, 0
    for seed in range(30, 42):
        found = plant(seed, lines=("L1", "L2", "L3"), L1=size)
        charted = [one for line in ("L1", "L2", "L3") for one in both(found, line)]
        signals += sum(bool(one.episodes) for one in charted[3::2])
        mine, *others = parted.of_pages(parted.lent(charted))
        told += sum(e.kind == parted.KIND and (e.change < 0) != (size < 0) for one in others for e in one.episodes)
        moved += any(mine.points.day[e.signalled] >= mine.points.day[-1] - 5 for e in mine.episodes)
    assert signals >= 16, "the charts beside it say that the lines have parted"
    assert told <= 1 and moved >= 10


@pytest.mark.parametrize("size", [-0.08, 0.08])
def test_while_all_learn_the_line_that_moved_is_told_and_no_other(size: float) -> None:
    """A learning chart takes a lasting change up as its level: it was off the level it left all the same."""
    told = Counter[str]()
    for seed in range(300, 316):
        found = plant(seed, lines=("L1", "L2", "L3"), lot=0.02)
        mine = found[stream("L1")]
        mine.value[mine.day >= mine.day[0] + 6 + seed % 8] *= np.exp(size)
        charted = [one for line in ("L1", "L2", "L3") for one in both(found, line)]
        assert any(e.kind == TAKEN_UP for one in charted[1::2] for e in one.episodes)
        for one in parted.of_pages(parted.lent(charted)):
            for e in one.episodes:
                assert e.kind != parted.KIND or (e.change > 0) == (e.direction == "high")
                told[f"{one.stream.line} {e.kind == parted.KIND}"] += 1
    assert told["L1 True"] + told["L1 False"] >= 14 and told["L2 True"] + told["L3 True"] <= 2, told


def test_the_line_that_a_lot_comes_to_first_is_not_taken_for_the_usual_of_it() -> None:
    """One line runs at night and has nobody beside it on a new lot; the two of the day are held against it."""
    told, moved = 0, 0
    for seed in range(400, 416):
        found = plant(seed, lines=("L1", "L2", "L3"), L1=0.08 if seed % 2 else -0.08)
        for s, points in found.items():
            midnight = points.at.astype("datetime64[D]").astype("datetime64[us]")
            points.at[:] = midnight + (points.at - midnight) // 3
            if s.line != "L1":
                points.at[:] += np.timedelta64(10, "h")
        mine, *others = parted.of_pages(parted.lent(one for line in ("L1", "L2", "L3") for one in both(found, line)))
        since = mine.points.day[-1] - 5
        moved += any(mine.points.day[e.signalled] >= since for e in mine.episodes)
        told += sum(e.kind == parted.KIND and one.points.day[e.signalled] >= since for one in others for e in one.episodes)
    assert told <= 4 and moved >= 12, (told, moved)


def test_what_is_found_beside_the_others_is_told_in_the_lines_own_volume() -> None:
    own, other = both(plant(10, L2=-0.035), "L2")
    told = parted.lent([own, other])[0]
    (found,) = [e for e in told.episodes if e.kind == parted.KIND]
    assert own.baseline is not None
    change = own.points.value[found.began : found.until + 1].mean() - own.baseline.level  # the contract's change
    assert found.change == pytest.approx(change)
    assert found.change_low < change < found.change_high
    assert found.began_low <= found.began <= found.began_high <= found.signalled <= found.until
    assert told.state == "signal" and told.promise.startswith(own.promise) and other.promise in told.promise
    assert parted.of_pages([told, other]) == (told,)


def test_one_change_found_both_ways_is_one_episode_with_the_earlier_signal() -> None:
    own, other = both(plant(15, lot=0.01, L2=-0.09), "L2")
    ((mine,), (seen,)) = own.episodes, other.episodes
    signalled, until = (
        int(np.flatnonzero(own.points.keys == other.points.keys[at])[0]) for at in (seen.signalled, seen.until)
    )
    for later in (-3, 3):  # its own signal before, and after the one beside the others
        moved = replace(own, episodes=(replace(mine, signalled=signalled + later),))
        (told,) = parted.lent([moved, other])[0].episodes
        assert told.signalled == min(signalled, signalled + later) and told.until == max(mine.until, until)


def test_a_change_is_told_to_where_the_volume_itself_still_shows_it() -> None:
    """Better lots hide it later: a fall is never told as a rise."""
    own, other = both(plant(10, L2=-0.035), "L2")
    (seen,) = [e for e in parted.lent([own, other])[0].episodes if e.kind == parted.KIND]
    own.points.value[seen.signalled + 5 :] *= 1.5
    (found,) = [e for e in parted.lent([own, other])[0].episodes if e.kind == parted.KIND]
    assert (found.began, found.signalled) == (seen.began, seen.signalled)
    assert found.signalled <= found.until < seen.until and found.change < 0


def test_a_level_that_was_taken_up_is_left_as_it_is() -> None:
    own, other = both(plant(15, lot=0.01, L2=-0.09), "L2")
    settled = replace(own, episodes=tuple(replace(e, kind=TAKEN_UP) for e in own.episodes))
    assert settled.episodes and parted.lent([settled, other])[0].episodes == settled.episodes


def test_an_episode_to_the_other_side_is_left_as_it_is() -> None:
    own, other = both(plant(15, lot=0.01, L2=-0.09), "L2")
    turned = replace(own, episodes=tuple(replace(e, direction="high") for e in own.episodes))
    assert turned.episodes and parted.lent([turned, other])[0].episodes == turned.episodes


def test_a_lines_new_baseline_is_one_for_what_all_are_beside_it() -> None:
    found = plant(17)
    charted = [(one, 500.0) for line in LINES for one in both(found, line)]
    mine = found[stream("L1")]
    base = chosen(stream("L1"), mine, str(mine.keys[160]), str(mine.keys[300]))
    begun = beside.anew(charted, base)
    assert {s.line for s, _, _ in begun} == set(LINES) and {arl0 for _, _, arl0 in begun} == {500.0}
    for s, one, _ in begun:
        assert s.characteristic == beside.BESIDE.name and not one.learning
        assert base.first_at <= one.first_at <= one.last_at <= base.last_at


def test_it_has_half_as_much_of_the_budget_as_the_leading_chart() -> None:
    names = ("specific volume", "volume", "weight", "bake loss", beside.BESIDE.name)
    loaf = [replace(stream("L1"), characteristic=name) for name in names]
    spent = {s.characteristic: 140.0 / run for s, run in share_budget(dict.fromkeys(loaf, 140.0), 0.4).items()}
    assert sum(spent.values()) == pytest.approx(0.4)
    assert spent[beside.BESIDE.name] == pytest.approx(spent["specific volume"] / 2) == pytest.approx(3 * spent["volume"])
