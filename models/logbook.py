"""Every log the bakery keeps: its columns, units and meanings, declared once.

DDL, validation suites, blank sheets and the data dictionary are all derived from the tables here.
Ranges (`can_be`) answer *can this be true?* only: a value outside is a slip on the sheet, not a bad
batch. What is good or bad is in the plant file.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal

Type = Literal["text", "number", "time", "date"]
FRAME_TYPE: dict[str, str] = {"text": "str", "number": "float64", "time": "datetime64[us]", "date": "datetime64[us]"}
"""What a column of a type is in a frame; times are naive UTC."""


@dataclass(frozen=True)
class Column:
    """One column of a log. `can_be` is inclusive, in the column's unit; common practice, no source."""

    name: str
    type: Type
    says: str
    unit: str = ""
    required: bool = False
    can_be: tuple[float, float] | None = None
    choices: tuple[str, ...] = ()
    plant_code: Literal["", "kettle", "line", "product", "shift", "recipe"] = ""
    personal: bool = False


@dataclass(frozen=True)
class Reference:
    """How a row names the batch it belongs to: the latest such batch at most `within_h` before `at`."""

    to: Literal["paste", "dough"]
    at: str
    within_h: float


@dataclass(frozen=True)
class Table:
    """One kind of log. `identity` are the row's own columns; `within` adds the batch it refers to."""

    kind: str
    says: str
    grain: str
    columns: tuple[Column, ...]
    identity: tuple[str, ...]
    at: str
    refers: Reference | None = None
    by_name: dict[str, Column] = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        object.__setattr__(self, "by_name", {c.name: c for c in self.columns})

    @property
    def required(self) -> tuple[str, ...]:
        """Names of the columns that must be there and filled."""
        return tuple(c.name for c in self.columns if c.required)

    def of_type(self, *types: Type) -> tuple[str, ...]:
        """Names of the columns of these types, in sheet order."""
        return tuple(c.name for c in self.columns if c.type in types)


def _text(name: str, says: str, **more) -> Column:
    return Column(name, "text", says, **more)


def _time(name: str, says: str, **more) -> Column:
    return Column(name, "time", says, unit="local time", **more)


def _number(name: str, unit: str, low: float, high: float, says: str, **more) -> Column:
    return Column(name, "number", says, unit=unit, can_be=(low, high), **more)


SHIFT_DATE = Column("shift_date", "date", "the date on which the shift began", unit="date", required=True)
SHIFT = _text("shift", "the shift's code in the plant file", required=True, plant_code="shift")
LINE = _text("line", "as in the plant file", required=True, plant_code="line")
PRODUCT = _text("product", "as in the plant file", required=True, plant_code="product")
DOUGH = _text("dough_batch", "the dough's batch number", required=True)
OPERATOR = _text("operator", "initials or a role", personal=True)
NOTE = _text("note", "anything else", personal=True)

# Both: common practice, no source. Sugared paste boils little above 100 °C; and no cook of minutes boils off such a share of
# Wb: a tub left on the scale does it.
HOTTEST_PASTE_C = 106.0
NO_COOK_LOSES_PCT = 20.0

# how old a batch may be that a row names, h
PASTE_REACH_H = 72.0
DOUGH_REACH_H = 24.0

