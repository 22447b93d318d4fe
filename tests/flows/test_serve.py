"""The service as one process: what is dropped is on the board, work is handed over to it, it is killed and comes back."""

from __future__ import annotations

import json
import re
import subprocess
import sys
from collections.abc import Iterator
from datetime import datetime, timedelta
from pathlib import Path
from urllib import error, request
from zoneinfo import ZoneInfo

import pytest

from models.storage import owned
from tests.faults.killer import SAMPLE, pieces, run
from tests.flows.serving import ROOT, Service, boiled, descendants, free_port, post, until, visit
from tests.flows.test_signing import KEY

pytestmark = [pytest.mark.timeout(400), pytest.mark.slow]


@pytest.fixture(scope="module")
def service(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Service]:
    """A service with the sample's first logs taken in."""
    found = Service(tmp_path_factory.mktemp("served"))
    for name, text in list(pieces())[:40]:
        (found.logs / name).write_text(text, encoding="utf-8")
    found.start()
    yield found
    if found.process is not None and found.process.poll() is None:
        assert found.stop() == 0


def test_what_is_dropped_is_on_the_board(service: Service) -> None:
    rest = list(pieces())[40:60]
    took = [service.drop(name, text) for name, text in rest]
    print(
        f"{len(took)} drops on the board after {sorted(took)[len(took) // 2]:.2f} s in the middle, {max(took):.2f} s at most"
    )
    health = service.health()
    for counts in health["rows"].values():
        assert counts["received"] == sum(n for name, n in counts.items() if name != "received")
    assert health["status"] == "runs" and health["newest_row_age_s"] > 0
    assert "L1" in service.get("/")


@pytest.mark.parametrize("path", ["/", "/holds", "/kettle", "/mixer", "/handover", "/quarantine", "/reports"])
def test_every_screen_is_there(service: Service, path: str) -> None:
    assert service.get(path).rstrip().endswith("</html>")
    assert json.loads(service.get("/alerts.json")) == []  # the sample has nothing that calls for one yet


def test_a_run_beside_it_is_handed_over(service: Service) -> None:
    said = subprocess.run(service.command("run") + ["--json"], cwd=ROOT, capture_output=True, text=True, check=False)
    assert said.returncode == 0, said.stderr
    assert "owns this store" in said.stderr
    rows = json.loads(said.stdout)["rows"]
    assert {kind: counts["received"] for kind, counts in rows.items()} == {
        kind: counts["received"] for kind, counts in service.health()["rows"].items()
    }


def test_work_is_handed_over_with_the_key_alone(service: Service) -> None:
    asked = request.Request(service.base + "/hand-over", data=b'{"logs": "/"}', headers={"x-loaftrace-key": "guessed"})
    with pytest.raises(error.HTTPError) as refused:
        request.urlopen(asked, timeout=10)
    refused.value.close()
    assert refused.value.code == 403
    assert oct(owned.served_file(service.store).stat().st_mode)[-3:] == "600"


@pytest.mark.parametrize(("way", "code"), [("json://127.0.0.1:1/hook", 0), ("bogus-secret", 1)])
def test_a_check_names_who_cannot_be_reached(service: Service, tmp_path: Path, way: str, code: int) -> None:
    people = tmp_path / "people.toml"
    people.touch(0o600)
    people.write_text(f'[sign_in]\nkey = "{KEY}"\n[people.CC]\nways = ["{way}"]\n', encoding="utf-8")
    command = [*service.command(), "--check", "--people", str(people)]
    for name in ("store", "out"):
        command[command.index(f"--{name}") + 1] = str(tmp_path / name)
    command[command.index("--port") + 1] = str(free_port())
    said = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, check=False, timeout=60)
    assert said.returncode == code, said.stderr
    assert way not in said.stdout + said.stderr
    assert ("people.CC: the notifier cannot use the address 'unknown 1'" in said.stderr) is bool(code)


def _two(service: Service, port: int | None = None, **changed: str) -> str:
    """What a second service says that cannot start: one line."""
    command = service.command()
    for name, value in changed.items():
        command[command.index(f"--{name}") + 1] = value
    if port is not None:
        command[command.index("--port") + 1] = str(port)
    said = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, check=False, timeout=60)
    assert said.returncode in (1, 2) and said.stdout == ""
    lines = said.stderr.strip().splitlines()
    assert len(lines) == 1 and "Traceback" not in lines[0], said.stderr
    return lines[0]


