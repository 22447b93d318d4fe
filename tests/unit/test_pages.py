"""The pages as files: offline, the same bytes, whole or not at all, nothing from a log as markup."""

from __future__ import annotations

import os
import re
import shutil
import subprocess
import sys
from dataclasses import replace
from functools import cache
from html.parser import HTMLParser
from pathlib import Path

import pytest

from models.pages.day import Day, day
from models.pages.month import month
from models.pages.words import local
from models.texts import texts
from reports import pages
from tests.unit import skeleton
from tests.unit.snapshots import BAD, EMPTY, GOOD, bare, snapshot

ROOT = Path(__file__).resolve().parents[2]
ALERT = "c-2026-05-05-l1-volume"


@cache
def told() -> Day:
    return day(snapshot(), BAD)


@cache
def html(which: str) -> str:
    """A page of the invented bakery as text."""
    made = {
        "day": lambda: pages.render("day.html", told()),
        "month": lambda: pages.render("month.html", month(snapshot(), "2026-04")),
        "empty": lambda: pages.render("day.html", day(snapshot(), EMPTY)),
        "bare": lambda: pages.render("day.html", day(bare(), BAD)),
        "bare month": lambda: pages.render("month.html", month(bare(), "2026-05")),
    }
    return made[which]()[0]


EVERY = ("day", "month", "empty", "bare", "bare month")


class Tags(HTMLParser):
    """Ids, links to other places, and tags that were opened and not closed."""

    VOID = {"meta", "link", "br", "hr", "img", "input", "path", "rect", "circle"}

    def __init__(self, text: str) -> None:
        super().__init__()
        self.ids: list[str] = []
        self.links: list[str] = []
        self.open: list[str] = []
        self.wrong: list[str] = []
        self.feed(text)

    def handle_starttag(self, tag, attrs):
        named = dict(attrs)
        self.ids += [named["id"]] if "id" in named else []
        self.links += [named[name] for name in ("href", "src", "action") if name in named]
        if tag not in self.VOID:
            self.open.append(tag)

    def handle_startendtag(self, tag, attrs):
        return

    def handle_endtag(self, tag):
        if tag in self.VOID:
            return
        if not self.open or self.open.pop() != tag:
            self.wrong.append(tag)


def test_the_day_page_keeps_its_skeleton():
    """Written again by `python -m tests.unit.skeleton`; explain the difference."""
    assert skeleton.of_the_bad_day() == skeleton.GOLDEN.read_text(encoding="utf-8")


def test_the_day_is_told_in_its_order():
    found = re.findall(r'<section id="([\w-]+)"', html("day"))
    assert found == ["held", "not-checked", "restated", "weights", "lines", "water", "account"]


@pytest.mark.parametrize("which", EVERY)
def test_pages_are_well_formed_and_ids_are_unique(which: str):
    tags = Tags(html(which))
    assert not tags.wrong and not tags.open
    assert len(tags.ids) == len(set(tags.ids))


@pytest.mark.parametrize("which", EVERY)
def test_pages_name_no_other_place(which: str):
    page = Tags(html(which))
    own = {link for link in page.links if link.startswith("#")}
    assert all(re.fullmatch(r"plotly\.min\.js|data:,|[\w-]+\.html", link) for link in set(page.links) - own), page.links
    assert own <= {f"#{name}" for name in page.ids}
    assert "http" not in html(which).replace("http-equiv", "")


@pytest.mark.parametrize("which", ["day", "month"])
def test_every_page_names_limits_approval_baseline_span_and_version(which: str):
    for words in (
        "approved by QA lead, 2026-04-01",
        "Values of the trade stand in",
        "16 Mar to 5 May 2026",
        "loaftrace 1.0.0",
    ):
        assert words in html(which)
    assert "from 120\u00a0batches, 15\u00a0days and 9\u00a0yeast lots" in html(which)


def test_cautions_stand_where_they_belong():
    for words in ("Hot paste burns", "baking does not repair", "legal promise", "local law"):
        assert words in html("day")


def test_no_empty_cell():
    cells = re.findall(r"<td[^>]*>(.*?)</td>", html("day"), re.DOTALL)
    assert cells and not [cell for cell in cells if not re.sub(r"<[^>]*>|\s", "", cell)]


