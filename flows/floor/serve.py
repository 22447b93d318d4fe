"""`loaftrace serve`: one command, one service. What is wrong is said before anything starts."""

from __future__ import annotations

import argparse
import ipaddress
import logging
import os
import signal
import socket
import sys
from logging.handlers import RotatingFileHandler
from pathlib import Path
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from collections.abc import Callable

    from flows.floor.floor import Floor
    from flows.job import Job
    from models.people import People

PORT = 8750
LOG_BYTES, LOGS_KEPT = 5_000_000, 5
LEAST_FREE_BYTES = 200_000_000
log = logging.getLogger("loaftrace")


class ServeError(RuntimeError):
    """The service cannot start. `str()` is one line."""


class WrongOptionError(ServeError):
    """The service was told what it cannot do anywhere: the command is wrong. `str()` is one line."""


def add_parser(commands: Any) -> None:
    """Add the command and its options."""
    parser = commands.add_parser("serve", help="watch a folder and serve the board, until stopped")
    option = parser.add_argument
    option("--plant", type=Path, required=True, metavar="FILE", help="the plant file")
    option("--drop", type=Path, required=True, metavar="DIR", help="folder that shift logs are dropped in")
    option("--store", type=Path, required=True, metavar="FILE", help="the store; made where there is none")
    option("--out", type=Path, required=True, metavar="DIR", help="folder for the reports")
    option("--port", type=int, default=PORT, help=f"where the board is served ({PORT})")
    option("--host", default="127.0.0.1", help="address to serve on (127.0.0.1: this machine alone)")
    option("--people", type=Path, metavar="FILE", help="the people file; without one only this machine is served")
    option("--no-prefect", action="store_true", help="no Prefect server, no schedules, no record of runs there")
    option("--check", action="store_true", help="say what is wrong, or that all is well, and end")


def serve(args: argparse.Namespace) -> int:
    """Check, start, serve until stopped."""
    job = checked_job(args)
    people = checked_people(args, job)
    with listening(args.host, args.port) as ear:
        if args.check:
            _all_reached(people)
            print(f"All is well: the board would be served at {address_of(args.host, ear)}")
            return 0
        return _serve(args, job, people, ear)


def checked_job(args: argparse.Namespace) -> Job:
    """What the service is told, checked. Raises one line for what is wrong."""
    import shutil

    from flows.job import read_job
    from models.storage import owned, store

    job = read_job(args.plant, args.drop, args.store, args.out)
    owned.refuse_if_served(args.store)
    for folder in (args.store.parent, args.out):
        folder.mkdir(parents=True, exist_ok=True)
        if not os.access(folder, os.W_OK):
            raise ServeError(f"{folder}: cannot be written to; give the account that runs this the right to")
        if shutil.disk_usage(folder).free < LEAST_FREE_BYTES:
            raise ServeError(f"{folder}: less than {LEAST_FREE_BYTES // 1_000_000} MB are free on this disk; make room")
    if args.store.exists():  # a check makes none
        store.open_for_writing(args.store, wait_s=5).close()
    return job


def checked_people(args: argparse.Namespace, job: Job) -> Callable[[], People] | None:
    """The people, read anew when their file changes; None where only this machine is served."""
    from models import people

    if args.people is None:
        if not _is_loopback(args.host):
            raise WrongOptionError(
                f"--host {args.host}: others are served only with people; `loaftrace person add` begins their file, --people names it"
            )
        return None
    people.load(args.people).fits(job.plant)
    return people.watched(args.people, log.error)


def _all_reached(people: Callable[[], People] | None) -> None:
    """Raises ServeError for addresses that no message can be sent to. A check says so; the service itself starts all the same."""
    from flows.telling import notifying

    wrong = notifying.wrong_ways(people()) if people else []
    if wrong:
        raise ServeError(f"{wrong[0]}{f' (and {len(wrong) - 1} more)' if len(wrong) > 1 else ''}")


