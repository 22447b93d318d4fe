"""Who is told of which alert, and when: urgency, line, shift, quiet hours, the next in the list, the morning."""

from __future__ import annotations

import base64
from dataclasses import replace
from datetime import datetime, timedelta

import pytest

from models import calls, people, plant
from models.calls import Heard, Message, Telling
from models.floor.heldloaves import Loaves
from models.floor.holds import Held, Hold, HoldEvent
from models.shapes import Alert

KEY = base64.b64encode(b"k" * 32).decode()
# Lisbon is at UTC in winter: the plant's clock and the naive UTC of the program agree here
NOON = datetime(2026, 11, 25, 12, 0)
LISTED = f"""
[sign_in]
key = "{KEY}"
[messages]
again_after_min = 10
board = "http://floor-pc:8080"
[people.AA]
ways = ["json://localhost/a"]
lines = ["L1"]
urgencies = ["hold", "now"]
[people.BB]
ways = ["json://localhost/b"]
quiet = ["22:00", "06:00"]
[people.CC]
ways = ["json://localhost/c"]
lines = ["L2"]
shifts = ["night"]
[people.DD]
"""


@pytest.fixture(scope="module")
def ours(root) -> plant.Plant:
    return plant.load(root / "seed_data" / "plant.toml")


@pytest.fixture
def staff() -> people.People:
    return people.parse(LISTED)


def alert(name: str = "A1", **given) -> Alert:
    made = Alert(
        alert=name, kind="limit", urgency="now", signal="on", case="open", plant="demo", line="L1", kettle=None,
        product="white-tin", characteristic="dough temperature", direction="high", signalled_at_batch="b2",
        signalled_at=NOON, began_at_batch="b1", began_at=NOON - timedelta(minutes=20), until_batch="b2", until_at=NOON,
        change=2.5, unit="C", check_first=("the water's temperature",), says="Two doughs above 28 C",
    )  # fmt: skip
    return replace(made, **given)


def known(*tellings: Telling, at: datetime = NOON, history: bool = False) -> Heard:
    return Heard(at, history, tuple(tellings))


def told(to: str, minutes: float, urgent: bool = True, sent: bool = True) -> Telling:
    return Telling(to, NOON + timedelta(minutes=minutes), urgent, sent)


def whom(messages: list[Message]) -> list[tuple[str, str]]:
    return [(message.to, message.why) for message in messages]


def test_first_again_then_the_next(staff, ours):
    """The whole ladder, minute by minute, as the service would walk it."""
    heard, walked = {"A1": known()}, []
    for minute in range(0, 60):
        now = NOON + timedelta(minutes=minute)
        for message in calls.decide([alert()], heard, staff, ours, now):
            walked.append((minute, message.to, message.why))
            heard = {"A1": replace(heard["A1"], tellings=(*heard["A1"].tellings, Telling(message.to, now, True, True)))}
    assert walked == [(0, "AA", "first"), (10, "AA", "again"), (20, "BB", "next")]
    assert calls.unheard([alert()], heard, staff, ours, NOON + timedelta(minutes=60)) == ["A1"]


def test_the_next_is_told_where_the_first_could_not_be_reached(staff, ours):
    heard = {"A1": known(told("AA", 0, sent=False))}
    assert calls.decide([alert()], heard, staff, ours, NOON + timedelta(minutes=9)) == []
    assert whom(calls.decide([alert()], heard, staff, ours, NOON + timedelta(minutes=10))) == [("BB", "next")]


@pytest.mark.parametrize("case", ["seen", "closed"])
def test_what_somebody_has_seen_messages_nobody(case, staff, ours):
    heard = {"A1": known(told("AA", 0))}
    assert calls.decide([alert(case=case)], heard, staff, ours, NOON + timedelta(hours=1)) == []
    assert calls.unheard([alert(case=case)], heard, staff, ours, NOON) == []


def test_history_messages_nobody(staff, ours):
    assert calls.decide([alert()], {"A1": known(history=True)}, staff, ours, NOON) == []
    assert calls.decide([alert()], {}, staff, ours, NOON) == [], "what is not noted yet is not decided on"


def test_what_is_history(staff):
    fresh, old = alert("A1"), alert("A2", signalled_at=NOON - timedelta(hours=60), until_at=NOON - timedelta(hours=49))
    going_on = alert("A3", signalled_at=NOON - timedelta(days=30))
    later = calls.noted([fresh, old, going_on], {}, staff, NOON, beginning=False)
    assert {name: one.history for name, one in later.items()} == {"A1": False, "A2": True, "A3": False}
    at_start = calls.noted([fresh, old, going_on], {"A3": known()}, staff, NOON, beginning=True)
    assert {name: one.history for name, one in at_start.items()} == {"A1": True, "A2": True}


