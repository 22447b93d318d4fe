"""The thirty usual mistakes of bakery sheets, each as a fixture that is recognised, and clean rows near it that are not.

The catalogue is the trade's: common practice, no source. Each test names the items it recognises and the items whose
neighbours it leaves alone; the last one asks both of every number: `pytest -v -k every_item` reads them out, 1 to 30.
"""

from __future__ import annotations

import json
from collections import defaultdict
from collections.abc import Callable
from dataclasses import dataclass, field
from functools import cache
from pathlib import Path
from typing import Any

import pytest

from flows.job import Job
from flows.work import work
from models.judging import checks
from models.judging.independence import look
from models.reader import intake, reading
from models.reader.sheet import Refused
from models.storage import store, take
from tests.unit.rows import SOUND, plant
from tests.unit.test_independence import pastes

NORTH = plant()
CATALOGUE = {
    1: "tare left in Wb alone",
    2: "tare left in Wa alone",
    3: "tare left in both",
    4: "another unit of weight",
    5: "Fahrenheit in a sheet of Celsius",
    6: "a sheet headed in Fahrenheit",
    7: "decimal mark slipped, dropped or mixed",
    8: "litres for millilitres",
    9: "Wa above Wb, no tare fits",
    10: "infrared at the steel wall",
    11: "infrared through steam",
    12: "unstirred skin read",
    13: "read before the end of the cook",
    14: "digits or letters changed over",
    15: "weight and volume changed over",
    16: "loaf measured hot",
    17: "the evening's date after midnight",
    18: "the night the clocks change",
    19: "batch it refers to not written",
    20: "values copied down",
    21: "one digit or one value too popular",
    22: "times filled in at the end of the shift",
    23: "the same row twice",
    24: "corrected sheet sent again",
    25: "a number used again next day",
    26: "loaf not of its batch",
    27: "units and totals among the rows",
    28: "serial dates and numbers as spreadsheets write them",
    29: "paste carried over",
    30: "loaves that are not of the ordinary run",
}
RECOGNISED: dict[int, set[str]] = defaultdict(set)
LEFT_ALONE: dict[int, set[str]] = defaultdict(set)
GROSS = {"weight_before_kg": "84.2", "weight_after_kg": "83.1"}
NO_CHARGE = {"flour_kg": "", "liquid_kg": ""}
NUMBER = {"paste": "paste_batch", "dough": "dough_batch", "proof": "dough_batch", "loaf": "loaf", "gas": "gas_test"}


def shows(*items: int, beside: tuple[int, ...] | None = None) -> Callable[[Any], Any]:
    """Mark a test as the fixture of these items. beside: items whose clean neighbours it leaves alone; left out: the same."""

    def note(test: Any) -> Any:
        for item in items:
            RECOGNISED[item].add(test.__name__)
        for item in items if beside is None else beside:
            LEFT_ALONE[item].add(test.__name__)
        return test

    return note


@dataclass(frozen=True)
class Case:
    """One sheet: what each row changes of a sound one. wrong: row -> (rule, cells that would mend it); other rows are clean."""

    items: tuple[int, ...]
    kind: str
    rows: tuple[dict[str, str], ...]
    wrong: dict[int, tuple[str, dict[str, str]]] = field(default_factory=dict)


