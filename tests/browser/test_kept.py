"""What was typed is not lost: without initials, after a session that ran out, from a page of before; and gone once it is recorded."""

from __future__ import annotations

from collections.abc import Iterator

import pytest

from models import passphrases
from tests.browser.accessible import violations
from tests.browser.waiting import forgotten, until
from tests.faults.killer import pieces, put
from tests.flows.serving import Service, with_people

pytestmark = [pytest.mark.browser, pytest.mark.timeout(300), pytest.mark.slow]
WORDS = {"TS": "supervising mitts", "tablet-k1": "kettle side tablet"}


@pytest.fixture(scope="module")
def service(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Service]:
    """Served with a supervisor and a tablet."""
    folder = tmp_path_factory.mktemp("kept")
    kept = {name: passphrases.hashed(words, cost=2**4) for name, words in WORDS.items()}
    people = f"""[sign_in]
key = "a2tra2tra2tra2tra2tra2tra2tra2tra2tra2tra2s="
[people.TS]
role = "supervisor"
passphrase = "{kept["TS"]}"
[people.JL]
role = "floor"
[devices.tablet-k1]
passphrase = "{kept["tablet-k1"]}"
"""
    found = with_people(folder, people, 8).start()
    yield found
    found.stop()


def sign_in(browser, service: Service, who: str, fresh: bool = True) -> None:
    if fresh:
        forgotten(browser)
        browser.get(f"{service.base}/sign-in")
        browser.execute_script("sessionStorage.clear()")
    browser.find_element("name", "name").send_keys(who)
    browser.find_element("name", "passphrase").send_keys(WORDS[who])
    browser.find_element("css selector", "button").click()
    until(lambda: "/sign-in" not in browser.current_url)


def hold_form(browser):
    return browser.find_element("css selector", "form[action='/holds']")


def type_hold(browser, service: Service) -> None:
    browser.get(service.base + "/holds")
    form = hold_form(browser)
    form.find_element("name", "batch").send_keys("L1/01")
    form.find_element("css selector", "option[value='foreign body']").click()
    form.find_element("name", "because").send_keys("a shard <i>of</i> a pan")


def send(form) -> None:
    form.find_element("css selector", "button.main").click()


def send_as_of_before(browser) -> None:
    """The hold, from a page of before a sign-in: refused, and kept."""
    browser.execute_script("document.querySelector(\"form[action='/holds'] [name=form_token]\").value = 'old'")
    send(hold_form(browser))
    until(lambda: "from before a sign-in" in browser.page_source)


def typed(browser) -> dict[str, str]:
    return {
        name: hold_form(browser).find_element("name", name).get_attribute("value")
        for name in ("batch", "ground", "because")
    }


HELD = {"batch": "L1/01", "ground": "foreign body", "because": "a shard <i>of</i> a pan"}


def test_a_session_that_ran_out_loses_nothing(browser, service: Service) -> None:
    sign_in(browser, service, "TS")
    type_hold(browser, service)
    browser.delete_all_cookies()
    send(hold_form(browser))
    until(lambda: "Nobody is signed in here any more" in browser.page_source)
    assert violations(browser) == []
    browser.find_element("link text", "Sign in").click()
    until(lambda: "/sign-in" in browser.current_url)
    sign_in(browser, service, "TS", fresh=False)
    until(lambda: browser.find_elements("css selector", ".back"))
    assert "/holds" in browser.current_url and typed(browser) == HELD
    assert "Nobody is signed in here any more" in browser.find_element("css selector", ".back").text
    assert "not recorded until you send it" in browser.find_element("css selector", ".back").text
    send(hold_form(browser))
    until(lambda: "a shard &lt;i&gt;of" in browser.page_source)
    browser.get(service.base + "/holds")
    assert typed(browser) == {"batch": "", "ground": "other", "because": ""}, "what is recorded does not come back"


def test_a_form_of_before_is_filled_again(browser, service: Service) -> None:
    sign_in(browser, service, "TS")
    type_hold(browser, service)
    send_as_of_before(browser)
    browser.find_element("link text", "Back to what was typed").click()
    until(lambda: browser.find_elements("css selector", ".back"))
    assert typed(browser) == HELD
    browser.get(service.base + "/")
    browser.get(service.base + "/holds")
    assert typed(browser)["batch"] == "", "once it was shown and left alone, it is forgotten"


