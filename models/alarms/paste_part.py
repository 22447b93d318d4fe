"""How much of a fall in specific volume the paste can explain at all, said beside the paste's own part."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from models.shapes import Alert
from models.texts import in_number, texts
from models.trade.paste import Explained, explainable_fall

if TYPE_CHECKING:
    import pandas as pd

    from models.plant import Plant


def with_bound(alert: Alert, plant: Plant, batches: pd.DataFrame) -> Alert:
    """The alert with that sentence among the paste's evidence; unchanged where it is no traced fall."""
    product = plant.products.get(alert.product or "")
    if not alert.causes or alert.direction != "low" or not alert.level or product is None:
        return alert
    text = sentence(alert, alert.level, product.paste_flour_pct, batches)
    causes = tuple(replace(c, evidence=(*c.evidence, text)) if c.group == "paste" else c for c in alert.causes)
    return replace(alert, causes=causes)


def sentence(alert: Alert, level: float, paste_flour_pct: float, batches: pd.DataFrame) -> str:
    """The bound against the fall, both in % of the level (in the alert's unit)."""
    fall, said = -100 * alert.change / level, texts("raised")["paste_part"]
    gaps = batches.loc[batches["batch_key"].isin(alert.batches), "usual_gap_points"].dropna()
    if gaps.empty:
        return said["not_known"].format(fall=fall)
    can = explainable_fall(-float(gaps.mean()), paste_flour_pct)
    return in_number(said["says"], len(gaps)).format(
        flour=paste_flour_pct,
        points=gaps.mean(),
        n=len(gaps),
        likely=max(can.likely_pct, 0.0),
        most=can.most_pct,
        fall=fall,
        verdict=said[_verdict(fall, can)],
    )


def _verdict(fall: float, can: Explained) -> str:
    """The key of its words."""
    if fall > 1.5 * can.most_pct:
        return "far_more"
    return "more" if fall > 2 * max(can.likely_pct, 0.5) else "of_the_size"
