"""The plant file: what the plant is and what it promises.

`load` refuses a wrong file in one line: of each fault the key's path, what is wrong, what it may be.
What each key may be alone stands here; what keys say together, and in which unit, is asked by `plantsense`.
A limit left out takes the trade's common value; `Plant.defaults` names each default in force.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterable
from datetime import date, time
from functools import cached_property
from pathlib import Path
from typing import Any, ClassVar, Literal
from zoneinfo import ZoneInfo

from pydantic import BaseModel, ConfigDict, Field, ValidationError, ValidationInfo, field_validator, model_validator

from models import plantsense
from models.logbook import TABLES
from models.plantsays import explain, listed, toml_says

Percent = float


class PlantFileError(ValueError):
    """The plant file cannot be used. `str()` is one line: file, key path, what it may be."""


class _Section(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True, allow_inf_nan=False)

    @field_validator("*", mode="before")
    @classmethod
    def _no_truth_for_a_number(cls, value: Any, info: ValidationInfo) -> Any:
        if isinstance(value, bool) and cls.model_fields[info.field_name or ""].annotation is not bool:
            raise ValueError("true and false are no number and no name; write the value itself")
        return value


def _pair(value: Any) -> Any:
    if isinstance(value, (list, tuple)) and len(value) == 2 and value[0] > value[1]:
        raise ValueError("the lower limit comes first")
    return value


class Window(_Section):
    """Warning and action limits, both sides, inclusive."""

    written: ClassVar[str] = "a window, { warn = [low, high], act = [low, high] }"
    warn: tuple[float, float]
    act: tuple[float, float]

    _ordered = field_validator("warn", "act", mode="after")(_pair)

    @model_validator(mode="after")
    def _nested(self) -> Window:
        if self.act[0] > self.warn[0] or self.act[1] < self.warn[1]:
            raise ValueError("the action limits must lie outside the warning limits or on them")
        return self


class Points(_Section):
    """Warning and action limit of something that may only grow: points of hydration lost."""

    written: ClassVar[str] = "a pair of limits, { warn = low, act = high }"
    warn: float = Field(default=1.0, ge=0)
    act: float = Field(default=2.0, ge=0)

    @model_validator(mode="after")
    def _nested(self) -> Points:
        if self.act < self.warn:
            raise ValueError("act must not be below warn")
        return self


class Age(Points):
    """Warning and action limit of a paste's age at mixing, h."""

    warn: float = Field(default=24.0, ge=0)
    act: float = Field(default=48.0, ge=0)


class Paste(_Section):
    """A paste recipe. `usual_loss_pct` is in % of Wb: what the formula already allows for."""

    liquid_ratio: float = Field(gt=0, le=20, description="kg liquid to 1 kg flour")
    liquid_water_pct: Percent = Field(default=100.0, gt=0, le=100)
    usual_loss_pct: Percent = Field(default=0.0, ge=0, lt=50)
    dosing: Literal["divided", "weighed"] = "divided"
    cook_temp_c: Window = Window(warn=(64, 73), act=(61, 80))
    loss_pct: Window = Window(warn=(0.5, 4.0), act=(-0.5, 6.0))
    hydration_points: Points = Points()
    age_h: Age = Age()
    allergens: frozenset[str] = frozenset()


class Kettle(_Section):
    pastes: tuple[str, ...] = Field(min_length=1)
    capacity_kg: float | None = Field(default=None, gt=0)


class Line(_Section):
    kettle: str | None = None
    products: tuple[str, ...] = Field(min_length=1)
    mixer: str | None = None
    proofer: str | None = None
    oven: str | None = None
    proof_mode: Literal["time", "height"] = "time"
    lidded: bool = False


