"""The board driven in a real browser over a real service: a drop becomes news, a kettle is typed, QA's acts, the service gone and back."""

from __future__ import annotations

import socket
from collections.abc import Iterator
from datetime import datetime, timedelta

import pytest

from models import passphrases
from models import plant as plant_file
from tests.browser.accessible import violations
from tests.browser.waiting import forgotten, until
from tests.faults.killer import SAMPLE, pieces, put
from tests.flows.serving import Service, boiled, with_people

pytestmark = [pytest.mark.browser, pytest.mark.timeout(400), pytest.mark.slow]
WORDS = {"MK": "quality oven mitts", "TS": "supervising mitts", "FL": "floury floor mitts"}


@pytest.fixture(scope="module")
def service(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Service]:
    """Served with people: QA, a supervisor and one of the floor."""
    folder = tmp_path_factory.mktemp("board")
    kept = {name: passphrases.hashed(words, cost=2**4) for name, words in WORDS.items()}
    people = f"""[sign_in]
key = "a2tra2tra2tra2tra2tra2tra2tra2tra2tra2tra2s="
[people.MK]
role = "QA"
passphrase = "{kept["MK"]}"
[people.TS]
role = "supervisor"
passphrase = "{kept["TS"]}"
[people.FL]
role = "floor"
passphrase = "{kept["FL"]}"
"""
    found = with_people(folder, people, 40).start()
    yield found
    found.stop()


def _sign_in(browser, service: Service, who: str) -> None:
    forgotten(browser)
    browser.get(f"{service.base}/sign-in")
    browser.find_element("name", "name").send_keys(who)
    browser.find_element("name", "passphrase").send_keys(WORDS[who])
    browser.find_element("css selector", "button").click()
    until(lambda: "/sign-in" not in browser.current_url)


def test_nobody_is_shown_anything_before_signing_in(browser, service: Service) -> None:
    forgotten(browser)
    browser.get(service.base + "/holds")
    assert "/sign-in" in browser.current_url


def test_a_drop_is_news_without_a_reload(browser, service: Service) -> None:
    _sign_in(browser, service, "TS")
    browser.get(service.base + "/")
    browser.execute_script("window.sameVisit = true")
    before = browser.find_element("id", "screen").text
    for name, text in list(pieces())[40:44]:
        put(service.logs, name, text)
    until(lambda: browser.find_element("id", "screen").text != before, 20)
    assert browser.execute_script("return window.sameVisit")


def test_only_qa_releases(browser, service: Service) -> None:
    _sign_in(browser, service, "TS")
    browser.get(service.base + "/holds")
    _open_all(browser)
    form = browser.find_element("css selector", "form[action='/holds']")
    form.find_element("name", "batch").send_keys("L1/01")
    form.find_element("name", "because").send_keys("a shard of a pan")
    form.find_element("css selector", "button").click()
    until(lambda: "a shard of a pan" in browser.page_source)
    ends = {
        option.get_attribute("value")
        for option in browser.find_elements("css selector", "form[action$='/release'] [value]")
    }
    assert "released" not in ends
    token = browser.find_element("name", "form_token").get_attribute("value")
    hold = browser.find_element("css selector", "form[action$='/release']").get_attribute("action")
    refused = browser.execute_async_script(
        "const done = arguments[2]; fetch(arguments[0], {method: 'POST', body: new URLSearchParams("
        "{form_token: arguments[1], act: 'released', because: 'fine'})}).then(a => done(a.status))",
        hold,
        token,
    )
    assert refused in (403, 422)
    _sign_in(browser, service, "MK")
    browser.get(service.base + "/holds")
    assert "a shard of a pan" in browser.page_source


def _open_all(browser) -> None:
    browser.execute_script("document.querySelectorAll('details').forEach(d => d.open = true)")


def test_an_impossible_weight_is_questioned_and_corrected(browser, service: Service) -> None:
    _sign_in(browser, service, "TS")
    browser.get(service.base + "/kettle?kettle=K1")
    _open_all(browser)
    began = datetime.now(plant_file.load(SAMPLE / "plant.toml").zone) - timedelta(minutes=14)
    _fill(browser, paste_batch="71", weight_before_kg="120", cook_start=f"{began:%Y-%m-%d %H:%M}")
    _press(browser)
    until(lambda: browser.find_elements("css selector", "[name='weight_after_kg']"))
    _fill(browser, weight_after_kg="1180", cook_temp_c="66")
    _press(browser)
    until(lambda: browser.find_elements("css selector", ".asks"))
    _fill(browser, weight_after_kg="118")
    pastes = service.received("paste")
    _press(browser)
    until(lambda: browser.find_elements("css selector", ".answer"))
    until(lambda: service.received("paste") == pastes + 1)


