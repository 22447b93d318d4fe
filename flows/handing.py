"""Handing work over to the service that owns a store: whoever may read the file beside the store may ask it to pull."""

from __future__ import annotations

import json
from dataclasses import dataclass
from pathlib import Path
from typing import Any

HEADER = "x-loaftrace-key"
ADDRESS = "/hand-over"
WAIT_S = 600.0


class HandOverError(RuntimeError):
    """The service did not take the work. `str()` is one line."""


@dataclass(frozen=True)
class Served:
    """What the service did: the contract's `files`, where it is reached, and where its reports are."""

    files: list[dict[str, Any]]
    address: str
    out: str


def over(store: Path, logs: Path) -> Served | None:
    """Let the service that owns `store` pull from `logs`; None where none does. Raises HandOverError where it does not answer."""
    from urllib import error, request

    from models.storage import owned

    owner = owned.owner_of(store)
    if owner is None:
        return None
    asked = request.Request(
        owner.address + ADDRESS,
        data=json.dumps({"logs": str(logs.resolve())}).encode(),
        headers={HEADER: owner.key, "content-type": "application/json"},
    )
    direct = request.build_opener(request.ProxyHandler({}))  # a proxy would carry the key off this machine
    try:
        with direct.open(asked, timeout=WAIT_S) as answer:
            said = json.loads(answer.read())
    except error.HTTPError as refused:
        with refused:
            line = " ".join(refused.read().decode("utf-8", "replace").split())
        raise HandOverError(f"{store}: the service at {owner.address} refused: {line}") from None
    except (OSError, ValueError) as why:
        raise HandOverError(
            f"{store}: is served by process {owner.pid} at {owner.address}, which does not answer ({why}); "
            "wait for it, or stop it and run again"
        ) from None
    return Served(said["files"], owner.address, said["out"])
