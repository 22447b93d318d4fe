"""What the commands say, in one line each, and with which exit: 2 the command is wrong, 1 anything else (logbook, 3)."""

from __future__ import annotations

import json
import logging
import shutil
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest

from flows import casework, cli
from flows.spoken import spoken
from models.texts import texts
from tests.unit.test_alerts import alert

SAMPLE = Path(__file__).resolve().parents[2] / "seed_data" / "sample"


@dataclass(frozen=True)
class Place:
    """A plant file, logs, a store and a folder of reports."""

    folder: Path

    def words(self, *names: str) -> list[str]:
        """The options that name these places."""
        where = {
            "plant": SAMPLE / "plant.toml",
            "logs": self.folder / "logs",
            "drop": self.folder / "logs",
            "store": self.folder / "s.duckdb",
            "out": self.folder / "out",
        }
        return [word for name in names for word in (f"--{name}", str(where[name]))]


@pytest.fixture(scope="module")
def place(tmp_path_factory: pytest.TempPathFactory) -> Place:
    made = Place(tmp_path_factory.mktemp("commands"))
    shutil.copytree(SAMPLE / "logs", made.folder / "logs")
    (made.folder / "logs" / "zz-notes.csv").write_text("shopping,list\nflour,2\n", encoding="utf-8")
    (made.folder / "logs" / "zz-output.csv").write_text(
        "Output of the late shift\n\nline,product,shift_date,shift,pieces_made\n,,,,pieces\nL1,white-tin,2026-10-06,late,10\n",
        encoding="utf-8",
    )
    (made.folder / "logs" / "zz-same.csv").write_bytes((made.folder / "logs" / "zz-output.csv").read_bytes())
    assert cli.main(["run", *made.words("plant", "logs", "store", "out"), "--json"]) == 0
    return made


def refused(capsys: pytest.CaptureFixture[str], *words: str) -> str:
    """The one line of a command that is wrong."""
    assert cli.main(words) == 2
    said = capsys.readouterr()
    assert said.out == "" and len(said.err.splitlines()) == 1, said.err
    return said.err


@pytest.mark.parametrize(
    ("more", "says"),
    [
        (("--port", "99999"), "--port 99999: is no port; it may be one from 1024 to 65535"),
        (("--port", "0"), "--port 0: is no port"),
        (("--host", "0.0.0.0"), "--host 0.0.0.0: others are served only with people"),
        (("--host", "192.0.2.7"), "--people names it"),
    ],
)
def test_a_service_that_is_told_what_cannot_be(
    place: Place, capsys: pytest.CaptureFixture[str], more: tuple[str, ...], says: str
) -> None:
    assert says in refused(capsys, "serve", *place.words("plant", "drop", "store", "out"), "--check", *more)


@pytest.mark.parametrize("cron", ["every day", "*/15 * * *", "99 * * * *", ""])
def test_a_schedule_that_is_no_cron_line(place: Place, capsys: pytest.CaptureFixture[str], cron: str) -> None:
    said = refused(capsys, "schedule", *place.words("plant", "logs", "store", "out"), "--cron", cron)
    assert f"--cron: {cron!r} is no cron line; it may be five fields" in said


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (("day", "2026-09-01"), "2026-09-01: no log in the store speaks of it, so there is no page; it has 2026-10-"),
        (("day", "2026-10-30"), ", of 2026-10 2026-10-"),
        (("month", "2026-08"), "so there is no page; it has 2026-10\n"),
    ],
)
def test_a_day_without_data_has_no_page(
    place: Place, capsys: pytest.CaptureFixture[str], words: tuple[str, str], says: str
) -> None:
    assert says in refused(capsys, *words, *place.words("plant", "store"), "--out", str(place.folder / "again"))
    assert not (place.folder / "again").exists()


def test_files_say_how_they_were_read_whenever_they_are_named(place: Place, capsys: pytest.CaptureFixture[str]) -> None:
    """Taken by an earlier run, refused, or the same content twice: the account of lines stays with its file."""
    capsys.readouterr()
    assert cli.main(["run", *place.words("plant", "logs", "store", "out"), "--json"]) == 0
    files: dict[str, dict[str, Any]] = {f["file"]: f for f in json.loads(capsys.readouterr().out)["files"]}
    assert all(
        set(file) == {"file", "sha256", "kind", "outcome", "why", "notes", "passed_over"} for file in files.values()
    )
    lines = [{"row": 1, "why": "above the header"}, {"row": 2, "why": "blank"}, {"row": 4, "why": "units"}]
    for name in ("zz-output.csv", "zz-same.csv"):
        assert (files[name]["outcome"], files[name]["passed_over"]) == ("already taken", lines)
    assert (files["zz-notes.csv"]["outcome"], files["zz-notes.csv"]["passed_over"]) == ("refused", [])


def test_no_library_says_anything_of_its_own(place: Place) -> None:
    """Under a flow its server's handlers would show them: the suite's library gives some of its loggers a level."""
    names = [name for name in logging.root.manager.loggerDict if name.partition(".")[0] == "great_expectations"]
    assert "great_expectations.data_context.types.base" in names
    assert not [name for name in names if logging.getLogger(name).isEnabledFor(logging.INFO)]


@pytest.mark.parametrize(("many", "says"), [(1, "1 row waits for a person"), (2, "2 rows wait for a person")])
def test_one_row_waits_and_two_rows_wait(many: int, says: str) -> None:
    row = {"file": "a.csv", "row": 3, "why": "is it right?"}
    refused_file = [{"outcome": "refused"}] * many
    result = {"rows": {}, "files": refused_file, "quarantine": [row] * many, "alerts": [], "holds": [], "reports": []}
    said = spoken(result)
    assert any(f"To correct: {says}; first a.csv row 3: is it right?" == line for line in said)
    assert f"{many} {'file' if many == 1 else 'files'} refused" in said[0]


