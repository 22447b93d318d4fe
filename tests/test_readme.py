"""The README keeps its word: its lines run, its picture is there, the options it names exist."""

from __future__ import annotations

import re
import shlex
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent
SET_UP = "python3 -m venv .venv && .venv/bin/pip install -q -c .ci/constraints.txt {what} && "
DEMO_LINE = SET_UP.format(what=".") + ".venv/bin/loaftrace demo"
TEST_LINE = SET_UP.format(what="'.[test]'") + ".venv/bin/python -m pytest"


def _readme() -> str:
    return (ROOT / "README.md").read_text(encoding="utf-8")


def _blocks() -> list[str]:
    return re.findall(r"^```[a-z]*\n(.*?)^```", _readme(), flags=re.MULTILINE | re.DOTALL)


def _commands() -> list[list[str]]:
    """Every `loaftrace ...` that the README gives, in blocks or in running text, as words after the program's name."""
    text = _readme().replace("\\\n", " ")
    found = re.findall(r"(?:^\s*|&& |`)(?:[\w./]+/)?loaftrace ([^`\n]+)", text, flags=re.MULTILINE)
    return [shlex.split(line, comments=True) for line in found]


def test_begins_with_a_name_and_the_job_in_one_paragraph():
    title, paragraph, *_ = _readme().split("\n\n")
    assert title == "# loaftrace"
    assert not paragraph.startswith(("#", "!", "`", "-", "*", "|"))
    assert 30 <= len(paragraph.split()) <= 150


def test_first_two_blocks_are_the_two_lines():
    assert [block.strip() for block in _blocks()[:2]] == [DEMO_LINE, TEST_LINE]


def test_ci_calls_the_readmes_own_test_line():
    """.ci/run reads the line from the README by the same rule as this file, and ends with it."""
    script = (ROOT / ".ci" / "run").read_text(encoding="utf-8")
    finds = re.search(r"line=\$\((awk '.*') README\.md\)", script)
    assert finds, ".ci/run no longer reads the test line from README.md"
    got = subprocess.run(
        [*shlex.split(finds[1]), "README.md"], cwd=ROOT, capture_output=True, text=True, check=True
    ).stdout
    assert got.strip() == TEST_LINE
    assert script.rstrip().endswith('eval "$line"')


def test_set_up_part_installs_what_is_installed_here():
    """Both lines hand pip the pins; a pin that pip could not read would stop them."""
    pins = (ROOT / ".ci" / "constraints.txt").read_text(encoding="utf-8").splitlines()
    wrong = [line for line in pins if not line.startswith("#") and not re.fullmatch(r"[\w.\-]+==[\w.]+", line)]
    assert not wrong


def test_pictures_are_in_the_tree_and_are_pictures():
    pictures = re.findall(r"!\[([^\]]+)\]\(([^)\s]+)\)", _readme())
    assert pictures, "the README shows no picture of a report"
    for says, where in pictures:
        assert len(says) > 10, f"{where} has no words for those who cannot see it"
        assert (ROOT / where).read_bytes().startswith(b"\x89PNG\r\n"), f"{where} is no PNG"


def test_links_lead_somewhere():
    targets = re.findall(r"(?<!!)\[[^\]]+\]\(([^)#\s]+)", _readme())
    missing = [t for t in targets if not t.startswith(("http:", "https:")) and not (ROOT / t).exists()]
    assert not missing


@pytest.mark.parametrize("wanted", ["QA lead", "supervisor", "manager", "plant.toml", "--plant", "--logs", "schedule"])
def test_tells_each_person_what_to_do_and_how_to_put_ones_own_logs_in(wanted: str):
    assert wanted in _readme()


def test_every_command_and_option_named_exists(loaftrace, tmp_path: Path):
    helps: dict[str, str] = {}
    for name, *words in _commands():
        if not name.isalpha():  # an option, or running text
            continue
        if name not in helps:
            done = loaftrace(name, "--help", cwd=tmp_path)
            assert done.returncode == 0, f"the README names `loaftrace {name}`, which answers: {done.stderr}"
            helps[name] = done.stdout
        unknown = [w for w in words if w.startswith("--") and not re.search(rf"{w.split('=')[0]}\b", helps[name])]
        assert not unknown, f"the README gives `loaftrace {name}` options it does not know: {unknown}"
    assert {"demo", "run"} <= set(helps)


@pytest.mark.slow
@pytest.mark.prefect
@pytest.mark.timeout(600)
def test_demo_line_does_what_it_promises(demo):
    """The last part of the first line, in this environment: reports written, their paths and five lines said."""
    assert shlex.split(DEMO_LINE.split("&& ")[-1]) == [".venv/bin/loaftrace", "demo"]
    said = demo.done.stdout
    assert demo.done.returncode == 0, demo.done.stderr
    assert "Traceback" not in said + demo.done.stderr
    pages = [Path(word.rstrip(".,;")) for word in said.split() if ".html" in word]
    assert pages, said
    for page in pages:
        assert (demo.folder / page).stat().st_size > 5000
    assert len(said.strip().splitlines()) >= 5


def test_runs_on_the_python_that_it_promises():
    """pyproject.toml refuses a Python outside 3.11 to 3.14; the tests run on one inside."""
    import tomllib

    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    assert project["requires-python"] == ">=3.11,<3.15"
    assert (3, 11) <= sys.version_info[:2] <= (3, 14)


def test_the_kettles_example_runs_as_written(loaftrace, tmp_path: Path):
    (words,) = [words for words in _commands() if words[0] == "makeup"]
    (tmp_path / "plant.toml").write_bytes((ROOT / "seed_data" / "plant.toml").read_bytes())
    done = loaftrace(*words, cwd=tmp_path)
    assert done.returncode == 0, done.stderr
    assert " kg" in done.stdout
