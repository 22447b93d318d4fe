"""The guard, attacked over real sockets: forged forms, foreign hosts, tricks in paths, huge posts, roles, guessed passphrases."""

from __future__ import annotations

import asyncio
import base64
import logging
import re
import socket
import threading
import time
from collections import Counter
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path

import httpx
import pytest
import uvicorn
from starlette.applications import Starlette
from starlette.requests import Request
from starlette.responses import HTMLResponse, PlainTextResponse, StreamingResponse
from starlette.routing import Route

from flows.door import arriving, attempts, sessions
from flows.door.signing import Guard, form, form_token, guard, nonce, requires, signature, who
from models import passphrases, people, peoplefile
from models.people import People, PeopleFileError

WORDS = {
    "MK": "quality oven mitts",
    "TS": "supervising mitts",
    "tablet-k1": "kettle side tablet",
    "wall": "a board on a wall",
}
KEY = base64.b64encode(b"k" * 32).decode()
HTML = {"accept": "text/html"}


def _text() -> str:
    kept = {name: passphrases.hashed(words, cost=2**4) for name, words in WORDS.items()}
    return f"""
[sign_in]
key = "{KEY}"
[people.MK]
role = "QA"
passphrase = "{kept["MK"]}"
ways = ["json://localhost/way-secret"]
[people.TS]
role = "supervisor"
passphrase = "{kept["TS"]}"
[people.JL]
role = "floor"
[devices.tablet-k1]
passphrase = "{kept["tablet-k1"]}"
[devices.wall]
role = "supervisor"
passphrase = "{kept["wall"]}"
"""


@pytest.fixture(scope="module")
def text() -> str:
    return _text()


@pytest.fixture(scope="module")
def staff(text: str) -> People:
    return people.parse(text)


def _app() -> Starlette:
    done: list[str] = []

    def home(request: Request) -> HTMLResponse:
        return HTMLResponse(f'<input name="form_token" value="{form_token(request)}"><p>{who(request).initials}</p>')

    def act(role: people.Role) -> Callable[[Request], PlainTextResponse]:
        def endpoint(request: Request) -> PlainTextResponse:
            requires(role)(request)
            done.append(f"{role} by {signature(request, form(request).get('by', ''))}")
            return PlainTextResponse(done[-1])

        return endpoint

    async def stream(request: Request) -> StreamingResponse:
        async def ticks():
            for number in range(3):
                yield f"data: {number}\n\n"
                await asyncio.sleep(0.01)

        return StreamingResponse(ticks(), media_type="text/event-stream")

    async def echo(request: Request) -> PlainTextResponse:
        return PlainTextResponse(f"{len(await request.body())} {nonce(request) != ''}")

    def broken(request: Request) -> PlainTextResponse:
        raise RuntimeError("a secret in an error: way-secret")

    def file(request: Request) -> PlainTextResponse:
        return PlainTextResponse("body{}", headers={"cache-control": "max-age=60"})

    app = Starlette(
        routes=[
            Route("/", home),
            Route("/floor", act("floor"), methods=["POST"]),
            Route("/hold", act("supervisor"), methods=["POST"]),
            Route("/release", act("QA"), methods=["POST"]),
            Route("/month", act("manager"), methods=["POST"]),
            Route("/stream", stream),
            Route("/echo", echo, methods=["POST"]),
            Route("/broken", broken),
            Route("/health", lambda request: PlainTextResponse("ok")),
            Route("/static/{name}", file),
        ]
    )
    app.state.done = done
    return app


@contextmanager
def served(app: Starlette) -> Iterator[str]:
    """The app on a port of this machine."""
    door = socket.create_server(("127.0.0.1", 0))
    server = uvicorn.Server(uvicorn.Config(app, log_config=None, ws="none", lifespan="off"))
    thread = threading.Thread(target=lambda: asyncio.run(server.serve(sockets=[door])), daemon=True)
    thread.start()
    for _ in range(500):
        if server.started:
            break
        time.sleep(0.01)
    try:
        yield f"http://127.0.0.1:{door.getsockname()[1]}"
    finally:
        server.should_exit = True
        thread.join(10)
        door.close()