CASES = {
    "tare in Wb alone": Case(
        (1,),
        "paste",
        ({"weight_before_kg": "84.2"}, GROSS | {"tare_kg": "48.2"}, {}),
        {0: ("paste.tare-left-in", {"weight_before_kg": "36"})},
    ),
    "tare in Wb alone, charge not weighed, the kettle's tare on its other rows": Case(
        (1,),
        "paste",
        (NO_CHARGE | {"weight_before_kg": "84.2"}, NO_CHARGE | GROSS | {"tare_kg": "48.2"}, NO_CHARGE),
        {0: ("paste.loss-not-credible", {"weight_before_kg": "36"})},
    ),
    "tare in Wa alone": Case(
        (2,),
        "paste",
        ({"weight_after_kg": "83.1"}, GROSS | {"tare_kg": "48.2"}, {}),
        {0: ("paste.after-above-before", {"weight_after_kg": "34.9"})},
    ),
    "tare in both": Case(
        (3,),
        "paste",
        (GROSS, GROSS | {"tare_kg": "48.2"}, {"weight_before_kg": "36.9", "weight_after_kg": "36.1"}),
        {0: ("paste.tare-left-in", {"tare_kg": "48.2"})},
    ),
    "grams for kilograms": Case(
        (4,),
        "paste",
        ({"weight_before_kg": "36000", "weight_after_kg": "35200"}, {}),
        {0: ("paste.weight_before_kg.grams", {"weight_before_kg": "36", "weight_after_kg": "35.2"})},
    ),
    "grams of yeast": Case(
        (4,), "dough", ({"yeast_kg": "1800"}, {}), {0: ("dough.yeast_kg.grams", {"yeast_kg": "1.8"})}
    ),
    "kilograms for grams": Case(
        (4,), "loaf", ({"baked_g": "0.402"}, {"baked_g": "395"}), {0: ("loaf.baked_g.kilograms", {"baked_g": "402"})}
    ),
    "pounds for kilograms": Case(
        (4,),
        "paste",
        ({"weight_before_kg": "79.4", "weight_after_kg": "77.6"}, {}),
        {0: ("paste.pounds-or-tare", {})},
    ),
    "a paste in Fahrenheit": Case(
        (5,),
        "paste",
        ({"cook_temp_c": "151"}, {"cook_temp_c": "79"}, {"cook_temp_c": "98"}),
        {0: ("paste.cook_temp_c.fahrenheit", {"cook_temp_c": "66.111"})},
    ),
    "a dough in Fahrenheit": Case(
        (5,),
        "dough",
        ({"dough_temp_c": "78"}, {"dough_temp_c": "31"}),
        {0: ("dough.dough_temp_c.fahrenheit", {"dough_temp_c": "25.556"})},
    ),
    "a humidity as its workbook holds it": Case(
        (28,),
        "proof",
        ({"proof_rh_pct": "0.85"}, {"proof_rh_pct": "85"}, {"proof_rh_pct": "1"}),
        {0: ("proof.proof_rh_pct.fraction", {"proof_rh_pct": "85"})},
    ),
    "a proofer in Fahrenheit": Case(
        (5,),
        "proof",
        ({"proof_temp_c": "100"}, {"proof_temp_c": "46"}),
        {0: ("proof.proof_temp_c.fahrenheit", {"proof_temp_c": "37.778"})},
    ),
    "a dropped decimal point": Case(
        (7,),
        "paste",
        (
            NO_CHARGE | {"weight_before_kg": "360", "weight_after_kg": "352"},
            *[NO_CHARGE | {"weight_before_kg": f"{36 + n / 10}"} for n in range(6)],
        ),
        {0: ("paste.off-by-a-factor", {"weight_before_kg": "36"})},
    ),
    "a decimal comma in a file of points": Case(
        (7,),
        "loaf",
        ({"volume_ml": "18900"}, {"volume_ml": "2300"}),
        {0: ("loaf.specific-volume-not-credible", {"volume_ml": "1890"})},
    ),
    "a number parted by its comma": Case((7,), "loaf", ({"volumeter": "V1,5"}, {}), {0: ("loaf.shape", {})}),
    "a row of weights parted by their commas": Case(
        (7,),
        "paste",
        (
            {"weight_before_kg": "36,0", "weight_after_kg": "35,2", "cook_temp_c": "66,5"},
            {"weight_before_kg": "36.0", "weight_after_kg": "35.2", "cook_temp_c": "66.5"},
        ),
        {0: ("paste.shape", {})},
    ),
    "litres for millilitres": Case(
        (8,), "loaf", ({"volume_ml": "1.85"}, {}), {0: ("loaf.volume_ml.litres", {"volume_ml": "1850"})}
    ),
    "Wa above Wb": Case(
        (9,), "paste", ({"weight_after_kg": "36.9"}, {"weight_after_kg": "36.1"}), {0: ("paste.after-above-before", {})}
    ),
    "infrared at the steel wall": Case(
        (10,),
        "paste",
        (
            {"cook_temp_c": "42", "probe": "infrared"},
            {"cook_temp_c": "42", "probe": "contact"},
            {"cook_temp_c": "66", "probe": "infrared"},
            {"cook_temp_c": "42", "probe": "infrared", "weight_after_kg": "36"},
        ),
        {0: ("paste.reading-not-the-paste", {})},
    ),
    "digits of Wa changed over": Case(
        (14,),
        "paste",
        ({"weight_after_kg": "43.2"}, {"weight_after_kg": "34.2"}),
        {0: ("paste.after-above-before", {"weight_after_kg": "34.2"})},
    ),
    "digits of Wb changed over": Case(
        (14,), "paste", ({"weight_before_kg": "63"}, {}), {0: ("paste.tare-left-in", {"weight_before_kg": "36"})}
    ),
    "weight and volume changed over, a whole column": Case(
        (15,),
        "loaf",
        tuple({"baked_g": f"{1880 + n}", "volume_ml": f"{400 + n}", "scaled_g": ""} for n in range(4)),
        {
            n: ("loaf.weight-and-volume-swapped", {"baked_g": f"{400 + n}", "volume_ml": f"{1880 + n}"})
            for n in range(4)
        },
    ),
    "Fahrenheit in every temperature of a row, and in one alone": Case(
        (5,),
        "paste",
        (
            {"cook_temp_c": "151", "temp_2h_c": "68", "temp_6h_c": "41"},
            {"cook_temp_c": "151", "temp_2h_c": "19", "temp_6h_c": "4.5"},
            {"cook_temp_c": "66", "temp_2h_c": "19", "temp_6h_c": "4.5"},
        ),
        {
            0: ("paste.cook_temp_c.fahrenheit", {"cook_temp_c": "66.111", "temp_2h_c": "20", "temp_6h_c": "5"}),
            1: ("paste.cook_temp_c.fahrenheit", {"cook_temp_c": "66.111"}),
        },
    ),
    "Fahrenheit on a whole dough row": Case(
        (5,),
        "dough",
        (
            {
                "dough_temp_c": "79",
                "room_temp_c": "75",
                "flour_temp_c": "70",
                "water_temp_c": "59",
                "paste_temp_c": "68",
            },
            {"dough_temp_c": "79", "room_temp_c": "24", "flour_temp_c": "21", "water_temp_c": "15"},
        ),
        {
            0: (
                "dough.room_temp_c.fahrenheit",
                {
                    "dough_temp_c": "26.111",
                    "room_temp_c": "23.889",
                    "flour_temp_c": "21.111",
                    "water_temp_c": "15",
                    "paste_temp_c": "20",
                },
            ),
            1: ("dough.dough_temp_c.fahrenheit", {"dough_temp_c": "26.111"}),
        },
    ),
    "a dense loaf is none changed over": Case((15,), "loaf", ({"volume_ml": "700"},)),
    "the evening's date after midnight": Case(
        (17,),
        "dough",
        ({"shift": "night", "mixed_at": "2026-05-06 01:30"}, {"shift": "night", "mixed_at": "2026-05-07 01:40"}),
        {0: ("dough.not-in-its-shift", {"mixed_at": "2026-05-07T01:30+01:00"})},
    ),
    "a proof a day too long": Case(
        (17,),
        "proof",
        ({"proof_in": "2026-05-05 07:10"}, {"proof_in": "2026-05-05 23:20", "proof_out": "2026-05-06 00:20"}),
        {0: ("proof.proof-too-long", {})},
    ),
    "a code with two letters changed over": Case(
        (14,), "dough", ({"shift": "ealry"}, {"shift": "EARLY"}), {0: ("dough.unknown-shift", {"shift": "early"})}
    ),
    "no paste written is no reason to quarantine": Case((19,), "dough", ({"paste_batch": "?"}, {"paste_batch": ""})),
}


