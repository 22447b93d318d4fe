"""Which files below a folder are logs, and taking one in without following, waiting or reading half of it."""

from __future__ import annotations

import contextlib
import errno
import os
import signal
import stat
import sys
import time
import unicodedata
from collections.abc import Callable, Collection, Iterator
from pathlib import Path
from typing import NamedTuple

from models.reader.sheet import Refused

MOST_BYTES = 1 << 30
"""A log larger than this is refused unread."""

GLANCE_BYTES = 1 << 20
"""Up to this size a file is read at a glance."""

FRESH_SECONDS = 2.0
PAUSE_SECONDS = 0.3
_UNFINISHED = (".tmp", ".temp", ".part", ".partial", ".crdownload", ".download", ".filepart", ".swp", "~")
_NOBODYS = ("thumbs.db", "ehthumbs.db", "desktop.ini")  # put into folders by the system, not by people
STILL_WRITTEN = "still being written or copied: it is taken once it is whole"
_TO_READ = os.O_RDONLY | getattr(os, "O_NOFOLLOW", 0) | getattr(os, "O_NONBLOCK", 0) | getattr(os, "O_BINARY", 0)
_SET_SIGNAL = 10  # F_SETSIG on Linux, which the standard library does not name


Apart = Callable[[str], bool]
"""Whether the file or folder at a path is none of the logs."""


class _Below(NamedTuple):
    """What lies below a folder: its path, its name there, its state when it was listed, and what stands in the way of that.

    Paths are texts: a plant's logs of years are listed in every run.
    """

    path: str
    name: str
    at: os.stat_result | None
    trouble: str | None = None


def find(
    folder: Path, only: Collection[str] | None = None, apart: Apart | None = None
) -> tuple[dict[str, str], dict[str, str]]:
    """The paths of files below a folder that may be logs, and of those refused outright the reason, each by its name there.

    only: names below it, where not all. apart: files and folders that are none of the logs, such as the store's own.

    Both in bytewise order of the path relative to the folder. Hidden and temporary files are passed over. Links,
    pipes and devices are never opened, followed or waited for; a file somebody is still writing is refused for now.
    """
    every = [found for found in _below(folder, apart) if only is None or found.name in only]
    every.sort(key=lambda found: os.fsencode(found.name))
    outright = {found.name: why for found in every if (why := found.trouble or _outright(found)) is not None}
    growing = _growing([found for found in every if found.name not in outright])
    refused = outright | dict.fromkeys(growing, STILL_WRITTEN)
    taken = {found.name: found.path for found in every if found.name not in refused}
    return taken, {found.name: refused[found.name] for found in every if found.name in refused}


def glance(path: str | Path) -> bytes:
    """What stands in a small ordinary file that lay still for a while; nothing of any other. Nobody is asked who writes it.

    That is enough to know it as content that was taken before, which nobody's writing takes back. Whatever is written to it
    later gives it another time, so that it is looked at again; what is not known is to be fetched.
    """
    try:
        descriptor = os.open(path, _TO_READ)
    except OSError:
        return b""
    try:
        at = os.fstat(descriptor)
        if not stat.S_ISREG(at.st_mode) or at.st_size > GLANCE_BYTES or at.st_mtime > time.time() - FRESH_SECONDS:
            return b""
        content = os.read(descriptor, at.st_size + 1)
    except OSError:
        return b""
    finally:
        os.close(descriptor)
    return content if len(content) == at.st_size else b""


def fetch(path: str | Path) -> bytes:
    """A file's whole content. Raises Refused, one line, for what is no ordinary file, too large, or not whole yet."""
    try:
        descriptor = os.open(path, _TO_READ)
    except OSError as error:
        raise Refused(_trouble(error)) from None
    try:
        before = os.fstat(descriptor)
        if not stat.S_ISREG(before.st_mode):
            raise Refused(_kind_of(before.st_mode))
        if before.st_size > MOST_BYTES:
            raise Refused(f"larger than {MOST_BYTES >> 20} MB: split the log, a file a day")
        if _has_writer(descriptor):
            raise Refused(STILL_WRITTEN)
        content = _content(descriptor, before.st_size)
        after = os.fstat(descriptor)
    finally:
        os.close(descriptor)
    if len(content) != after.st_size or (before.st_size, before.st_mtime_ns) != (after.st_size, after.st_mtime_ns):
        raise Refused(STILL_WRITTEN)
    return content


def _content(descriptor: int, size: int) -> bytes:
    """What stands in a file of that size; a byte more where it grew. Raises Refused where the disk fails."""
    parts, left = [], size
    try:
        while left > 0 and (part := os.read(descriptor, left + 1)):
            parts.append(part)
            left -= len(part)
    except OSError as error:
        raise Refused(_trouble(error)) from None
    return parts[0] if len(parts) == 1 else b"".join(parts)