@pytest.fixture(scope="module")
def signed(staff: People) -> Iterator[str]:
    with served(guard(_app(), staff, loopback_only=False)) as base:
        yield base


@pytest.fixture(scope="module")
def alone() -> Iterator[str]:
    with served(guard(_app(), None, loopback_only=True)) as base:
        yield base


class Browser(httpx.Client):
    """Keeps cookies and sends the token of the last page, as a browser does."""

    def token(self, page: str = "/sign-in") -> str:
        found = re.search(r'name="form_token" value="([^"]+)"', self.get(page, headers=HTML).text)
        assert found
        return found.group(1)

    def submit(self, path: str, page: str = "/sign-in", **fields: str) -> httpx.Response:
        return self.post(path, data={"form_token": self.token(page), **fields})

    def sign_in(self, name: str) -> Browser:
        done = self.submit("/sign-in", name=name, passphrase=WORDS[name])
        assert done.status_code == 303, done.text
        return self


@contextmanager
def browser(base: str) -> Iterator[Browser]:
    with Browser(base_url=base, trust_env=False, timeout=20) as one:
        yield one


def test_others_are_not_served_without_people():
    with pytest.raises(PeopleFileError, match="only this machine"):
        guard(_app(), None, loopback_only=False)


def test_a_page_without_a_guard_serves_nobody():
    with pytest.raises(RuntimeError, match="no guard"):
        who(Request({"type": "http", "headers": []}))


def test_alone_no_passphrase_is_asked_for_but_initials_are(alone: str):
    with browser(alone) as one:
        token = one.token("/")
        assert one.post("/release", data={"form_token": token}).status_code == 422
        assert one.post("/release", data={"form_token": token, "by": "<script>"}).status_code == 422
        assert one.post("/release", data={"form_token": token, "by": "MK"}).text == "QA by MK"
        assert one.submit("/who", "/who", initials="JL").status_code == 303
        assert one.submit("/floor", "/").text == "floor by JL"


@pytest.mark.parametrize(
    "host", ["evil.example", "127.0.0.1.evil.example", "localhost@evil.example", "10.0.0.1", "[", ""]
)
def test_alone_no_other_name_is_answered(alone: str, host: str):
    """A foreign page whose name was pointed at this machine still sends its own name."""
    with browser(alone) as one:
        assert one.get("/", headers={"host": host}).status_code == 421


def test_nobody_sees_anything_before_signing_in(signed: str):
    with browser(signed) as one:
        asked = one.get("/?line=L1", headers=HTML)
        assert (asked.status_code, asked.headers["location"]) == (303, "/sign-in?next=%2F%3Fline%3DL1")
        assert one.get("/", headers={"accept": "application/json"}).status_code == 401
        assert one.get("/stream").status_code == 401
        assert one.get("/health").text == "ok" and one.get("/static/x.css").status_code == 200
        assert one.submit("/floor").status_code == 401
        # what is drawn by lot may hold any two letters
        page = re.sub(r'(value|nonce)="[\w-]{20,}"', "", one.get("/sign-in").text)
        assert not [name for name in ("MK", "TS", "JL") if name in page], "who works here is not told to strangers"


def test_a_device_signs_in_and_a_person_taps(signed: str):
    with browser(signed) as one:
        one.sign_in("tablet-k1")
        assert one.submit("/floor", "/").status_code == 403, "an entry of nobody"
        assert one.submit("/who", "/who", initials="JL", next="/kettle?k=K1").headers["location"] == "/kettle?k=K1"
        assert one.submit("/floor", "/").text == "floor by JL"
        assert "floor by EVE" not in one.submit("/floor", "/", by="EVE").text, "a form cannot say whose entry it is"
        assert one.submit("/who", "/who", initials="").status_code == 303
        assert one.submit("/floor", "/").status_code == 403
        assert one.submit("/who", "/who", initials="<script>alert(1)</script>").status_code == 422
        assert one.submit("/who", "/who", initials="ZZ").status_code == 422