def _fill(browser, **fields: str) -> None:
    for name, value in fields.items():
        field = next(f for f in browser.find_elements("css selector", f"main [name^='{name}']") if f.is_displayed())
        field.clear()
        field.send_keys(value)


def _press(browser) -> None:
    next(b for b in browser.find_elements("css selector", "main form button.main") if b.is_displayed()).click()


PASTE = """paste_batch,kettle,shift_date,shift,flour_kg,liquid_kg,weight_before_kg,weight_after_kg,cook_start,cook_end,cook_temp_c,operator
61,K1,2026-10-08,early,64,128,192,186,2026-10-08 06:00,2026-10-08 06:12,52,XQ
"""


def test_a_cold_cook_becomes_an_alert_that_is_seen_and_closed(browser, service: Service) -> None:
    _sign_in(browser, service, "TS")
    browser.get(service.base + "/")
    put(service.logs, "cold.csv", PASTE)
    link = until(lambda: [one for one in _alerts(browser) if "52" in one.text], 20)[0]
    link.click()
    until(lambda: "/alerts/" in browser.current_url)
    where = browser.current_url
    _act(browser, "act", "seen")
    until(lambda: "TS" in browser.find_element("css selector", ".history").text)
    browser.find_element("id", "note-done").send_keys("probe held in the core: 66 <b>C</b>")
    _act(browser, "act", "done")
    until(lambda: "66 <b>C</b>" in browser.find_element("css selector", ".history").text)
    browser.find_element("id", "note-close").send_keys("the probe touched the wall")
    _act(browser, "found", "nothing found")
    rows = until(lambda: _three(browser))
    assert not browser.find_elements("css selector", "button[name='found']")
    assert all("TS" in row for row in rows)
    assert "the probe touched the wall" in browser.find_element("css selector", ".history").text
    assert "XQ" not in browser.page_source  # an operator's name is in no shared view
    browser.refresh()
    assert browser.current_url == where and len(browser.find_elements("css selector", ".history tbody tr")) == 3
    browser.get(service.base + "/")
    assert not [one for one in _alerts(browser) if "52" in one.text]


def _three(browser) -> list[str] | None:
    rows = [row.text for row in browser.find_elements("css selector", ".history tbody tr")]
    return rows if len(rows) == 3 else None


def _alerts(browser):
    return browser.find_elements("css selector", "#screen a[href^='/alerts/']")


def _act(browser, name: str, value: str) -> None:
    browser.find_element("css selector", f"button[name='{name}'][value='{value}']").click()


def test_a_hold_reaches_the_mixer_before_it_pours(browser, service: Service) -> None:
    """The mixer's screen is open while a supervisor holds the paste: it says so by itself, and what is typed meanwhile stays."""
    _sign_in(browser, service, "TS")
    put(service.logs, "paste-now.csv", boiled(datetime.now(plant_file.load(SAMPLE / "plant.toml").zone)))
    until(lambda: _offers(browser, service, "K1 99"), 30)
    _fill(browser, dough_batch="55")
    assert "On hold" not in browser.find_element("id", "screen").text
    held = browser.execute_async_script(
        "const done = arguments[1]; fetch('/holds', {method: 'POST', body: new URLSearchParams({form_token: arguments[0],"
        " batch: 'K1/99', ground: 'foreign body', because: 'a glove'})}).then(a => done(a.status))",
        browser.find_element("name", "form_token").get_attribute("value"),
    )
    assert held == 200
    until(lambda: "On hold: do not pour" in browser.find_element("id", "on-hold").text, 20)
    assert "a glove" in browser.find_element("id", "on-hold").text
    typed = [f.get_attribute("value") for f in browser.find_elements("css selector", "[name='dough_batch']")]
    assert "55" in typed


def _offers(browser, service: Service, paste: str) -> bool:
    browser.get(service.base + "/mixer?line=L1")
    return paste in browser.find_element("name", "paste_key").text


def test_charts_and_months_are_for_those_who_follow_them(browser, service: Service) -> None:
    _sign_in(browser, service, "FL")
    browser.get(service.base + "/")
    assert not browser.find_elements("css selector", "nav a[href='/charts'], nav a[href='/month']")
    for path in ("/charts", "/month", "/reports/month-2026-10.html"):
        browser.get(service.base + path)
        assert "this needs the role supervisor, and FL is floor" in browser.find_element("tag name", "body").text
    _sign_in(browser, service, "TS")
    browser.find_element("css selector", "nav a[href='/charts']").click()
    until(lambda: browser.find_elements("css selector", ".followed"))
    words = browser.find_element("id", "charts").text
    assert "L1" in words and ("Still learning" in words or "Not enough data" in words)
    assert browser.find_elements("css selector", "svg.inked")


