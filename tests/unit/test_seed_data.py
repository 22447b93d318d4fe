"""The demo bakery: the same bytes each time, the contract's columns, and errors of sheets where the list says."""

from __future__ import annotations

import hashlib
from collections import Counter, defaultdict
from collections.abc import Callable
from datetime import date, timedelta
from pathlib import Path

import pytest

from models.logbook import TABLES
from models.plant import load
from seed_data import bakery, faults
from seed_data.plan import DAYS, FIRST_DAY, SEED, end, instant, plant, shift_of, slots
from tests.unit.demo_sheets import Folder, hidden, slips, truth

PACKAGE = Path(bakery.__file__).parent
DIGEST = "c744651fbe0950baea5ae9f6dc83336f57f4681cc8c3d6fb0553bdb105c23c94"


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Folder:
    """The demo bakery as `loaftrace demo` gets it."""
    path = tmp_path_factory.mktemp("bakery")
    bakery.write(path)
    return Folder(path)


def content(root: Path) -> dict[str, bytes]:
    return {p.relative_to(root).as_posix(): p.read_bytes() for p in sorted(root.rglob("*")) if p.is_file()}


# --- the same bytes -----------------------------------------------------------------------------


def test_two_writes_are_byte_identical(folder: Folder, tmp_path: Path) -> None:
    written = bakery.write(tmp_path)
    assert content(tmp_path) == folder.bytes
    assert list(written.files) == sorted(folder.bytes)


def test_the_bytes_are_those_of_every_other_machine(folder: Folder) -> None:
    """The digest was taken on one machine; another that differs has other arithmetic, or the demo was changed."""
    held = hashlib.sha256()
    for path in sorted(folder.bytes):
        held.update(path.encode() + b"\0" + hashlib.sha256(folder.bytes[path]).digest())
    assert held.hexdigest() == DIGEST


def test_another_seed_gives_other_logs_of_the_same_shape(tmp_path: Path) -> None:
    one, other = bakery.write(tmp_path / "1", days=3), bakery.write(tmp_path / "2", seed=SEED + 1, days=3)
    assert one.rows["dough"] == other.rows["dough"]
    assert content(tmp_path / "1") != content(tmp_path / "2")


def test_written_counts_the_rows_that_lie_in_the_folder(folder: Folder, tmp_path: Path) -> None:
    written = bakery.write(tmp_path)
    assert {kind: len(rows) for kind, rows in folder.rows.items()} == written.rows


def test_the_committed_sample_is_the_first_two_days(tmp_path: Path) -> None:
    bakery.write(tmp_path, days=2)
    sample = content(PACKAGE / "sample")
    assert sample == content(tmp_path)
    assert sum(map(len, sample.values())) < 150_000