def test_initials_chosen_in_a_form_are_as_good_as_tapped_and_no_better(signed: str):
    with browser(signed) as one:
        one.sign_in("tablet-k1")
        assert one.submit("/floor", "/", by="ZZ").status_code == 403, "initials that nobody has"
        assert one.submit("/release", "/", by="MK").status_code == 403, "the device may no more than the floor"
        one.submit("/who", "/who", initials="")
        assert one.submit("/floor", "/", by="JL").text == "floor by JL"
    with browser(signed) as one:
        assert one.submit("/floor", by="MK").status_code == 401, "nobody is signed in"


def test_a_form_that_was_not_recorded_leads_back_to_what_was_typed(signed: str):
    there = {**HTML, "referer": f"{signed}/kettle?kettle=K1"}
    with browser(signed) as one:
        out = one.post("/floor", data={"form_token": one.token("/sign-in")}, headers=there)
        assert out.status_code == 401 and "Nobody is signed in here any more" in out.text
        assert 'href="/sign-in?next=/kettle%3Fkettle%3DK1"' in out.text and "data-unrecorded" in out.text
        one.sign_in("MK")
        old = one.post("/floor", data={"form_token": "old"}, headers=there)
        assert old.status_code == 403 and 'href="/kettle?kettle=K1"' in old.text and "from before a sign-in" in old.text
        huge = one.post("/floor", data={"note": "x" * 70_000}, headers=there)
        assert huge.status_code == 413 and huge.headers["connection"] == "close" and "data-unrecorded" in huge.text
        for elsewhere in ("https://evil.example/x", f"{signed}//evil.example", "javascript:alert(1)", "http://[", ""):
            page = one.post("/floor", data={"form_token": "old"}, headers={**HTML, "referer": elsewhere}).text
            assert re.findall(r'href="([^"]*)"', page) == ["/"], elsewhere
        assert one.post("/floor", data={"form_token": "old"}).text.count("\n") == 1, "a script is told in one line"


def test_who_signed_in_finds_the_way_out(signed: str):
    with browser(signed) as one:
        page = one.sign_in("MK").get("/who?next=/holds", headers=HTML).text
        assert "signed in as MK" in page and 'action="/sign-out"' in page and 'href="/holds"' in page
        assert one.submit("/sign-out", "/who").headers["location"] == "/"
        assert one.get("/who", headers=HTML).headers["location"].startswith("/sign-in")


def test_tapping_gives_no_more_than_the_device(signed: str):
    with browser(signed) as one:
        one.sign_in("tablet-k1").submit("/who", "/who", initials="MK")
        refused = one.submit("/release", "/")
        assert refused.status_code == 403 and "sign in with your own passphrase" in refused.text
        assert one.submit("/hold", "/").status_code == 403
        one.sign_in("MK")
        assert one.submit("/release", "/").text == "QA by MK"
        assert one.submit("/sign-out", "/").status_code == 303
        assert one.submit("/release", "/").status_code == 403, "the tablet stays, the person is gone"
        assert one.submit("/sign-out", "/").status_code == 303
        assert one.get("/").status_code == 401
    with browser(signed) as one:
        one.sign_in("wall").submit("/who", "/who", initials="MK")
        assert one.submit("/hold", "/").text == "supervisor by MK"
        assert one.submit("/release", "/").status_code == 403
        one.submit("/who", "/who", initials="JL")
        assert one.submit("/hold", "/").status_code == 403


def test_only_qa_releases(signed: str):
    with browser(signed) as one:
        one.sign_in("TS")
        assert one.submit("/hold", "/").text == "supervisor by TS"
        refused = one.submit("/release", "/")
        assert refused.status_code == 403 and "needs the role QA" in refused.text
        assert one.submit("/month", "/").status_code == 403
        assert one.submit("/who", "/", initials="MK").status_code == 403, "who signed in is no other by tapping"