def text_of(kind: str, rows: tuple[dict[str, str], ...]) -> str:
    """A log of sound rows with some cells changed, each row a batch of its own, as CSV."""
    sound = {name: str(value) for name, value in SOUND[kind].items()}
    names = list(dict.fromkeys([*sound, *(name for row in rows for name in row)]))
    numbered = [sound | ({NUMBER[kind]: f"{n:02}"} if kind in NUMBER else {}) | row for n, row in enumerate(rows, 1)]
    return "\n".join([",".join(names), *(",".join(row.get(name, "") for name in names) for row in numbered)]) + "\n"


@cache
def found(kind: str) -> dict[str, dict[int, tuple[str, dict[str, str]]]]:
    """Every case of one log read, typed and judged at once, as a run does it: case -> row -> main rule, cells that mend."""
    files, first = [], 0
    mine = [name for name, case in CASES.items() if case.kind == kind]
    for number, name in enumerate(mine):
        sheet = intake.read(f"{number}.csv", text_of(kind, CASES[name].rows).encode(), NORTH)
        files.append(take.Pending(number, sheet, reading.typed(sheet, NORTH), first))
        first += files[-1].n
    import pandas as pd

    frame = pd.concat([file.typed.frame for file in files], ignore_index=True)
    of_file = pd.Series([file.file_id for file in files for _ in range(file.n)])
    judged = checks.judge_truth(kind, frame, of_file, NORTH)
    told: dict[str, dict[int, tuple[str, dict[str, str]]]] = {name: {} for name in mine}
    for seq, _, place, _, _, rule, _, _, cells, _ in take.slips_of(kind, files, judged, NORTH):
        file = next(file for file in reversed(files) if file.first_seq <= seq)
        if place == 0:
            told[mine[file.file_id]][seq - file.first_seq] = (rule, json.loads(cells or "{}"))
    return told