def listening(host: str, port: int) -> socket.socket:
    """The socket of the board. Raises ServeError where the port is taken or the address is not this machine's."""
    if not 0 < port < 65536:
        raise WrongOptionError(f"--port {port}: is no port; it may be one from 1024 to 65535")
    try:
        found = socket.getaddrinfo(host, port, type=socket.SOCK_STREAM)[0]
        ear = socket.socket(found[0], socket.SOCK_STREAM)
    except (OSError, OverflowError) as error:
        raise WrongOptionError(f"--host {host} --port {port}: {error}; this machine has no such address") from None
    if os.name == "posix":
        ear.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        ear.bind(found[4])
    except (OSError, OverflowError) as error:
        ear.close()
        raise ServeError(
            f"--port {port}: cannot be used ({error}); another program has it, or it needs more rights: choose another with --port"
        ) from None
    return ear


def address_of(host: str, ear: socket.socket) -> str:
    """Where the board is reached from this machine."""
    port = ear.getsockname()[1]
    name = "127.0.0.1" if _is_any(host) else host
    return f"http://[{name}]:{port}" if ":" in name else f"http://{name}:{port}"


def _is_any(host: str) -> bool:
    try:
        return ipaddress.ip_address(host).is_unspecified
    except ValueError:
        return False


def _is_loopback(host: str) -> bool:
    try:
        return ipaddress.ip_address(host).is_loopback
    except ValueError:
        return host == "localhost"


def _serve(args: argparse.Namespace, job: Job, people: Callable[[], People] | None, ear: socket.socket) -> int:
    from flows.floor.clerk import Clerk
    from flows.floor.floor import Floor
    from models.storage import owned

    _log_to(args.store)
    places = [str(path) for path in (args.plant, args.drop, args.store, args.out)]
    clerk = Clerk(["flows.floor.records", *places, *([] if args.no_prefect else ["--prefect"])])
    floor = Floor(job, people, clerk)
    address = address_of(args.host, ear)
    claim = owned.claim(args.store, owned.Owner(os.getpid(), address, floor.key))
    try:
        log.info("taking in what lies in %s", args.drop)
        floor.begin()
        clerk.start()
        print(f"loaftrace: the board is served at {address}", file=sys.stderr, flush=True)
        log.info("the board is served at %s", address)
        _until_stopped(floor, ear, loopback_only=_is_loopback(args.host))
    finally:
        floor.stop()
        claim.release()
        log.info("stopped")
    return 0


def _until_stopped(floor: Floor, ear: socket.socket, loopback_only: bool) -> None:
    import uvicorn

    from flows.floor.app import app

    config = uvicorn.Config(
        app(floor, loopback_only=loopback_only),
        log_config=None,
        access_log=False,
        server_header=False,
        timeout_graceful_shutdown=3,
        timeout_keep_alive=30,
        proxy_headers=False,
    )
    server = uvicorn.Server(config)
    stop = server.handle_exit

    def stop_at_once(sig: int, frame: Any) -> None:
        floor.hub.close()  # else the open streams of the boards hold it up
        stop(sig, frame)

    server.handle_exit = stop_at_once  # type: ignore[method-assign]
    for one in (signal.SIGTERM, signal.SIGINT):
        signal.signal(one, lambda *_: None)  # the server raises them again once it has stopped; the rest stops after it
    server.run(sockets=[ear])


def _log_to(store: Path) -> None:
    """One place for the service's log: a file beside the store, begun anew before it grows large."""
    handler = RotatingFileHandler(
        store.with_name(store.name + ".log"), maxBytes=LOG_BYTES, backupCount=LOGS_KEPT, encoding="utf-8"
    )
    handler.setFormatter(logging.Formatter("%(asctime)s %(levelname)s %(name)s: %(message)s"))
    handler.addFilter(lambda line: line.name.startswith("loaftrace") or line.levelno >= logging.WARNING)
    ours = logging.getLogger()
    ours.addHandler(handler)
    ours.setLevel(logging.WARNING)
    log.setLevel(logging.INFO)
