"""Changes to the people file as text, so that what a person wrote in it stays; each is checked before it is written."""

from __future__ import annotations

import base64
import json
import os
import re
import secrets
import tempfile
from collections.abc import Iterable
from pathlib import Path
from typing import Any

from models.people import DEVICE, INITIALS, People, PeopleFileError, load, parse

HEAD = """# People and devices of this plant, and how messages reach them. It holds secrets: nobody else may read it.
# People are told of alerts in the order in which they stand here. `loaftrace person` adds, lists and removes them.
"""
BARE = re.compile(r"[A-Za-z0-9_-]+")


def begun() -> str:
    """The text of a file without people, with a key for its sessions."""
    key = base64.b64encode(secrets.token_bytes(48)).decode("ascii")
    return f'{HEAD}\n[sign_in]\nkey = "{key}"\n'


def added(text: str, table: str, name: str, fields: dict[str, Any]) -> str:
    """The text with one more person (table `people`) or device (`devices`) at its end. Raises PeopleFileError."""
    pattern, wanted = (
        (DEVICE, "letters, figures and -") if table == "devices" else (INITIALS, "1 to 6 letters or figures")
    )
    if not pattern.fullmatch(name):
        raise PeopleFileError(f"{name[:40]!r}: a name here is {wanted}")
    known = parse(text)
    if name in known.people or name in known.devices:
        raise PeopleFileError(f"{name}: is in the file already; remove it first to add it anew")
    lines = [f"{key} = {_value(value)}" for key, value in fields.items() if value not in (None, (), [])]
    grown = "\n".join([text.rstrip("\n"), "", f"[{table}.{_key(name)}]", *lines, ""])
    parse(grown)
    return grown


def removed(text: str, name: str) -> str:
    """The text without one person or device. Raises PeopleFileError where it is not there or not written as a section."""
    before = parse(text)
    table = "people" if name in before.people else "devices"
    if name not in before.people and name not in before.devices:
        raise PeopleFileError(f"{name[:40]!r}: is not in the file; `loaftrace person list` shows who is")
    header = re.compile(rf"\[\s*{table}\s*\.\s*(?:{re.escape(name)}|{re.escape(_value(name))})\s*\]\s*(?:#.*)?")
    kept, inside = [], False
    for line in text.splitlines():
        if line.lstrip().startswith("["):
            inside = header.fullmatch(line.strip()) is not None
        if not inside:
            kept.append(line)
    shorter = "\n".join(kept).rstrip("\n") + "\n"
    if not _differs_by(before, shorter, table, name):
        raise PeopleFileError(f"{name}: is not written as a section of its own; take it out by hand")
    return shorter


def write(path: Path, text: str) -> None:
    """Write the file whole or not at all, for its owner's eyes; an older file keeps its group and rights."""
    path.parent.mkdir(parents=True, exist_ok=True)
    handle, part = tempfile.mkstemp(dir=path.parent, prefix=f".{path.name}.", suffix=".part")
    try:
        with os.fdopen(handle, "w", encoding="utf-8", newline="\n") as file:
            file.write(text)
            file.flush()
            os.fsync(file.fileno())
        _keep_rights(path, part)
        os.replace(part, path)
    except BaseException:
        Path(part).unlink(missing_ok=True)
        raise


def text_of(path: Path) -> str:
    """The file's text once it was found right; that of a new one where there is none. Raises PeopleFileError."""
    if not path.exists():
        return begun()
    load(path)
    return path.read_text(encoding="utf-8-sig")


def _keep_rights(path: Path, part: str) -> None:
    if os.name == "posix" and path.exists():
        found = path.stat()
        os.chmod(part, found.st_mode & 0o770)
        if (found.st_uid, found.st_gid) != (os.getuid(), os.getgid()) and os.getuid() == 0:
            os.chown(part, found.st_uid, found.st_gid)


def _differs_by(before: People, shorter: str, table: str, name: str) -> bool:
    try:
        after = parse(shorter)
    except PeopleFileError:
        return False
    left = {key: one for key, one in getattr(before, table).items() if key != name}
    return after == before.model_copy(update={table: left}) and list(after.people) == [
        key for key in before.people if key != name or table != "people"
    ]


def _key(name: str) -> str:
    return name if BARE.fullmatch(name) else _value(name)


def _value(value: Any) -> str:
    if isinstance(value, str):
        return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007F")
    if isinstance(value, Iterable):
        return f"[{', '.join(_value(one) for one in value)}]"
    raise TypeError(type(value).__name__)