def test_state_is_told_by_a_word_beside_its_shape():
    assert html("day").count('<svg class="shape"') >= 10
    for word in ("Hold:", "Decide:", "Review:", "No change seen."):
        assert word in html("day")


def test_a_name_from_a_log_is_text():
    assert "loaf &lt;b&gt;5&lt;/b&gt;.csv" in html("day") and "<b>5</b>" not in html("day")
    evil = "</script><script>alert(1)</script>"
    changes = snapshot().changes.assign(what=evil)
    page = pages.render("day.html", day(replace(snapshot(), changes=changes), BAD))[0]
    assert evil not in page and "alert(1)</script>" not in page


def test_a_month_is_printed_in_the_words_of_its_texts(monkeypatch, tmp_path: Path):
    shutil.copytree(ROOT / "models" / "texts", tmp_path / "texts")
    file = tmp_path / "texts" / "month.toml"
    other = file.read_text(encoding="utf-8").replace("Holes in the data", "Trous d'hier & <b>")
    file.write_text(other.replace("Doughs without loaves", "Sans pains"), encoding="utf-8")
    monkeypatch.setattr("models.texts.FOLDER", tmp_path / "texts")
    texts.cache_clear()
    try:
        page = pages.render("month.html", month(snapshot(), "2026-05"))[0]
    finally:
        texts.cache_clear()
    assert "<h2>Trous d'hier &amp; &lt;b&gt;</h2>" in page and "<span>Sans pains</span>" in page
    assert "Holes in the data" not in page and "Doughs without loaves" not in page


def test_an_alert_tells_five_things_in_plain_words(tmp_path: Path):
    text = pages.write(pages.alert_page(snapshot(), ALERT), tmp_path).read_text(encoding="utf-8").replace("\u00a0", " ")
    assert "<h1>Loaves 4.5 % small, about 85 mL on a 400 g loaf.</h1>" in text
    assert re.findall(r"<dt>(.*?)</dt>", text) == ["Since", "Check first", "Who", "Batches"]
    assert text.index("re-weigh a K1 tub") < text.index("ask the mixer operator") < text.index('id="figures"')
    assert 'datetime="2026-05-05T14:30:00+01:00"' in text


def test_an_alert_of_a_limit_tells_the_limit(tmp_path: Path):
    text = pages.write(pages.alert_page(snapshot(), "l-2026-05-05-k1-p03-cooling"), tmp_path).read_text(
        encoding="utf-8"
    )
    # a number and its sign of unit stand on one line, whatever wrote the sentence
    assert "<h1>P03 was 26.4\u00a0°C two hours after cooking" in text and "only QA releases" in text


def test_no_such_alert(tmp_path: Path):
    with pytest.raises(KeyError, match="there is no alert A0"):
        pages.write(pages.alert_page(snapshot(), "A0"), tmp_path)
    assert not list(tmp_path.iterdir())


def test_files_are_named_by_the_contract_and_share_one_library(tmp_path: Path):
    made = [
        pages.write(pages.day_page(told()), tmp_path),
        pages.write(pages.month_page(month(snapshot(), "2026-04")), tmp_path),
        pages.write(pages.alert_page(snapshot(), ALERT), tmp_path),
    ]
    assert [path.name for path in made] == ["day-2026-05-05.html", "month-2026-04.html", f"alert-{ALERT}.html"]
    assert {path.name for path in tmp_path.iterdir()} - {path.name for path in made} == {"plotly.min.js", "index.html"}
    assert all(path.stat().st_size < 900_000 for path in made)


def test_the_index_lists_what_is_there_the_newest_first(tmp_path: Path):
    for on in (GOOD, BAD):
        pages.write(pages.day_page(day(snapshot(), on)), tmp_path)
    for alert in snapshot().alerts:
        pages.write(pages.alert_page(snapshot(), alert.alert), tmp_path)
    text = (tmp_path / "index.html").read_text(encoding="utf-8")
    assert text.index("day-2026-05-05.html") < text.index("day-2026-04-30.html")
    assert text.index("k1-p03-cooling") < text.index(ALERT) < text.index("l-2026-04-24") < text.index("l-2026-04-14")
    assert "Tuesday 5 May 2026" in text and "None yet." in text


