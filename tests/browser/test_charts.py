"""A chart of thousands of batches in a real browser: drawn, the whole story on hover, and no frame that sticks."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest

from models.pages.shown import Curve, Dot
from reports import figures, pages

pytestmark = pytest.mark.browser

SIZE = 3000
STORY = ("n = 4, yeast lot Y1", "paste K1 P02, loss 2.1 % of Wb", "dough 26.0 °C, proof 60 min")
MOVES = """
const done = arguments[0], area = document.querySelector('.nsewdrag'), box = area.getBoundingClientRect();
const took = []; let i = 0;
(function step() {
  if (i++ >= 60) { done(took); return; }
  const began = performance.now(), at = {clientX: box.left + box.width * i / 61, clientY: box.top + box.height / 2};
  area.dispatchEvent(new MouseEvent('mousemove', {...at, bubbles: true}));
  took.push(performance.now() - began);
  requestAnimationFrame(step);
})();
"""


def _curve() -> Curve:
    """Five months of a line, a batch every hour and a quarter, the last day drawn wide."""
    rng = np.random.default_rng(1)
    at = [str(t) for t in np.datetime64("2026-01-01T00:00:00") + np.arange(SIZE) * np.timedelta64(75, "m")]
    values = np.round(4.6 + 0.1 * rng.standard_normal(SIZE), 4).tolist()
    dots = tuple(Dot(at[i], values[i], i >= SIZE - 19, False, f"{i}", f"L1 {i}", STORY) for i in range(SIZE))
    day = (at[-19], "2026-06-06T12:00:00")
    return Curve("many", "Specific volume", "mL/g", dots, level=4.6, lower=4.3, upper=4.9, lasting=(4.5, 4.7), day=day)


def test_three_thousand_batches_are_drawn_and_answer_the_pointer(chromium, tmp_path: Path):
    figure = json.dumps(figures.curve(_curve())).replace("<", "\\u003c")
    page = tmp_path / "many.html"
    head = f"<!doctype html><meta charset=utf-8><link rel=icon href='data:,'><script>{pages.library()}</script>"
    body = '<div id="many" style="width:900px;height:300px"></div>'
    drawn = f"<script>const f = {figure}; Plotly.newPlot('many', f.data, f.layout);</script>"
    page.write_text(head + body + drawn, encoding="utf-8")
    chromium.open(page)
    assert chromium.run("document.querySelectorAll('.scatterlayer .point').length") == SIZE
    chromium.driver.set_script_timeout(60)
    took = chromium.driver.execute_async_script(MOVES)
    assert np.median(took) < 100, "half of the pointer's moves are answered within a tenth of a second"
    said = chromium.run("document.querySelector('.hoverlayer').textContent")
    assert "L1" in said and all(line in said for line in STORY)
