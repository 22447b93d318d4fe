"""Build the folder, run the job on it, print its row account."""

from __future__ import annotations

import io
import sys
import tempfile
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from tests.ugly import build, words


def account(result: dict[str, Any]) -> list[str]:
    """The row account of a run, log by log, and what became of each file."""
    lines = []
    for kind, counts in result["rows"].items():
        if counts["received"]:
            parts = " + ".join(f"{n} {name}" for name, n in counts.items() if name != "received" and n)
            lines.append(f"{kind}: {counts['received']} received = {parts}")
    for file in result["files"]:
        said = file["why"] or file["notes"] or "as it stands"
        lines.append(f"{file['file']}: {file['outcome']}{' as ' + file['kind'] if file['kind'] else ''}; {said}")
    lines += [
        f"waits: {row['file']} row {row['row']}, {row['column']} {row['value']!r}: {row['why']}"
        for row in result["quarantine"]
    ]
    return lines


def main(argv: Sequence[str]) -> int:
    """Build the folder (a new one, or the one named), run the job on it as a person would, print its account."""
    import contextlib
    import json

    from flows import cli

    folder = Path(argv[0]) if argv else Path(tempfile.mkdtemp(prefix="ugly-"))
    build(folder)
    said = io.StringIO()
    with contextlib.redirect_stdout(said):
        status = cli.main([*words(folder), "--json"])
    if status == 0:
        print("\n".join(account(json.loads(said.getvalue()))))
        print(f"in {folder}")
    return status


if __name__ == "__main__":
    raise SystemExit(main(sys.argv[1:]))