def test_the_index_says_what_is_over_and_what_is_closed(tmp_path: Path):
    """Before, it said "Since Fri 23 Oct 19:57" of what was over two days later."""
    one = next(alert for alert in snapshot().alerts if alert.alert == ALERT)
    for name, changes, state in (
        ("A1", {"signal": "on"}, "Since Tue 5 May {began}, still on."),
        ("A2", {"signal": "over"}, "Tue 5 May {began} to Tue 5 May {until}, over."),
        ("A3", {"signal": "over", "case": "closed"}, "Tue 5 May {began} to Tue 5 May {until}, over, closed."),
        ("A4", {"signal": "over", "urgency": "hold"}, "Tue 5 May {began} to Tue 5 May {until}, held."),
    ):
        mine = replace(one, alert=name, **changes)
        pages.write(pages.alert_page(replace(snapshot(), alerts=(mine,)), name), tmp_path)
        listed = (tmp_path / "index.html").read_text(encoding="utf-8")
        (title,) = re.findall(rf'alert-{name}.html">(.*?)</a>', listed)
        zone = snapshot().plant.zone
        clocks = {k: f"{local(at, zone):%H:%M}" for k, at in (("began", one.began_at), ("until", one.until_at))}
        assert title.endswith(state.format(**clocks)), title


def test_same_data_same_bytes_and_nothing_written_twice(tmp_path: Path):
    path = pages.write(pages.day_page(told()), tmp_path)
    before = {file: (file.read_bytes(), file.stat().st_mtime_ns, file.stat().st_ino) for file in tmp_path.iterdir()}
    assert pages.write(pages.day_page(day(snapshot(), BAD)), tmp_path) == path
    assert before == {
        file: (file.read_bytes(), file.stat().st_mtime_ns, file.stat().st_ino) for file in tmp_path.iterdir()
    }


def test_the_bytes_do_not_hang_on_the_process(tmp_path: Path):
    """Sets and hashes differ from process to process; pages do not."""
    script = (
        "import sys; from pathlib import Path; from models.pages.day import day; from models.pages.month import month;"
        "from reports import pages; from tests.unit.snapshots import BAD, snapshot; to = Path(sys.argv[1]);"
        "pages.write(pages.day_page(day(snapshot(), BAD)), to); pages.write(pages.month_page(month(snapshot(), '2026-04')), to)"
    )
    for seed in ("1", "2"):
        world = {**os.environ, "PYTHONHASHSEED": seed}
        subprocess.run([sys.executable, "-c", script, str(tmp_path / seed)], check=True, env=world, cwd=ROOT)
    for name in ("day-2026-05-05.html", "month-2026-04.html", "index.html"):
        assert (tmp_path / "1" / name).read_bytes() == (tmp_path / "2" / name).read_bytes()


def test_a_page_is_whole_or_not_there(tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    path = tmp_path / "page.html"
    pages.put(path, "before")

    def full(*_):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("reports.pages.os.replace", full)
    with pytest.raises(OSError, match="No space left"):
        pages.put(path, "after")
    assert path.read_text() == "before" and [file.name for file in tmp_path.iterdir()] == ["page.html"]


def test_a_single_file_carries_all_it_needs(tmp_path: Path):
    path = pages.write(pages.day_page(told(), single_file=True), tmp_path)
    text = path.read_text(encoding="utf-8")
    assert path.name == "day-2026-05-05-single.html" and [file.name for file in tmp_path.iterdir()] == [path.name]
    assert "plotly.min.js" not in text.replace("plotly.min.js is not beside this page", "")
    assert 'src="' not in text.split("<script>")[0] and "index.html" not in text
    assert "Plotly" in text and len(text) > 4_000_000


def luminance(colour: str) -> float:
    parts = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    linear = [p / 12.92 if p <= 0.04045 else ((p + 0.055) / 1.055) ** 2.4 for p in parts]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


@pytest.mark.parametrize("name", ["ink", "quiet", "crust", "red", "blue", "green"])
@pytest.mark.parametrize("ground", ["paper", "card"])
def test_text_has_contrast_enough(name: str, ground: str):
    """WCAG 2.1, 1.4.3: 4.5 to 1 for text."""
    style = (pages.TEMPLATES / "style.css").read_text(encoding="utf-8")
    colours = dict(re.findall(r"--(\w+): (#[0-9a-f]{6})", style))
    light, dark = sorted((luminance(colours[name]), luminance(colours[ground])), reverse=True)
    assert (light + 0.05) / (dark + 0.05) >= 4.5