def test_a_forged_form_does_nothing(signed: str):
    with browser(signed) as one, browser(signed) as other:
        one.sign_in("MK")
        other.sign_in("TS")
        token, foreign = one.token("/"), other.token("/")
        tries = [
            {"data": {}},
            {"data": {"form_token": ""}},
            {"data": {"form_token": foreign}},
            {"data": {"form_token": token + "x"}},
            {"data": {"form_token": "é"}},
            {"json": {"form_token": token}},
            {"content": f"form_token={token}", "headers": {"content-type": "text/plain"}},
            {"files": {"form_token": (None, token)}},
            {"data": {"form_token": token}, "headers": {"origin": "https://evil.example"}},
            {"data": {"form_token": token}, "headers": {"origin": "null"}},
            {"data": {"form_token": token}, "headers": {"sec-fetch-site": "cross-site"}},
            {"data": {"form_token": token}, "headers": {"sec-fetch-site": "same-site"}},
            {
                "content": f"form_token={token}&" + "a=1&" * 300,
                "headers": {"content-type": "application/x-www-form-urlencoded"},
            },
            {"content": b"form_token=\xff", "headers": {"content-type": "application/x-www-form-urlencoded"}},
        ]
        for number, attempt in enumerate(tries):
            done = one.post("/release", **attempt)
            assert done.status_code in {400, 403}, (number, done.text)
            assert done.text.count("\n") == 1
        assert one.get("/release").status_code == 405
        assert one.request("TRACE", "/").status_code == 405
        assert one.post("/release", data={"form_token": token}).text == "QA by MK"
        assert one.post("/release", headers={"x-form-token": token, "origin": signed}, json={"a": 1}).text == "QA by MK"


def test_a_sign_in_starts_a_new_session(signed: str):
    """A session foisted on somebody before the sign-in is of no use after it."""
    with browser(signed) as one:
        before = one.token()
        cookie = one.cookies["loaftrace"]
        one.sign_in("MK")
        assert one.cookies["loaftrace"] != cookie
        assert one.post("/release", data={"form_token": before}).status_code == 403
        with browser(signed) as old:
            old.cookies.set("loaftrace", cookie)
            assert old.get("/").status_code == 401


@pytest.mark.parametrize(
    "spoilt",
    [
        lambda value: "",
        lambda value: value[:-2] + ("A" if value[-2] != "A" else "B") + value[-1],
        lambda value: value.partition(".")[0] + ".",
        lambda value: base64.urlsafe_b64encode(b'{"person":"MK"}').decode() + "." + value.partition(".")[2],
        lambda value: "x" * 3000,
        lambda value: "." + value,
    ],
)
def test_a_spoilt_cookie_is_nobody(signed: str, spoilt: Callable[[str], str]):
    with browser(signed) as one:
        one.sign_in("MK")
        value = one.cookies["loaftrace"]
        with browser(signed) as thief:
            thief.headers["cookie"] = f"loaftrace={spoilt(value)}"
            assert thief.get("/").status_code == 401
            thief.headers["cookie"] = f"loaftrace={value}"
            assert thief.get("/").status_code == 200, "the unspoilt one is somebody, so this test can fail"


def test_the_cookie_is_for_this_board_alone(signed: str):
    with browser(signed) as one:
        said = one.submit("/sign-in", name="MK", passphrase=WORDS["MK"]).headers["set-cookie"]
        assert {"HttpOnly", "SameSite=Strict", "Path=/"} <= set(said.split("; "))
        assert "Secure" not in said, "over plain HTTP such a cookie would be lost"


def test_who_left_or_changed_the_passphrase_is_out(text: str, tmp_path: Path):
    path = tmp_path / "people.toml"
    peoplefile.write(path, text)
    with (
        served(guard(_app(), people.watched(path), loopback_only=False)) as base,
        browser(base) as one,
        browser(base) as two,
    ):
        one.sign_in("MK")
        two.sign_in("TS")
        assert one.get("/").status_code == two.get("/").status_code == 200
        peoplefile.write(path, peoplefile.removed(text, "MK"))
        assert (one.get("/").status_code, two.get("/").status_code) == (401, 200)
        old = people.parse(text).people["TS"].passphrase
        assert old is not None
        new = passphrases.hashed("other mitts now", cost=2**4)
        peoplefile.write(path, text.replace(old.get_secret_value(), new))
        assert two.get("/").status_code == 401