PASTE = Table(
    "paste",
    "Flour and liquid cooked together in one kettle",
    "one row a paste batch",
    (
        _text("paste_batch", "the paste's batch number", required=True),
        _text("kettle", "as in the plant file", required=True, plant_code="kettle"),
        _text(
            "recipe",
            "paste recipe in the plant file; may be empty where the kettle makes only one",
            plant_code="recipe",
        ),
        SHIFT_DATE,
        SHIFT,
        _text("flour_lot", "flour delivery"),
        _text("liquid_lot", "liquid delivery"),
        _number("flour_kg", "kg", 0.05, 2000, "flour weighed in"),
        _number("liquid_kg", "kg", 0.05, 2000, "liquid weighed in"),
        _number("weight_before_kg", "kg", 0.5, 2000, "Wb: everything in the kettle before cooking", required=True),
        _number(
            "weight_after_kg",
            "kg",
            0.5,
            2000,
            "Wa: the paste after cooking, before any water is put back",
            required=True,
        ),
        _number("tare_kg", "kg", 0, 2000, "if filled, Wb and Wa are gross and this is taken off both"),
        _number("residue_kg", "kg", 0, 500, "paste left on kettle and tools, weighed"),
        _number("kettle_water_kg", "kg", 0, 500, "water put back into the kettle after Wa"),
        _number("weight_cold_kg", "kg", 0.5, 2000, "Wc: the paste after cooling"),
        _time("cook_start", "heat on", required=True),
        _time("cook_end", "heat off", required=True),
        _number("cook_temp_c", "°C", 5, HOTTEST_PASTE_C, "paste temperature at the end of cooking", required=True),
        _text("probe", "how the temperature was read", choices=("contact", "infrared")),
        _text("thermometer", "instrument"),
        _text("scale", "instrument"),
        _number("temp_2h_c", "°C", -10, 100, "paste temperature 2 h after the end of cooking"),
        _number("temp_6h_c", "°C", -10, 100, "paste temperature 6 h after the end of cooking"),
        OPERATOR,
        NOTE,
    ),
    identity=("paste_batch", "kettle", "shift_date"),
    at="cook_end",
)

DOUGH_LOG = Table(
    "dough",
    "One mixing",
    "one row a dough batch",
    (
        DOUGH,
        LINE,
        PRODUCT,
        SHIFT_DATE,
        SHIFT,
        _time("mixed_at", "end of mixing", required=True),
        _number("flour_kg", "kg", 0.2, 3000, "without what the paste brings", required=True),
        _number("liquid_kg", "kg", 0, 3000, "without what the paste brings", required=True),
        _text("flour_lot", "flour delivery"),
        _number("makeup_water_kg", "kg", 0, 300, "water added to replace what the paste lost; 0 means none"),
        _number("other_water_kg", "kg", 0, 1000, "water that eggs, syrups and the like bring"),
        _text("paste_batch", "the paste used"),
        _number("paste_kg", "kg", 0, 2000, "how much of it"),
        _text("paste_batch_2", "the second tub's paste"),
        _number("paste_kg_2", "kg", 0, 2000, "how much of it"),
        _text("yeast_lot", "yeast delivery"),
        _number("yeast_kg", "kg", 0, 200, "yeast weighed in", required=True),
        _number("room_temp_c", "°C", -10, 55, "at mixing"),
        _number("flour_temp_c", "°C", -25, 55, "at mixing"),
        _number("water_temp_c", "°C", -5, 60, "at mixing"),
        _number("paste_temp_c", "°C", -12, 95, "at mixing"),
        _number("dough_temp_c", "°C", 5, 45, "at the end of mixing", required=True),
        _number("mix_minutes", "min", 0.5, 90, "mixing time"),
        _number("mix_energy_wh_kg", "Wh/kg", 0.5, 60, "mixing energy"),
        _text("thermometer", "instrument"),
        OPERATOR,
        NOTE,
    ),
    identity=("dough_batch", "line", "shift_date"),
    at="mixed_at",
    refers=Reference("paste", "mixed_at", PASTE_REACH_H),
)

PROOF = Table(
    "proof",
    "Final proof",
    "one row a dough batch",
    (
        DOUGH,
        LINE,
        _time("proof_in", "into the proofer", required=True),
        _time("proof_out", "out of the proofer", required=True),
        _number("proof_temp_c", "°C", 0, 65, "proofer temperature"),
        _number("proof_rh_pct", "%", 1, 100, "proofer relative humidity"),
        _number("proof_height_mm", "mm", 5, 400, "height at the end of proof"),
    ),
    identity=(),
    at="proof_in",
    refers=Reference("dough", "proof_in", DOUGH_REACH_H),
)

