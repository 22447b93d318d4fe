"""The bones of a page: its headings, sections, tables and drawings, without a single figure.

`python -m tests.unit.skeleton` writes the golden file again; the difference is to be explained.
"""

from __future__ import annotations

from html.parser import HTMLParser
from pathlib import Path

GOLDEN = Path(__file__).parent / "golden" / "day.txt"
_HEADS = ("h1", "h2", "h3", "h4", "summary", "caption", "th")
_DEEPER = ("section", "details", "figure", "table", "footer", "header")


class _Bones(HTMLParser):
    def __init__(self) -> None:
        super().__init__()
        self.lines: list[str] = []
        self.depth = 0
        self.heading: str | None = None
        self.words = ""

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        named = dict(attrs)
        if tag in _DEEPER:
            self.lines.append("  " * self.depth + f"<{tag}" + (f" #{named['id']}" if named.get("id") else "") + ">")
            self.depth += 1
        elif tag == "div" and "drawing" in (named.get("class") or ""):
            self.lines.append("  " * self.depth + f"drawing #{named['id']}")
        if tag in _HEADS:
            self.heading, self.words = tag, ""

    def handle_endtag(self, tag: str) -> None:
        if tag == self.heading:
            self.lines.append("  " * self.depth + f"{tag}: {' '.join(self.words.split())}")
            self.heading = None
        if tag in _DEEPER:
            self.depth -= 1

    def handle_data(self, data: str) -> None:
        if self.heading:
            self.words += data


def skeleton(html: str) -> str:
    """The page's outline, one line an element, indented by depth."""
    bones = _Bones()
    bones.feed(html)
    return "\n".join(bones.lines) + "\n"


def of_the_bad_day() -> str:
    """The outline of the invented bakery's bad day."""
    from models.pages.day import day
    from reports.pages import render
    from tests.unit.snapshots import BAD, snapshot

    return skeleton(render("day.html", day(snapshot(), BAD))[0])


if __name__ == "__main__":
    GOLDEN.parent.mkdir(exist_ok=True)
    GOLDEN.write_text(of_the_bad_day(), encoding="utf-8")