def test_what_is_wrong_is_said_in_one_line(service: Service, tmp_path: Path) -> None:
    elsewhere = {"store": str(tmp_path / "other.duckdb"), "out": str(tmp_path / "out")}
    assert f"process {service.process.pid if service.process else 0}" in _two(service)
    assert "another program has it" in _two(service, **elsewhere)
    assert "no such folder" in _two(service, 1, **elsewhere | {"drop": str(tmp_path / "nowhere")})
    assert "is no port" in _two(service, 99999, **elsewhere)
    bad = tmp_path / "plant.toml"
    bad.write_text("plant = 3\n", encoding="utf-8")
    assert "plant.toml" in _two(service, **elsewhere | {"plant": str(bad)})
    (tmp_path / "file").write_text("", encoding="utf-8")
    assert "file" in _two(service, **elsewhere | {"out": str(tmp_path / "file" / "out")})


def test_a_hold_is_written_and_a_forged_one_is_not(service: Service) -> None:
    cookie, token = visit(service, "/holds")
    status, _ = post(service, "/holds", cookie, form_token="forged", batch="L1/01", because="glass", by="MK")
    assert status == 403
    before = service.get("/holds").count("Held by")
    status, said = post(
        service,
        "/holds",
        cookie,
        form_token=token,
        batch="L1/01",
        ground="foreign body",
        because="<b>glass</b>",
        by="MK",
    )
    assert status == 200, said
    page = service.get("/holds")
    assert page.count("Held by") == before + 1
    assert "&lt;b&gt;glass" in page and "<b>glass" not in page


def test_a_path_that_leaves_the_reports_is_refused(service: Service) -> None:
    for path in ("/reports/..%2f..%2fs.duckdb", "/reports/%2e%2e/s.duckdb", "/static/..%2f..%2fboard.py"):
        with pytest.raises(error.HTTPError) as refused:
            service.get(path)
        refused.value.close()
        assert refused.value.code in (400, 404)


@pytest.mark.timeout(900)
def test_killed_amid_drops(tmp_path: Path) -> None:
    """Twenty kills of the whole service while logs keep coming: no row and no alert is lost, none is there twice."""
    said = subprocess.run(
        [sys.executable, "-m", "tests.faults.serverkiller", str(tmp_path), "7", "20"],
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=False,
        timeout=850,
    )
    assert said.returncode == 0, said.stderr[-3000:]
    print(said.stdout.strip())
    undisturbed = run(tmp_path, tmp_path / "logs", "other")
    after = run(tmp_path, tmp_path / "logs")
    assert all(after[name] == undisturbed[name] for name in ("rows", "quarantine", "alerts"))


def test_stops_cleanly_and_comes_back(tmp_path: Path) -> None:
    service = Service(tmp_path)
    for name, text in list(pieces())[:10]:
        (service.logs / name).write_text(text, encoding="utf-8")
    service.start()
    rows = service.health()["rows"]
    until(lambda: list((tmp_path / "out").glob("day-*.html")), 60)
    assert service.stop() == 0
    assert owned.owner_of(service.store) is None
    service.start()
    assert service.health()["rows"] == rows
    service.kill()
    assert owned.owner_of(service.store) is None


@pytest.mark.prefect
@pytest.mark.skipif(not Path("/proc/self/stat").exists(), reason="needs /proc")
def test_prefects_record_comes_after_and_its_server_goes_with_the_service(tmp_path: Path) -> None:
    service = Service(tmp_path, prefect=True)
    for name, text in list(pieces())[:10]:
        (service.logs / name).write_text(text, encoding="utf-8")
    service.start()
    assert service.process is not None
    until(lambda: _recorded(tmp_path), 120)
    service.drop("boiled.csv", boiled(datetime.now(ZoneInfo("Europe/Lisbon"))))
    (alert,) = json.loads(service.get("/alerts.json"))
    until(lambda: _heard(tmp_path) == {("loaftrace.alert.raised", f"loaftrace.alert.{alert['alert']}")}, 120)
    begun = descendants(service.process.pid)
    assert len(begun) >= 2, "the process that keeps the record, and the server it began"
    service.kill()
    until(lambda: not any(Path(f"/proc/{pid}").exists() for pid in begun), 60)


