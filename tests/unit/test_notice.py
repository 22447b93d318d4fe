"""What an alert's page says of a limit that no level of a chart stands for, of a hold, and of a kettle's paste."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta

import pytest

from models import plant as plants
from models.alarms.limits import FAMILIES
from models.charts.parted import KIND
from models.floor.alertscreen import alert_screen
from models.floor.holds import GROUND_OF
from models.pages import notice, words
from models.pages.changes import change, of_limit, size
from models.shapes import Alert
from models.trade import cautions
from tests.unit.board import NOW, view
from tests.unit.rows import PLANT
from tests.unit.snapshots import snapshot
from tests.unit.test_alerts import AT, alert

NORTH = plants.parse(PLANT)


def limit(characteristic: str, **changes) -> Alert:
    return alert(**{"kind": "limit", "characteristic": characteristic, "causes": (), "urgency": "hold"} | changes)


def plain(text: str) -> str:
    return text.replace("\u00a0", " ")


@pytest.mark.parametrize(
    ("characteristic", "change_by", "unit", "level", "said"),
    [
        # what the pages of the demo said before: "31.83 kg high (+31.83 kg from a level of 0.00 kg)"
        ("allergen", 31.83, "kg", 0.0, "31.83 kg of paste to a dough"),
        ("paste recipe", 32.9, "kg", 0.0, "32.90 kg of paste to a dough"),
        ("cooling", 6.4, "°C", 0.0, "6.4 °C above the plan's limit, at the worse of the two readings"),
        ("kettle overdrawn", 24.89, "kg", 0.0, "24.89 kg more was used than the kettle had made"),
        ("paste age", 16.3, "h", 48.0, "16.3 h older at mixing than the action limit"),
        ("net weight", -3.7, "g", 390.0, "mean −3.7 g against the label of 390 g"),  # 386.3 g in its headline
        ("net weight", 0.4, "g", 390.0, "mean +0.4 g against the label of 390 g"),  # single loaves are too light
    ],
)
def test_a_limit_is_measured_from_the_limit(
    characteristic: str, change_by: float, unit: str, level: float, said: str
) -> None:
    one = limit(characteristic, change=change_by, unit=unit, level=level)
    assert plain(size(one, snapshot())) == said
    screen = alert_screen(view((one,)), one.alert, NOW)
    assert screen is not None and plain(screen.size) == said


def test_every_limit_without_a_level_of_its_own_has_its_sentence() -> None:
    charted = {"cook temperature", "paste loss", "dough temperature", "specific volume"}
    for name in {family.characteristic for family in FAMILIES} - charted | {"net weight"}:
        assert of_limit(limit(name, level=0.0)), name
        assert not of_limit(limit(name, kind="chart"))


def test_what_is_held_is_never_said_to_be_over() -> None:
    zone = NORTH.zone
    alone = limit("allergen", signal="over", until_batch="b3", until_at=AT)
    for one in (alone, limit("cooling", signal="over")):
        assert "over" not in notice.since(one, zone).lower()
        assert "Over" not in change(one, snapshot()).since
    assert notice.since(alone, zone).endswith("b3 alone.")
    assert "over after" in notice.since(replace(alone, urgency="review"), zone)


@pytest.mark.parametrize("characteristic", GROUND_OF)
def test_an_alert_that_holds_carries_the_caution_of_its_hold(characteristic: str) -> None:
    of_hold = cautions.of_hold(GROUND_OF[characteristic], NORTH)
    assert of_hold in cautions.named(limit(characteristic), NORTH, less_baked=False)


def test_the_tub_of_another_recipe_is_not_about_the_oven() -> None:
    assert cautions.UNDER_BAKED not in cautions.named(limit("paste recipe"), NORTH, less_baked=True)


def test_a_kettles_paste_is_not_said_to_be_baked() -> None:
    whole = snapshot()
    one = replace(limit("paste loss", line=None, kettle="K1", product=None, unit="% of Wb"), urgency="review")
    assert "baked" not in notice.notice(whole, one).state_means


def test_a_limit_draws_the_chart_of_what_it_is_about_or_none() -> None:
    whole = snapshot()
    low = next(one for one in whole.alerts if one.characteristic == "specific volume")
    light = replace(low, kind="limit", characteristic="net weight", unit="g", level=395.0)
    streams = {c.stream.characteristic for c in whole.charted if c.stream.line == low.line}
    assert "weight" in streams
    first, *beside = notice.curves_of(light, whole, whole.charted)
    assert first.title.startswith("Loaf weight") and beside
    assert notice.curves_of(replace(light, characteristic="allergen"), whole, whole.charted) == ()


def test_a_missed_cooling_draws_its_own_recipes_reading_of_a_kettle_that_cooks_several() -> None:
    whole = snapshot()
    one = next(c for c in whole.charted if c.stream.kettle == "K1")
    mine, other = (
        replace(one, stream=replace(one.stream, characteristic="paste at 2 h", product=recipe), points=points)
        for recipe, points in (("milk-5", one.points), ("water-5", replace(one.points, keys=one.points.keys[:0])))
    )
    missed = limit("cooling", kettle="K1", line=None, product=None, signalled_at_batch=str(one.points.keys[-1]))
    missed = replace(missed, began_at=one.points.at[-1].item(), until_at=one.points.at[-1].item())
    drawn = notice.curves_of(missed, whole, (other, mine))
    assert len(drawn) == 1


def test_a_charted_change_carries_how_many_batches_and_its_bounds() -> None:
    """The chart works them out; before, no page and no JSON had them."""
    one = alert(change=-0.1862, change_low=-0.2412, change_high=-0.1301, level=4.55, batches=tuple("abc"))
    assert plain(size(one, snapshot())).endswith("(−0.19 mL/g from a level of 4.55 mL/g; mean of 3 batches, 90 %: −0.25 to −0.13 mL/g)")
    screen = alert_screen(view((one,)), one.alert, NOW)
    assert screen is not None and screen.size.endswith("−0.25 to −0.13\u00a0mL/g")
    assert "90" not in size(replace(one, change_low=None), snapshot())  # of an alert that an earlier program kept


def test_a_change_that_was_found_beside_the_other_lines_says_so() -> None:
    # its points lie within the lines drawn, and a reader would ask what the alert is about
    one = alert(rule=KIND)
    assert "beside the other lines" in change(one, snapshot()).since
    assert "beside" not in change(replace(one, rule="shift"), snapshot()).since


def test_the_end_of_what_lasts_for_days_has_its_day() -> None:
    # "Thu 5 Nov 14:17, L1 05; still on at L1 08, 19:54" was read as that same evening
    one, zone = alert(), NORTH.zone
    later = replace(one, until_at=one.began_at + timedelta(days=3, hours=1))
    day = words.day_name((one.began_at + timedelta(days=3)).date())
    assert day in notice.since(later, zone).split(";")[1]
    same = notice.since(replace(one, until_at=one.began_at + timedelta(minutes=30)), zone)
    assert words.day_name(one.began_at.date()) not in same.split(";")[1]
