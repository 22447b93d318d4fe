"""Quarantine and reports on the board: grouped as the command lists them, decided on by QA alone, nothing as markup."""

from __future__ import annotations

from dataclasses import fields

import pytest

from models.floor.printed import monthly, printed
from models.floor.quarantine import LONGEST_REASON, ROWS_SHOWN, Asked, DecisionRefused, Why, asked, quarantine
from models.storage.decisions import Waiting
from tests.unit.board import FLOOR, QA, SUPERVISOR, page, view


def row(seq: int, rule: str = "paste.after-above-before", cells: dict[str, str] | None = None, **more) -> dict:
    made = {
        "seq": seq, "kind": rule.split(".")[0], "file": "paste.csv", "row": seq, "column": "weight_after_kg", "value": "1191",
        "rule": rule, "why": "Wa is above Wb", "proposal": "weight_after_kg = 119.1 kg" if cells else None,
        "cells": cells or {}, "weight": 1, "shift_date": None, "shift": None,
    }  # fmt: skip
    return made | more


MENDED = {"weight_after_kg": "119.1"}
SEEN = view(
    quarantine=(row(3, cells=MENDED), row(9, "dough.not-in-its-shift"), row(5, cells=MENDED), row(6, "paste.tare"))
)


def html(shown=SEEN, person=QA, who="QA") -> str:
    return page("quarantine", "/quarantine", quarantine=quarantine(shown, person, who))


def test_rows_here_are_rows_as_the_store_lists_them() -> None:
    assert set(row(1)) == {field.name for field in fields(Waiting)}


def test_alike_rows_stand_together_in_the_order_of_the_list() -> None:
    shown = quarantine(SEEN)
    assert [(g.rule, [r.seq for r in g.rows]) for g in shown.groups] == [
        ("paste.after-above-before", [3, 5]), ("dough.not-in-its-shift", [9]), ("paste.tare", [6]),
    ]  # fmt: skip
    assert [g.confirmable for g in shown.groups] == [True, False, False]
    assert shown.waiting == 4


def test_long_groups_are_cut_and_say_so() -> None:
    shown = view(quarantine=tuple(row(n) for n in range(1, 41)))
    (group,) = quarantine(shown).groups
    assert (group.n, len(group.rows)) == (40, ROWS_SHOWN)
    assert f"and {40 - ROWS_SHOWN} more" in html(shown) and "40 rows" in html(shown)


def test_a_group_is_headed_in_the_words_of_the_sheet() -> None:
    text = html(view(quarantine=(row(3, "dough.dough_temp_c.fahrenheit", column="dough_temp_c"),)))
    assert "Dough: dough_temp_c: °F in a °C column, 1 row" in " ".join(text.split())
    assert '<span class="column">dough_temp_c</span>' in text  # never parted in the middle of a word


@pytest.mark.parametrize(("person", "who", "says"), [
    (FLOOR, "MK", "Only QA decides"), (SUPERVISOR, "RS", "Only QA decides"), (QA, "", "Tap your initials"),
    (None, "QA", "Tap your initials"),
])  # fmt: skip
def test_whoever_may_not_decide_reads_and_sees_why(person, who: str, says: str) -> None:
    text = html(person=person, who=who)
    assert says in text and "<form" not in text and "1191" in text
    with pytest.raises(DecisionRefused):
        asked({"act": "reject", "row": "3", "because": "no"}, SEEN, person, who)


def test_what_nothing_is_proposed_for_cannot_be_confirmed() -> None:
    text = html()
    assert text.count('name="form_token" value="the-token"') == text.count("<form") == 5
    assert text.count('value="confirm"') == 3  # both rows of the first group, and all of it
    with pytest.raises(DecisionRefused, match="nothing proposed"):
        asked({"act": "confirm", "alike": "paste.tare"}, SEEN, QA, "QA")


