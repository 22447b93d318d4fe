"""The board as a web application: which address shows what. What stands on a screen is worked out in `models.floor`."""

from __future__ import annotations

import hmac
import json
from collections.abc import AsyncIterator, Callable
from contextlib import asynccontextmanager
from typing import TYPE_CHECKING, Any

from starlette.applications import Starlette
from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import JSONResponse, PlainTextResponse, Response, StreamingResponse
from starlette.routing import Mount, Route
from starlette.staticfiles import StaticFiles

from flows import handing
from flows.door import signing
from flows.floor import acts, health, screens
from reports import board

if TYPE_CHECKING:
    from flows.door.arriving import Receive, Scope
    from flows.door.replying import Send
    from flows.floor.floor import Floor

Show = Callable[["Floor", Request], str]
Do = Callable[["Floor", Request], Any]


def app(floor: Floor, *, loopback_only: bool) -> HandOver:
    """The application, behind its guard. Raises PeopleFileError where others are served and there are no people."""

    @asynccontextmanager
    async def lifespan(_: Starlette) -> AsyncIterator[None]:
        floor.hub.open()
        yield

    shown = [Route(path, _page(floor, show)) for path, show in screens.SCREENS.items()]
    done = [Route(path, _act(floor, do), methods=["POST"]) for path, do in acts.ACTS.items()]
    inner = Starlette(
        routes=[
            Route("/live", _live(floor)),
            Route("/health", _health(floor)),
            Route("/alerts.json", _alerts(floor)),
            Route("/reports/{name}", _report(floor)),
            Mount("/static", StaticFiles(directory=board.STATIC)),
            *done,
            *shown,
        ],
        lifespan=lifespan,
        exception_handlers={HTTPException: _refused},  # type: ignore[dict-item]
    )
    return HandOver(signing.guard(inner, floor.people, loopback_only=loopback_only), floor)


def _page(floor: Floor, show: Show) -> Callable[[Request], Response]:
    def endpoint(request: Request) -> Response:
        return Response(show(floor, request), media_type="text/html")

    return endpoint


def _act(floor: Floor, do: Do) -> Callable[[Request], Any]:
    async def endpoint(request: Request) -> Response:
        return await run_in_threadpool(do, floor, request)

    return endpoint


def _live(floor: Floor) -> Callable[[Request], Any]:
    async def endpoint(request: Request) -> Response:
        return StreamingResponse(floor.hub.stream(floor.name), media_type="text/event-stream")

    return endpoint


def _health(floor: Floor) -> Callable[[Request], Response]:
    def endpoint(request: Request) -> Response:
        found = health.health(floor)
        return JSONResponse(found, 200 if found["status"] == "runs" else 503)

    return endpoint


def _alerts(floor: Floor) -> Callable[[Request], Response]:
    def endpoint(request: Request) -> Response:
        from models.alarms.alerts import to_json

        view = floor.view
        return JSONResponse([to_json(alert, view.plant) for alert in view.alerts])

    return endpoint


def _report(floor: Floor) -> Callable[[Request], Response]:
    def endpoint(request: Request) -> Response:
        return screens.report(floor, request)

    return endpoint


async def _refused(request: Request, why: HTTPException) -> Response:
    """One line for a script; a page that says it for a person."""
    if "text/html" in request.headers.get("accept", ""):
        return Response(await run_in_threadpool(screens.refused, request, why), why.status_code, media_type="text/html")
    return PlainTextResponse(f"{why.detail}\n", why.status_code)


class HandOver:
    """Takes work handed over by `loaftrace run` of the same account, before the guard: the key beside the store is its pass."""

    def __init__(self, inner: Starlette, floor: Floor) -> None:
        self._inner, self._floor = inner, floor

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http" or scope["path"] != handing.ADDRESS:
            await self._inner(scope, receive, send)
            return
        answer = await self._answer(Request(scope, receive))
        await answer(scope, receive, send)

    async def _answer(self, request: Request) -> Response:
        given = request.headers.get(handing.HEADER, "")
        if request.method != "POST" or not hmac.compare_digest(given.encode(), self._floor.key.encode()):
            return PlainTextResponse("this address is for programs of the account that runs the service\n", 403)
        try:
            asked = json.loads(await _short_body(request))
            files = await run_in_threadpool(acts.pull, self._floor, str(asked["logs"]))
        except (ValueError, KeyError, TypeError):
            return PlainTextResponse("which folder of logs? nothing was taken\n", 400)
        except Exception as error:
            return PlainTextResponse(" ".join(str(error).split()) + "\n", 503)
        return JSONResponse({"files": files, "out": str(self._floor.job.out.resolve())})


async def _short_body(request: Request) -> bytes:
    body = b""
    async for part in request.stream():
        body += part
        if len(body) > 65536:
            raise ValueError("too long")
    return body
