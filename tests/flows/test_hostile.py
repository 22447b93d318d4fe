"""A hostile pass over the whole service: forged forms at every address that acts, markup, names of files, huge and odd posts."""

from __future__ import annotations

import http.client
import os
import re
from collections.abc import Iterator
from pathlib import Path
from urllib import parse

import pytest

from flows.floor.acts import ACTS
from flows.floor.screens import SCREENS
from tests.faults.killer import pieces, put
from tests.flows.serving import Service, post, until, visit

pytestmark = [pytest.mark.timeout(400), pytest.mark.slow]
SCRIPT = "<script>window.forged=1</script>"
ADDRESSES = [path.replace("{alert}", "A1").replace("{hold}", "H1") for path in ACTS]


@pytest.fixture(scope="module")
def service(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Service]:
    found = Service(tmp_path_factory.mktemp("hostile"))
    for name, text in list(pieces())[:12]:
        put(found.logs, name, text)
    found.start()
    yield found
    assert found.stop() == 0


@pytest.fixture(autouse=True)
def _unharmed(service: Service) -> Iterator[None]:
    """Whatever was tried, the service runs, and every row it was given is accounted for."""
    yield
    health = service.health()
    assert health["status"] == "runs" and health["trouble"] is None
    for counts in health["rows"].values():
        assert counts["received"] == sum(n for name, n in counts.items() if name != "received")


def asked(service: Service, method: str, path: str, body: bytes = b"", **headers: str) -> tuple[int, str]:
    """A request as it stands: no path is tidied up, no header added but the host and the length."""
    line = http.client.HTTPConnection("127.0.0.1", service.port, timeout=60)
    try:
        line.request(method, path, body or None, {name.replace("_", "-"): value for name, value in headers.items()})
        answer = line.getresponse()
        return answer.status, answer.read().decode("utf-8", "replace")
    finally:
        line.close()


FORM = "application/x-www-form-urlencoded"


@pytest.mark.parametrize("path", ADDRESSES)
def test_no_forged_form_does_anything_at_any_address_that_acts(service: Service, path: str) -> None:
    cookie, token = visit(service, "/holds")
    _, foreign = visit(service, "/holds")
    before = service.health()["version"], service.get("/holds"), service.get("/kettle")
    fields = {"by": "MK", "act": "released", "step": "charge", "batch": "L1/01", "because": "forged"}
    body = parse.urlencode({**fields, "form_token": token}).encode()
    tries = [
        ("POST", parse.urlencode(fields).encode(), {"content_type": FORM}),
        ("POST", parse.urlencode({**fields, "form_token": foreign}).encode(), {"content_type": FORM}),
        ("POST", body, {"content_type": FORM, "origin": "https://evil.example"}),
        ("POST", body, {"content_type": FORM, "origin": "null"}),
        ("POST", body, {"content_type": FORM, "sec_fetch_site": "cross-site"}),
        ("POST", body, {"content_type": "text/plain"}),
        ("PUT", body, {"content_type": FORM, "origin": "https://evil.example"}),
    ]
    for method, sent, headers in tries:
        status, _ = asked(service, method, path, sent, cookie=cookie, **headers)
        assert status == 403, (method, headers)
    status, _ = asked(service, "POST", path, body, content_type=FORM)
    assert status == 403, "a token without its cookie"
    assert (service.health()["version"], *(_bare(service.get(one)) for one in ("/holds", "/kettle"))) == (
        before[0],
        *map(_bare, before[1:]),
    )


def _bare(page: str) -> str:
    """A page without what is another at every visit."""
    return re.sub(r'form_token" value="[^"]+"|nonce="[^"]*"|\d+ (min|h)\b', "", page)


@pytest.mark.parametrize("path", ADDRESSES)
def test_a_huge_post_is_refused_wherever_it_is_sent(service: Service, path: str) -> None:
    cookie, token = visit(service, "/holds")
    huge = parse.urlencode({"form_token": token, "because": "x" * 100_000}).encode()
    assert asked(service, "POST", path, huge, cookie=cookie, content_type=FORM)[0] == 413
    line = http.client.HTTPConnection("127.0.0.1", service.port, timeout=60)
    parts = (b"x" * 4096 for _ in range(64))  # it does not say how long it is
    try:
        line.request("POST", path, parts, {"cookie": cookie, "content-type": FORM}, encode_chunked=True)
        assert line.getresponse().status == 413
    except (BrokenPipeError, ConnectionResetError):
        pass  # refused while it was still being sent
    finally:
        line.close()


ODD = (
    SCRIPT, "../../x", "a/b/c", "\x00", "\u202egnp.exe", "1e309", "nan", "-inf", "\uff11\uff12", "9" * 400, '=HYPERLINK("x")', "{{7*7}}",
    "'; DROP TABLE file;--", "2026-99-99/late", "9999-12-31/late", "0001-01-01/night", "x" * 5000, "1,2,3.4", "12:61", "99999-01-01 10:00", "",
)  # fmt: skip
TYPED = {
    "/kettle": {"step": "charge", "kettle": "K2", "recipe": "water-5", "paste_batch": "93", "shift_of": "2026-10-06/late", "weight_before_kg": "120"},
    "/mixer": {"step": "plan", "line": "L1", "product": "white-tin", "dough_batch": "93", "shift_of": "2026-10-06/late", "flour_kg": "50"},
    "/holds": {"batch": "L1/01", "ground": "other", "because": "x", "under": ""},
    "/holds/H1/release": {"act": "released", "because": "x", "on:paste:x": "1"},
    "/quarantine": {"act": "confirm", "row": "1", "alike": "", "because": "x"},
    "/alerts/A1": {"act": "done", "note": "x", "found": ""},
}  # fmt: skip
ALSO = {
    "/kettle": ("key", "doughs", "cook_start", "note", "confirm", "weight_cold_kg"),
    "/mixer": ("key", "paste_key", "flour_lot", "ice_kg"),
}