@pytest.mark.parametrize(
    ("form", "why"),
    [
        ({"row": "3"}, "no such act"),
        ({"act": "reject", "row": "3", "because": "  "}, "no reason"),
        ({"act": "reject", "row": "4", "because": "x"}, "no such row"),
        ({"act": "reject", "because": "x"}, "no such row"),
        ({"act": "reject", "alike": "paste.other", "because": "x"}, "no such row"),
        ({"act": "reject", "row": "3", "because": "x" * (LONGEST_REASON + 1)}, "too long"),
    ],
)
def test_forms_that_are_refused(form: dict[str, str], why: str) -> None:
    with pytest.raises(DecisionRefused) as no:
        asked(form, SEEN, QA, "QA")
    assert no.value.why == why


def test_forms_that_are_taken() -> None:
    assert asked({"act": "confirm", "row": "5"}, SEEN, QA, "QA") == Asked("confirmed", (5,), None, "")
    taken = asked({"act": "reject", "alike": "paste.tare", "because": "test\nrow"}, SEEN, QA, "QA")
    assert taken == Asked("rejected", (), "paste.tare", "test row")


def test_every_refusal_has_its_words() -> None:
    from typing import get_args

    from models.texts import texts

    assert set(texts("quarantine")["no"]) == set(get_args(Why))


def test_nothing_from_a_log_is_markup_and_no_person_is_named() -> None:
    bad = "<script>x</script>"
    shown = view(quarantine=(
        row(1, value=bad, why=bad, file=bad), row(2, "paste.name", column="operator", value="Maria", why="Maria? who?"),
    ), refused=((bad, bad),))  # fmt: skip
    text = html(shown)
    assert bad not in text and "&lt;script&gt;" in text and "Maria" not in text


def test_nothing_waits() -> None:
    assert "No row waits for a person." in html(view()) and "<form" not in html(view())


def test_reports_by_date_and_only_printed_pages() -> None:
    shown = printed([
        "day-2026-04-30.html", "day-2026-05-01.html", "day-2026-05-02.html", "month-2026-04.html", "day-2026-13-01.html",
        "alert-A1b2.html", "index.html", "plotly.min.js", "../day-2026-05-03.html", "day-2026-05-04.html.part",
    ])  # fmt: skip
    assert [(m.title, m.page is not None, [d.title for d in m.days]) for m in shown.months] == [
        ("May 2026", False, ["Sat 2 May", "Fri 1 May"]), ("April 2026", True, ["Thu 30 Apr"]),
    ]  # fmt: skip
    assert (shown.alerts, shown.index) == (1, True)
    text = page("reports", "/reports", reports=shown)
    assert 'href="/reports/day-2026-05-02.html"' in text and "/month?" not in text  # the floor does not follow months
    text = page("reports", "/reports", reports=shown, follows=True)
    assert 'href="/month?month=2026-04"' in text and "The month is not printed yet." in text
    assert "2026-13" not in text and ".." not in text
    assert "No page is printed yet" in page("reports", "/reports", reports=printed([]))


def test_a_month_is_shown_with_its_neighbours() -> None:
    names = [
        "month-2026-04.html",
        "month-2026-02.html",
        "month-2026-05.html",
        "month-2026-13.html",
        "day-2026-05-02.html",
    ]
    newest = monthly(names)
    assert newest and (newest.which, newest.title, newest.before, newest.after) == (
        "2026-05",
        "May 2026",
        "2026-04",
        "",
    )
    april = monthly(names, "2026-04")
    assert april and (april.file, april.before, april.after) == ("month-2026-04.html", "2026-02", "2026-05")
    assert [which for which, _ in april.all] == ["2026-05", "2026-04", "2026-02"]
    assert monthly(names, "2026-03") is None and monthly(names, "../../x") is None
    text = page("month", "/month", month=april)
    assert '<iframe class="page" src="/reports/month-2026-04.html" title="The printed page of April 2026">' in text
    assert "No month is printed yet" in page("month", "/month", month=monthly([]))


def test_a_refusal_is_one_sentence_in_the_screens_words() -> None:
    from reports.said import decision_refused

    assert decision_refused(DecisionRefused("no reason")) == "A row is rejected with a reason."
