"""The printed pages by date, from their file names alone."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date

from models.pages import words

DAY = re.compile(r"day-(\d{4}-\d{2}-\d{2})\.html")
MONTH = re.compile(r"month-(\d{4})-(\d{2})\.html")
ALERT = re.compile(r"alert-[A-Za-z0-9-]+\.html")


@dataclass(frozen=True)
class Page:
    """One printed page. file: its name below the reports' address."""

    title: str
    file: str

    @property
    def which(self) -> str:
        """The day or the month it is of, as its file's name has it."""
        return self.file.partition("-")[2].removesuffix(".html")


@dataclass(frozen=True)
class Month:
    """One calendar month, its page where it is printed, and its days, the newest first."""

    title: str
    page: Page | None
    days: tuple[Page, ...]


@dataclass(frozen=True)
class ReportsScreen:
    """Printed pages, the newest month first. alerts: how many alerts have a page; index: whether the list of all is printed."""

    months: tuple[Month, ...]
    alerts: int
    index: bool


def printed(names: Iterable[str]) -> ReportsScreen:
    """The list of these files; names that are no page of a day, a month or an alert are passed over."""
    names = sorted(set(names))
    days = [(day, name) for name in names if (found := DAY.fullmatch(name)) and (day := _date(found.group(1)))]
    months = {
        (day.year, day.month): name
        for name in names
        if (found := MONTH.fullmatch(name)) and (day := _date(f"{found.group(1)}-{found.group(2)}-01"))
    }
    known = sorted({*months, *((day.year, day.month) for day, _ in days)}, reverse=True)
    return ReportsScreen(
        months=tuple(_month(year, month, months.get((year, month)), days) for year, month in known),
        alerts=sum(bool(ALERT.fullmatch(name)) for name in names),
        index="index.html" in names,
    )


def _date(text: str) -> date | None:
    try:
        return date.fromisoformat(text)
    except ValueError:
        return None


def _month(year: int, month: int, name: str | None, days: list[tuple[date, str]]) -> Month:
    title = f"{words.month_name(month)} {year}"
    mine = sorted((pair for pair in days if (pair[0].year, pair[0].month) == (year, month)), reverse=True)
    pages = tuple(Page(words.day_name(day), file) for day, file in mine)
    return Month(title, Page(title, name) if name else None, pages)


@dataclass(frozen=True)
class MonthScreen:
    """One printed month and its neighbours. which: like 2026-05, "" where none is printed; file: of its page; before, after:
    the printed months beside it, "" where there is none; all: which and title of each, the newest first."""

    which: str
    title: str
    file: str
    before: str
    after: str
    all: tuple[tuple[str, str], ...]


def monthly(names: Iterable[str], asked: str = "") -> MonthScreen | None:
    """The month asked for, like 2026-05; the newest where none is asked for. None for a month that is not printed."""
    found = sorted(
        f"{match.group(1)}-{match.group(2)}"
        for name in set(names)
        if (match := MONTH.fullmatch(name)) and _date(f"{match.group(1)}-{match.group(2)}-01")
    )
    if asked and asked not in found:
        return None
    if not found:
        return MonthScreen("", "", "", "", "", ())
    which = asked or found[-1]
    at = found.index(which)
    titles = {one: f"{words.month_name(int(one[5:]))} {one[:4]}" for one in found}
    return MonthScreen(
        which,
        titles[which],
        f"month-{which}.html",
        found[at - 1] if at else "",
        found[at + 1] if at + 1 < len(found) else "",
        tuple((one, titles[one]) for one in reversed(found)),
    )
