"""What a plant file may say one by one and yet cannot mean: °F typed for °C, a label heavier than its dough piece.

`faults` gives one line a fault: the key's path, what stands there, what it may be, what to do. Bounds are wide on purpose: they
catch another unit, a fraction for a percentage or two keys that contradict each other, never an unusual plant.
Common practice, no source.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from models.plant import Plant

SECTIONS = ("shifts", "pastes", "kettles", "lines", "products")


@dataclass(frozen=True)
class Slip:
    """A value of one key that was written in another unit. `lies`: whether a number is one such; `meant`: as it should read."""

    section: str
    key: str
    lies: Callable[[float], bool]
    meant: Callable[[float], float]
    unit: str
    says: str


def _celsius(value: float) -> float:
    return (value - 32) / 1.8


def _percent(value: float) -> float:
    return 100 * value


def _grams(value: float) -> float:
    return 1000 * value


def _fraction(section: str, key: str, below: float, unit: str = "%") -> Slip:
    return Slip(section, key, lambda v: 0 < v < below, _percent, unit, "a fraction where a percentage belongs")


# a window is judged by both its warning limits, a pair by both its ends: one wide end is a limit that somebody left open
SLIPS: tuple[Slip, ...] = (
    Slip("pastes", "cook_temp_c", lambda v: v > 110, _celsius, "°C", "°F where °C belongs"),
    Slip("products", "dough_temp_c", lambda v: v > 45, _celsius, "°C", "°F where °C belongs"),
    _fraction("pastes", "loss_pct", 0.1, "% of Wb"),
    _fraction("pastes", "usual_loss_pct", 0.1, "% of Wb"),
    _fraction("pastes", "hydration_points", 0.05, "points"),
    _fraction("pastes", "liquid_water_pct", 1.0 + 1e-9),
    _fraction("products", "liquid_water_pct", 1.0 + 1e-9),
    _fraction("products", "hydration_pct", 5.0),
    _fraction("products", "paste_flour_pct", 1.0),
    _fraction("products", "yeast_pct", 0.05),
    Slip("products", "scaled_g", lambda v: v < 3, _grams, "g", "kilograms where grams belong"),
    Slip("products", "label_g", lambda v: v < 3, _grams, "g", "kilograms where grams belong"),
    Slip("products", "specific_volume", lambda v: v > 20, lambda v: v / 100, "mL/g", "mL to 100 g where mL/g belongs"),
    Slip("pastes", "age_h", lambda v: v >= 480, lambda v: v / 60, "h", "minutes where hours belong"),
    Slip("kettles", "capacity_kg", lambda v: v > 20000, lambda v: v / 1000, "kg", "grams where kilograms belong"),
)


def faults(plant: Plant) -> list[str]:
    """Everything in a plant file that cannot be meant, in the file's order of sections; empty where it makes sense."""
    checks = (_names, _codes, _twice, _units, _approvals, _cooling, _pastes, _products, _lines, _headings)
    return [fault for check in checks for fault in check(plant)]


def _names(plant: Plant) -> Iterator[str]:
    for path, value in (("plant", plant.plant), ("currency", plant.currency), *_places(plant)):
        if value is not None and not _is_text(value):
            yield f"{path}: {value!r} is blank or holds a control character; write a name that can be read on a page"


def _places(plant: Plant) -> Iterator[tuple[str, str | None]]:
    for name, line in plant.lines.items():
        yield from ((f"lines.{name}.{key}", getattr(line, key)) for key in ("mixer", "proofer", "oven"))
    for section, made in (("pastes", plant.pastes), ("products", plant.products)):
        for name, one in made.items():
            yield from ((f"{section}.{name}.allergens", allergen) for allergen in sorted(one.allergens))


def _is_text(value: str) -> bool:
    return bool(value.strip()) and value.isprintable()


def _codes(plant: Plant) -> Iterator[str]:
    """A code is a cell of a log and a part of a batch's name: blanks around it are lost there, a slash parts it."""
    for section in SECTIONS:
        for code in getattr(plant, section):
            if not _is_text(code) or code != code.strip() or "/" in code or "\\" in code:
                yield (
                    f"{section}: {code!r} cannot be a code; it may be any text without / or \\, control characters or "
                    "blanks around it: write it as the floor writes it in the logs"
                )


def _twice(plant: Plant) -> Iterator[str]:
    for name, kettle in plant.kettles.items():
        yield from _repeated(f"kettles.{name}.pastes", kettle.pastes)
    for name, line in plant.lines.items():
        yield from _repeated(f"lines.{name}.products", line.products)


def _repeated(path: str, codes: tuple[str, ...]) -> Iterator[str]:
    for code in sorted({code for code in codes if codes.count(code) > 1}):
        yield f"{path}: {code!r} stands there twice; each may stand once: take one out"