def named(name: str) -> str:
    return f"{'+'.join(map(str, CASES[name].items))} {name}"


@pytest.mark.parametrize("name", CASES, ids=named)
@shows(
    *{item for case in CASES.values() for item in case.items if case.wrong},
    beside=tuple({item for case in CASES.values() for item in case.items if len(case.wrong) < len(case.rows)}),
)
def test_a_row_in_its_sheet(name: str) -> None:
    assert found(CASES[name].kind)[name] == CASES[name].wrong


def read(text: str, name: str = "sheet.csv") -> reading.Typed:
    return reading.typed(intake.read(name, text.encode(), NORTH), NORTH)


@shows(6)
def test_a_sheet_headed_in_fahrenheit_is_refused_and_says_so() -> None:
    text = text_of("dough", ({},))
    with pytest.raises(Refused, match="says °F, but dough_temp_c is kept in °C"):
        read(text.replace("dough_temp_c", "dough_temp_c (°F)"))
    assert read(text.replace("dough_temp_c", "dough temp (°C)")).frame["dough_temp_c"].tolist() == [26.0]
    head, row = text.splitlines()[:2]
    units = ",".join("°F" if name == "dough_temp_c" else "" for name in head.split(","))
    with pytest.raises(Refused, match="the line of units says °F under 'dough_temp_c', but dough_temp_c is kept in °C"):
        read("\n".join([head, units, row]))


@shows(7)
def test_the_decimal_mark_is_decided_once_a_file() -> None:
    rows = tuple({"weight_before_kg": f"36.{n}5", "weight_after_kg": f"35.{n}5"} for n in range(4))
    comma = text_of("paste", rows).replace(",", ";").replace(".", ",")
    assert read(comma).frame["weight_before_kg"].tolist() == [36.05, 36.15, 36.25, 36.35]
    mixed = read(comma.replace("36,15", "36.15"))
    assert [(slip.row, slip.column) for slip in mixed.slips] == [(1, "weight_before_kg")]


@shows(18)
def test_the_night_the_clocks_change() -> None:
    """Lisbon: back on 2026-10-25 at 02:00, forward on 2026-03-29 at 01:00 (Directive 2000/84/EC)."""
    back = {"proof_in": "2026-10-25 00:40", "proof_out": "2026-10-25 02:10"}
    before = {"proof_in": "2026-10-24 00:40", "proof_out": "2026-10-24 02:10"}
    forward = {"proof_in": "2026-03-29 00:40", "proof_out": "2026-03-29 02:10"}
    frame = read(text_of("proof", (back, before, forward))).frame
    minutes = (frame["proof_out"] - frame["proof_in"]).dt.total_seconds() / 60
    assert minutes.tolist() == [150.0, 90.0, 30.0]
    never = read(text_of("proof", ({"proof_in": "2026-03-29 01:20", "proof_out": "2026-03-29 02:20"},)))
    assert [(slip.rule, slip.proposal) for slip in never.slips] == [("clock change", "2026-03-29T02:20")]


@shows(27)
def test_units_and_totals_are_no_rows() -> None:
    lines = text_of("output", ({}, {"shift": "late"})).splitlines()
    units, total = ",,,,pieces,pieces", "Total,,,,1800,12"
    sheet = intake.read("o.csv", "\n".join([lines[0], units, *lines[1:], total, ""]).encode(), NORTH)
    assert len(sheet.rows) == 2
    assert [(line.row, line.why) for line in sheet.passed_over] == [(2, "units"), (5, "totals or averages")]


