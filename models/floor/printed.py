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