@pytest.mark.parametrize(
    ("given", "hour", "expected"),
    [
        ({"line": "L1"}, 12, ["AA", "BB"]),
        ({"line": "L2"}, 12, ["BB"]),
        ({"line": "L2"}, 3, ["CC"]),  # night shift, and BB's quiet hours
        ({"line": "L2", "urgency": "hold"}, 3, ["BB", "CC"]),  # no quiet hours for a hold
        ({"line": None, "kettle": "K1"}, 12, ["AA", "BB"]),  # K1 feeds L1
        ({"line": None, "kettle": "K2"}, 12, ["BB"]),
        ({"line": None, "kettle": None}, 12, ["AA", "BB"]),
        ({"line": "L1", "urgency": "review"}, 12, ["BB"]),
    ],
)
def test_who_could_be_told(given, hour, expected, staff, ours):
    assert ours.lines["L1"].kettle == "K1"
    listed = calls.listed(alert(**given), staff, ours, NOON.replace(hour=hour))
    assert [person.initials for person in listed] == expected


def test_e_mail_needs_a_server(ours):
    mail_only = LISTED.replace("[people.DD]", '[people.DD]\nemail = "dd@example.org"')
    at = alert(line="L3") if "L3" in ours.lines else alert(line="L2")
    assert "DD" not in [one.initials for one in calls.listed(at, people.parse(mail_only), ours, NOON)]
    served = mail_only.replace("[messages]", '[messages]\nmail = "mailto://mail.example.org?from=x@example.org"')
    assert "DD" in [one.initials for one in calls.listed(at, people.parse(served), ours, NOON)]


def test_nobody_on_duty_is_said_not_hidden(staff, ours):
    only_night = people.People(sign_in=staff.sign_in, people={"CC": staff.people["CC"]})
    of_l2 = alert(line="L2")
    assert calls.decide([of_l2], {"A1": known()}, only_night, ours, NOON) == []
    assert calls.unheard([of_l2], {"A1": known()}, only_night, ours, NOON) == ["A1"]
    night = NOON.replace(hour=22)
    assert whom(calls.decide([of_l2], {"A1": known()}, only_night, ours, night)) == [("CC", "first")]
    assert calls.unheard([of_l2], {"A1": known()}, None, ours, NOON) == ["A1"]


def test_reviews_wait_for_the_morning_and_come_in_one_message(staff, ours):
    one, two = alert("A1", urgency="review"), alert("A2", urgency="review", line="L2")
    heard = {"A1": known(at=NOON), "A2": known(at=NOON.replace(hour=23))}
    early = datetime.combine(NOON.date() + timedelta(days=1), ours.shift_starts["early"])
    for waits in (NOON, NOON.replace(hour=20), early - timedelta(seconds=1)):
        assert calls.decide([one, two], heard, staff, ours, waits) == []
    (message,) = calls.decide([one, two], heard, staff, ours, early)
    assert (message.to, message.alerts, message.urgent) == ("BB", ("A1", "A2"), False)
    assert "2 alerts" in message.title and "A2" in message.body
    assert whom(calls.decide([one, two], heard, staff, ours, early + timedelta(hours=3))) == [("BB", "first")]
    after = {name: replace(known, tellings=(told("BB", 1080, urgent=False),)) for name, known in heard.items()}
    assert calls.decide([one, two], after, staff, ours, early + timedelta(days=1)) == [], "one message an episode"


@pytest.mark.parametrize(("seconds", "told_now"), [(-1, ["BB"]), (0, ["BB"]), (1, [])])
def test_a_review_noted_after_the_morning_began_waits_for_the_next(seconds, told_now, staff, ours):
    early = datetime.combine(NOON.date(), ours.shift_starts["early"])
    heard = {"A1": known(at=early + timedelta(seconds=seconds))}
    found = calls.decide([alert(urgency="review")], heard, staff, ours, early + timedelta(hours=1))
    assert [message.to for message in found] == told_now


def test_the_morning_stays_at_its_hour_when_the_clock_changes(staff, ours):
    # Portugal's clocks went from 01:00 UTC+0 to 02:00 UTC+1 on 29 March 2026 (EU Directive 2000/84/EC: last Sunday)
    assert calls.shift_at(ours, datetime(2026, 3, 28, 6, 30)) == ("early", datetime(2026, 3, 28, 6, 0))
    assert calls.shift_at(ours, datetime(2026, 3, 29, 5, 0)) == ("early", datetime(2026, 3, 29, 5, 0))
    assert calls.shift_at(ours, datetime(2026, 3, 29, 4, 59))[0] == "night"
    assert calls.shift_at(ours, datetime(2026, 10, 25, 5, 59))[0] == "night"