class Product(_Section):
    """What a product promises. Percentages are of all flour, the paste's included."""

    paste: str | None = None
    hydration_pct: Percent = Field(gt=0, le=200)
    liquid_water_pct: Percent = Field(default=100.0, gt=0, le=100)
    paste_flour_pct: Percent = Field(default=0.0, ge=0, lt=100)
    yeast_pct: Percent = Field(gt=0, le=20)
    dough_temp_c: Window = Window(warn=(25, 27), act=(24, 28))
    scaled_g: float = Field(gt=0, le=5000)
    label_g: float | None = Field(default=None, gt=0, le=5000)
    specific_volume: tuple[float, float] | None = None
    allergens: frozenset[str] = frozenset()

    _ordered = field_validator("specific_volume", mode="after")(_pair)


class Cooling(_Section):
    """The plant's own cooling limits; there is no default."""

    to_21_c_within_h: float = Field(gt=0, le=72)
    to_5_c_within_h: float = Field(gt=0, le=72)
    approved_by: str

    @property
    def limits(self) -> tuple[tuple[float, float], ...]:
        """(°C, within h of the end of cooking), the first step first."""
        return (21.0, self.to_21_c_within_h), (5.0, self.to_5_c_within_h)


class Sampling(_Section):
    loaves_per_batch: int = Field(default=4, ge=1, le=1000)


class Alarms(_Section):
    false_alarms_per_week: float = Field(default=1.0, gt=0, le=100)


class NetWeight(_Section):
    """Which rule the net-weight panel applies."""

    rule: Literal["76/211/EEC", "Handbook 133"] = "76/211/EEC"
    min_cooled_minutes: float = Field(default=60.0, ge=0)


class Limits(_Section):
    """Who approved the limits in this file, and when; shown on every page."""

    approved_by: str | None = None
    approved_on: str | None = None

    @field_validator("approved_on", mode="before")
    @classmethod
    def _date_of_toml(cls, value: Any) -> Any:
        return value.isoformat() if isinstance(value, date) else value


class Names(_Section):
    """How long the store keeps who did what on the board and by command. None: as long as the store."""

    kept_days: int | None = Field(default=None, ge=1, le=36500)


class Sheets(_Section):
    """What is meant where a sheet's dates or numbers can be read two ways; a sheet that tells by itself is read as it tells."""

    dates: Literal["day first", "month first"] | None = None
    decimal: Literal["point", "comma"] | None = None


