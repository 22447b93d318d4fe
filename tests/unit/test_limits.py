"""Episodes of a limit broken: one alert an episode, over after three good batches. Common practice, no source."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from models.alarms import limits
from models.batchbook import BATCHES, PASTES
from models.judging import derive
from models.logbook import FRAME_TYPE
from tests.unit.rows import plant

NORTH = plant()


def flags(text: str) -> np.ndarray:
    return np.array([c == "x" for c in text])


@pytest.mark.parametrize(
    ("beyond", "judged", "expected"),
    [
        ("..x....", "xxxxxxx", [(2, 2, 2, True)]),
        ("..x..x.", "xxxxxxx", [(2, 2, 5, False)]),
        ("x...x..", "xxxxxxx", [(0, 0, 0, True), (4, 4, 4, False)]),
        ("x......", "x..x..x", [(0, 0, 0, False)]),  # three good ones in a row have not been judged
        (".......", "xxxxxxx", []),
    ],
)
def test_episodes(beyond: str, judged: str, expected: list) -> None:
    found = limits.episodes(flags(beyond), flags(beyond), flags(judged))
    assert [episode[:4] for episode in found] == expected


def test_an_episode_begins_with_the_first_warning_that_led_to_it() -> None:
    found = limits.episodes(flags("..x.."), flags("xxx.."), flags("xxxxx"))
    assert found == [(0, 2, 2, False, (0, 1, 2))]


def test_warnings_alone_are_no_episode() -> None:
    assert limits.episodes(flags("....."), flags("x...."), flags("xxxxx")) == []


def wide(columns, rows: list[dict]) -> pd.DataFrame:
    table = pd.DataFrame(
        [{c.name: row.get(c.name, np.nan) for c in columns} for row in rows], columns=[c.name for c in columns]
    )
    return table.astype({c.name: FRAME_TYPE[c.type] for c in columns})


def doughs(temperatures: list[float]) -> pd.DataFrame:
    start = pd.Timestamp("2026-05-06 05:00")
    return wide(
        BATCHES,
        [
            {
                "batch_key": f"2026-05-06/L1/{n:02}",
                "line": "L1",
                "product": "milk-loaf",
                "shift_date": "2026-05-06",
                "mixed_at": start + pd.Timedelta(hours=n),
                "dough_temp_c": t,
            }
            for n, t in enumerate(temperatures)
        ],
    )


def findings(batches: pd.DataFrame, warning: str, action: str) -> pd.DataFrame:
    rows = []
    for rule, text in (("batches.dough-temperature.warning", warning), ("batches.dough-temperature.action", action)):
        rows += [
            {"rule": rule, "kind": "batches", "key": key, "says": rule}
            for key, flag in zip(batches["batch_key"], text, strict=True)
            if flag == "x"
        ]
    return pd.DataFrame(rows, columns=["rule", "kind", "key", "says"])


def test_dough_temperature_pages_on_two_of_three_or_one_beyond_action() -> None:
    batches = doughs([26, 24.8, 26, 26, 26, 26, 24.8, 26, 24.7, 26, 26, 26, 23.5])
    found = limits.runs(NORTH, wide(PASTES, []), batches, findings(batches, ".x....x.x....", "............x"))
    assert [(run.direction, run.began, run.signalled, run.until, run.over) for run in found] == [
        ("low", 6, 8, 8, True),
        ("low", 12, 12, 12, False),
    ]
    assert found[0].level == pytest.approx(26.0)
    assert limits.change(found[1]) == pytest.approx(-2.5)


@pytest.mark.parametrize(
    ("warned", "signalled"),
    [("xx", 1), ("x.x", 2), ("x..x", None), (".x..xx", 5), ("hl", None), ("lhl", 2), ("lhh", 2)],
)
def test_two_warnings_of_one_side_among_three_doughs_signal(warned: str, signalled: int | None) -> None:
    """x or l: 24.8 °C, below the warning limit of 25; h: 27.2 °C, above 27."""
    degrees = {"x": 24.8, "l": 24.8, "h": 27.2, ".": 26.0}
    batches = doughs([degrees[mark] for mark in warned])
    marks = "".join("." if mark == "." else "x" for mark in warned)
    found = limits.runs(NORTH, wide(PASTES, []), batches, findings(batches, marks, "." * len(marks)))
    assert [run.signalled for run in found] == [] if signalled is None else [signalled]


def test_cold_and_hot_doughs_are_two_episodes() -> None:
    batches = doughs([23.0, 29.0])
    found = limits.runs(NORTH, wide(PASTES, []), batches, findings(batches, "..", "xx"))
    assert {(run.direction, run.signalled) for run in found} == {("low", 0), ("high", 1)}


def test_a_missed_cooling_is_held_by_kettle() -> None:
    pastes = wide(
        PASTES,
        [
            {
                "paste_key": f"2026-05-06/K1/{n:02}",
                "kettle": "K1",
                "recipe": "water-2",
                "cook_end": pd.Timestamp("2026-05-06 05:00") + pd.Timedelta(hours=n),
                "cooling": word,
                "temp_2h_c": t,
            }
            for n, (word, t) in enumerate(
                [("met", 20.0), ("missed", 27.0), ("not checked", np.nan), ("met", 20.0), ("met", 20.0)]
            )
        ],
    )
    broken = pd.DataFrame([{"rule": "pastes.cooling", "kind": "pastes", "key": "2026-05-06/K1/01", "says": "missed"}])
    (run,) = limits.runs(NORTH, pastes, wide(BATCHES, []), broken)
    assert (run.kettle, run.line, run.signalled, run.over) == (
        "K1",
        None,
        1,
        False,
    )  # a paste not checked is none that met it
    assert limits.change(run) == pytest.approx(6.0) and run.level == 0.0
    assert limits.last_good(run.keys, run.began) == "2026-05-06/K1/00"


def test_cooling_is_measured_by_the_limit_that_was_missed() -> None:
    """Met after 2 h (17 of 21 °C), missed after 6 h (9.5 of 5 °C): 4.5 °C over. The plant's limits: 2 h and 6 h."""
    one = {
        "paste_key": "2026-05-06/K1/01",
        "kettle": "K1",
        "recipe": "water-2",
        "cook_end": pd.Timestamp("2026-05-06 05:00"),
    }
    pastes = wide(PASTES, [one | {"cooling": "missed", "temp_2h_c": 17.0, "temp_6h_c": 9.5}])
    broken = pd.DataFrame([{"rule": "pastes.cooling", "kind": "pastes", "key": "2026-05-06/K1/01", "says": "missed"}])
    (run,) = limits.runs(NORTH, pastes, wide(BATCHES, []), broken)
    assert limits.change(run) == pytest.approx(4.5) and (run.direction, run.level) == ("high", 0.0)


@pytest.mark.parametrize(
    ("within", "over_c"), [((2.0, 6.0), 17.0), ((2.1, 6.0), 17.0), ((2.1, 6.1), 1.0), ((2.0, 6.1), 9.0)]
)
def test_a_reading_is_held_against_the_limits_that_were_due_by_then(within: tuple[float, float], over_c: float) -> None:
    """30 °C after 2 h, 22 °C after 6 h; limits 21 °C and 5 °C."""
    own = plant(cooling={"to_21_c_within_h": within[0], "to_5_c_within_h": within[1], "approved_by": "QA"})
    rows = wide(PASTES, [{"kettle": "K1", "recipe": "water-2", "temp_2h_c": 30.0, "temp_6h_c": 22.0}])
    assert derive.for_good_pastes(rows, own)["cooling_over_c"].tolist() == [over_c]
