"""`loaftrace makeup`: how much water to put back into a paste, minutes before it is used."""

from __future__ import annotations

import argparse
import json
import sys
from dataclasses import asdict
from pathlib import Path
from typing import Any

from models.plant import Plant, PlantFileError, Product, load
from models.trade import cautions, kettle
from reports import makeup_text

HELP = "at the kettle: how much water to put back"
PLACES = ("kettle", "mixer")


class Refused(ValueError):
    """The command cannot be answered; `str()` is one line: what, what it may be."""


def add_parser(subparsers: Any) -> argparse.ArgumentParser:
    """Add the command `makeup` and its options; `run` carries it out."""
    parser = subparsers.add_parser("makeup", help=HELP, description=HELP.capitalize() + ".")
    option = parser.add_argument
    option("--plant", metavar="FILE", help="the plant file")
    option("--product", metavar="P", help="the product the paste is for, as in the plant file")
    option("--before", metavar="KG", help="Wb: everything in the kettle before cooking")
    option("--after", metavar="KG", help="Wa: the paste after cooking, before any water is put back")
    option("--residue", metavar="KG", help="paste left on kettle and tools, if weighed")
    option("--temp", metavar="C", help="temperature of the paste, stirred, in °C")
    option("--tare", metavar="KG", help="taken off both weights")
    option("--kettle", metavar="K", help="the kettle, as in the plant file")
    option("--doughs", metavar="N", help="how many doughs the kettle goes into")
    option("--at", metavar="PLACE", default="kettle", help="where the water is put back: kettle or mixer")
    option("--card", metavar="FILE.html", help="write a card to print: Wa against kg of water")
    option("--json", action="store_true", help="print one JSON object and nothing else")
    parser.set_defaults(run=run)
    return parser


def run(args: argparse.Namespace) -> int:
    """Answer one question at the kettle. Returns the exit status: 0 answered, 2 the command is wrong."""
    try:
        plant = load(Path(_given(args.plant, "--plant", "the plant file, like plant.toml")))
        product = _product(plant, args.product)
        _known_kettle(plant, product, args.kettle)
        if args.at not in PLACES:
            raise Refused(f"--at {args.at}: it may be {' or '.join(PLACES)}")
        print(_card(plant, product, args) if args.card else _answer(plant, product, args))
    except (Refused, PlantFileError) as error:
        print(f"loaftrace makeup: {error}", file=sys.stderr)
        return 2
    return 0


# --- the answer ---------------------------------------------------------------------------------


def _answer(plant: Plant, product: Product, args: argparse.Namespace) -> str:
    tare = _optional(args.tare, "--tare") or 0.0
    weighing = kettle.Weighing(
        _net(args.before, "--before", tare),
        _net(args.after, "--after", tare),
        _optional(args.residue, "--residue"),
        _optional(args.temp, "--temp", low=-50.0),
        _capacity(plant, args.kettle),
    )
    advice = kettle.advise(plant, product, weighing, args.at, _doughs(args.doughs))
    asked = _asked(plant, product, args, tare)
    said = cautions.at_the_kettle(plant)
    if args.json:
        return json.dumps(_object(asked, advice, weighing, said), ensure_ascii=False)
    return makeup_text.page(asked, advice, said)


def _asked(plant: Plant, product: Product, args: argparse.Namespace, tare: float) -> makeup_text.Asked:
    recipe = plant.pastes[product.paste or ""]
    points = recipe.hydration_points
    return makeup_text.Asked(
        plant.plant, args.product, product.paste or "", args.kettle, recipe.dosing, tare, points.warn, points.act
    )


def _object(
    asked: makeup_text.Asked, advice: kettle.Advice, weighing: kettle.Weighing, said: tuple[str, ...]
) -> dict[str, Any]:
    """The answer as JSON: the words of the page, and its figures unrounded."""
    words = {"headline": makeup_text.headline(advice), "how": makeup_text.how(asked, advice), "cautions": said}
    return {**asdict(asked), **asdict(weighing), **asdict(advice), **words}


def _card(plant: Plant, product: Product, args: argparse.Namespace) -> str:
    from reports import makeup_card

    tare = _optional(args.tare, "--tare") or 0.0
    before = _net(args.before, "--before", tare)
    asked = _asked(plant, product, args, tare)
    path = Path(args.card)
    try:
        path.write_text(makeup_card.card(plant, product, asked, before, args.at), encoding="utf-8", newline="\n")
    except OSError as error:
        raise Refused(f"--card {path}: cannot be written ({error.strerror})") from None
    return json.dumps({"card": str(path)}) if args.json else f"Card to print: {path}"


# --- what was asked -----------------------------------------------------------------------------


def _given(value: str | None, option: str, what: str) -> str:
    if not value:
        raise Refused(f"{option} is missing: {what}")
    return value


def _product(plant: Plant, name: str | None) -> Product:
    cooked = sorted(n for n, p in plant.products.items() if p.paste and p.paste_flour_pct > 0)
    choice = f"it may be {', '.join(cooked) or 'none: no product of the plant file has a paste'}"
    name = _given(name, "--product", choice)
    if name not in cooked:
        what = "has no paste in the plant file" if name in plant.products else "is not in the plant file"
        raise Refused(f"--product {name}: {what}; {choice}")
    return plant.products[name]


def _known_kettle(plant: Plant, product: Product, name: str | None) -> None:
    if name is None:
        return
    making = sorted(k for k, one in plant.kettles.items() if product.paste in one.pastes)
    if name not in making:
        what = f"does not make {product.paste}" if name in plant.kettles else "is not in the plant file"
        raise Refused(f"--kettle {name}: {what}; it may be {', '.join(making) or 'none'}")


def _capacity(plant: Plant, name: str | None) -> float | None:
    return plant.kettles[name].capacity_kg if name else None


def _net(value: str | None, option: str, tare: float) -> float:
    weight = _number(_given(value, option, "a weight in kg"), option, 0.0)
    if weight <= tare:
        raise Refused(f"{option} {weight:g}: nothing is left once the tare of {tare:g} kg is off; is it net already?")
    return weight - tare


def _optional(value: str | None, option: str, low: float = 0.0) -> float | None:
    return None if value is None else _number(value, option, low)


def _number(text: str, option: str, low: float) -> float:
    """A number as people type it: point or comma."""
    try:
        number = float(text.replace(",", "."))
    except ValueError:
        raise Refused(f"{option} {text}: not a number; it may be like 36.0 or 36,0") from None
    if not low <= number < 1e6:
        raise Refused(f"{option} {text}: it may be {low:g} or more")
    return number


def _doughs(text: str | None) -> int | None:
    if text is None:
        return None
    if not text.isdecimal() or not 1 <= int(text) <= 1000:
        raise Refused(f"--doughs {text}: it may be a whole number from 1 to 1000")
    return int(text)
