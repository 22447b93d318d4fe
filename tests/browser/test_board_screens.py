"""The board's screens in a real browser: the whole floor without scrolling and large enough, nothing cut, nothing wider than a phone."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from models import plant as plants
from models.floor.alertscreen import alert_screen
from models.floor.chartscreen import charts
from models.floor.floor import floor
from models.floor.handover import handover
from models.floor.printed import monthly, printed
from models.floor.quarantine import quarantine
from models.floor.view import View
from models.storage.viewing import _chart
from reports.board import STATIC
from tests.browser.accessible import violations
from tests.unit.board import NOW, QA, ago, of_paste, page, seen, view
from tests.unit.snapshots import PLANT, snapshot
from tests.unit.test_alert_screen import TRACED
from tests.unit.test_alerts import alert
from tests.unit.test_quarantine_screen import SEEN

pytestmark = pytest.mark.browser

LINES, KETTLES = [f"L{i}" for i in range(1, 13)], [f"K{i}" for i in range(1, 7)]
CUT = """[...document.querySelectorAll('.place > *, .place .count, .place .word, .place .name b')]
    .filter(box => box.scrollHeight > box.clientHeight + 2 || box.scrollWidth > box.clientWidth + 2)
    .map(box => box.className + ' ' + box.textContent)"""
# characters of 16 minutes of arc at least are legible (ISO 9241-303, from memory); from 3 m that is 14 mm, on a screen 1.2 m
# wide 22 pixels of capital height, 31 of letter size
LEGIBLE = 31


def large(alerts: bool) -> View:
    """Twelve lines and six kettles; each with an alert, or with none."""
    plant = plants.parse({
        **PLANT,
        "lines": {name: {"kettle": "K1", "products": ["toast", "milk-loaf"]} for name in LINES},
        "kettles": {name: {"pastes": ["water-2"]} for name in KETTLES},
    })  # fmt: skip
    found = [
        alert(alert=f"A-{name}", line=name, until_at=ago(5), check_first=("Volumeter on its block (five minutes)",))
        for name in LINES
    ]
    found += [of_paste(f"A-{name}", kettle=name, urgency="hold") for name in KETTLES]
    lines = {name: seen(name, 20 if n % 2 else 3000, product="milk-loaf") for n, name in enumerate(LINES)}
    kettles = {name: seen(name, 50, 60.0, "water-2") for name in KETTLES[:-1]}
    return view(tuple(found) if alerts else (), plant=plant, lines=lines, kettles=kettles)


@pytest.fixture(scope="module")
def screens(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Every screen as a file with its style in it."""
    folder = tmp_path_factory.mktemp("screens")
    few = view((TRACED, of_paste()), quarantine=SEEN.quarantine)
    charted = of_snapshot()
    low = next(one.alert for one in charted.alerts if one.characteristic == "specific volume")
    files = [f"month-2026-{m:02d}.html" for m in range(1, 7)]
    found = {
        "floor-alerts": page("floor", floor=floor(large(alerts=True), NOW)),
        "floor-quiet": page("floor", floor=floor(large(alerts=False), NOW)),
        "floor-few": page("floor", floor=floor(few, NOW)),
        "alert": page("alert", "/alerts/A1", alert=alert_screen(few, "A1", NOW, QA, "QA")),
        "alert-chart": page("alert", f"/alerts/{low}", alert=alert_screen(charted, low, NOW, QA, "QA")),
        "charts": page("charts", "/charts", follows=True, charts=charts(charted, NOW)),
        "month": page("month", "/month", follows=True, month=monthly(files, "2026-03")),
        "handover": page("handover", "/handover", handover=handover(few, NOW)),
        "quarantine": page("quarantine", "/quarantine", quarantine=quarantine(few, QA, "QA")),
        "reports": page("reports", "/reports", reports=printed([f"day-2026-05-{d:02d}.html" for d in range(1, 7)])),
    }
    for name, text in found.items():
        text = re.sub(r'<link rel="stylesheet" href="/static/([\w.]+)">', _style, text)
        (folder / f"{name}.html").write_text(re.sub(r"<script[^>]*></script>", "", text), encoding="utf-8")
    return folder


def of_snapshot() -> View:
    """The invented bakery's charts and alerts as the board has them."""
    whole = snapshot()
    charts = tuple(_chart(one) for one in whole.charted)
    return view(whole.alerts, plant=whole.plant, charted=whole.charted, charts=charts, changes=whole.changes)


def _style(link: re.Match[str]) -> str:
    return f"<style>{(STATIC / link.group(1)).read_text(encoding='utf-8')}</style>"