@shows(28)
def test_serial_dates_and_numbers_as_spreadsheets_write_them() -> None:
    odd = read(text_of("loaf", ({"measured_at": "46148.4583333333", "volume_ml": "1.89E+3"}, {"loaf": "1E5"})))
    assert not odd.slips and any("serial" in note for note in odd.notes)
    assert odd.frame["measured_at"].dt.strftime("%Y-%m-%d %H:%M").tolist() == ["2026-05-06 10:00"] * 2
    assert odd.frame["volume_ml"].tolist() == [1890.0, 1890.0]
    assert odd.frame["loaf"].tolist() == ["01", "1E5"]


@dataclass(frozen=True)
class Floor:
    """A plant of its own: logs dropped in, runs, what the store says after."""

    folder: Path

    def drop(self, name: str, kind: str, *rows: dict[str, str]) -> None:
        (self.folder / "logs").mkdir(exist_ok=True)
        (self.folder / "logs" / name).write_text(text_of(kind, rows), encoding="utf-8")

    def run(self) -> dict[str, Any]:
        return work(Job(NORTH, "the small plant", self.folder / "logs", self.folder / "s.duckdb", self.folder / "out"))

    def ask(self, query: str) -> list[tuple]:
        con = store.open_for_reading(self.folder / "s.duckdb")
        try:
            return con.execute(query).fetchall()
        finally:
            con.close()


@pytest.fixture(scope="module")
def floor(tmp_path_factory: pytest.TempPathFactory) -> Floor:
    """Two days with one mistake each of those that only the whole path can show."""
    made = Floor(tmp_path_factory.mktemp("floor"))
    low = {"cook_temp_c": "58", "probe": "infrared"}
    raw = {"weight_after_kg": "35.9"}
    pastes = ({}, low, low | raw, {"cook_temp_c": "58"}, {"cook_temp_c": "58"} | raw)
    made.drop("1-paste.csv", "paste", *pastes)
    next_day = {"shift_date": "2026-05-07", "mixed_at": "2026-05-07 06:30", "dough_batch": "01", "paste_batch": ""}
    old = {"paste_batch": "01", "mixed_at": "2026-05-08 13:00", "shift_date": "2026-05-08", "dough_batch": "03"}
    unlinked = {"paste_batch": "?", "dough_batch": "02"}
    night = {"paste_batch": "01", "shift": "night"}
    fresh = night | {"mixed_at": "2026-05-07 05:00", "dough_batch": "04"}
    older = night | {"mixed_at": "2026-05-07 05:40", "dough_batch": "05"}
    made.drop("2-dough.csv", "dough", {}, unlinked, next_day, old, fresh, older)
    loaves = (
        {"loaf": "1"},
        {"loaf": "2", "cooled_minutes": "20"},
        {"loaf": "3", "reason": "suspicion"},
        {"loaf": "4", "measured_at": "2026-05-06 06:00"},
        {"loaf": "1", "measured_at": "2026-05-07 11:00", "volume_ml": "1800"},
        {"loaf": "5", "cooled_minutes": "60"},
        {"loaf": "6", "dough_batch": "02", "measured_at": "2026-05-07 06:00"},
        {"loaf": "7", "dough_batch": "02", "measured_at": "2026-05-07 07:00"},
    )
    made.drop("3-loaf.csv", "loaf", *loaves)
    made.run()
    made.drop("4-loaf.csv", "loaf", loaves[0], {"loaf": "2", "cooled_minutes": "20", "volume_ml": "1905"}, loaves[4])
    made.run()
    return made


def batch(floor: Floor, column: str, key: str) -> Any:
    return floor.ask(f"SELECT {column} FROM batches WHERE batch_key = '{key}'")[0][0]


@shows(11, 12, 13)
def test_a_reading_that_the_loss_contradicts_is_flagged_and_stays(floor: Floor) -> None:
    """Cooks as low that lost no water are believed: there the paste is what is wrong, and another rule says so."""
    rules = floor.ask(
        "SELECT key, rule FROM finding WHERE rule LIKE 'pastes.infrared%' OR rule LIKE 'pastes.read%' ORDER BY 1"
    )
    assert rules == [
        ("2026-05-06/K1/02", "pastes.infrared-reads-low"),
        ("2026-05-06/K1/04", "pastes.read-before-the-end"),
    ]
    assert floor.ask("SELECT DISTINCT status FROM log_paste") == [("accepted",)]


