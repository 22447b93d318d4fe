"""The floor: order, silence, what is never shown as fine, and nothing from a log as markup."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta

import pytest

from models import plant as plants
from models.floor.floor import STATES, Place, floor, is_silent, short, side_by_side
from models.floor.view import View
from models.storage.cases import CaseEvent
from tests.unit.board import NOW, ago, chart, hold, of_paste, page, paste, seen, view
from tests.unit.snapshots import PLANT
from tests.unit.test_alerts import alert

HOLD = of_paste("H", urgency="hold", kettle="K2", characteristic="cooling")


def place(name: str, shown: View) -> Place:
    return next(p for p in floor(shown, NOW).places if p.name == name)


def test_hold_now_silent_review_then_the_rest() -> None:
    shown = view((alert(alert="R", line="L1", until_at=ago(5)), of_paste(), HOLD), pastes=(paste(),))
    shown = replace(shown, lines={**shown.lines, "L2": seen("L2", 200, product="milk-loaf")})
    found = floor(shown, NOW).places
    assert [(p.name, p.state) for p in found] == [
        ("K2", "hold"), ("K1", "now"), ("L2", "silent"), ("L1", "review"), ("L3", "steady"),
    ]  # fmt: skip
    text = page("floor", floor=floor(shown, NOW))
    assert [text.index(f"<b>{p.name}</b>") for p in found] == sorted(text.index(f"<b>{p.name}</b>") for p in found)


def test_of_two_holds_the_undeclared_allergen_is_on_the_wall_though_the_other_is_older() -> None:
    same = {"urgency": "hold", "line": "L1", "kind": "limit"}
    light = alert(alert="A1", characteristic="net weight", says="mean 386 g", began_at=ago(600), **same)
    tub = alert(alert="A2", characteristic="paste recipe", says="made with milk-5", began_at=ago(60), **same)
    milk = alert(alert="A3", characteristic="allergen", says="brings milk, not declared", began_at=ago(60), **same)
    told = place("L1", view((light, tub, milk))).told
    assert told is not None and told.alert == "A3"


@pytest.mark.parametrize(
    ("minutes", "usual", "silent"),
    [(90, 30.0, False), (91, 30.0, True), (44, 5.0, False), (46, 5.0, True), (45, None, False), (46, None, True)],
)
def test_silence_is_three_usual_intervals_and_at_least_45_minutes(minutes: int, usual: float | None, silent: bool):
    assert is_silent(seen("L1", minutes, usual), NOW) is silent


def test_silence_stands_beside_a_hold_too() -> None:
    shown = view((HOLD,))
    shown = replace(shown, kettles={**shown.kettles, "K2": seen("K2", 300, 60.0)})
    assert (place("K2", shown).state, place("K2", shown).silent) == ("hold", True)
    assert "5 h 00" in page("floor", floor=floor(shown, NOW)) and "silent</i>" in page("floor", floor=floor(shown, NOW))


def test_a_place_nothing_ever_came_from_says_so() -> None:
    shown = replace(view(), lines={}, kettles={}, newest=None)
    assert {p.state for p in floor(shown, NOW).places} == {"unseen"}
    text = page("floor", floor=floor(shown, NOW))
    assert "No batch has ever come" in text and "No row has come yet" in text and "No change seen" not in text


@pytest.mark.parametrize(
    ("states", "shown_as"),
    [
        ({"specific volume": "learning", "dough temperature": "in control"}, "learning"),
        ({"specific volume": "no data", "dough temperature": "in control"}, "scarce"),
        ({}, "uncharted"),
        ({"specific volume": "in control", "dough temperature": "learning"}, "steady"),
        ({"specific volume": "in control", "dough temperature": "signal"}, "known"),
        ({"specific volume": "signal"}, "known"),
    ],
)
def test_no_change_is_said_only_where_the_chart_that_answers_watches(states: dict[str, str], shown_as: str) -> None:
    charts = tuple(chart("L1", name, state, "milk-loaf") for name, state in states.items())
    one = place("L1", view(charts=charts))
    assert one.state == shown_as
    if states.get("dough temperature") == "learning":
        assert one.learning == ("dough temperature",) and "Still learning: dough temperature" in page(
            "floor", floor=floor(view(charts=charts), NOW)
        )


def test_the_chart_of_another_product_does_not_answer() -> None:
    shown = view(lines={"L1": seen("L1", 10, product="toast")})
    assert place("L1", shown).state == "uncharted"


def test_a_batch_from_the_future_is_not_counted_as_just_now() -> None:
    shown = view(lines={"L1": seen("L1", -90)})
    last = place("L1", shown).last
    assert last is not None and last.minutes is None
    assert "ahead of this clock" in page("floor", floor=floor(shown, NOW))


def test_an_alert_says_what_since_when_and_what_to_check_first() -> None:
    shown = view((of_paste(), of_paste("P2", key="2026-05-06/K1/P06", characteristic="cook temperature")))
    one = place("K1", shown)
    assert one.told is not None
    assert (one.told.alert, one.told.check, one.since, one.more) == ("P1", "Weigh tub and tare again", "14:00", 1)
    text = page("floor", floor=floor(shown, NOW))
    assert "First: Weigh tub and tare again" in text and "nobody has seen it, and 1 more" in text


def test_what_was_handed_over_says_so() -> None:
    acts = (CaseEvent("P1", ago(9), "MK", "seen"), CaseEvent("P1", ago(5), "MK", "handed over", None, "tare?"))
    told = place("K1", view((of_paste(),), acts)).told
    assert told is not None and told.handed_over


def test_a_limit_and_its_chart_are_told_once() -> None:
    limit = alert(alert="L", kind="limit", says="too small", until_at=ago(5))
    assert place("L1", view((limit, alert(alert="C", until_at=ago(5))))).more == 0


def test_reviews_long_over_are_counted_and_do_not_colour_the_floor() -> None:
    old = alert(alert="O", signal="over", until_at=ago(25 * 60))
    fresh = replace(old, alert="F", until_at=ago(23 * 60))
    assert (place("L1", view((old,))).state, floor(view((old,)), NOW).beside.older) == ("steady", 1)
    assert place("L1", view((fresh,))).state == "review"
    hold = replace(old, urgency="hold")
    assert place("L1", view((hold,))).state == "hold"


def test_an_alert_of_no_place_is_not_lost() -> None:
    lot = alert(alert="Y", line=None, product=None, characteristic="gassing power of the lot", until_at=ago(5))
    gone = alert(alert="G", line="L9", until_at=ago(5))
    shown = floor(view((lot, gone)), NOW)
    (plant,) = (p for p in shown.places if p.kind == "plant")
    assert plant.told is not None and plant.more == 1


def test_beside_the_floor() -> None:
    shown = view(quarantine=({}, {}), unsent=(object(),), unheard=("P1",))
    beside = floor(shown, NOW).beside
    assert (beside.waiting, beside.unsent, beside.unheard, beside.newest_min) == (2, 1, ("P1",), 4)
    text = page("floor", floor=floor(shown, NOW))
    for words in ("2 rows wait", "1 message not sent", "1 alert nobody was told of", "Newest row 4 min old"):
        assert words in text


def test_times_are_the_plants_and_name_the_day_where_it_is_not_today() -> None:
    shown = view(lines={"L1": seen("L1", 0), "L2": seen("L2", 24 * 60)})
    assert floor(shown, NOW).clock == "14:20"
    assert [place(name, shown).last.when for name in ("L1", "L2")] == ["14:20", "Tue 5 May 14:20"]  # type: ignore[union-attr]


def test_every_place_of_a_large_plant_stands_once_in_order() -> None:
    many = {f"L{i}": {"products": ["toast"]} for i in range(1, 13)}
    kettles = {f"K{i}": {"pastes": ["water-2"]} for i in range(1, 7)}
    big = plants.parse({**PLANT, "lines": many, "kettles": kettles})
    shown = floor(view(plant=big), NOW)
    assert len(shown.columns) == 2 and len({(p.kind, p.name) for p in shown.places}) == 18
    order = [STATES.index(p.state) for p in shown.places]
    assert order == sorted(order)
    assert max(map(len, shown.columns)) <= 11


def test_columns_keep_everything_for_any_number() -> None:
    one = place("L1", view())
    for many in range(0, 40):
        assert sum(map(len, side_by_side([one] * many))) == many


def test_markup_from_a_log_is_text() -> None:
    bad = "<script>alert(1)</script>"
    shown = view(
        (of_paste(says=f"{bad} boiled off", check_first=(bad,)),),
        lines={"L1": replace(seen("L1", 5), name=bad, product=bad)},
    )
    text = page("floor", floor=floor(shown, NOW))
    assert bad not in text and "&lt;script&gt;" in text


def test_what_changes_is_marked_and_no_operator_is_named() -> None:
    shown = view((of_paste(),), (CaseEvent("P1", ago(5), "Maria Kowalska", "seen"),))
    text = page("floor", floor=floor(shown, NOW + timedelta(minutes=1)))
    assert 'id="places" class="places" data-live' in text and 'id="beside" class="beside"' in text
    assert "Kowalska" not in text and "style=" not in text


def test_a_hold_stands_on_the_floor_though_its_case_is_closed_or_nobody_raised_it() -> None:
    shown = view((HOLD,), (CaseEvent("H", ago(5), "QA", "closed", "real"),), holds=(hold(of="H"),))
    one = place("K1", shown)
    assert one.state == "hold" and one.told is not None and one.told.what == "a glove was in the kettle"
    assert 'href="/holds"' in page("floor", floor=floor(shown, NOW))
    by_hand = view(holds=(hold(keys=("2026-05-06/L1/D07", "2026-05-06/L2/D01")),))
    assert [place(name, by_hand).state for name in ("L1", "L2", "L3")] == ["hold", "hold", "steady"]


def test_a_hold_that_qa_ended_is_none() -> None:
    assert place("K1", view(holds=(hold(stands=False),))).state == "steady"


def test_a_hold_is_since_when_it_holds_as_its_own_screen_says() -> None:
    held = hold(of="H")
    shown = place("K2", view((HOLD,), holds=(held,)))
    assert shown.since == short(view(), held.since, NOW)
    assert shown.since != short(view(), HOLD.began_at, NOW)
