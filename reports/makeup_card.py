"""The card beside the kettle for the day the screen is dead: Wa against kilograms of water."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from jinja2 import Environment, PackageLoader, StrictUndefined

from models.plant import Plant, Product
from models.trade import cautions, kettle
from reports.makeup_text import Asked

STEPS_KG = (0.02, 0.05, 0.1, 0.2, 0.25, 0.5, 1.0, 2.0, 5.0, 10.0)
MOST_ROWS = 26
SHOWN_LIMITS = ("usual_loss_pct", "cook_temp_c", "loss_pct", "hydration_points")
Mark = Literal["water", "beyond"]
SHAPES: dict[Mark, str] = {"water": "▲", "beyond": "◆"}


@dataclass(frozen=True)
class Row:
    """One line of the card: the scale's reading (tare in it), the water, and what it means."""

    reads_kg: float
    water_kg: float
    points: float
    mark: Mark
    shape: str


@dataclass(frozen=True)
class Card:
    """A whole card: rows from the heaviest Wa down that wants water, and the readings beyond which they do not hold."""

    rows: tuple[Row, ...]
    again_above_kg: float
    nothing_from_kg: float
    scrap_below_kg: float
    decimals: int


def card(plant: Plant, product: Product, asked: Asked, before_kg: float, place: kettle.Place) -> str:
    """The card as one offline HTML page, for a kettle charged to `before_kg` net.

    place: where the water goes; at the mixer the kilograms are those of all doughs together.
    """
    environment = Environment(
        loader=PackageLoader("reports", "templates"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    made = lines(plant, product, before_kg, place, asked.tare_kg)
    half = (len(made.rows) + 1) // 2
    return environment.get_template("makeup_card.html.j2").render(
        asked=asked,
        card=made,
        halves=(made.rows[:half], made.rows[half:]),
        place=place,
        before_kg=before_kg + asked.tare_kg,
        recipe=plant.pastes[asked.recipe],
        limits=plant.limits,
        cautions=cautions.at_the_kettle(plant),
        defaults=[key for key in _shown(asked.recipe) if key in plant.defaults],
    )


def _shown(recipe: str) -> list[str]:
    return [f"pastes.{recipe}.{key}" for key in SHOWN_LIMITS]


def lines(plant: Plant, product: Product, before_kg: float, place: kettle.Place, tare_kg: float = 0.0) -> Card:
    """The card's figures, every line worked out as the screen would."""
    recipe = plant.pastes[product.paste or ""]
    heaviest = before_kg * (1 - recipe.loss_pct.act[0] / 100)
    lightest = before_kg * (1 - 2 * recipe.loss_pct.act[1] / 100)
    usual = before_kg * (1 - recipe.usual_loss_pct / 100)
    step = next((s for s in STEPS_KG if (usual - lightest) / s <= MOST_ROWS), STEPS_KG[-1])
    first, last = int((heaviest + tare_kg) / step), int((lightest + tare_kg) / step)
    rows = []
    for number in range(first, last, -1):
        advice = kettle.advise(plant, product, kettle.Weighing(before_kg, number * step - tare_kg), place)
        if advice.do == "put water back":
            rows.append(_row(number * step, advice, recipe.hydration_points.act))
    nothing_from = rows[0].reads_kg + step if rows else lightest + tare_kg
    decimals = 2 if step < 0.1 or step == 0.25 else 1
    return Card(tuple(rows), heaviest + tare_kg, nothing_from, lightest + tare_kg, decimals)


def _row(reads_kg: float, advice: kettle.Advice, act_points: float) -> Row:
    mark: Mark = "beyond" if advice.pressing > act_points else "water"
    return Row(reads_kg, advice.water_kg, advice.points, mark, SHAPES[mark])