@shows(16, 30)
def test_hot_loaves_and_loaves_on_suspicion_are_kept_apart(floor: Floor) -> None:
    counts = floor.ask("SELECT loaves, loaves_hot, loaves_suspicion FROM batches WHERE batch_key = '2026-05-06/L1/01'")
    assert counts == [(2.0, 1.0, 1.0)]
    assert batch(floor, "volume_ml", "2026-05-06/L1/01") == 1890.0


@shows(19, 29)
def test_paste_not_written_and_paste_carried_over(floor: Floor) -> None:
    assert batch(floor, "paste_link", "2026-05-06/L1/02") == "not recorded"
    assert batch(floor, "paste_link", "2026-05-06/L1/01") == "linked"
    aged = floor.ask("SELECT key, rule FROM finding WHERE rule LIKE 'batches.paste-age%' ORDER BY 1")
    assert aged == [
        ("2026-05-06/L1/05", "batches.paste-age.warning"),
        ("2026-05-08/L1/03", "batches.paste-age.action"),
    ]


@shows(19)
def test_a_loaf_between_two_of_one_dough_is_proposed_to_be_of_it(tmp_path: Path) -> None:
    """Of its line, in its sheet, and only where both name the same; the row waits for a person all the same."""
    blank, other = {"dough_batch": ""}, {"dough_batch": "02"}
    rows: tuple[dict[str, str], ...] = (blank, {}, blank, {"dough_batch": "?"}, {}, blank, other, blank, {"line": "L2"}, other)
    far = ({}, blank | {"measured_at": "2026-05-06 19:00"}, {"measured_at": "2026-05-06 19:10"})
    made = Floor(tmp_path)
    made.drop("1.csv", "loaf", *rows)
    made.drop("2.csv", "loaf", *far)
    made.run()
    asked = "SELECT f.path, l.row, s.cells FROM slip s JOIN log_loaf l USING (seq) JOIN file f USING (file_id) WHERE s.place = 0"
    assert made.ask(f"{asked} ORDER BY l.seq") == [
        ("1.csv", 2, None),
        ("1.csv", 4, '{"dough_batch": "01"}'),
        ("1.csv", 5, '{"dough_batch": "01"}'),
        ("1.csv", 7, None),
        ("1.csv", 9, '{"dough_batch": "02"}'),
        ("2.csv", 3, None),
    ]
    assert made.ask("SELECT count(*) FROM log_loaf WHERE status = 'quarantined'") == [(6,)]
    assert made.ask("SELECT why FROM slip WHERE cells LIKE '%02%'")[0][0].endswith("; the loaves before and after it name 02")


@shows(19)
def test_a_dough_between_two_of_one_paste_probably_got_it() -> None:
    """It is said beside "not recorded", and traced to nothing."""
    from models.snapshot import frame
    from models.trade import likely

    def doughs(*pastes: str, line: str = "L1", minutes: int = 30) -> Any:
        """Doughs, one after the other. pastes: of each; "": not recorded, "?": has not come, "a+b": two tubs."""
        links = {"": "not recorded", "?": "waiting"}
        rows = [
            {
                "batch_key": f"{line}/{n}", "line": line, "product": "milk-loaf",
                "mixed_at": f"2026-05-06 {6 + n * minutes // 60:02}:{n * minutes % 60:02}",
                "paste_link": links.get(paste, "linked"),
                "paste_key": None if paste in links else paste.split("+")[0],
                "paste_key_2": paste.split("+")[1] if "+" in paste else None,
            }
            for n, paste in enumerate(pastes)
        ]  # fmt: skip
        return frame("batches", rows)

    def said(rows: Any) -> dict[str, str]:
        return likely.pastes(rows, set(rows["batch_key"]))

    assert said(doughs("a", "", "", "a", "b")) == {"L1/1": "a", "L1/2": "a"}
    for clean in (("a", "a"), ("a", "", "b"), ("", "a"), ("a", ""), ("a", "", "?", "a"), ("a+b", "", "a+b")):
        assert said(doughs(*clean)) == {}, clean
    assert said(doughs("a", "", "a", minutes=200)) == {}, "the two are more than six hours apart"
    import pandas as pd

    apart = pd.concat([doughs("a", line="L1"), doughs("", "a", line="L2")], ignore_index=True)
    assert said(apart) == {}, "another line's"


