"""A backup of store and archive in one file, made while runs go on, and put back."""

from __future__ import annotations

import hashlib
import zipfile
from pathlib import Path

from models.storage import store

STORE, ARCHIVE = "store.duckdb", "archive/"


def make(path: Path, to: Path) -> int:
    """Write the store as last published, and every archived file, into one zip file; returns how many files.

    Raises StoreError where there is no store. The archive only grows, so that files of a run under way do no harm.
    """
    store.open_for_reading(path, older=True).close()
    if to.exists():
        raise store.StoreError(f"{to}: is there already; name another file, or move it away first")
    folder = store.archive_folder(path)
    files = sorted(p for p in folder.rglob("*") if p.is_file() and not p.name.endswith(".part"))
    to.parent.mkdir(parents=True, exist_ok=True)
    part = to.with_name(f"{to.name}.part")
    with zipfile.ZipFile(part, "w", zipfile.ZIP_DEFLATED) as pack:
        pack.write(store.reading_copy(path), STORE)
        for file in files:
            pack.write(file, ARCHIVE + file.relative_to(folder).as_posix())
    part.replace(to)
    return len(files)


def restore(backup: Path, path: Path) -> int:
    """Put a backup back where there is no store yet; returns how many archived files.

    Raises StoreError where a store is there already, the backup is none, or a file in it is not what its hash says.
    """
    if path.exists():
        raise store.StoreError(f"{path}: a store is there already; restore to another place, or move it away first")
    try:
        with zipfile.ZipFile(backup) as pack:
            names = [name for name in pack.namelist() if name.startswith(ARCHIVE)]
            wrong = [name for name in names if hashlib.sha256(pack.read(name)).hexdigest() != Path(name).name]
            if STORE not in pack.namelist() or wrong:
                raise store.StoreError(f"{backup}: is no whole backup ({wrong[0] if wrong else 'no store in it'})")
            for name in names:
                store.archive(store.archive_folder(path), Path(name).name, pack.read(name))
            part = path.with_name(f"{path.name}.part")
            part.parent.mkdir(parents=True, exist_ok=True)
            part.write_bytes(pack.read(STORE))
            part.replace(path)
    except FileNotFoundError:
        raise store.StoreError(f"{backup}: there is no such file; name the backup to put back") from None
    except zipfile.BadZipFile as error:
        raise store.StoreError(f"{backup}: is no backup of a store ({error})") from None
    store.publish(path)
    return len(names)