@pytest.mark.parametrize("path", TYPED)
def test_nothing_that_is_typed_breaks_a_screen_or_becomes_markup(service: Service, path: str) -> None:
    cookie, token = visit(service, "/holds")
    for field in (*TYPED[path], *ALSO.get(path, ())):
        for odd in ODD:
            sent = {**TYPED[path], field: odd, "form_token": token, "by": "MK"}
            status, page = asked(
                service,
                "POST",
                path,
                parse.urlencode(sent).encode(),
                cookie=cookie,
                content_type=FORM,
                accept="text/html",
            )
            assert status in (200, 303, 403, 404, 422), (field, odd[:40], status, page[:500])
            assert SCRIPT not in page and "Traceback" not in page, (field, odd[:40])
    for screen in SCREENS:
        if "{" not in screen:
            assert SCRIPT not in service.get(screen)


@pytest.mark.parametrize("initials", [SCRIPT, "M K", "MK7654321", "../x", "", "\u202eMK"])
def test_initials_are_initials_or_nothing_is_recorded(service: Service, initials: str) -> None:
    cookie, token = visit(service, "/holds")
    before = service.health()["version"]
    status, page = post(service, "/holds", cookie, form_token=token, batch="L1/01", because="x", by=initials)
    assert status == 422 and SCRIPT not in page and "initials" in page.lower()
    assert service.health()["version"] == before


@pytest.mark.skipif(os.name != "posix", reason="such names are none here")
def test_names_of_files_are_words_and_lead_nowhere(service: Service, tmp_path: Path) -> None:
    names = [
        f"{SCRIPT.replace('/', '')}.csv".encode(), b"..%2f..%2fstore.csv", b"-rf.csv", b"a\nb.csv", b"\xff\xfe.csv", b"x" * 251 + b".csv",
        b"'; DROP TABLE file;--.csv", b"{{7*7}}.csv", b"=cmd.csv", "k\u00f5ik \u202evsc.csv".encode(),
    ]  # fmt: skip
    logs = os.fsencode(service.logs)
    for number, name in enumerate(names):
        part = os.path.join(logs, b".part-%d" % number)
        Path(os.fsdecode(part)).write_text(f"no log at all, {number}\n1,2\n", encoding="utf-8")
        os.rename(part, os.path.join(logs, name))
    secret = tmp_path / "secret.csv"
    secret.write_text(
        "changed_at,scope,name,what\n2026-10-06 10:00,line,L1,a secret of another folder\n", encoding="utf-8"
    )
    (service.logs / "link.csv").symlink_to(secret)
    os.mkfifo(service.logs / "pipe.csv")
    version = service.health()["version"]
    put(service.logs, "after.csv", "changed_at,scope,name,what\n2026-10-06 11:00,line,L1,after all of them\n")
    until(lambda: service.health()["version"] > version and service.health()["rows"]["change"]["received"], 60)
    until(lambda: "DROP TABLE" in service.get("/quarantine"), 60)
    page = service.get("/quarantine")
    assert "&lt;script&gt;window.forged=1&lt;" in page and "<script>window" not in page
    assert "{{7*7}}.csv" in page and "49.csv" not in page
    assert "a secret of another folder" not in "".join(service.get(screen) for screen in SCREENS if "{" not in screen)
    for name in ("link.csv", "pipe.csv"):
        (service.logs / name).unlink()


@pytest.mark.parametrize(
    "path",
    [
        "/reports/../s.duckdb", "/reports/..%2fs.duckdb", "/reports/..%5cs.duckdb", "/reports/%252e%252e/s.duckdb", "/reports/.written.json",
        "/reports/s.duckdb", "/reports//etc/passwd", "/reports/month-2026-10.html%00", "/reports/day-2026-10-06.html.part",
        "/static/../board.py", "/static/..%2fboard.py", "/static//etc/passwd", "/alerts/..%2f..%2fx", "/holds/../reports", "/./",
        "/month?month=../../s.duckdb", "/month?month=2026-10.html%00", f"/month?month={SCRIPT}",
    ],
)  # fmt: skip
def test_no_address_leads_out_of_its_folder(service: Service, path: str) -> None:
    status, said = asked(service, "GET", path, accept="text/html")
    assert status in (400, 404) and SCRIPT not in said and "DUCK" not in said and "root:" not in said


@pytest.mark.parametrize("screen", [one for one in SCREENS if "{" not in one])
def test_no_query_becomes_markup_or_breaks_a_screen(service: Service, screen: str) -> None:
    for name in ("kettle", "line", "hold", "month", "next", "x"):
        status, page = asked(service, "GET", f"{screen}?{name}={parse.quote(SCRIPT)}", accept="text/html")
        assert status in (200, 404) and SCRIPT not in page


@pytest.mark.parametrize("target", ["evil.example", "127.0.0.1.evil.example", "10.0.0.1"])
def test_a_foreign_name_of_this_machine_is_not_answered(service: Service, target: str) -> None:
    for path in ("/", "/health", "/static/board.js", "/live", "/alerts.json"):
        assert asked(service, "GET", path, host=target)[0] == 421