@shows(23, 24, beside=(23, 24, 25))
def test_the_same_row_counts_once_and_a_corrected_one_shows_the_difference(floor: Floor) -> None:
    statuses = floor.ask("SELECT f.path, r.row, r.status FROM log_loaf r JOIN file f USING (file_id) ORDER BY r.seq")
    assert [status for path, _, status in statuses if path == "3-loaf.csv"] == [
        "accepted",
        "superseded",
        "accepted",
        "waiting",
        "accepted",
        "accepted",
        "accepted",
        "waiting",
    ]
    assert [status for path, _, status in statuses if path == "4-loaf.csv"] == ["duplicate", "accepted", "duplicate"]
    from models.storage import restating

    con = store.open_for_reading(floor.folder / "s.duckdb")
    told = restating.restated(con)
    con.close()
    assert told[["column", "before", "after", "file", "printed"]].values.tolist() == [
        ["volume_ml", "1890.0", "1905.0", "4-loaf.csv", "yes"]
    ]


@shows(23)
def test_rows_with_cells_that_cannot_be_read_are_the_same_only_where_those_are(tmp_path: Path) -> None:
    """Three days that nobody can read are three rows to decide, whether or not the rest of them is alike."""
    made = Floor(tmp_path)
    unread = tuple({"shift_date": text} for text in ("31.06.2026", "7.?.2026", "31.06.2026", "2206-05-15"))
    made.drop("1.csv", "output", *unread)
    odd = ({"dough_batch": "as above"}, {"dough_batch": "ditto"}, {"volume_ml": "18?0"}, {"volume_ml": "189?"})
    made.drop("2.csv", "loaf", *(row | {"loaf": "1"} for row in odd))
    made.drop("3.csv", "output", unread[0])
    made.run()
    assert made.ask("SELECT status FROM log_output ORDER BY seq") == [
        ("quarantined",), ("quarantined",), ("duplicate",), ("quarantined",), ("duplicate",),
    ]  # fmt: skip
    assert made.ask("SELECT status FROM log_loaf ORDER BY seq") == [
        ("quarantined",), ("quarantined",), ("superseded",), ("quarantined",),
    ]  # fmt: skip


@shows(25, beside=())
def test_the_same_number_next_day_is_another_batch(floor: Floor) -> None:
    assert batch(floor, "volume_ml", "2026-05-06/L1/01") == 1890.0
    assert batch(floor, "volume_ml", "2026-05-07/L1/01") == 1800.0


@shows(26)
def test_a_loaf_measured_before_its_dough_or_a_day_after_is_given_to_none(floor: Floor) -> None:
    """Before its dough was mixed, or more than the contract's 24 h after; half an hour less is its loaf."""
    waiting = floor.ask("SELECT loaf, batch_key FROM log_loaf WHERE status = 'waiting' ORDER BY 1")
    assert waiting == [("4", None), ("7", None)]
    assert floor.ask("SELECT batch_key FROM log_loaf WHERE loaf = '6'") == [("2026-05-06/L1/02",)]


def month() -> Any:
    """An honest month of pastes, read to a tenth of a degree."""
    rows = pastes(11)
    rows["cook_temp_c"] = rows["cook_temp_c"] + [n % 5 / 10 for n in range(len(rows))]
    return rows


def late(rows: Any, every: int = 1) -> Any:
    """Which rows are of the late shift; every: only one in so many of them."""
    return rows.index.isin(rows.index[rows["shift"] == "late"][::every])


def one_evening(rows: Any, first: int) -> Any:
    """Which rows are the first so many of one late shift."""
    mine = (rows["shift"] == "late") & (rows["shift_date"] == "2026-05-12")
    return rows.index.isin(rows.index[mine][:first])


# pattern, column, what is written in place of the reading, the rows in which it shows, and those in which it may be chance
PATTERNS: dict[str, tuple[str, str, Callable[[Any], Any], Callable[[Any], Any], Callable[[Any], Any]]] = {
    "20 values copied down": (
        "equal in a row",
        "cook_temp_c",
        lambda read: read * 0 + 66.5,
        lambda rows: one_evening(rows, 6),
        lambda rows: one_evening(rows, 3),
    ),
    "21 always the target": (
        "hardly ever moves",
        "cook_temp_c",
        lambda read: read * 0 + 65.0,
        late,
        lambda rows: late(rows, 2),
    ),
    "21 one last digit": (
        "one last digit",
        "cook_temp_c",
        lambda read: read.round(),
        late,
        lambda rows: late(rows, 20),
    ),
    "22 times on the quarter hour": (
        "on the quarter hour",
        "cook_start",
        lambda read: read.dt.floor("15min"),
        late,
        lambda rows: late(rows, 2),
    ),
    "22 one sheet on the quarter hour": (
        "quarter-hour sheet",
        "cook_end",
        lambda read: read.dt.floor("15min"),
        lambda rows: one_evening(rows, 6),
        lambda rows: one_evening(rows, 3),
    ),
    "22 a month of quarter hours is no single sheet's": (
        "quarter-hour sheet",
        "cook_end",
        lambda read: read.dt.floor("15min"),
        lambda rows: one_evening(rows, 6),
        late,
    ),
}


