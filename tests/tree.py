"""The project's own files, as the tests about the house see them."""

from __future__ import annotations

import ast
import subprocess
from collections.abc import Iterator
from functools import cache
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
PACKAGES = ("flows", "models", "reports", "seed_data")


@cache
def files() -> tuple[Path, ...]:
    """Every file that is or would be committed; where git is missing, all but what tools leave behind."""
    listed = subprocess.run(
        ["git", "ls-files", "-z", "--cached", "--others", "--exclude-standard"],
        cwd=ROOT, capture_output=True, text=True, check=False,
    )  # fmt: skip
    if listed.returncode == 0:
        return tuple(path for name in listed.stdout.split("\0") if name and (path := ROOT / name).is_file())
    left = ("__pycache__", "build", "demo-bakery")
    return tuple(
        path
        for path in sorted(ROOT.rglob("*"))
        if path.is_file()
        and not any(
            part in left or part.startswith(".") or part.endswith(".egg-info")
            for part in path.relative_to(ROOT).parts[:-1]
            if part != ".ci"
        )
    )


def modules(*packages: str) -> tuple[Path, ...]:
    """The Python files of these packages; of all four where none is named."""
    return tuple(
        path for path in files() if path.suffix == ".py" and path.relative_to(ROOT).parts[0] in (packages or PACKAGES)
    )


@cache
def parsed(path: Path) -> ast.Module:
    """The file's syntax tree."""
    return ast.parse(path.read_text(encoding="utf-8"), filename=str(path))


def name(path: Path) -> str:
    """The path as the project writes it."""
    return path.relative_to(ROOT).as_posix()


def functions(path: Path) -> Iterator[ast.FunctionDef | ast.AsyncFunctionDef]:
    """Every function and method of a file, nested ones too."""
    for node in ast.walk(parsed(path)):
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef):
            yield node


def public(path: Path) -> Iterator[ast.FunctionDef | ast.AsyncFunctionDef]:
    """The functions of a module, and the methods of its public classes, whose names do not start with _."""
    for node in parsed(path).body:
        members = node.body if isinstance(node, ast.ClassDef) and not node.name.startswith("_") else [node]
        for member in members:
            if isinstance(member, ast.FunctionDef | ast.AsyncFunctionDef) and not member.name.startswith("_"):
                yield member


def imports(path: Path) -> Iterator[tuple[str, int]]:
    """Dotted names that a file imports when it runs, with their lines; those for type hints only are left out."""
    hints_only = {
        id(inner)
        for node in ast.walk(parsed(path))
        if isinstance(node, ast.If) and "TYPE_CHECKING" in ast.dump(node.test)
        for inner in ast.walk(node)
    }
    here = path.relative_to(ROOT).parts[:-1]
    for node in ast.walk(parsed(path)):
        if id(node) in hints_only:
            continue
        if isinstance(node, ast.Import):
            yield from ((alias.name, node.lineno) for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            above = here[: len(here) - node.level + 1] if node.level else ()
            module = ".".join([*above, *([node.module] if node.module else [])])
            yield from ((f"{module}.{alias.name}", node.lineno) for alias in node.names)
