"""Put on PYTHONPATH, this watches a Python process and all that it starts: no address but this machine's own.

Each try to reach another is written to the file named by LOAFTRACE_GUARD and refused before it leaves.
"""

import ipaddress
import os
import socket
import sys

WATCHED = ("socket.connect", "socket.sendto", "socket.getaddrinfo", "socket.gethostbyname", "socket.gethostbyaddr")
OWN_NAMES = {"", "localhost", socket.gethostname()}


def _own(host: object) -> bool:
    if host is None:
        return True
    name = host.decode() if isinstance(host, bytes) else str(host)
    if name in OWN_NAMES:
        return True
    try:
        address = ipaddress.ip_address(name.split("%")[0])
    except ValueError:
        return False
    return address.is_loopback or address.is_unspecified


def _host(event: str, args: tuple) -> object:
    where = args[1] if event in {"socket.connect", "socket.sendto"} else args[0]
    if event in {"socket.connect", "socket.sendto"}:
        return where[0] if isinstance(where, tuple) else None
    return where


def _watch(event: str, args: tuple) -> None:
    if event in WATCHED and not _own(_host(event, args)):
        with open(os.environ["LOAFTRACE_GUARD"], "a", encoding="utf-8") as log:
            log.write(f"{event} {args[-1] if event == 'socket.connect' else args}\n")
        raise PermissionError(f"{event} to {_host(event, args)} refused by the test's guard")


if "LOAFTRACE_GUARD" in os.environ:
    sys.addaudithook(_watch)
