"""The pages in a real browser: nothing wrong, nothing asked for outside, drawn, readable on a phone and on paper."""

from __future__ import annotations

import json
import re
import shutil
import subprocess
from collections.abc import Callable
from pathlib import Path

import pytest

from models.pages.shown import Curve, Dot
from reports import figures, look, pages
from tests.browser.waiting import until

pytestmark = pytest.mark.browser

ALERT = "alert-c-2026-05-05-l1-volume"
PAGES = (
    "day-2026-05-05", "day-2026-04-30", "day-2026-05-03", "month-2026-04", "month-2026-05", ALERT,
    "alert-l-2026-05-05-k1-p03-cooling", "index",
)  # fmt: skip
DRAWN = tuple(page for page in PAGES[:-1] if not page.endswith("cooling"))  # no chart follows that paste's cooling
VISIBLE = "[...document.querySelectorAll('.drawing')].filter(box => !box.closest('details:not([open])'))"


@pytest.mark.parametrize("width", [1280, 360])
@pytest.mark.parametrize("page", PAGES)
def test_no_error_no_outside_request_drawn_and_no_wider_than_the_screen(
    chromium, reports: Path, outside: Callable, page: str, width: int
):
    chromium.open(reports / f"{page}.html", width)
    assert chromium.errors() == []
    asked = chromium.requests()
    assert asked and outside(asked) == []
    assert chromium.run(f"{VISIBLE}.filter(box => !box.querySelector('.main-svg')).length") == 0
    assert chromium.run("document.documentElement.scrollWidth") <= width
    assert chromium.run("document.documentElement.classList.contains('undrawn')") is False


CUT = """[...document.querySelectorAll('.drawing .main-svg text')].filter(t => t.getBoundingClientRect().width).map(t => {
  const words = t.getBoundingClientRect(), sheet = t.closest('.drawing').querySelector('.main-svg').getBoundingClientRect();
  return [t.closest('.drawing').id, t.textContent, sheet.left - words.left, words.right - sheet.right];
}).filter(([, , left, right]) => left > 1 || right > 1)"""


@pytest.mark.parametrize("width", [1280, 360])
@pytest.mark.parametrize("page", DRAWN)
def test_no_word_in_a_drawing_is_cut(chromium, reports: Path, page: str, width: int):
    """A line beyond the axis of a month's chart is named with an arrow before it: in wide letters that ran over the edge."""
    chromium.open(reports / f"{page}.html", width)
    chromium.driver.execute_script("document.querySelectorAll('details').forEach(part => { part.open = true; })")
    chromium.driver.execute_async_script("setTimeout(arguments[0], 600)")
    assert chromium.run("document.querySelectorAll('.drawing .main-svg text').length") > 10
    assert chromium.run(CUT) == []


@pytest.mark.parametrize("width", [1280, 360])
def test_long_words_beside_a_line_have_their_room(chromium, tmp_path: Path, width: int):
    """A plant's window may be called otherwise, and a volume has more digits than a specific volume."""
    dots = tuple(Dot(f"2026-05-{day:02}T08:00:00", 1900.0 + 10 * (day % 7), False, False, "", f"{day}", ()) for day in range(1, 29))
    window = (9000.5, 12345.5)
    shown = Curve("c", "Volume", "mL", dots, level=1900.0, window=window, window_name="MMMMWWWWmmmm@@%% act")
    drawn = json.dumps(figures.curve(shown))
    page = tmp_path / "curve.html"
    head = f"<!doctype html><meta charset=utf-8><link rel=icon href='data:,'><script>{pages.library()}</script>"
    body = f'<div id="c" class="drawing" style="width:{width - 20}px;height:300px"></div>'
    page.write_text(f"{head}{body}<script>const f = {drawn}; Plotly.newPlot('c', f.data, f.layout);</script>", encoding="utf-8")
    chromium.open(page, width)
    assert "▲ MMMMWWWW" in chromium.run("document.querySelector('.annotation-text').closest('svg').textContent")
    assert chromium.run(CUT) == []