def test_who_signs_out_leaves_nothing_typed_behind(browser, service: Service) -> None:
    sign_in(browser, service, "TS")
    type_hold(browser, service)
    send_as_of_before(browser)
    browser.get(service.base + "/")
    browser.find_element("css selector", ".head .who a").click()
    until(lambda: "You are signed in as TS" in browser.page_source)
    assert violations(browser) == []
    browser.find_element("css selector", "form[action='/sign-out'] button").click()
    until(lambda: "/sign-in" in browser.current_url)
    assert "L1/01" not in browser.execute_script("return JSON.stringify({...sessionStorage})")
    sign_in(browser, service, "TS", fresh=False)
    browser.get(service.base + "/holds")
    assert typed(browser)["batch"] == "" and not browser.find_elements("css selector", ".back")


def test_a_refusal_by_the_screen_itself_brings_it_back_with_its_sentence(browser, service: Service) -> None:
    sign_in(browser, service, "TS")
    type_hold(browser, service)
    hold_form(browser).find_element("name", "batch").send_keys("xx")
    send(hold_form(browser))
    until(lambda: browser.find_elements("css selector", "main[data-unrecorded]"))
    assert violations(browser) == []
    why = browser.find_element("css selector", "main .said").text
    browser.find_element("link text", "Back to what was typed").click()
    until(lambda: browser.find_elements("css selector", ".back"))
    assert typed(browser) == {**HELD, "batch": "L1/01xx"} and why in browser.find_element("css selector", ".back").text


def fill(browser, **fields: str) -> None:
    for name, value in fields.items():
        field = next(f for f in browser.find_elements("css selector", f"main [name='{name}']") if f.is_displayed())
        field.clear()
        field.send_keys(value)


def press(browser) -> None:
    next(b for b in browser.find_elements("css selector", "main form button.main") if b.is_displayed()).click()


def test_a_tablet_at_which_nobody_tapped_asks_in_the_form_and_keeps_what_was_typed(browser, service: Service) -> None:
    sign_in(browser, service, "tablet-k1")
    browser.get(service.base + "/kettle?kettle=K1")
    fill(browser, paste_batch="72", weight_before_kg="120")
    press(browser)
    assert "/kettle?kettle=K1" in browser.current_url, "without initials the browser sends nothing"
    assert browser.execute_script("return document.activeElement.name") == "by"
    browser.execute_script("document.querySelectorAll('[name=by]').forEach(one => one.required = false)")
    press(browser)
    until(lambda: browser.find_elements("css selector", "main[data-unrecorded]"))
    assert "tap your initials first" in browser.find_element("css selector", ".said").text
    browser.find_element("link text", "Back to what was typed").click()
    until(lambda: browser.find_elements("css selector", ".back"))
    assert "tap your initials first" in browser.find_element("css selector", ".back").text
    shown = {
        f.get_attribute("name"): f.get_attribute("value")
        for f in browser.find_elements("css selector", "details.new input")
    }
    assert (shown["paste_batch"], shown["weight_before_kg"]) == ("72", "120")
    assert violations(browser) == []
    next(o for o in browser.find_elements("css selector", "details.new [name=by] option") if o.text == "JL").click()
    press(browser)
    until(lambda: "72 cooks" in browser.page_source)
    assert "Working here: JL" in browser.find_element("css selector", ".head .who").text
    assert not browser.find_elements("css selector", ".back")


def test_initials_tapped_on_the_way_back_lose_nothing_either(browser, service: Service) -> None:
    sign_in(browser, service, "tablet-k1")
    browser.get(service.base + "/mixer?line=L1")
    fill(browser, dough_batch="81", flour_kg="100")
    browser.execute_script("document.querySelectorAll('[name=by]').forEach(one => one.required = false)")
    press(browser)
    until(lambda: browser.find_elements("css selector", "main[data-unrecorded]"))
    browser.find_element("link text", "Tap initials").click()
    until(lambda: "/who" in browser.current_url)
    browser.find_element("css selector", "button[value='JL']").click()
    until(lambda: browser.find_elements("css selector", ".back"))
    shown = {
        f.get_attribute("name"): f.get_attribute("value")
        for f in browser.find_elements("css selector", "details.new input")
    }
    assert (shown["dough_batch"], shown["flour_kg"]) == ("81", "100")


def test_a_page_does_not_leave_somebody_who_types_when_the_session_runs_out(browser, service: Service) -> None:
    sign_in(browser, service, "TS")
    type_hold(browser, service)
    browser.delete_all_cookies()
    put(service.logs, "news.csv", list(pieces())[9][1])  # something changed: the page looks, and is led to the sign-in
    until(lambda: browser.find_elements("css selector", ".out"), 30)
    assert "/holds" in browser.current_url and typed(browser) == HELD
    browser.get(service.base + "/sign-in")
    sign_in(browser, service, "TS", fresh=False)
    browser.get(service.base + "/holds")
    browser.delete_all_cookies()
    put(service.logs, "more.csv", list(pieces())[10][1])
    until(lambda: "/sign-in" in browser.current_url, 30)  # where nobody types, the page goes there by itself