def test_sessions_end(staff: People):
    began = 1_000_000.0
    own = sessions.signed_in(sessions.Session(), staff, "MK", began)
    at_wall = sessions.signed_in(sessions.signed_in(sessions.Session(), staff, "wall", began), staff, "MK", began)
    tapped = sessions.tapped(sessions.signed_in(sessions.Session(), staff, "wall", began), "JL", began)

    def after(session: sessions.Session, hours: float) -> str | None:
        person = sessions.person_of(session, staff, began + hours * 3600)
        return None if person is None else person.initials

    assert [after(own, hours) for hours in (0, 11.9, 12.1)] == ["MK", "MK", None]
    assert [after(at_wall, hours) for hours in (0, 0.2, 0.3)] == ["MK", "MK", ""], "a shared device forgets soon"
    assert [after(tapped, hours) for hours in (0, 11.9, 12.1, 24 * 91)] == ["JL", "JL", "", None]
    assert after(replace(own, person_at=began + 9e9), 0) is None, "a session from the future"


def test_guessing_is_slowed_then_stopped(staff: People, caplog: pytest.LogCaptureFixture):
    with served(guard(_app(), staff, loopback_only=False)) as base, browser(base) as one:
        with caplog.at_level(logging.DEBUG):
            wrong = [one.submit("/sign-in", name="MK", passphrase=f"guess-{n}").status_code for n in range(5)]
            stopped = one.submit("/sign-in", name="MK", passphrase=WORDS["MK"])
        assert wrong == [401] * 5
        assert stopped.status_code == 429 and 0 < int(stopped.headers["retry-after"]) <= 901
        assert "Too many wrong passphrases" in stopped.text
        assert one.get("/").status_code == 401
        assert one.submit("/sign-in", name="TS", passphrase=WORDS["TS"]).status_code == 303, "others still get in"
        said = " ".join(record.getMessage() for record in caplog.records if record.name.startswith("loaftrace"))
        assert "too many wrong passphrases" in said
        assert not [words for words in (*WORDS.values(), "guess-", "MK") if words in said]


def test_wrong_name_and_wrong_passphrase_look_alike(staff: People):
    with served(guard(_app(), staff, loopback_only=False)) as base, browser(base) as one:
        pages = [
            one.submit("/sign-in", name=name, passphrase="not this one").text for name in ("MK", "ZZ", "<b>x</b>", "JL")
        ]
        plain = {re.sub(r'(nonce|value)="[^"]*"', "", page) for page in pages}
        assert len(plain) == 1
        assert "<b>x" not in pages[2]


def test_attempts_are_counted_by_name_and_by_address():
    clock = [0.0]
    tried = attempts.Attempts(lambda: clock[0])
    assert [tried.wait("MK", "10.0.0.1") for _ in range(5)] == [0.0] * 5
    assert tried.wait("MK", "10.0.0.1") == attempts.WINDOW
    assert tried.wait("MK", "10.0.0.2") == 0.0, "another tablet is not locked out with it"
    clock[0] = attempts.WINDOW + 1
    assert tried.wait("MK", "10.0.0.1") == 0.0
    spraying = [tried.wait(f"N{n}", "10.0.0.9") for n in range(attempts.OF_ADDRESS + 1)]
    assert spraying[:-1] == [0.0] * attempts.OF_ADDRESS and spraying[-1] > 0
    many = [tried.wait("TS", f"10.1.0.{n}") for n in range(attempts.OF_NAME + 1)]
    assert many[:-1] == [0.0] * attempts.OF_NAME and many[-1] > 0
    for n in range(attempts.MOST_KEPT + 50):
        tried.wait(f"X{n}", f"h{n}")
    assert len(tried._tries) <= attempts.MOST_KEPT
    fresh = attempts.Attempts(lambda: 0.0)
    for _ in range(200):
        assert fresh.wait("MK", "10.0.0.1") == 0.0, "who types it right is never stopped"
        fresh.succeeded("MK", "10.0.0.1")