class Plant(_Section):
    plant: str
    timezone: str
    currency: str | None = None
    dough_cost_per_kg: float | None = Field(default=None, ge=0)
    shifts: dict[str, str] = Field(min_length=1)
    pastes: dict[str, Paste] = {}
    kettles: dict[str, Kettle] = {}
    lines: dict[str, Line] = Field(min_length=1)
    products: dict[str, Product] = Field(min_length=1)
    cooling: Cooling | None = None
    sampling: Sampling = Sampling()
    alarms: Alarms = Alarms()
    net_weight: NetWeight = NetWeight()
    limits: Limits = Limits()
    columns: dict[str, dict[str, str]] = {}
    sheets: Sheets = Sheets()
    names: Names = Names()

    @field_validator("timezone")
    @classmethod
    def _zone(cls, value: str) -> str:
        try:
            ZoneInfo(value)
        except Exception as error:
            raise ValueError("an IANA time zone, like Europe/Lisbon") from error
        return value

    @field_validator("shifts")
    @classmethod
    def _starts(cls, value: dict[str, str]) -> dict[str, str]:
        for code, start in value.items():
            if not re.fullmatch(r"([01]\d|2[0-3]):[0-5]\d", start):
                raise ValueError(f"the start of shift {code} is a local time like 06:00, not {start}")
        if len(set(value.values())) < len(value):
            raise ValueError("two shifts start at the same time")
        return value

    @cached_property
    def zone(self) -> ZoneInfo:
        """The plant's time zone."""
        return ZoneInfo(self.timezone)

    @cached_property
    def shift_starts(self) -> dict[str, time]:
        """Shift code to local start."""
        return {code: time.fromisoformat(start) for code, start in self.shifts.items()}

    @cached_property
    def shift_hours(self) -> dict[str, float]:
        """Shift code to length in hours by the clock; a shift lasts to the next one's start."""
        starts = sorted((t.hour + t.minute / 60, code) for code, t in self.shift_starts.items())
        following = [*starts[1:], (starts[0][0] + 24.0, "")]
        return {code: after - start for (start, code), (after, _) in zip(starts, following, strict=True)}

    def paste_of(self, kettle: str) -> str | None:
        """The one recipe a kettle makes; None where it makes several or is unknown."""
        pastes = self.kettles[kettle].pastes if kettle in self.kettles else ()
        return pastes[0] if len(pastes) == 1 else None

    @cached_property
    def defaults(self) -> tuple[str, ...]:
        """Key paths of the limits that the file leaves to the trade's common value."""
        found = [
            path for name, paste in self.pastes.items() for path in _left_out(f"pastes.{name}", paste, PASTE_DEFAULTS)
        ]
        for name, product in self.products.items():
            found += _left_out(f"products.{name}", product, ("liquid_water_pct", "dough_temp_c"))
        for name, section in (("sampling", self.sampling), ("alarms", self.alarms), ("net_weight", self.net_weight)):
            if name != "net_weight" or any(product.label_g for product in self.products.values()):
                found += _left_out(name, section, type(section).model_fields)
        return tuple(found)

    @model_validator(mode="after")
    def _names_known(self) -> Plant:
        for name, kettle in self.kettles.items():
            _known(f"kettles.{name}.pastes", kettle.pastes, self.pastes)
        for name, line in self.lines.items():
            _known(f"lines.{name}.products", line.products, self.products)
            _known(f"lines.{name}.kettle", [line.kettle] if line.kettle else [], self.kettles)
        for name, product in self.products.items():
            _known(f"products.{name}.paste", [product.paste] if product.paste else [], self.pastes)
        _known("columns", self.columns, TABLES)
        for kind, headings in self.columns.items():
            for theirs, ours in headings.items():
                _known(f"columns.{kind}.{theirs}", [ours], TABLES[kind].by_name)
        return self


PASTE_DEFAULTS = (
    "liquid_water_pct",
    "usual_loss_pct",
    "dosing",
    "cook_temp_c",
    "loss_pct",
    "hydration_points",
    "age_h",
)


def _left_out(path: str, section: BaseModel, keys: Iterable[str]) -> list[str]:
    """Key paths of a section that its table leaves out; of a pair of limits half written, the half that is not."""
    found = []
    for key in keys:
        value = getattr(section, key)
        if key not in section.model_fields_set:
            found.append(f"{path}.{key}")
        elif isinstance(value, Points):
            found += _left_out(f"{path}.{key}", value, type(value).model_fields)
    return found


def _known(path: str, names: Any, known: dict[str, Any]) -> None:
    for name in names:
        if name not in known:
            raise ValueError(f"@{path}@{name!r} is not in the file; it may be {listed(known)}")


def load(path: Path) -> Plant:
    """Read and check a plant file.

    Raises PlantFileError, one line, where the file is missing, not TOML, or says something wrong.
    """
    try:
        text = path.read_text(encoding="utf-8-sig")
    except FileNotFoundError:
        raise PlantFileError(f"{path}: there is no such plant file") from None
    except UnicodeDecodeError:
        raise PlantFileError(f"{path}: is no UTF-8 text; save the plant file as UTF-8, or name the right one") from None
    except OSError as error:
        raise PlantFileError(f"{path}: cannot be read ({error.strerror}); name a plant file that may be read") from None
    try:
        content = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise PlantFileError(f"{path}: not a TOML file: {toml_says(error, text)}") from None
    return parse(content, str(path))


def parse(content: dict[str, Any], name: str = "plant file") -> Plant:
    """Check a plant file's content. Raises PlantFileError as `load` does."""
    try:
        plant = Plant.model_validate(content)
    except ValidationError as error:
        raise PlantFileError(f"{name}: {'; '.join(explain(e, Plant) for e in error.errors())}") from None
    if faults := plantsense.faults(plant):
        raise PlantFileError(f"{name}: {'; '.join(faults)}")
    return plant