def test_a_review_that_becomes_urgent_is_told_anew_and_the_other_way_is_not(staff, ours):
    reviewed = {"A1": known(told("BB", -60, urgent=False))}
    assert whom(calls.decide([alert()], reviewed, staff, ours, NOON)) == [("AA", "first")]
    fallen = {"A1": known(told("AA", -600))}
    early = datetime.combine(NOON.date() + timedelta(days=1), ours.shift_starts["early"])
    assert calls.decide([alert(urgency="review")], fallen, staff, ours, early) == []


def test_a_hold_is_told_before_anything_else(staff, ours):
    both = [alert("A1"), alert("A2", urgency="hold", signalled_at=NOON + timedelta(minutes=1))]
    sent = calls.decide(both, {"A1": known(), "A2": known()}, staff, ours, NOON)
    assert [message.alerts for message in sent] == [("A2",), ("A1",)]


def test_what_a_message_says(staff, ours):
    (message,) = calls.decide([alert()], {"A1": known()}, staff, ours, NOON)
    assert message.title == "NOW L1 white-tin: dough temperature high (demo)"
    for part in (
        "Two doughs above 28 C",
        "Since 2026-11-25 11:40",
        "Check first: the water's temperature",
        message.name,
    ):
        assert part in message.body
    assert "http://floor-pc:8080/alerts/A1" in message.body
    again = calls.decide([alert()], {"A1": known(told("AA", -10))}, staff, ours, NOON)[0]
    assert again.name != message.name
    assert again.title.startswith("not seen yet: ") and "AA at 11:50. Nobody has marked it as seen." in again.body


def test_the_same_message_has_the_same_name(staff, ours):
    first = calls.decide([alert()], {"A1": known()}, staff, ours, NOON)
    later = calls.decide([alert(change=3.0)], {"A1": known()}, staff, ours, NOON + timedelta(minutes=3))
    assert [one.name for one in first] == [one.name for one in later]


def test_a_name_from_a_log_starts_no_new_line_and_no_header(staff, ours):
    nasty = alert(product="tin\r\nBcc: all@example.org\x1b[31m", says="x\nSubject: y\u202e")
    (message,) = calls.decide([nasty], {"A1": known()}, staff, ours, NOON)
    assert "\n" not in message.title and "\r" not in message.title + message.body
    assert not any(line.startswith(("Bcc:", "Subject:")) for line in message.body.splitlines())
    assert "\x1b" not in message.title and "\u202e" not in message.body


def by_hand(name: str = "HX", by: str = "MK", at: datetime = NOON, state: str = "held", made_by: str = "") -> Hold:
    act = HoldEvent(name, at, by, "held", "a bolt is missing from the mixer", (), ("2026-11-20/L1/07",), "foreign body")
    batch = Held("dough", "2026-11-20/L1/07", "07", at - timedelta(days=5), state)
    return Hold(
        name,
        made_by,
        "foreign body",
        act.because,
        "L1",
        batch.since,
        by,
        (batch,),
        Loaves(1, 0, None, False, 1),
        (act,),
    )


def test_a_hold_by_hand_tells_all_who_get_holds_but_who_made_it(staff, ours):
    heard = calls.noted_holds([by_hand()], {}, staff, NOON, beginning=False)
    assert whom(calls.of_holds([by_hand()], heard, staff, ours, NOON)) == [("AA", "held"), ("BB", "held")]
    assert whom(calls.of_holds([by_hand(by="AA")], heard, staff, ours, NOON)) == [("BB", "held")]
    in_the_night = calls.of_holds([by_hand()], heard, staff, ours, NOON.replace(hour=23))
    assert whom(in_the_night) == [("AA", "held"), ("BB", "held"), ("CC", "held")], "quiet hours keep back no hold"
    (one, _) = calls.of_holds([by_hand()], heard, staff, ours, NOON)
    assert one.urgent and "HOLD L1" in one.title and "07" in one.body and "a bolt is missing" in one.body
    assert "http://floor-pc:8080/holds" in one.body


def test_a_hold_by_hand_is_told_once_and_not_where_an_alert_or_history_made_it_or_qa_ended_it(staff, ours):
    none = {"HX": Heard(NOON, False, (told("AA", 0),))}
    assert calls.of_holds([by_hand()], none, staff, ours, NOON) == []
    fresh = {"HX": Heard(NOON, False)}
    assert calls.of_holds([by_hand(state="released")], fresh, staff, ours, NOON) == []
    assert calls.of_holds([by_hand(made_by="A1")], fresh, staff, ours, NOON) == []
    assert calls.noted_holds([by_hand(made_by="A1")], {}, staff, NOON, beginning=False) == {}
    assert calls.noted_holds([by_hand()], {}, staff, NOON, beginning=True)["HX"].history
    old = by_hand(at=NOON - timedelta(hours=49))
    assert calls.noted_holds([old], {}, staff, NOON, beginning=False)["HX"].history
    assert calls.of_holds([old], {"HX": Heard(NOON, True)}, staff, ours, NOON) == []