GAS = Table(
    "gas",
    "Laboratory test of gas made and gas kept",
    "one row a test",
    (
        _text("gas_test", "the test's number", required=True),
        _time("tested_at", "when", required=True),
        _text("dough_batch", "empty for a test of a yeast lot alone"),
        _text("line", "empty for a test of a yeast lot alone", plant_code="line"),
        _text("yeast_lot", "yeast delivery"),
        _number("gas_produced_ml", "mL", 1, 10000, "gas made: the gassing power", required=True),
        _number("gas_retained_ml", "mL", 0, 10000, "gas kept, per test piece"),
        _number("piece_g", "g", 1, 5000, "test piece"),
        _number("test_minutes", "min", 5, 1440, "length of the test"),
        _text("sampled_after", "where the piece was taken", choices=("mixer", "divider", "moulder")),
    ),
    identity=("gas_test",),
    at="tested_at",
    refers=Reference("dough", "tested_at", DOUGH_REACH_H),
)

LOAF = Table(
    "loaf",
    "A measured loaf, a few of each sampled dough batch",
    "one row a measured loaf",
    (
        _text("loaf", "the loaf's number within its dough", required=True),
        DOUGH,
        LINE,
        _time("measured_at", "when", required=True),
        _number("scaled_g", "g", 10, 5000, "dough piece"),
        _number("baked_g", "g", 10, 5000, "baked loaf", required=True),
        _number("volume_ml", "mL", 20, 25000, "loaf volume", required=True),
        _number("cooled_minutes", "min", 0, 2880, "minutes out of the oven"),
        _number("core_temp_c", "°C", 20, 115, "core, leaving the oven"),
        _text("position", "lane, pan or rack place"),
        _text("reason", "why it was measured; empty is routine", choices=("routine", "suspicion")),
        _text("method", "how the volume was measured", choices=("seed", "laser")),
        _text("scale", "instrument"),
        _text("volumeter", "instrument"),
    ),
    identity=("loaf",),
    at="measured_at",
    refers=Reference("dough", "measured_at", DOUGH_REACH_H),
)

OUTPUT = Table(
    "output",
    "Pieces made",
    "one row a line, product and shift",
    (
        LINE,
        PRODUCT,
        SHIFT_DATE,
        SHIFT,
        _number("pieces_made", "pieces", 0, 5_000_000, "pieces made", required=True),
        _number("pieces_wasted", "pieces", 0, 5_000_000, "of these thrown away"),
        _number("stopped_minutes", "min", 0, 1440, "line stopped"),
    ),
    identity=("line", "product", "shift_date", "shift"),
    at="shift_date",
)

CHANGE = Table(
    "change",
    "A change that somebody made",
    "one row a change",
    (
        _time("changed_at", "when", required=True),
        _text("scope", "what kind of thing", required=True, choices=("plant", "kettle", "line", "instrument", "lot")),
        _text("name", "which one", required=True),
        _text("what", "what was changed", required=True),
        OPERATOR,
    ),
    identity=("changed_at", "scope", "name", "what", "operator"),
    at="changed_at",
)

CHECK = Table(
    "check",
    "An instrument checked against a known standard",
    "one row a check",
    (
        _time("checked_at", "when", required=True),
        _text("instrument", "which", required=True),
        _text("quantity", "what was checked", required=True, choices=("weight", "temperature", "volume")),
        _number("standard", "g, °C or mL", -50, 1_000_000, "true value", required=True),
        _number("as_found", "g, °C or mL", -50, 1_000_000, "reading", required=True),
    ),
    identity=("checked_at", "instrument", "quantity", "standard"),
    at="checked_at",
)

TABLES: dict[str, Table] = {t.kind: t for t in (PASTE, DOUGH_LOG, PROOF, GAS, LOAF, OUTPUT, CHANGE, CHECK)}
KINDS: tuple[str, ...] = tuple(TABLES)
