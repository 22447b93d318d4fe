"""The pages: plain data in, offline HTML out. The same data give the same bytes; an unchanged page is not rewritten."""

from __future__ import annotations

import json
import os
import re
import tempfile
from dataclasses import dataclass
from functools import cache
from html import escape, unescape
from pathlib import Path
from typing import TYPE_CHECKING, Any

from jinja2 import Environment, FileSystemLoader, StrictUndefined
from markupsafe import Markup

from models.pages import words
from models.pages.day import Day
from models.pages.month import Month
from models.pages.notice import notice
from models.pages.shown import LEVEL_WORDS, STATE_WORDS
from models.texts import texts
from reports import figures, intervals, look

if TYPE_CHECKING:
    from models.snapshot import Snapshot

TEMPLATES = Path(__file__).parent / "templates"
LIBRARY = "plotly.min.js"
SINGLE = "-single"


class _Drawn:
    """The drawings of one page as JSON that is safe inside a script element; remembers if there were any."""

    def __init__(self) -> None:
        self.any = False

    def curve(self, *shown: Any) -> Markup:
        """A stream."""
        return self._json(figures.curve(*shown))

    def bars(self, shown: Any) -> Markup:
        """A change and what it is made of."""
        return self._json(figures.bars(shown))

    def shares(self, shown: Any) -> Markup:
        """Loaves outside the window."""
        return self._json(intervals.shares(shown))

    def differences(self, shown: Any) -> Markup:
        """Lines side by side."""
        return self._json(intervals.differences(shown))

    def tallies(self, shown: Any) -> Markup:
        """A count of each day with the limits made for it."""
        return self._json(intervals.tallies(shown))

    def grid(self, shown: Any) -> Markup:
        """What was recorded, day by day."""
        return self._json(intervals.grid(shown))

    def _json(self, figure: dict[str, Any]) -> Markup:
        self.any = True
        plain = {**figure, "config": look.CONFIG}
        return Markup(_safe(json.dumps(plain, sort_keys=True, separators=(",", ":"), ensure_ascii=False)))


def _safe(text: str) -> str:
    """JSON that cannot end its script element, whatever a log wrote."""
    return text.replace("<", "\\u003c").replace(">", "\\u003e").replace("&", "\\u0026")


@cache
def _environment() -> Environment:
    environment = Environment(
        loader=FileSystemLoader(TEMPLATES),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        finalize=_kept_together,
    )
    environment.globals.update(
        number=words.number,
        interval=words.interval,
        limits=words.limits,
        sentence=words.sentence,
        slug=words.slug,
        texts=texts,
        zip=zip,
        state_words=STATE_WORDS,
        level_words=LEVEL_WORDS,
        style=Markup((TEMPLATES / "style.css").read_text(encoding="utf-8")),
        script=Markup((TEMPLATES / "page.js").read_text(encoding="utf-8")),
    )
    environment.filters["plain"] = _plain
    return environment


def _kept_together(value: Any) -> Any:
    """A number and its sign of unit on one line, also where a sentence was written with a plain space."""
    if type(value) is not str or not (" %" in value or " °C" in value):
        return value
    return _BEFORE_UNIT.sub("\u00a0", value)


_BEFORE_UNIT = re.compile(r"(?<=\d) (?=%|°C)")


def make_ready() -> None:
    """Have the templates at hand, so that the first page costs what every other does."""
    for name in ("day.html", "alert.html", "month.html"):
        _environment().get_template(name)


def _plain(text: str) -> Markup:
    """Words between two tags, where a quote or an apostrophe may stand as it is. Not for attributes."""
    return Markup(escape(_kept_together(text), quote=False))


def library() -> str:
    """The drawing library's source, as plotly brings it."""
    from plotly.offline import get_plotlyjs

    return get_plotlyjs()


def render(template: str, page: Any, *, single_file: bool = False) -> tuple[str, bool]:
    """A page as text, and whether it holds drawings. A single file carries the library and links to no other page."""
    drawn = _Drawn()
    source = Markup(library().replace("</script", "<\\/script")) if single_file else None
    text = _environment().get_template(template).render(page=page, figures=drawn, pages=not single_file, library=source)
    return text, drawn.any


@dataclass(frozen=True)
class Printed:
    """A page before it lies in its folder. name: of its file; drawn: whether it needs the drawing library beside it."""

    name: str
    content: bytes
    drawn: bool


def day_page(day: Day, *, single_file: bool = False) -> Printed:
    """The day's page. A single file is named …-single.html."""
    return _printed("day.html", day, f"day-{day.date.isoformat()}", single_file)


def alert_page(snapshot: Snapshot, alert: str, *, single_file: bool = False) -> Printed:
    """The page of the alert of that name. Raises KeyError where the snapshot has no such alert."""
    for found in snapshot.alerts:
        if found.alert == alert:
            return _printed("alert.html", notice(snapshot, found), f"alert-{alert}", single_file)
    raise KeyError(f"there is no alert {alert}")


def month_page(month: Month, *, single_file: bool = False) -> Printed:
    """The month's page."""
    return _printed("month.html", month, f"month-{month.first:%Y-%m}", single_file)


def _printed(template: str, page: Any, name: str, single_file: bool) -> Printed:
    text, drawn = render(template, page, single_file=single_file)
    return Printed(f"{name}{SINGLE if single_file else ''}.html", text.encode("utf-8"), drawn and not single_file)


def write(printed: Printed, folder: Path) -> Path:
    """Write a page into `folder`, and the index anew; returns its path. A single file stands in no index."""
    path = keep(printed, folder)
    if not path.stem.endswith(SINGLE):
        write_index(folder)
    return path


def keep(printed: Printed, folder: Path) -> Path:
    """Write a page into `folder`; returns its path. `write_index` is to follow."""
    folder.mkdir(parents=True, exist_ok=True)
    if printed.drawn:
        put(folder / LIBRARY, library())
    path = folder / printed.name
    put(path, printed.content)
    return path


def write_index(folder: Path) -> Path:
    """List the pages that lie in the folder, the newest first."""
    kinds = (("Days", "day-*.html"), ("Alerts", "alert-*.html"), ("Months", "month-*.html"))
    listed = []
    for title, pattern in kinds:
        pages = [_head(path) for path in folder.glob(pattern) if not path.stem.endswith(SINGLE)]
        listed.append((title, [(name, words) for _, name, words in sorted(pages, reverse=True)]))
    text, _ = render("index.html", listed)
    path = folder / "index.html"
    put(path, text)
    return path


def _head(path: Path) -> tuple[str, str, str]:
    """A page's date where it names one, its file's name, and its title, as its own head says them."""
    with path.open(encoding="utf-8") as page:
        head = page.read(2000)
    title = re.search(r"<title>(.*?)</title>", head, re.DOTALL)
    date = re.search(r'<meta name="date" content="(.*?)">', head)
    return date[1] if date else "", path.name, unescape(title[1]) if title else path.stem


def put(path: Path, text: str | bytes) -> bool:
    """Write a file whole or not at all; False where it already says exactly this. text: as bytes, UTF-8."""
    content = text.encode("utf-8") if isinstance(text, str) else text
    if path.is_file() and path.stat().st_size == len(content) and path.read_bytes() == content:
        return False
    handle, temporary = tempfile.mkstemp(dir=path.parent, prefix=f".{path.name}.", suffix=".part")
    try:
        with os.fdopen(handle, "wb") as file:
            file.write(content)
            file.flush()
            os.fsync(file.fileno())
        os.chmod(temporary, 0o644)
        os.replace(temporary, path)
    except BaseException:
        Path(temporary).unlink(missing_ok=True)
        raise
    return True