def _below(folder: Path, apart: Apart | None) -> Iterator[_Below]:
    """Every file below the folder that is not passed over; a folder that cannot be read, with the reason."""
    folders = [(str(folder), "")]
    while folders:
        here, inside = folders.pop()
        try:
            with os.scandir(here) as entries:
                found = list(entries)
        except OSError as error:
            yield _Below(here, inside.removesuffix("/") or ".", None, f"the folder cannot be read ({error.strerror})")
            continue
        for entry in found:
            if is_passed_over(entry.name) or (apart and apart(entry.path)):
                continue
            if entry.is_dir(follow_symlinks=False):
                folders.append((entry.path, f"{inside}{entry.name}/"))
                continue
            try:
                yield _Below(entry.path, inside + entry.name, os.lstat(entry.path))
            except OSError as error:
                yield _Below(entry.path, inside + entry.name, None, _trouble(error))


def is_passed_over(name: str) -> bool:
    """Whether a name is a hidden or a temporary file's, or one of the system's own."""
    lower = name.lower()
    return lower.startswith((".", "~$")) or lower.endswith(_UNFINISHED) or lower in _NOBODYS


def _outright(found: _Below) -> str | None:
    """Why a file is refused without being opened; None where it may be a log."""
    assert found.at is not None
    if not stat.S_ISREG(found.at.st_mode):
        return _kind_of(found.at.st_mode)
    if not (found.name.isascii() and found.name.isprintable()):  # most names are plain
        try:
            found.name.encode("utf-8")
        except UnicodeEncodeError:
            return "the file's name is no readable text: rename it"
        if any(map(_breaks_a_line, found.name)):
            return "the file's name holds a line break or another sign that is not shown: rename it"
    if os.access(found.path, os.R_OK):
        return None
    return "may not be read: give read permission to the account that runs this"


def _breaks_a_line(sign: str) -> bool:
    """Whether a sign ends a line, commands a terminal, or turns the writing round. A blank of any width is none of these."""
    turns = unicodedata.bidirectional(sign) in ("LRE", "RLE", "LRO", "RLO", "PDF", "LRI", "RLI", "FSI", "PDI")
    return turns or unicodedata.category(sign) in ("Cc", "Zl", "Zp")


def _kind_of(mode: int) -> str:
    if stat.S_ISLNK(mode):
        return "a link, which is not followed: put the file itself into the folder"
    return "no ordinary file (a pipe, socket, device or folder)"


def _trouble(error: OSError) -> str:
    if error.errno == errno.ELOOP:
        return _kind_of(stat.S_IFLNK)
    return f"cannot be read ({error.strerror})"


def _growing(files: list[_Below]) -> set[str]:
    """Names of fresh files that somebody is writing. Where the system cannot tell, those whose size or time still moves.

    Of files that lay still for a while it is asked when they are fetched: a plant's logs of years are looked at in every run.
    """
    newest = (time.time() - FRESH_SECONDS) * 1e9
    fresh = {one.name: one for one in files if one.at is None or one.at.st_mtime_ns > newest}
    written = {name: _written_to(one.path) for name, one in fresh.items()}
    unknown = [name for name, by_whom in written.items() if by_whom is None]
    if unknown:
        time.sleep(PAUSE_SECONDS)
    moved = {name for name in unknown if _state(fresh[name].path) != _size_and_time(fresh[name].at)}
    return {name for name in fresh if written[name]} | moved


def _state(path: str) -> tuple[int, int] | None:
    with contextlib.suppress(OSError):
        return _size_and_time(os.lstat(path))
    return None


def _size_and_time(at: os.stat_result | None) -> tuple[int, int] | None:
    return (at.st_size, at.st_mtime_ns) if at else None


def _written_to(path: str) -> bool | None:
    try:
        descriptor = os.open(path, os.O_RDONLY | getattr(os, "O_NOFOLLOW", 0) | getattr(os, "O_NONBLOCK", 0))
    except OSError:
        return None
    try:
        return _has_writer(descriptor)
    finally:
        os.close(descriptor)


def _has_writer(descriptor: int) -> bool | None:
    """Whether any process holds the file open for writing; None where the system does not say.

    Linux grants a read lease only on a file nobody writes. A writer that comes while the lease is held is told
    by a signal, which is set to one that is ignored; the lease is given back at once.
    """
    if sys.platform != "linux":
        return None
    import fcntl

    try:
        fcntl.fcntl(descriptor, _SET_SIGNAL, signal.SIGURG)
        fcntl.fcntl(descriptor, fcntl.F_SETLEASE, fcntl.F_RDLCK)
    except OSError as error:
        return True if error.errno == errno.EAGAIN else None
    with contextlib.suppress(OSError):
        fcntl.fcntl(descriptor, fcntl.F_SETLEASE, fcntl.F_UNLCK)
    return False
