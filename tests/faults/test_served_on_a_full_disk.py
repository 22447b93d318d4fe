"""The service's disk fills up and is emptied again: said, nothing half-done, gone on with by itself, nothing lost or twice."""

from __future__ import annotations

import json
import re
import subprocess
from pathlib import Path
from typing import Any
from urllib import error, parse, request

import pytest

from tests.faults.killer import pieces, put, run
from tests.flows.serving import Service, until

pytestmark = [pytest.mark.slow, pytest.mark.timeout(200)]


def fill_up(disk: Path) -> Path:
    """A file that takes what is left of the disk."""
    ballast = disk / "ballast"
    with ballast.open("wb", buffering=0) as file:
        for size in (1 << 20, 1 << 12, 1):
            try:
                while file.write(b"0" * size):
                    pass
            except OSError:
                continue
    return ballast


def post(service: Service, path: str, **fields: str) -> tuple[int, str]:
    """A form sent from the screen it stands on: status and page."""
    with request.urlopen(request.Request(service.base + path, headers={"accept": "text/html"}), timeout=30) as screen:
        cookie = screen.headers["set-cookie"].partition(";")[0]
        token = re.search(r'name="form_token" value="([^"]+)"', screen.read().decode())
    assert token is not None
    body = parse.urlencode({"form_token": token[1], **fields}).encode()
    asked = request.Request(
        service.base + path, body, {"cookie": cookie, "origin": service.base, "accept": "text/html"}
    )
    try:
        with request.urlopen(asked, timeout=60) as answer:
            return answer.status, answer.read().decode()
    except error.HTTPError as answer:
        return answer.code, answer.read().decode()


def health(service: Service) -> dict[str, Any]:
    """GET /health, which answers 503 while it is in trouble."""
    try:
        return service.health()
    except error.HTTPError as answer:
        assert answer.code == 503
        return dict(json.loads(answer.read()))


def test_a_full_disk_under_the_service(small_disk: Path, tmp_path: Path) -> None:
    subprocess.run(["mount", "-o", "remount,size=300m", str(small_disk)], check=True)
    logs = list(pieces())[:14]
    (tmp_path / "served").mkdir()
    service = Service(tmp_path / "served")
    service.store = small_disk / "s.duckdb"
    for name, text in logs[:6]:
        put(service.logs, name, text)
    service.start()
    try:
        before = service.health()["rows"]
        ballast = fill_up(small_disk)
        for name, text in logs[6:]:
            put(service.logs, name, text)
        trouble = until(lambda: health(service)["trouble"], 60)
        assert "No space left on device" in trouble, trouble
        assert health(service)["status"] == "in trouble" and health(service)["rows"] == before
        status, said = post(service, "/holds", batch="K2/01", ground="other", because="glass while full", by="MK")
        assert status == 503 and "not recorded" in said
        charge = {"step": "charge", "kettle": "K2", "recipe": "water-5", "paste_batch": "88", "weight_before_kg": "144"}
        with request.urlopen(
            request.Request(service.base + "/kettle?kettle=K2", headers={"accept": "text/html"})
        ) as screen:
            offered = re.search(r'name="shift_of">.*?value="([^"]+)" selected', screen.read().decode(), re.DOTALL)
        assert offered is not None
        charge["shift_of"] = offered[1]
        status, said = post(service, "/kettle?kettle=K2", **charge, by="MK")
        assert status == 503 and "not recorded" in said, re.sub(r"(?s).*<main|<[^>]*>|\s+", " ", said)
        ballast.unlink()
        until(lambda: health(service)["trouble"] is None, 60)
        status, said = post(service, "/holds", batch="K2/01", ground="other", because="glass after it", by="MK")
        assert status == 200 and "glass after it" in said and "glass while full" not in said
    finally:
        assert service.stop() == 0
    (tmp_path / "logs").mkdir()
    for name, text in logs:
        put(tmp_path / "logs", name, text)
    assert service_rows(service) == run(tmp_path, tmp_path / "logs")["rows"]


def service_rows(service: Service) -> dict:
    """The account of the store that a service left."""
    from models.storage import account, store

    con = store.open_for_reading(service.store)
    try:
        return account.count(con)
    finally:
        con.close()