def test_very_many_sign_ins_at_once_are_few_derivations(staff: People, monkeypatch: pytest.MonkeyPatch):
    """Sixty guesses of one name at once count as sixty: five are derived, never more than two together, and the board answers."""
    running: list[int] = []
    together = threading.Lock()
    peaks: list[int] = []

    def slow(given: str, kept: str | None) -> bool:
        with together:
            running.append(1)
            peaks.append(len(running))
        time.sleep(0.05)
        with together:
            running.pop()
        return False

    monkeypatch.setattr("flows.door.answering.passphrases.right", slow)
    with served(guard(_app(), staff, loopback_only=False)) as base, browser(base) as one:
        token = one.token("/sign-in")
        fields = {"form_token": token, "name": "MK", "passphrase": "guess"}

        def guess(_: int) -> int:
            cookies = {"loaftrace": one.cookies["loaftrace"]}
            return httpx.post(f"{base}/sign-in", data=fields, cookies=cookies, timeout=30, trust_env=False).status_code

        with ThreadPoolExecutor(60) as many:
            answers = many.map(guess, range(60))
            assert one.get("/health").text == "ok"
            found = Counter(answers)
    assert found == {401: attempts.OF_BOTH, 429: 60 - attempts.OF_BOTH}
    assert len(peaks) == attempts.OF_BOTH and max(peaks) <= 2


@pytest.mark.parametrize(
    "where",
    ["//evil.example/", "https://evil.example", "/\\evil.example", "javascript:alert(1)", "/a\r\nset-cookie: x=1", ""],
)
def test_a_sign_in_leads_nowhere_else(signed: str, where: str):
    with browser(signed) as one:
        done = one.submit("/sign-in", name="MK", passphrase=WORDS["MK"], next=where)
        assert (done.status_code, done.headers["location"]) == (303, "/")
        assert "x" not in one.cookies


def test_what_stands_in_an_address_is_no_markup(signed: str):
    with browser(signed) as one:
        page = one.get("/sign-in", params={"next": '/"><script>alert(1)</script>'}).text
        assert "<script" not in page
        assert one.get('/<script>alert(1)</script>?"><script>', headers=HTML).status_code == 303


def _raw(base: str, request: bytes) -> bytes:
    with socket.create_connection(("127.0.0.1", int(base.rpartition(":")[2])), timeout=10) as line:
        line.sendall(request)
        line.settimeout(10)
        return line.recv(65536)


@pytest.mark.parametrize(
    "path",
    [
        "/static/../release", "/static/%2e%2e/release", "/static/..%2frelease", "/static/%2e%2e%2frelease", "//release",
        "/static/%252e%252e/release", "/static/..%5crelease", "/health/../", "/static/%00", "/./", "/static/%0d%0aX: 1",
    ],
)  # fmt: skip
def test_tricks_in_a_path_lead_nowhere(signed: str, path: str):
    answer = _raw(signed, f"GET {path} HTTP/1.1\r\nHost: x\r\nConnection: close\r\n\r\n".encode())
    assert answer.split(b" ", 2)[1] == b"400", answer[:200]


def test_a_huge_post_is_refused_before_it_is_read(signed: str):
    head = f"POST /echo HTTP/1.1\r\nHost: x\r\nContent-Length: {10**11}\r\n\r\n".encode()
    assert b" 413 " in _raw(signed, head)[:20]
    chunk = b"10000\r\n" + b"x" * 0x10000 + b"\r\n"
    chunked = b"POST /echo HTTP/1.1\r\nHost: x\r\nTransfer-Encoding: chunked\r\n\r\n" + chunk * 2 + b"0\r\n\r\n"
    assert b" 413 " in _raw(signed, chunked)[:20]
    with browser(signed) as one:
        one.sign_in("MK")
        headers = {"x-form-token": one.token("/")}
        assert one.post("/echo", content=b"x" * arriving.LARGEST_BODY, headers=headers).text == "65536 True"
        assert one.post("/echo", content=b"x" * (arriving.LARGEST_BODY + 1), headers=headers).status_code == 413