def test_the_command_line_writes_and_says_so(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert bakery.main([str(tmp_path), "--days", "1"]) == 0
    assert "24 dough" in capsys.readouterr().out
    assert (tmp_path / "plant.toml").is_file()
    assert list(tmp_path.glob("logs/2026-10-05/*-dough.csv"))


# --- the contract -------------------------------------------------------------------------------


def test_every_log_has_the_contracts_columns_and_no_others(folder: Folder) -> None:
    assert sum(len(rows) > 0 for rows in folder.rows.values()) == len(TABLES)
    for path, lines in folder.cells.items():
        assert folder.header(path) in lines, path


def test_the_plant_file_is_valid_and_says_all_that_the_demo_is_to_show(folder: Folder) -> None:
    demo = load(folder.root / "plant.toml")
    assert demo.cooling is not None and demo.limits.approved_by == "QA"
    assert demo.dough_cost_per_kg and demo.currency == "EUR"
    assert {line.proof_mode for line in demo.lines.values()} == {"time", "height"}
    assert [name for name, line in demo.lines.items() if line.lidded] == ["L3"]
    milk, water = demo.pastes["milk-5"], demo.pastes["water-2"]
    assert (milk.dosing, milk.liquid_ratio, "milk" in milk.allergens) == ("weighed", 5.0, True)
    assert (water.dosing, water.liquid_ratio, "milk" in water.allergens) == ("divided", 2.0, False)


def test_every_day_has_at_least_24_doughs_and_8_pastes() -> None:
    doughs = Counter(dough.slot.day for dough in truth().doughs)
    pastes = Counter(paste.day for paste in truth().pastes)
    assert len(doughs) == DAYS and min(doughs.values()) >= 24
    assert {n for day, n in pastes.items() if day >= FIRST_DAY} == {8}


def test_identities_start_again_at_01_every_day() -> None:
    numbers = defaultdict(list)
    for dough in truth().doughs:
        numbers[dough.slot.day, dough.slot.line].append(dough.slot.number)
    for paste in truth().pastes:
        numbers[paste.day, paste.kettle].append(paste.number)
    assert len(numbers) > DAYS * 5
    for found in numbers.values():
        assert sorted(found) == [f"{n:02d}" for n in range(1, len(found) + 1)]


def test_a_dough_names_the_latest_paste_of_that_number_and_kettle() -> None:
    """The contract's way to resolve a reference: the latest such batch made before it, at most 72 h before."""
    for dough in truth().doughs:
        kettle = plant().lines[dough.slot.line].kettle
        named = [
            p for p in truth().pastes
            if p.kettle == kettle and p.number == dough.charge.paste_written
            and timedelta() <= dough.mixing.at - p.cook_end <= timedelta(hours=72)
        ]  # fmt: skip
        latest = max(named, key=lambda p: p.cook_end)
        if (dough.slot.day, dough.slot.line, dough.slot.number) == faults.OVERDRAWN_BY:
            assert (latest.day, latest.kettle, latest.number) == faults.OVERDRAWN
        else:
            assert latest is dough.charge.paste


def test_paste_is_made_six_hours_to_a_day_before_it_is_used() -> None:
    ages = [(d.mixing.at - d.charge.paste.cook_end) / timedelta(hours=1) for d in truth().doughs]
    assert min(ages) > 6 and max(ages) < 24


def test_divided_kettles_feed_four_doughs() -> None:
    fed = Counter((d.charge.paste.day, d.charge.paste.number) for d in truth().doughs if d.charge.paste.kettle == "K1")
    assert set(fed.values()) == {4}


def test_yeast_lots_last_about_two_days_and_each_is_tested_once(folder: Folder) -> None:
    yeasts = truth().yeasts
    spans = [(b.opened - a.opened) / timedelta(days=1) for a, b in zip(yeasts, yeasts[1:], strict=False)]
    assert min(spans) > 1.6 and max(spans) < 2.4
    tests = folder.all("gas")
    alone = [row["yeast_lot"] for row in tests if not row["dough_batch"]]
    assert sorted(alone) == sorted(y.lot for y in yeasts if y.opened < end(DAYS) - timedelta(hours=20))
    assert len({row["gas_test"] for row in tests}) == len(tests)


def test_a_baseline_can_form_before_the_first_fault() -> None:
    first = min(fault.since for fault in faults.FAULTS)
    measured = {loaf.dough.key for loaf in truth().loaves}
    for name, line in plant().lines.items():
        made = [d for d in truth().doughs if (d.slot.line, d.slot.product) == (name, line.products[0])]
        clean = [d for d in made if d.mixing.at < first and d.key in measured]
        assert len(clean) >= 100
        assert len({d.mixing.yeast.lot for d in clean}) >= 8


def test_the_clock_change_night_is_inside(folder: Folder) -> None:
    """On 2026-10-25 at 02:00 Lisbon's clocks go back to 01:00 (IANA time zone database)."""
    assert instant(date(2026, 10, 25), "03:00") - instant(date(2026, 10, 25), "00:30") == timedelta(hours=3.5)
    assert any(row["mixed_at"].startswith("2026-10-25 01:") for row in folder.on("logs/2026-10-24/night-dough.csv"))
    assert {row["proof_in"][-6:] for row in folder.on("logs/2026-10-24/proof.csv")} == {"+01:00", "+00:00"}


@pytest.mark.parametrize(
    ("clock", "day", "shift"),
    [("05:59", 6, "night"), ("06:00", 7, "early"), ("21:59", 7, "late"), ("22:00", 7, "night")],
)
def test_after_midnight_belongs_to_the_night_that_began_before(clock: str, day: int, shift: str) -> None:
    assert shift_of(instant(date(2026, 10, 7), clock)) == (date(2026, 10, day), shift)


def test_on_the_first_day_the_second_kettles_lines_wait_for_its_paste() -> None:
    assert [slot.number for slot in slots("L1", FIRST_DAY)] == [f"{n:02d}" for n in range(1, 9)]
    assert [slot.number for slot in slots("L3", FIRST_DAY)] == ["01", "02", "03", "04"]


# --- errors of sheets ---------------------------------------------------------------------------


def test_the_errors_of_sheets_are_a_dozen_or_two_more_and_stand_in_files_that_are_there(folder: Folder) -> None:
    assert 12 <= len({slip.says for slip in slips()}) <= 30
    assert {slip.file for slip in slips()} <= set(folder.cells)


def _is(low: float, high: float) -> Callable[[str], bool]:
    return lambda text: low < float(text) < high


@pytest.mark.parametrize(
    ("says", "looks"),
    [
        ("°F", _is(72, 90)),
        ("yeast in grams", _is(1000, 5000)),
        ("no yeast weight", lambda text: text == ""),
        ("litres", _is(1, 6)),
        ("plant does not have", lambda text: text in ("L33", "nigth")),
        ("paste not recorded", lambda text: text == ""),
        ("question mark", lambda text: text.endswith("?")),
        ("20 min out of the oven", lambda text: text == "20"),
        ("steel wall", _is(30, 55)),
        ("changed over", _is(100, 3000)),
        ("a tenth", _is(30, 50)),
    ],
)
def test_the_cell_is_wrong_in_the_way_that_is_said(folder: Folder, says: str, looks: Callable[[str], bool]) -> None:
    found = [slip for slip in slips() if says in slip.says and slip.line]
    assert found
    for slip in found:
        row = folder.cells[slip.file][(slip.line or 0) - 1]
        assert looks(row[folder.header(slip.file).index(slip.column)])


def test_a_file_sent_twice_is_the_same_file(folder: Folder) -> None:
    (again,) = [slip for slip in slips() if slip.fate == "already taken"]
    assert sum(held == folder.bytes[again.file] for held in folder.bytes.values()) == 2


def test_a_corrected_sheet_differs_from_the_first_only_where_it_was_wrong(folder: Folder) -> None:
    wrong, right = "logs/2026-10-17/late-loaf.csv", "logs/2026-10-18/late-loaf-corrected.csv"
    pairs = enumerate(zip(folder.cells[wrong], folder.cells[right], strict=True), start=1)
    differ = [line for line, (first, again) in pairs if first != again]
    assert differ == [slip.line for slip in slips() if slip.file == wrong and slip.fate == "superseded"]


def test_loaves_of_a_dough_that_nobody_logged_name_no_dough_that_is_there(folder: Folder) -> None:
    waiting = [slip for slip in slips() if slip.fate == "waiting"]
    assert Counter(slip.kind for slip in waiting) == {"proof": 1, "loaf": 4}
    logged = {(r["shift_date"], r["line"], r["dough_batch"]) for r in folder.all("dough")}
    assert ("2026-10-20", "L4", "02") not in logged and ("2026-10-19", "L4", "02") in logged


@pytest.mark.slow
def test_the_program_finds_the_rows_listed_as_impossible_and_no_others(folder: Folder) -> None:
    import numpy as np
    import pandas as pd

    from models.judging import checks
    from models.reader import intake, reading

    demo = load(folder.root / "plant.toml")
    frames: dict[str, list] = defaultdict(list)
    places: dict[str, list[tuple[str, int]]] = defaultdict(list)
    found: set[tuple[str, int]] = set()
    for path in folder.cells:
        sheet = intake.read(path, folder.bytes[path], demo)
        typed = reading.typed(sheet, demo)
        frames[sheet.kind].append(typed.frame)
        places[sheet.kind] += [(path, int(line)) for line in sheet.row_numbers]
        found |= {(path, int(sheet.row_numbers[slip.row])) for slip in typed.slips}
    for kind, parts in frames.items():
        file = pd.Series(np.repeat(np.arange(len(parts)), [len(part) for part in parts]))
        judged = checks.judge_truth(kind, pd.concat(parts, ignore_index=True), file, demo)
        assert not [o.rule.code for o in judged.outcomes if o.outcome == checks.COULD_NOT_RUN]
        found |= {places[kind][row] for outcome in judged.outcomes for row in outcome.rows}
    assert found == {(s.file, s.line) for s in slips() if s.fate == "quarantined" or "Wa above Wb" in s.says}


# --- the README ---------------------------------------------------------------------------------


def test_the_readme_names_everything_that_is_hidden() -> None:
    readme = (PACKAGE / "README.md").read_text(encoding="utf-8")
    assert "invented" in readme
    for one in hidden():
        assert one.name in readme, one.name
        assert one.batches[0] in readme, one.batches[0]
    for slip in slips():
        assert slip.file.removeprefix("logs/") in readme, slip.file


def test_a_plants_own_files_are_not_written_over(tmp_path: Path) -> None:
    bakery.write(tmp_path, days=2)
    bakery.write(tmp_path, days=2)
    own = tmp_path / "logs" / "own.csv"
    own.write_text("x")
    with pytest.raises(bakery.NotOursError, match=r"own\.csv"):
        bakery.write(tmp_path, days=2)
    own.unlink()
    (tmp_path / "plant.toml").write_text('plant = "north"\n')
    with pytest.raises(bakery.NotOursError, match=r"plant\.toml"):
        bakery.write(tmp_path, days=3)
    assert (tmp_path / "plant.toml").read_text() == 'plant = "north"\n'
    assert not any("2026-10-07" in str(path) for path in tmp_path.rglob("*"))


def test_invented_logs_do_not_go_among_a_plants_own(tmp_path: Path) -> None:
    """A folder of logs that a service watches: before, 490 invented ones were written below it."""
    (tmp_path / "2026-10-06").mkdir()
    (tmp_path / "2026-10-06" / "early-paste.csv").write_text("x")
    with pytest.raises(bakery.NotOursError, match="name an empty folder"):
        bakery.write(tmp_path, days=2)
    assert {path.name for path in tmp_path.rglob("*")} == {"2026-10-06", "early-paste.csv"}