def test_letters_are_no_wider_than_their_room(chromium, reports: Path):
    chromium.open(reports / "index.html")
    letters = "".join(map(chr, range(32, 127))) + "\xa0▲▼−±°éöß"
    measured = chromium.driver.execute_script(
        "const pen = document.createElement('canvas').getContext('2d'); pen.font = '1000px ' + arguments[1];"
        "return [...arguments[0]].map(letter => pen.measureText(letter).width / 1000)",
        letters,
        look.FONT,
    )
    wider = {c: (wide, look.em(c)) for c, wide in zip(letters, measured, strict=True) if wide > look.em(c)}
    assert not wider


def test_every_batch_of_the_weeks_is_drawn(chromium, reports: Path):
    chromium.open(reports / "day-2026-05-05.html")
    count = "document.querySelectorAll('#drawing-specific-volume-l1-milk-loaf .scatterlayer .point').length"
    held = (reports / "day-2026-05-05.html").read_text(encoding="utf-8")
    said = re.search(r"Specific volume of (\d+)\u00a0batches", held)
    lots_and_changes = 9
    assert said and int(said[1]) <= chromium.run(count) <= int(said[1]) + lots_and_changes


def test_folded_charts_are_drawn_when_opened(chromium, reports: Path):
    chromium.open(reports / "day-2026-05-05.html")
    hidden = "document.querySelectorAll('#drawing-weight-l1-milk-loaf .main-svg').length"
    assert chromium.run(hidden) == 0
    chromium.driver.execute_script("document.querySelectorAll('details').forEach(part => { part.open = true; })")
    chromium.driver.execute_async_script("setTimeout(arguments[0], 600)")
    assert chromium.run(hidden) > 0
    assert chromium.run("document.documentElement.scrollWidth") <= 1280
    assert chromium.errors() == []


def test_the_row_account_opens_to_every_row_left_out(chromium, reports: Path):
    chromium.open(reports / "day-2026-05-05.html", 360)
    from selenium.webdriver.common.by import By

    rows = chromium.driver.find_element(By.ID, "table-excluded")
    assert not rows.is_displayed()
    chromium.driver.find_element(By.CSS_SELECTOR, "#account summary").click()
    assert rows.is_displayed() and "loaf <b>5</b>.csv, row 7" in rows.text
    assert chromium.run("document.documentElement.scrollWidth") <= 360


def test_the_keyboard_opens_what_is_folded(chromium, reports: Path):
    from selenium.webdriver.common.by import By
    from selenium.webdriver.common.keys import Keys

    chromium.open(reports / "day-2026-05-05.html")
    chromium.driver.find_element(By.CSS_SELECTOR, "#account summary").send_keys(Keys.ENTER)
    assert chromium.run("document.querySelector('#account details').open") is True


def test_the_alert_fits_a_phone_with_its_five_lines_first(chromium, reports: Path):
    chromium.open(reports / f"{ALERT}.html", 360, 780)
    bottom = "document.querySelector('.five').getBoundingClientRect().bottom"
    assert chromium.run(bottom) <= 780
    size = "parseFloat(getComputedStyle(document.querySelector('.five dd')).fontSize)"
    assert chromium.run(size) >= 16
    assert " ago)" in chromium.run("document.querySelector('.notice').innerText")


@pytest.mark.parametrize("page", [ALERT, "day-2026-05-05"])
def test_a_batch_that_evidence_names_is_opened_where_it_stands(chromium, reports: Path, page: str):
    from selenium.webdriver.common.by import By

    chromium.open(reports / f"{page}.html")
    link = chromium.driver.find_element(By.CSS_SELECTOR, "td[data-head='Evidence'] a")
    assert link.text == "2026-05-05/L1/D04"
    link.click()
    until(lambda: chromium.run("document.querySelector('details.named').open"))
    there = "document.querySelector(decodeURIComponent(location.hash))"
    assert chromium.run(f"{there}.innerText") == "2026-05-05/L1/D04"
    assert "mL/g" in chromium.run(f"{there}.nextElementSibling.innerText")