def _units(plant: Plant) -> Iterator[str]:
    for slip in SLIPS:
        for name, one in getattr(plant, slip.section).items():
            value = getattr(one, slip.key)
            numbers = _numbers(value)
            if slip.key in one.model_fields_set and numbers and all(slip.lies(number) for number in numbers):
                yield (
                    f"{slip.section}.{name}.{slip.key}: {_shown(numbers)} looks like {slip.says}; it may be "
                    f"{_shown([slip.meant(number) for number in numbers])} {slip.unit}: write it in {slip.unit}"
                )


def _numbers(value: Any) -> list[float]:
    """What of a key's value is judged: a number, both ends of a pair, a window's warning limits."""
    if value is None:
        return []
    warn = getattr(value, "warn", value)
    return list(warn) if isinstance(warn, tuple) else [warn]


def _shown(numbers: list[float]) -> str:
    return " to ".join(f"{number:.4g}" for number in numbers)


def _approvals(plant: Plant) -> Iterator[str]:
    named = {"limits.approved_by": plant.limits.approved_by}
    if plant.cooling is not None:
        named["cooling.approved_by"] = plant.cooling.approved_by
    for path, who in named.items():
        if who is not None and not _is_text(who):
            yield f"{path}: {who!r} names nobody; it may be initials, a name or a role: write who approved these limits"
    on = plant.limits.approved_on
    if on is not None and not _is_day(on):
        yield f"limits.approved_on: {on!r} is not a date of this century; it may be a date like 2026-09-28"


def _is_day(text: str) -> bool:
    try:
        return bool(re.fullmatch(r"20\d\d-\d\d-\d\d", text)) and bool(date.fromisoformat(text))
    except ValueError:
        return False


def _cooling(plant: Plant) -> Iterator[str]:
    cooling = plant.cooling
    if cooling is not None and cooling.to_5_c_within_h < cooling.to_21_c_within_h:
        yield (
            f"cooling.to_5_c_within_h: {cooling.to_5_c_within_h:g} h is before to_21_c_within_h, "
            f"{cooling.to_21_c_within_h:g} h; both count from the end of cooking, so it may be that or longer: "
            "look at the food-safety plan"
        )


def _pastes(plant: Plant) -> Iterator[str]:
    for name, paste in plant.pastes.items():
        low, high = paste.loss_pct.act
        if {"loss_pct", "usual_loss_pct"} <= paste.model_fields_set and not low <= paste.usual_loss_pct <= high:
            yield (
                f"pastes.{name}.usual_loss_pct: {paste.usual_loss_pct:g} % of Wb is outside the action limits of loss_pct; it "
                f"may be {low:g} to {high:g}: a usual cook would be refused, so mend one of the two"
            )


def _products(plant: Plant) -> Iterator[str]:
    for name, product in plant.products.items():
        if product.label_g is not None and product.label_g > product.scaled_g:
            yield (
                f"products.{name}.label_g: {product.label_g:g} g is above scaled_g, {product.scaled_g:g} g; a loaf weighs less "
                "than its dough piece, so it may be less than that: are the two changed over?"
            )
        if product.paste is None and product.paste_flour_pct > 0:
            yield (
                f"products.{name}.paste_flour_pct: {product.paste_flour_pct:g} % of the flour goes into a paste, but no paste is "
                f"named; paste may be {_list(plant.pastes)}: name it, or leave paste_flour_pct out"
            )
        if product.paste is not None and product.paste_flour_pct == 0 and "paste_flour_pct" in product.model_fields_set:
            yield (
                f"products.{name}.paste_flour_pct: 0 % of the flour, but the product takes paste {product.paste}; it may be above "
                "0 and below 100: write the share of all flour that is cooked into paste, or leave paste out"
            )


def _lines(plant: Plant) -> Iterator[str]:
    """A line may take one product's paste from elsewhere; a kettle that makes none of what it needs is not its kettle."""
    for name, line in plant.lines.items():
        kettle = plant.kettles.get(line.kettle or "")
        needed = {paste for product in line.products if (paste := plant.products[product].paste)}
        if kettle is None or not needed or needed & set(kettle.pastes):
            continue
        makers = [k for k, other in plant.kettles.items() if needed & set(other.pastes)]
        yield (
            f"lines.{name}.kettle: {line.kettle} makes {_list(kettle.pastes)}, but the line's products take {_list(needed)}; "
            f"it may be {_list(makers)}: name another kettle, or list the paste under kettles.{line.kettle}.pastes"
        )


def _headings(plant: Plant) -> Iterator[str]:
    for kind, headings in plant.columns.items():
        for theirs in headings:
            if not _is_text(theirs):
                yield f"columns.{kind}: {theirs!r} is no heading; write the heading as it stands in your {kind} log"


def _list(names: Iterable[str] | Mapping[str, Any]) -> str:
    return ", ".join(sorted(names)) or "none that the file lists"
