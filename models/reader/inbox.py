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

from models.reader.sheet import Refused

MOST_BYTES = 1 << 30
"""A log larger than this is refused unread."""

FRESH_SECONDS = 2.0
PAUSE_SECONDS = 0.3
_UNFINISHED = (".tmp", ".temp", ".part", ".partial", ".crdownload", ".download", ".filepart", ".swp", "~")
_NOBODYS = ("thumbs.db", "ehthumbs.db", "desktop.ini")  # put into folders by the system, not by people
STILL_WRITTEN = "still being written or copied: it is taken once it is whole"
_SET_SIGNAL = 10  # F_SETSIG on Linux, which the standard library does not name


Apart = Callable[[Path], bool]


def find(
    folder: Path, only: Collection[str] | None = None, apart: Apart | None = None
) -> tuple[dict[str, Path], dict[str, str]]:
    """The files below a folder that may be logs, and those refused outright with the reason, each by its name there.

    only: names below it, where not all. apart: files and folders that are none of the logs, such as the store's own.

    Both in bytewise order of the path relative to the folder. Hidden and temporary files are passed over. Links,
    pipes and devices are never opened, followed or waited for; a file somebody is still writing is refused for now.
    """
    every = [found for found in _below(folder, apart) if only is None or found[1] in only]
    every.sort(key=lambda found: os.fsencode(found[1]))
    why = {name: trouble or _outright(path, name) for path, name, trouble in every}
    growing = _growing([path for path, name, _ in every if why[name] is None])
    why |= {name: STILL_WRITTEN for path, name, _ in every if path in growing}
    taken = {name: path for path, name, _ in every if why[name] is None}
    return taken, {name: reason for name, reason in why.items() if reason is not None}


def fetch(path: Path) -> bytes:
    """A file's whole content. Raises Refused, one line, for what is no ordinary file, too large, or not whole yet."""
    flags = os.O_RDONLY | getattr(os, "O_NOFOLLOW", 0) | getattr(os, "O_NONBLOCK", 0) | getattr(os, "O_BINARY", 0)
    try:
        descriptor = os.open(path, flags)
    except OSError as error:
        raise Refused(_trouble(error)) from None
    with open(descriptor, "rb") as file:
        before = os.fstat(descriptor)
        if not stat.S_ISREG(before.st_mode):
            raise Refused(_kind_of(before.st_mode))
        if before.st_size > MOST_BYTES:
            raise Refused(f"larger than {MOST_BYTES >> 20} MB: split the log, a file a day")
        if _has_writer(descriptor):
            raise Refused(STILL_WRITTEN)
        try:
            content = file.read(before.st_size + 1)  # one more tells that it grew
        except OSError as error:
            raise Refused(_trouble(error)) from None
        after = os.fstat(descriptor)
    if len(content) != after.st_size or (before.st_size, before.st_mtime_ns) != (after.st_size, after.st_mtime_ns):
        raise Refused(STILL_WRITTEN)
    return content


def _below(folder: Path, apart: Apart | None) -> Iterator[tuple[Path, str, str | None]]:
    """Every file below the folder that is not passed over, and its name there; a folder that cannot be read, with the reason."""
    folders = [(folder, "")]
    while folders:
        here, inside = folders.pop()
        try:
            with os.scandir(here) as entries:
                found = list(entries)
        except OSError as error:
            yield here, inside.removesuffix("/") or ".", f"the folder cannot be read ({error.strerror})"
            continue
        for entry in found:
            path = here / entry.name
            if is_passed_over(entry.name) or (apart and apart(path)):
                continue
            if entry.is_dir(follow_symlinks=False):
                folders.append((path, f"{inside}{entry.name}/"))
            else:
                yield path, inside + entry.name, None


def is_passed_over(name: str) -> bool:
    """Whether a name is a hidden or a temporary file's, or one of the system's own."""
    return name.startswith((".", "~$")) or name.lower().endswith(_UNFINISHED) or name.lower() in _NOBODYS


def _outright(path: Path, name: str) -> str | None:
    """Why a file is refused without being opened; None where it may be a log. name: below the folder."""
    try:
        mode = path.lstat().st_mode
    except OSError as error:
        return _trouble(error)
    if not stat.S_ISREG(mode):
        return _kind_of(mode)
    try:
        name.encode("utf-8")
    except UnicodeEncodeError:
        return "the file's name is no readable text: rename it"
    if any(map(_breaks_a_line, name)):
        return "the file's name holds a line break or another sign that is not shown: rename it"
    return None if os.access(path, os.R_OK) else "may not be read: give read permission to the account that runs this"


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


def _growing(paths: list[Path]) -> set[Path]:
    """Fresh files that somebody is writing. Where the system cannot tell, those whose size or time still moves.

    Of files that lay still for a while it is asked when they are fetched: a plant's logs of years are looked at in every run.
    """
    newest = (time.time() - FRESH_SECONDS) * 1e9
    fresh = {path: state for path in paths if (state := _state(path)) is None or state[1] > newest}
    written = {path: _written_to(path) for path in fresh}
    unknown = [path for path, by_whom in written.items() if by_whom is None]
    if unknown:
        time.sleep(PAUSE_SECONDS)
    return {path for path in fresh if written[path]} | {path for path in unknown if _state(path) != fresh[path]}


def _state(path: Path) -> tuple[int, int] | None:
    with contextlib.suppress(OSError):
        at = path.lstat()
        return at.st_size, at.st_mtime_ns
    return None


def _written_to(path: Path) -> bool | None:
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