def test_a_post_that_dawdles_is_dropped(signed: str, monkeypatch: pytest.MonkeyPatch):
    monkeypatch.setattr(arriving, "BODY_WITHIN_S", 0.2)
    answer = _raw(signed, b"POST /echo HTTP/1.1\r\nHost: x\r\nContent-Length: 100\r\n\r\nabc")
    assert b" 408 " in answer[:20]


def test_every_answer_carries_its_headers(signed: str):
    with browser(signed) as one:
        answers = [
            one.get("/sign-in"),
            one.get("/health"),
            one.get("/nowhere"),
            one.post("/hold"),
            one.get("/static/x.css"),
        ]
        one.sign_in("MK")
        answers += [one.get("/"), one.get("/broken"), one.get("/stream"), one.get("/nowhere")]
    assert [answer.status_code for answer in answers] == [200, 200, 401, 403, 200, 200, 500, 200, 404]
    for answer in answers:
        policy = answer.headers["content-security-policy"]
        assert "default-src 'none'" in policy and "frame-ancestors 'none'" in policy
        assert "unsafe" not in policy and "*" not in policy
        assert answer.headers["x-content-type-options"] == "nosniff"
        assert answer.headers["referrer-policy"] == "same-origin"
    kept = [answer.headers["cache-control"] for answer in answers]
    assert kept == ["no-store"] * 4 + ["max-age=60"] + ["no-store"] * 4
    assert "way-secret" not in answers[6].text, "an error tells no inside"
    assert answers[7].text.count("data:") == 3, "a stream passes whole"


def test_a_nonce_is_used_once(signed: str):
    with browser(signed) as one:
        first, second = one.get("/sign-in"), one.get("/sign-in")
        nonces = [
            re.findall(r"'nonce-([^']+)'", page.headers["content-security-policy"])[0] for page in (first, second)
        ]
        assert nonces[0] != nonces[1]
        assert f'nonce="{nonces[0]}"' in first.text and "<script" not in first.text and "style=" not in first.text


@pytest.mark.parametrize(
    ("origin", "signed_in", "let_in"),
    [
        ("http://board", True, True),
        ("http://evil.example", True, False),
        ("", True, False),
        ("http://board", False, False),
    ],
)
def test_a_socket_of_a_foreign_page_or_of_nobody_is_closed(staff: People, origin: str, signed_in: bool, let_in: bool):
    """A browser sends cookies with a socket whatever page opened it; only the origin tells."""
    reached: list[str] = []
    sent: list[dict] = []

    async def inner(scope, receive, send) -> None:
        reached.append(scope["path"])

    async def receive() -> dict:
        return {"type": "websocket.connect"}

    async def send(message) -> None:
        sent.append(message)

    session = sessions.signed_in(sessions.Session(), staff, "MK", time.time()) if signed_in else sessions.Session()
    cookie = f"loaftrace={sessions.sealed(session, staff.key())}"
    headers = [(b"host", b"board"), (b"origin", origin.encode()), (b"cookie", cookie.encode())]
    before = Guard(inner, staff, False, arriving.LARGEST_BODY, (), b"")
    asyncio.run(before({"type": "websocket", "path": "/live", "headers": headers}, receive, send))
    assert bool(reached) is let_in
    assert sent == ([] if let_in else [{"type": "websocket.close", "code": 1008}])


def test_no_secret_is_on_a_page(signed: str, staff: People):
    with browser(signed) as one:
        one.sign_in("tablet-k1")
        pages = [one.get(path, headers=HTML) for path in ("/", "/who", "/sign-in", "/nowhere", "/broken")]
    said = " ".join(f"{page.text} {page.headers}" for page in pages)
    kept = [one.passphrase.get_secret_value() for one in staff.people.values() if one.passphrase]
    assert not [secret for secret in (*kept, KEY, "way-secret", *WORDS.values()) if secret in said]