def test_the_month_stands_inside_the_board_whole_and_with_its_drawings(browser, service: Service) -> None:
    _sign_in(browser, service, "TS")
    until(lambda: list((service.folder / "out").glob("month-*.html")), 60)
    browser.get(service.base + "/month")
    inside = browser.find_element("css selector", "iframe.page")
    until(
        lambda: browser.execute_script(
            "return arguments[0].contentDocument.querySelectorAll('.drawing').length", inside
        )
    )
    until(lambda: _is_whole(browser, inside))
    browser.switch_to.frame(inside)
    try:
        until(lambda: browser.find_elements("css selector", ".drawing[data-drawn] svg"))
        assert browser.find_element("tag name", "h1").text in ("October 2026", "November 2026")
    finally:
        browser.switch_to.default_content()
    assert browser.find_element("css selector", "nav a[aria-current]").text == "Month"


def _is_whole(browser, inside) -> bool:
    return browser.execute_script(
        "const page = arguments[0].contentDocument.documentElement; return page.scrollHeight <= arguments[0].clientHeight + 4",
        inside,
    )


def test_out_of_touch_is_said_and_over_by_itself(browser, service: Service) -> None:
    _sign_in(browser, service, "TS")
    browser.get(service.base + "/")
    service.kill()
    touch = browser.find_element("id", "touch")
    until(touch.is_displayed, 20)
    assert "Out of touch since" in touch.text
    service.start()
    until(lambda: not browser.find_element("id", "touch").is_displayed(), 60)


def test_fifty_boards_open_while_logs_come(browser, service: Service) -> None:
    """Fifty live streams stay open, and each is told of the last drop. Times are printed, not asserted."""
    _sign_in(browser, service, "TS")
    cookie = "; ".join(f"{one['name']}={one['value']}" for one in browser.get_cookies())
    ears = [socket.create_connection(("127.0.0.1", service.port), timeout=20) for _ in range(50)]
    for ear in ears:
        ear.sendall(f"GET /live HTTP/1.1\r\nHost: 127.0.0.1:{service.port}\r\nCookie: {cookie}\r\n\r\n".encode())
    until(lambda: service.health()["boards"] >= 50)
    took = sorted(service.drop(name, text) for name, text in list(pieces())[44:54])
    version = f"-{service.health()['version']}\n".encode()
    print(f"fifty boards open: drops known after {took[len(took) // 2]:.2f} s in the middle, {took[-1]:.2f} s at most")
    assert all(_hears(ear, version) for ear in ears)
    for ear in ears:
        ear.close()
    until(lambda: service.health()["boards"] < 50)


def _hears(ear: socket.socket, version: bytes) -> bool:
    """Whether a stream tells of this change; a beat comes every two seconds."""
    heard = b""
    while version not in heard:
        more = ear.recv(65536)
        if not more:
            return False
        heard += more
    return True


@pytest.mark.parametrize(("width", "height"), [(1024, 768), (390, 844)])
def test_every_screen_is_accessible(chromium, service: Service, width: int, height: int) -> None:
    """WCAG 2.2 A and AA as far as axe-core can tell."""
    size = {"width": width, "height": height, "deviceScaleFactor": 1, "mobile": width < 600}
    chromium.driver.execute_cdp_cmd("Emulation.setDeviceMetricsOverride", size)
    forgotten(chromium.driver)
    chromium.driver.get(service.base + "/sign-in")
    found = {"/sign-in": violations(chromium.driver)}
    _sign_in(chromium.driver, service, "MK")
    chromium.driver.get(service.base + "/")
    links = chromium.driver.find_elements("css selector", "a[href^='/alerts/']")
    alerts = [str(link.get_dom_attribute("href")) for link in links][:2]
    screens = [
        "/",
        "/kettle?kettle=K1",
        "/mixer",
        "/mixer?line=L1",
        "/holds",
        "/handover",
        "/quarantine",
        "/reports",
        "/charts",
        "/month",
    ]
    for screen in [*screens, *alerts, "/no-such-screen"]:
        chromium.driver.get(service.base + screen)
        _open_all(chromium.driver)
        found[screen] = violations(chromium.driver)
    assert {screen: lines for screen, lines in found.items() if lines} == {}


def test_words_of_a_log_are_never_markup(browser, service: Service) -> None:
    script = "<script>window.forged=1</script>"
    head = "dough_batch,line,product,shift_date,shift,mixed_at,flour_kg,liquid_kg,yeast_kg,dough_temp_c"
    put(service.logs, "z.csv", f"{head}\n{script},L1,{script},2026-10-06,early,2026-10-06 12:00,100,50,2.5,26\n")
    _sign_in(browser, service, "MK")
    until(lambda: _sees(browser, service), 20)
    assert browser.execute_script("return window.forged === undefined")


def _sees(browser, service: Service) -> bool:
    browser.get(service.base + "/quarantine")
    return "window.forged" in browser.find_element("id", "screen").text