@shows(20, 21, 22)
@pytest.mark.parametrize("name", PATTERNS)
def test_patterns_over_a_month_are_said_of_a_shift(name: str) -> None:
    pattern, column, written, shown, chance = PATTERNS[name]
    assert not look("2026-05", {"paste": month()}, NORTH).notes
    for which, expected in ((shown, True), (chance, False)):
        rows = month()
        rows[column] = rows[column].where(~which(rows), written(rows[column]))
        notes = look("2026-05", {"paste": rows}, NORTH).notes
        said = {(note.pattern, note.column, note.shift) for note in notes}
        assert ((pattern, column, "late") in said) is expected


@shows(30)
def test_the_first_dough_of_a_run_that_is_unlike_the_rest_is_told() -> None:
    """A line that stood overnight. Its starts 4 % low are told; starts like the others, and the same fall all day, are not."""
    import numpy as np
    import pandas as pd

    def run(low_pct: float, whole_day: bool = False, idle_h: int = 10, seed: int = 1) -> set[str]:
        rng, rows = np.random.default_rng(seed), []
        for day in range(1, 25):
            usual = rng.normal(4.7, 0.08)  # days differ, as their lots do
            for n in range(8):
                low = day > 12 if whole_day else n == 0
                off = low_pct / 100 if low else 0.0
                at = pd.Timestamp(2026, 5, day, 6) + pd.Timedelta(minutes=(24 - idle_h) * 60 * n // 8)
                rows.append(("L1", "milk-loaf", pd.Timestamp(2026, 5, day), "early", at, usual * (1 - off) + rng.normal(0, 0.04)))
        names = ["line", "product", "shift_date", "shift", "mixed_at", "specific_volume"]
        return {note.pattern for note in look("2026-05", {}, NORTH, pd.DataFrame(rows, columns=names)).notes}

    assert run(4.0) == {"start unlike run"} == run(-4.0)
    assert not run(0.0) and not run(0.5)
    assert not run(4.0, idle_h=1), "a line that hardly stood has no start"
    assert not run(4.0, whole_day=True), "a fall of whole days is a chart's matter"
    assert sum(bool(run(0.0, seed=seed)) for seed in range(100)) <= 5


@shows(12)
def test_infrared_that_reads_a_skin_is_told_from_cooler_cooks() -> None:
    """3 to 8 °C low by infrared, while as much water is lost; cooks that were cooler lose less, and are believed."""

    def said(**infrared: float) -> set[str]:
        rows = month()
        mine = late(rows, 2)
        rows["probe"] = "contact"
        rows.loc[mine, "probe"] = "infrared"
        for column, change in infrared.items():
            rows.loc[mine, column] += change
        return {note.pattern for note in look("2026-05", {"paste": rows}, NORTH).notes}

    assert "infrared reads low" in said(cook_temp_c=-5.0)
    assert "infrared reads low" not in said()
    assert "infrared reads low" not in said(cook_temp_c=-1.0)
    assert "infrared reads low" not in said(cook_temp_c=-5.0, weight_after_kg=0.5)


@pytest.mark.parametrize("item", CATALOGUE, ids=lambda item: f"{item} {CATALOGUE[item]}")
def test_every_item_is_recognised_and_its_neighbours_are_left_alone(item: int) -> None:
    assert RECOGNISED[item], "no sheet with this mistake is recognised in this file"
    assert LEFT_ALONE[item], "no clean row near this mistake is left alone in this file"


def test_the_catalogue_is_whole() -> None:
    assert list(CATALOGUE) == list(range(1, 31))
    assert set(RECOGNISED) | set(LEFT_ALONE) <= set(CATALOGUE)