def test_a_link_leads_from_the_day_to_the_alert_and_to_all_pages(chromium, reports: Path):
    from selenium.webdriver.common.by import By

    chromium.open(reports / "day-2026-05-05.html")
    for link in (f"#held a[href='{ALERT}.html']", "nav a"):
        chromium.driver.find_element(By.CSS_SELECTOR, link).click()
        assert chromium.errors() == []
    assert chromium.driver.current_url.endswith("/index.html")


def test_a_single_file_is_drawn_alone(chromium, reports: Path, outside: Callable, tmp_path: Path):
    mailed = tmp_path / "day.html"
    shutil.copy(reports / "day-2026-05-05-single.html", mailed)
    chromium.open(mailed)
    assert chromium.errors() == [] and outside(chromium.requests()) == []
    assert chromium.run(f"{VISIBLE}.length") >= 3
    assert chromium.run(f"{VISIBLE}.filter(box => !box.querySelector('.main-svg')).length") == 0


def test_without_its_library_the_page_says_so_and_still_tells(chromium, reports: Path, tmp_path: Path):
    alone = tmp_path / "day.html"
    shutil.copy(reports / "day-2026-05-05.html", alone)
    chromium.open(alone)
    assert "The charts are not drawn" in chromium.run("document.body.innerText")
    assert "4.5\u00a0% small" in chromium.run("document.body.innerText")


@pytest.mark.parametrize("page", ["day-2026-05-05", "month-2026-04", ALERT])
def test_print_holds_the_charts_and_the_rows_left_out(chromium, reports: Path, tmp_path: Path, page: str):
    chromium.open(reports / f"{page}.html")
    paper = chromium.pdf(tmp_path / "page.pdf")
    wide = "Math.max(...[...document.querySelectorAll('.drawing .main-svg')].map(svg => svg.width.baseVal.value))"
    assert chromium.run(wide) > 680, "back on the screen the charts are wide again"
    pdftotext = shutil.which("pdftotext")
    if pdftotext is None:
        assert paper.read_bytes().startswith(b"%PDF") and paper.stat().st_size > 20_000
        return
    done = subprocess.run([pdftotext, "-layout", str(paper), "-"], capture_output=True, text=True, check=True)
    assert "What this page stands on" in done.stdout
    assert "level 4.66" in done.stdout.replace("\u00a0", " "), "the words in the chart are on paper"
    if page.startswith("day"):
        assert "look swapped" in done.stdout


def test_print_is_as_wide_as_the_paper(chromium, reports: Path):
    """A4 less its margins is 180 mm, 680 CSS pixels: nothing that is printed may be wider."""
    chromium.open(reports / "day-2026-05-05.html")
    chromium.driver.execute_cdp_cmd("Emulation.setEmulatedMedia", {"media": "print"})
    try:
        chromium.driver.execute_cdp_cmd(
            "Emulation.setDeviceMetricsOverride", {"width": 680, "height": 900, "deviceScaleFactor": 1, "mobile": False}
        )
        chromium.driver.execute_script("window.dispatchEvent(new Event('beforeprint'))")
        chromium.driver.execute_async_script("setTimeout(arguments[0], 600)")
        assert chromium.run("document.documentElement.scrollWidth") <= 680
    finally:
        chromium.driver.execute_cdp_cmd("Emulation.setEmulatedMedia", {"media": ""})


def test_the_picture_is_not_blank(chromium, reports: Path):
    """Ink on the drawing: a chart that failed without an error would leave an empty box."""
    from selenium.webdriver.common.by import By

    chromium.open(reports / "day-2026-05-05.html")
    box = chromium.driver.find_element(By.ID, "drawing-causes-c-2026-05-05-l1-volume")
    chromium.driver.execute_script("arguments[0].scrollIntoView()", box)
    bars = chromium.run(
        "[...document.querySelectorAll('#drawing-causes-c-2026-05-05-l1-volume .barlayer .point > path')]"
        ".map(bar => bar.getBBox().width)"
    )
    assert len(bars) == 5 and max(bars) > 200
