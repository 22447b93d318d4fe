"""Urgency on the floor falls by the clock alone, rises never, and leaves the stored alert as it is."""

from __future__ import annotations

from datetime import timedelta

import pytest

from models.floor.urgency import fallen, open_alerts, urgency_now
from tests.unit.board import NOW, ago, hold, of_paste, paste, view
from tests.unit.test_alerts import alert

DOUGH = alert(characteristic="dough temperature", urgency="now", until_at=ago(10), until_batch="2026-05-06/L1/D07")


def test_now_while_the_paste_is_unused_and_young() -> None:
    assert urgency_now(of_paste(), view(pastes=(paste(),)), NOW) == "now"
    assert urgency_now(of_paste(), view(), NOW) == "now"


def test_a_used_paste_is_to_be_reviewed() -> None:
    seen = view(pastes=(paste(doughs=("2026-05-06/L1/D08",)),))
    assert (urgency_now(of_paste(), seen, NOW), fallen(of_paste(), seen, NOW)) == ("review", "used")


def test_a_used_paste_that_is_held_is_a_hold() -> None:
    cooled_badly = of_paste("H1", characteristic="cooling", urgency="hold")
    seen = view((of_paste(), cooled_badly), pastes=(paste(doughs=("2026-05-06/L1/D08",)),))
    assert urgency_now(of_paste(), seen, NOW) == "hold"


def test_a_hold_on_a_dough_the_paste_went_into_counts() -> None:
    dough = alert(alert="H2", urgency="hold", characteristic="allergen", batches=("2026-05-06/L1/D08",))
    seen = view((of_paste(), dough), pastes=(paste(doughs=("2026-05-06/L1/D08",)),))
    assert urgency_now(of_paste(), seen, NOW) == "hold"


@pytest.mark.parametrize(("hours", "urgency"), [(48, "now"), (48.01, "review")])
def test_a_paste_grows_too_old_by_the_clock(hours: float, urgency: str) -> None:
    assert urgency_now(of_paste(), view(pastes=(paste(minutes=60 * hours),)), NOW) == urgency


def test_the_plants_own_age_limit_comes_first_where_it_is_shorter() -> None:
    from models import plant as plants
    from tests.unit.snapshots import PLANT

    recipe = {**PLANT["pastes"]["water-2"], "age_h": {"warn": 6, "act": 12}}
    strict = plants.parse({**PLANT, "pastes": {"water-2": recipe}})
    seen = view(pastes=(paste(minutes=13 * 60),), plant=strict)
    assert fallen(of_paste(), seen, NOW) == "too old"


def test_a_dough_is_in_the_oven_by_the_clock() -> None:
    assert urgency_now(DOUGH, view(), NOW) == "now"
    baked = DOUGH.until_at + timedelta(hours=2, minutes=30)  # common practice, no source
    assert urgency_now(DOUGH, view(), baked) == "now"
    assert urgency_now(DOUGH, view(), baked + timedelta(seconds=1)) == "review"


@pytest.mark.parametrize("urgency", ["hold", "review"])
def test_nothing_else_changes_and_nothing_rises(urgency: str) -> None:
    stored = of_paste(urgency=urgency)
    seen = view((of_paste("H", urgency="hold"),), pastes=(paste(doughs=("d",)),))
    assert urgency_now(stored, seen, NOW + timedelta(days=9)) == urgency


def test_the_stored_alert_stays_as_it_is() -> None:
    stored = view((of_paste(),), pastes=(paste(doughs=("d",)),))
    (shown,) = open_alerts(stored, NOW)
    assert (shown.urgency, stored.alerts[0].urgency) == ("review", "now")


def test_open_alerts_stand_in_order_and_closed_ones_not_at_all() -> None:
    from models.storage.cases import CaseEvent

    found = (
        alert(alert="R2", began_at=ago(10)), alert(alert="R1", began_at=ago(90)), of_paste("N"),
        of_paste("H", urgency="hold"), alert(alert="C"),
    )  # fmt: skip
    seen = view(found, (CaseEvent("C", ago(5), "QA", "closed", "real"),))
    assert [a.alert for a in open_alerts(seen, NOW)] == ["H", "N", "R1", "R2"]


def test_a_hold_falls_once_qa_has_decided_on_all_of_it_and_not_before() -> None:
    stored = of_paste("A7", urgency="hold", characteristic="cooling")
    assert urgency_now(stored, view((stored,), holds=(hold(of="A7"),)), NOW) == "hold"
    assert fallen(stored, view((stored,), holds=(hold(of="A7", stands=False),)), NOW) == "decided"
    assert urgency_now(stored, view((stored,), holds=(hold(of="A7", stands=False),)), NOW) == "review"
    assert urgency_now(stored, view((stored,), holds=(hold(of="A8", stands=False),)), NOW) == "hold"


def test_a_hold_made_by_hand_counts_for_a_used_paste() -> None:
    used = (paste(doughs=("2026-05-06/L1/D08",)),)
    held = hold(keys=("2026-05-06/L1/D08",))
    assert urgency_now(of_paste(), view(pastes=used, holds=(held,)), NOW) == "hold"
