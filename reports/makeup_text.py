"""The kettle's answer in plain words, for a terminal read while the paste waits."""

from __future__ import annotations

from dataclasses import dataclass

from models.trade.kettle import Advice

WIDTH = 72


@dataclass(frozen=True)
class Asked:
    """What the answer is about: names as in the plant file, the tare in kg, and the limits on points."""

    plant: str
    product: str
    recipe: str
    kettle: str | None
    dosing: str
    tare_kg: float
    warn_points: float
    act_points: float


def page(asked: Asked, advice: Advice, cautions: tuple[str, ...]) -> str:
    """The answer: the instruction first and large, then how, the figures, what was not checked, cautions."""
    blocks = [
        _banner(headline(advice)),
        [*advice.why, *how(asked, advice), *advice.notes],
        _figures(asked, advice) if advice.do != "stir and measure again" else _weighed(asked, advice),
        [f"Not checked: {missing}." for missing in advice.not_checked],
        list(cautions),
    ]
    return "\n\n".join("\n".join(lines) for lines in blocks if lines)


def headline(advice: Advice) -> str:
    """The instruction in capitals, the kilograms in it."""
    if advice.do != "put water back":
        return advice.do.upper()
    if advice.place == "kettle":
        return f"PUT BACK {advice.water_kg:.2f} kg OF WATER NOW"
    if advice.each_kg is not None:
        return f"ADD {advice.each_kg:.2f} kg OF WATER TO EACH OF {advice.doughs} DOUGHS"
    return f"ADD {advice.water_kg:.2f} kg OF WATER AT THE MIXER"


def _banner(words: str) -> list[str]:
    rule = "=" * WIDTH
    return [rule, f"  {words}", rule]


def how(asked: Asked, advice: Advice) -> list[str]:
    """What to do with the water, step by step; empty where none is put back."""
    if advice.do != "put water back":
        return []
    if advice.place == "kettle":
        return _in_the_kettle(asked, advice)
    return [_at_the_mixer(advice), f"Use {advice.water_temp}. Write it on the dough sheet: makeup_water_kg."]


def _in_the_kettle(asked: Asked, advice: Advice) -> list[str]:
    reads = (advice.reads_kg or 0.0) + asked.tare_kg
    with_tub = f" with the tub ({asked.tare_kg:g} kg)" if asked.tare_kg else ""
    return [
        f"Into the hot paste, before it cools: {advice.water_temp}.",
        f"Stir 2 minutes, then weigh again: the scale shows {reads:.2f} kg{with_tub}.",
        f"Write it on the paste sheet: kettle_water_kg {advice.water_kg:.2f}.",
    ]


def _at_the_mixer(advice: Advice) -> str:
    if advice.each_kg is not None:
        return f"Each dough takes {advice.dose_each_kg:.2f} kg of this paste and {advice.each_kg:.2f} kg of water."
    if advice.less_paste_pct is not None:
        return (
            f"Into each dough: {advice.less_paste_pct:.1f} % less paste than written, "
            "and as many kg of water as there is less paste."
        )
    return "Shared out over the doughs as the paste is: a quarter of the paste, a quarter of the water."


def _figures(asked: Asked, advice: Advice) -> list[str]:
    return [
        *_weighed(asked, advice),
        f"  usual             {_two(advice.usual_kg)} kg  the formula allows for it",
        f"  beyond the usual  {_two(advice.excess_kg)} kg",
        f"  from the dough    {_two(advice.points)} points of hydration "
        f"(warning {asked.warn_points:g}, action {asked.act_points:g})",
    ]


def _weighed(asked: Asked, advice: Advice) -> list[str]:
    kettle = f", kettle {asked.kettle}" if asked.kettle else ""
    return [
        f"{asked.recipe} for {asked.product}, plant {asked.plant}{kettle}",
        f"  water lost        {_two(advice.lost_kg)} kg  {advice.loss_pct:.1f} % of Wb; "
        f"± {advice.plus_minus_kg:.2f} kg on a scale good to 0.1 %",
    ]


def _two(number: float) -> str:
    """Two decimals in a column of seven, and never a minus before zero."""
    return f"{round(number, 2) + 0.0:7.2f}"
