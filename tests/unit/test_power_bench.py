"""The table of power itself: the bakeries' variation is what it says it is, and knowing more never finds less."""

from __future__ import annotations

from dataclasses import fields, replace

import numpy as np
import pytest

from models.charts.beside import beside
from models.charts.chart import chart
from models.charts.parted import KIND, lent, of_pages
from models.shapes import Points
from tests.bench import power
from tests.bench.bakeries import LOAVES


def test_the_batch_sd_is_the_bakeries_own():
    """Of the true effects within a line's day, before the fault."""
    squares, freedom = 0.0, 0
    for number in range(4):
        bakery = power.case(number).bakery
        doughs = bakery.doughs.assign(effect=bakery.effects.sum(axis=1), day=(bakery.doughs["hour"] // 24).astype(int))
        usual = doughs[doughs["hour"] < bakery.fault.hour // 24 * 24]
        days = usual.groupby(["line", "day"])["effect"]
        squares += float((days.var() * (days.count() - 1)).sum())
        freedom += int((days.count() - 1).sum())
    found = (squares / freedom) ** 0.5
    assert found == pytest.approx(power.BATCH, rel=0.04)


def test_points_are_the_measured_batches_of_the_line():
    case = power.case(2)
    doughs, line = case.bakery.doughs, case.bakery.fault.line
    mine = doughs[(doughs["line"] == line) & doughs["measured"]]
    assert len(case.own) == len(mine) and (np.diff(case.own.at.astype(int)) >= 0).all()
    assert (case.own.n == LOAVES).all() and case.first == int((mine["hour"] < case.bakery.fault.hour).sum())


def test_what_is_not_known_costs_evidence():
    """The scan with the level taken away, then with wider limits, is nowhere nearer to a signal."""
    case = power.case(0)
    sure, unsure = power.known(case, 0.0, power.NONE), power.known(case, power.LEVEL_SE, power.NONE)
    assert (sure >= unsure - 1e-9).all()
    assert (unsure > power.known(case, power.LEVEL_SE, power.FROZEN)).all()


def test_other_lines_alone_make_no_step_of_the_line():
    """A fall of all lines at once, as of a lot, is hardly a step of one; the same fall of one line is."""
    case, began = power.case(5), power.case(5).own.at[power.case(5).first]

    def fallen(lines: list[str]) -> float:
        points = {
            line: replace(p, value=np.where((p.at >= began) & (line in lines), 0.94, 1.0) * p.value)
            for line, p in case.points.items()
        }
        return float(power.beside(replace(case, points=points))[case.first :].max())

    assert fallen([case.bakery.fault.line]) > max(fallen([]), fallen(list(case.points))) + 1.0


def test_later_batches_do_not_take_back_what_was_told_of_another_line() -> None:
    """Bakery 9: one line falls on 25 March; where another's rise seems to have begun moves from the 22nd to the 26th."""
    whole = {power._stream("specific volume", line): points for line, points in power.case(9).points.items()}
    told = set()
    for hours in range(0, 36, 3):
        until = np.datetime64("2026-03-27T11:00", "us") + np.timedelta64(hours, "h")
        found = {s: Points(*(getattr(p, f.name)[p.at <= until] for f in fields(Points))) for s, p in whole.items()}
        charted = [chart(s, p, arl0=power._run_length(s.line or "", s.characteristic)) for s, p in (found | beside(found)).items()]
        told |= {(one.stream.line, e.direction) for one in of_pages(lent(charted)) for e in one.episodes if e.kind == KIND}
    assert told == {("L2", "low")}