@pytest.mark.parametrize("name", ["floor-alerts", "floor-quiet", "floor-few"])
@pytest.mark.parametrize(("width", "height"), [(1920, 1080), (1600, 900)])
def test_the_whole_floor_stands_on_one_screen_and_nothing_is_cut(
    chromium, screens: Path, name: str, width: int, height: int
):
    chromium.open(screens / f"{name}.html", width, height)
    assert chromium.run("document.documentElement.scrollHeight") <= height
    assert chromium.run("document.documentElement.scrollWidth") <= width
    shown = "[...document.querySelectorAll('.place')].map(p => p.getBoundingClientRect().bottom)"
    assert max(chromium.run(shown)) <= height - 30
    assert chromium.run(CUT) == []


@pytest.mark.parametrize("name", ["floor-alerts", "floor-quiet", "floor-few"])
def test_place_state_and_minutes_are_legible_from_three_metres(chromium, screens: Path, name: str):
    chromium.open(screens / f"{name}.html", 1920, 1080)
    for part in (".name b", ".word", ".count b"):
        sizes = chromium.run(
            f"[...document.querySelectorAll('.place {part}')].map(e => parseFloat(getComputedStyle(e).fontSize))"
        )
        assert min(sizes) >= LEGIBLE, part


@pytest.mark.parametrize(
    "name",
    ["floor-alerts", "floor-few", "alert", "alert-chart", "charts", "month", "handover", "quarantine", "reports"],
)
@pytest.mark.parametrize("width", [1024, 390, 320])
def test_no_screen_is_wider_than_a_tablet_or_a_phone(chromium, screens: Path, name: str, width: int):
    chromium.open(screens / f"{name}.html", width, 844)
    assert chromium.run("document.documentElement.scrollWidth") <= width


@pytest.mark.parametrize(("width", "least"), [(1024, 10.0), (390, 9.5), (320, 7.5)])
@pytest.mark.parametrize("name", ["alert-chart", "charts"])
def test_a_chart_can_be_read_on_a_phone(chromium, screens: Path, name: str, width: int, least: float):
    """Words in a drawing shrink with it: what is shown is at least this high, and one drawing of each is shown."""
    chromium.open(screens / f"{name}.html", width, 844)
    shown = "[...document.querySelectorAll('.inked')].filter(one => one.getBoundingClientRect().width)"
    sizes = chromium.run(
        f"{shown}.flatMap(one => [...one.querySelectorAll('text')].map(t => parseFloat(t.getAttribute('font-size'))"
        " * one.getBoundingClientRect().width / one.viewBox.baseVal.width))"
    )
    assert min(sizes) >= least
    named = chromium.run(f"{shown}.map(one => one.getAttribute('aria-label'))")
    assert len(named) == len(set(named)) and all(named)


@pytest.mark.parametrize("name", ["alert", "quarantine"])
def test_what_is_pressed_fits_a_glove_and_every_field_has_its_name(chromium, screens: Path, name: str):
    chromium.open(screens / f"{name}.html", 390, 844)
    pressed = "[...document.querySelectorAll('main button, main summary')].filter(e => e.offsetParent).map(e => e.offsetHeight)"
    assert min(chromium.run(pressed)) >= 44
    fields = "[...document.querySelectorAll('main textarea, main input:not([type=hidden])')].filter(f => !f.labels.length).length"
    assert chromium.run(fields) == 0


def test_ids_are_given_once(chromium, screens: Path):
    for path in sorted(screens.iterdir()):
        ids = re.findall(r'\bid="([^"]+)"', path.read_text(encoding="utf-8"))
        assert len(ids) == len(set(ids)), path.name


def test_the_handover_is_printed_without_what_is_pressed(chromium, screens: Path, tmp_path: Path):
    chromium.open(screens / "handover.html")
    assert chromium.pdf(tmp_path / "handover.pdf").read_bytes()[:4] == b"%PDF"
    chromium.driver.execute_cdp_cmd("Emulation.setEmulatedMedia", {"media": "print"})
    try:
        assert chromium.run("getComputedStyle(document.querySelector('.head nav')).display") == "none"
        assert chromium.run("getComputedStyle(document.querySelector('.sign')).display") == "flex"
    finally:
        chromium.driver.execute_cdp_cmd("Emulation.setEmulatedMedia", {"media": ""})


@pytest.mark.parametrize("width", [1280, 390])
def test_every_screen_is_accessible(chromium, screens: Path, width: int):
    """WCAG 2.2 A and AA as far as axe-core can tell, with alerts, holds and rows that wait."""
    found = {}
    for screen in sorted(screens.glob("*.html")):
        chromium.open(screen, width)
        chromium.run("document.querySelectorAll('details').forEach(d => d.open = true)")
        found[screen.name] = violations(chromium.driver)
    assert len(found) >= 7
    assert {name: lines for name, lines in found.items() if lines} == {}
