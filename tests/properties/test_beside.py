"""Whatever is found on a line and beside the others: what is told of it is in order, to one side, once, and not lost."""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from itertools import pairwise

from hypothesis import given, settings
from hypothesis import strategies as st

from models.charts import parted
from models.charts.chart import TAKEN_UP
from models.shapes import Charted, Episode
from tests.unit.test_beside import both, plant

THREE = ("L1", "L2", "L3")
# batches from the end of the last episode to the beginning, to the signal, to the end; whether it is over and was taken up
EPISODES = st.lists(
    st.tuples(
        st.integers(1, 110), st.integers(0, 12), st.integers(0, 45), st.booleans(), st.sampled_from([False, False, True])
    ),
    max_size=4,
)


@cache
def charts(seed: int) -> tuple[Charted, ...]:
    """Three lines, each by itself and beside the others; the first falls at last, or rises."""
    found = plant(seed, lines=THREE, L1=-0.06 if seed % 2 else 0.05)
    return tuple(one for line in THREE for one in both(found, line))


def with_episodes(charted: Charted, drawn: list[tuple[int, int, int, bool, bool]]) -> Charted:
    """The chart with episodes at these places, each to the side its points are off the level."""
    assert charted.baseline is not None
    found: list[Episode] = []
    end = 0
    for gap, signal, lasting, over, taken_up in drawn:
        began, signalled = end + gap, end + gap + signal
        end = signalled + lasting
        if end >= len(charted.points):
            break
        change = float(charted.points.value[began : end + 1].mean()) - charted.baseline.level
        side = "high" if change > 0 else "low"
        low, kind = max(began - 3, 0), TAKEN_UP if taken_up and over else "shift"
        found.append(Episode(side, signalled, began, low, began, end, change, change - 0.1, change + 0.1, over, kind))
    return replace(charted, episodes=tuple(found))


@settings(max_examples=150, deadline=None)
@given(st.integers(50, 53), st.lists(EPISODES, min_size=6, max_size=6))
def test_what_is_told_is_in_order_to_one_side_once_and_not_lost(seed: int, drawn: list) -> None:
    before = [with_episodes(*one) for one in zip(charts(seed), drawn, strict=True)]
    after = parted.lent(before)
    assert parted.lent(before[::2]) == before[::2]  # nothing was watched beside the others
    for given_one, one in zip(before[::2], after[::2], strict=True):
        sides: dict[str, list[tuple[int, int]]] = {"low": [], "high": []}
        for e in one.episodes:
            assert 0 <= e.began_low <= e.began <= e.began_high <= e.signalled <= e.until < len(one.points)
            assert e.change_low <= e.change <= e.change_high
            assert (e.change > 0) == (e.direction == "high")
            sides[e.direction].append((e.began, e.until))
        assert all(a[1] < b[0] for told in sides.values() for a, b in pairwise(sorted(told)))
        assert list(one.episodes) == sorted(one.episodes, key=lambda e: (e.began, e.signalled))
        assert (one.state == "signal") >= any(not e.over for e in given_one.episodes)
        assert all(any(e.began <= old.signalled <= e.until for e in one.episodes) for old in given_one.episodes)