@pytest.mark.parametrize(
    ("waits", "says"),
    [(2, ""), (1, " (1 row more in quarantine was rejected)"), (0, " (2 rows more in quarantine were rejected)")],
)
def test_rows_in_quarantine_that_wait_for_nobody_are_said(waits: int, says: str) -> None:
    """Quarantined rows are those that wait and those that were rejected: the lines add up."""
    counts = {"received": 2, "accepted": 0, "waiting": 0, "quarantined": 2, "duplicate": 0, "superseded": 0}
    row = {"file": "a.csv", "row": 3, "why": "is it right?"}
    result = {
        "rows": {"loaf": counts},
        "files": [],
        "quarantine": [row] * waits,
        "alerts": [],
        "holds": [],
        "reports": [],
    }
    (line,) = [line for line in spoken(result) if line.startswith("To correct: ")]
    assert f" for a person{says}" in line and ("rejected" in line) == bool(says)


def test_what_is_over_is_said_to_be() -> None:
    volume = {"signal": "over", "urgency": "review", "characteristic": "specific volume", "kind": "chart", "line": "L1"}
    volume |= {"product": "tin", "direction": "low", "change": -0.24, "unit": "mL/g", "causes": []}
    volume |= {"began_at": "2026-10-23T19:57:00+01:00"}
    result = {"rows": {}, "files": [], "quarantine": [], "alerts": [volume], "holds": [], "reports": []}
    said = spoken(result)
    assert said[2].endswith("L1 tin low by 0.24 mL/g since 2026-10-23 19:57, over.")


@pytest.mark.parametrize(
    ("group", "driver", "says", "end"),
    [
        ("yeast", "Dough 2 °C cold", "Dough 2 °C cold", "; Dough 2 °C cold (yeast, 90% of it)."),
        ("yeast", texts("causes")["within"], "Nothing", "; Nothing; small moves within their limits fit yeast, not surely."),
        ("unexplained", texts("causes")["untraced"], "Not traced: a lid", "; Not traced: a lid."),
        # 90 % is what paste, yeast and handling leave over, not what the oven took
        ("unexplained", "Oven cold", "Oven cold", "; Oven cold; 90% of it is left over by paste, yeast and handling."),
    ],
)
def test_what_is_said_of_the_newest_cause_is_what_was_seen(group: str, driver: str, says: str, end: str) -> None:
    volume = {"signal": "on", "urgency": "review", "characteristic": "specific volume", "kind": "chart", "line": "L1"}
    volume |= {"product": "tin", "direction": "low", "change": -0.24, "unit": "mL/g", "says": says}
    volume |= {"began_at": "2026-10-23T19:57:00+01:00", "causes": [{"group": group, "share": 0.9, "driver": driver}]}
    result = {"rows": {}, "files": [], "quarantine": [], "alerts": [volume], "holds": [], "reports": []}
    assert spoken(result)[2].endswith(end)


def test_a_signal_that_is_on_is_named_and_charts_that_still_learn_are_not_said_to_be_quiet() -> None:
    at = "2026-10-23T19:57:00+01:00"
    loss = {"alert": "A1", "signal": "on", "urgency": "review", "characteristic": "paste loss", "kind": "limit", "line": None}
    loss |= {"kettle": "K1", "product": None, "plant": "north", "began_at": at, "signalled_at": at}
    result = {"rows": {}, "files": [], "quarantine": [], "alerts": [loss], "holds": [], "reports": []}
    assert spoken(result)[2].startswith("Signals: 1 on now, the newest: K1: paste loss since 2026-10-23 19:57; ")
    assert "as far as its charts have learned" in spoken(result | {"alerts": []})[2]


def test_the_gravest_hold_is_said_not_the_newest() -> None:
    hold = {"stands": True, "where": "L3", "since": "2026-11-08T22:34:00+00:00", "why": "brings milk", "alert": "A1"}
    light = hold | {"where": "L4", "since": "2026-11-08T22:55:00+00:00", "why": "light", "ground": "short weight", "alert": ""}
    alerts = [{"alert": "A1", "characteristic": "allergen", "signal": "over", "urgency": "hold", "kind": "limit"}]
    holds = [hold | {"ground": "allergen"}, light]
    result = {"rows": {}, "files": [], "quarantine": [], "alerts": alerts, "holds": holds, "reports": []}
    assert spoken(result)[1] == "Held: 2 to decide; the gravest: L3 since 2026-11-08 22:34: brings milk."


def test_the_list_of_alerts_says_what_and_how_big() -> None:
    one = alert(characteristic="proof height", change=-8.8, level=92.0, unit="mm", causes=(), says="shift")
    assert casework._what(one).replace("\u00a0", " ") == "L1, milk-loaf: proof height 9.6 % lower"


def test_the_list_of_alerts_says_of_no_hold_that_it_is_over() -> None:
    assert casework._state(alert(urgency="hold", signal="over")) == "hold, open"
    assert casework._state(alert(urgency="hold", signal="on")) == "hold, on, open"
    assert casework._state(alert(signal="over", case="closed")) == "review, over, closed"


def test_what_is_spoken_is_on_the_plants_clock() -> None:
    """The result has instants with their offset; people read a wall clock."""
    hold = {"stands": True, "where": "L4", "since": "2026-07-08T22:55:00+02:00", "why": "by hand", "alert": ""}
    result = {"rows": {}, "files": [], "quarantine": [], "alerts": [], "holds": [hold | {"ground": "other"}], "reports": []}
    (line,) = [line for line in spoken(result) if line.startswith("Held: ")]
    assert line == "Held: 1 to decide; the gravest: L4 since 2026-07-08 22:55: by hand."
