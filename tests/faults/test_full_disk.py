"""A full disk under the service: it says so, keeps what is dropped, refuses what is typed, and goes on by itself."""

from __future__ import annotations

import json
import re
import subprocess
from pathlib import Path
from typing import Any
from urllib import error

import pytest

from tests.faults.killer import pieces, put, run
from tests.flows.serving import Service, post, until, visit

pytestmark = [pytest.mark.slow, pytest.mark.timeout(240)]

CHARGE = {
    "step": "charge",
    "kettle": "K2",
    "recipe": "water-5",
    "paste_batch": "77",
    "weight_before_kg": "150",
    "by": "RB",
}


def fill_up(disk: Path) -> Path:
    """A file that leaves no byte free."""
    filler = disk / "filler"
    with filler.open("wb", buffering=0) as file:
        for size in (1 << 20, 4096, 1):
            try:
                while True:
                    file.write(b"x" * size)
            except OSError:
                continue
    return filler


@pytest.fixture
def service(small_disk: Path, tmp_path: Path):
    """A service whose store, reports and log lie on the small disk; its folder of logs lies elsewhere."""
    subprocess.run(["mount", "-o", "remount,size=300m", str(small_disk)], check=True)
    found = Service(small_disk)
    found.logs.rmdir()
    found.logs = tmp_path / "logs"
    found.logs.mkdir()
    for name, text in list(pieces())[:12]:
        put(found.logs, name, text)
    yield found.start()
    if found.process is not None and found.process.poll() is None:
        found.stop()


def test_a_full_disk_under_the_service(service: Service, small_disk: Path, tmp_path: Path) -> None:
    before, filler = service.health()["rows"], fill_up(small_disk)
    for name, text in list(pieces())[12:20]:
        put(service.logs, name, text)
    said = until(lambda: health(service)["trouble"])
    assert "\n" not in said and ("space" in said.lower() or "disk" in said.lower()), said
    assert health(service)["rows"] == before and "L1" in service.get("/"), "the board shows what it knew"
    cookie, token = visit(service, "/kettle")
    offered = re.search(r'<option value="([^"]+/(?:early|late|night))"', service.get("/kettle"))
    assert offered is not None
    shift = offered[1]
    status, words = post(service, "/kettle", cookie, form_token=token, shift_of=shift, **CHARGE)
    assert status == 503 and "not recorded" in words and "Traceback" not in words, words
    journal = service.store.with_name(service.store.name + ".weighings.jsonl")
    assert not journal.exists() or b"77" not in journal.read_bytes(), "nothing half-written"

    filler.unlink()
    until(lambda: health(service)["status"] == "runs", 60)
    whole = tmp_path / "whole"
    whole.mkdir()
    expected = run(whole, service.logs)
    until(lambda: health(service)["rows"] == expected["rows"])
    status, words = post(service, "/kettle", cookie, form_token=token, shift_of=shift, **CHARGE)
    assert status == 200 and journal.read_bytes().count(b'"77"') == 1, words


def health(service: Service) -> dict[str, Any]:
    """What the service says of itself, in trouble or not."""
    try:
        return service.health()
    except error.HTTPError as answer:
        with answer:
            return dict(json.loads(answer.read()))
