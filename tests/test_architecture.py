"""The house stands as it is drawn: flows conducts, models knows, reports shows."""

from __future__ import annotations

import ast
import os
import re
import statistics
import subprocess
import sys
from fnmatch import fnmatch
from pathlib import Path

import pytest

from tests import tree

OURS = (*tree.PACKAGES, "tests")
MAY_IMPORT = {
    "models": {"models"},
    "reports": {"reports", "models"},
    "seed_data": {"seed_data", "models"},
    "flows": {"flows", "models", "reports", "seed_data"},
}
# Each heavy library has its owners; nobody else imports it at run time.
OWNERS = {
    "great_expectations": ("models/judging/checks.py", "models/judging/asked.py"),
    "duckdb": ("models/storage/store.py",),
    "plotly": ("reports/*.py",),
    "jinja2": ("reports/*.py",),
    "prefect": ("flows/pipeline.py", "flows/telling/notifying.py"),
    "openpyxl": ("models/reader/workbook.py", "reports/sheets.py", "reports/slips.py"),
    "python_calamine": ("models/reader/workbook.py",),
    "scipy": ("models/*.py",),
    "apprise": ("flows/telling/notifying.py",),
    "starlette": ("flows/door/*.py", "flows/floor/*.py"),
    "uvicorn": ("flows/floor/serve.py",),
}
HEAVY = (*OWNERS, "pandas")
TOP = {"README.md", "DEVELOPERS.md", "pyproject.toml", "tests", *tree.PACKAGES}
LONGEST, MEDIAN = 60, 15


def _owned(path: Path, library: str) -> bool:
    return any(fnmatch(tree.name(path), pattern) for pattern in OWNERS[library])


@pytest.mark.parametrize("package", tree.PACKAGES)
def test_imports_run_one_way(package: str):
    wrong = [
        f"{tree.name(path)}:{line} imports {dotted}"
        for path in tree.modules(package)
        for dotted, line in tree.imports(path)
        if dotted.split(".")[0] in OURS and dotted.split(".")[0] not in MAY_IMPORT[package]
    ]
    assert tree.modules(package), f"{package} is empty"
    assert not wrong, "\n".join(wrong)


@pytest.mark.parametrize("library", OWNERS)
def test_heavy_libraries_have_owners(library: str):
    users = [path for path in tree.modules() if any(d.split(".")[0] == library for d, _ in tree.imports(path))]
    assert not [tree.name(path) for path in users if not _owned(path, library)]


def test_what_is_imported_is_declared():
    """A library that only another library brings along would vanish with that one's next version."""
    import tomllib

    project = tomllib.loads((tree.ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    declared = {re.split(r"[<>=~!\[ ]", need)[0].replace("-", "_") for need in project["dependencies"]}
    allowed = declared | set(sys.stdlib_module_names) | set(OURS)
    wrong = {
        f"{tree.name(path)}:{line} {dotted}"
        for path in tree.modules()
        for dotted, line in tree.imports(path)
        if dotted.split(".")[0] not in allowed
    }
    assert not wrong


PLANT = str(tree.ROOT / "seed_data" / "plant.toml")
LIGHT = {
    "--help": ["--help"],
    "--version": ["--version"],
    "makeup --help": ["makeup", "--help"],
    "makeup": ["makeup", "--plant", PLANT, "--product", "white-tin", "--before", "60", "--after", "56.5"],
}


@pytest.mark.parametrize("words", LIGHT.values(), ids=LIGHT)
def test_light_commands_import_nothing_heavy(words: list[str], tmp_path: Path):
    program = (
        "import sys\n"
        "from flows.cli import main\n"
        f"sys.argv = ['loaftrace', *{words!r}]\n"
        "try:\n    code = main()\n"
        "except SystemExit as stop:\n    code = stop.code\n"
        f"print('HEAVY', [name for name in {HEAVY!r} if name in sys.modules], code or 0)\n"
    )
    world = {**os.environ, "PYTHONPATH": str(tree.ROOT)}
    line = [sys.executable, "-c", program]
    done = subprocess.run(line, cwd=tmp_path, env=world, capture_output=True, text=True, check=False, timeout=60)
    assert done.stdout.strip().endswith("HEAVY [] 0"), done.stdout[-500:] + done.stderr[-2000:]


def test_public_functions_say_what_they_do():
    silent = [
        f"{tree.name(path)}:{node.lineno} {node.name}"
        for path in tree.modules()
        for node in tree.public(path)
        if not ast.get_docstring(node)
    ]
    silent += [tree.name(path) for path in tree.modules() if not ast.get_docstring(tree.parsed(path))]
    assert not silent, "\n".join(silent)


def _length(node: ast.FunctionDef | ast.AsyncFunctionDef) -> int:
    return (node.end_lineno or node.lineno) - node.lineno + 1


def test_functions_are_small():
    lengths = {
        f"{tree.name(path)}:{node.lineno} {node.name}": _length(node)
        for path in tree.modules()
        for node in tree.functions(path)
    }
    too_long = {where: n for where, n in lengths.items() if n > LONGEST}
    assert not too_long
    assert statistics.median(lengths.values()) <= MEDIAN


def _narrows(test: ast.expr) -> bool:
    """`x is not None` and `isinstance(x, ...)` tell the type checker what the code already knows."""
    return "is not None" in ast.unparse(test) or ast.unparse(test).startswith("isinstance(")


def test_no_assert_guards_running_code():
    """`python -O` drops them, and with them the check."""
    found = [
        f"{tree.name(path)}:{node.lineno}"
        for path in tree.modules()
        for node in ast.walk(tree.parsed(path))
        if isinstance(node, ast.Assert) and not _narrows(node.test)
    ]
    assert not found


def test_only_commands_print():
    found = [
        f"{tree.name(path)}:{call.lineno}"
        for path in tree.modules("models", "reports", "seed_data")
        for node in tree.functions(path)
        if node.name != "main"
        for call in ast.walk(node)
        if isinstance(call, ast.Call) and isinstance(call.func, ast.Name) and call.func.id == "print"
    ]
    assert not found


def test_top_level_holds_what_the_card_names():
    top = {path.relative_to(tree.ROOT).parts[0] for path in tree.files()}
    assert {name for name in top if not name.startswith(".")} == TOP
    assert (tree.ROOT / ".ci" / "run").stat().st_mode & 0o111


def test_every_sql_file_says_its_grain():
    """The first line is a comment; each table, view or result says what one row of it is."""
    scripts = [path for path in tree.files() if path.suffix == ".sql"]
    assert scripts
    silent = []
    for path in scripts:
        text = path.read_text(encoding="utf-8")
        said = re.findall(r"--.*\bone row\b", text)
        if not text.startswith("-- ") or len(said) < max(1, text.count("CREATE ")):
            silent.append(tree.name(path))
    assert not silent