def _heard(folder: Path) -> set[tuple[str, str]]:
    """The alerts' events that Prefect's own database holds."""
    asked = "SELECT event, resource_id FROM events WHERE event LIKE 'loaftrace.alert.%'"
    return {(event, resource) for event, resource in _asked_of_prefect(folder, asked)}


def _recorded(folder: Path) -> bool:
    """Whether Prefect's own database knows of a run of pages that is completed, and of its row account."""
    runs = _asked_of_prefect(folder, "SELECT 1 FROM flow_run WHERE state_type = 'COMPLETED'")
    return bool(runs and _asked_of_prefect(folder, "SELECT 1 FROM artifact WHERE key = 'row-account'"))


def _asked_of_prefect(folder: Path, query: str) -> list[tuple]:
    import sqlite3
    from contextlib import closing

    path = folder / "s.duckdb.prefect" / "prefect.db"
    if not path.exists():
        return []
    try:
        with closing(sqlite3.connect(f"file:{path}?mode=ro", uri=True)) as con:
            return con.execute(query).fetchall()
    except sqlite3.OperationalError:
        return []


@pytest.mark.parametrize("words", [["hold", "L1/01", "--because", "x"], ["case", "A1", "--seen"]], ids=["hold", "case"])
def test_what_would_write_beside_it_says_who_owns_the_store(service: Service, words: list[str]) -> None:
    where = ["--plant", str(SAMPLE / "plant.toml"), "--store", str(service.store), "--out", str(service.folder / "out")]
    command = [sys.executable, "-m", "flows.cli", *words, "--by", "MK", *where]
    said = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, check=False, timeout=60)
    assert said.returncode == 1 and said.stdout == ""
    assert f"is served at {service.base}" in said.stderr and len(said.stderr.strip().splitlines()) == 1


@pytest.mark.parametrize("path", ["/kettle", "/mixer"])
def test_a_tablet_at_which_nobody_tapped_says_so_before_anybody_types(service: Service, path: str) -> None:
    assert "each form asks whose entry it is" in service.get(path)
    cookie, token = visit(service, path)
    status, said = post(service, path, cookie, form_token=token, step="charge")
    assert status == 422 and "whose entry is this" in said


def test_a_tablet_stays_at_its_own_kettle_and_line(service: Service) -> None:
    """The forms of a batch that is open name the batch alone; what comes back is the screen they stood on."""
    cookie, token = visit(service, "/kettle?kettle=K2")
    shift = re.search(r'name="shift_of">.*?value="([^"]+)" selected', service.get("/kettle?kettle=K2"), re.DOTALL)
    assert shift is not None
    now = datetime.now(ZoneInfo("Europe/Lisbon"))
    start, end = (f"{now - timedelta(minutes=ago):%Y-%m-%d %H:%M}" for ago in (20, 6))
    who = {"form_token": token, "by": "MK"}
    charge = {"step": "charge", "kettle": "K2", "recipe": "water-5", "paste_batch": "77", "shift_of": shift[1]}
    status, page = post(service, "/kettle", cookie, **who, **charge, weight_before_kg="120", cook_start=start)
    assert status == 200 and "<h1>Kettle K2</h1>" in page
    weigh = {"step": "weigh", "key": f"{shift[1].split('/')[0]}/K2/77", "weight_after_kg": "114", "cook_temp_c": "66"}
    status, page = post(service, "/kettle", cookie, **who, **weigh, residue_kg="0.4", cook_end=end)
    assert status == 200 and "<h1>Kettle K2</h1>" in page and "Paste 77, water-5" in page
    plan = {
        "step": "plan",
        "line": "L3",
        "product": "toast",
        "dough_batch": "78",
        "shift_of": shift[1],
        "flour_kg": "50",
    }
    status, page = post(service, "/mixer", cookie, **who, **plan)
    assert status == 200 and "<h1>Mixer of line L3</h1>" in page
    withdraw = {"step": "withdraw", "key": f"{shift[1].split('/')[0]}/L3/78"}
    status, page = post(service, "/mixer", cookie, **who, **withdraw)
    assert status == 200 and "<h1>Mixer of line L3</h1>" in page
