"""What must not stand in the tree, and what must agree within it."""

from __future__ import annotations

import importlib.metadata
import json
import os
import re
import tomllib

import pytest

from tests import tree

# Written so that this file does not find itself.
FORBIDDEN = {
    "a path of one machine": r"(?<![\w.])/(?:ro[o]t|ho[m]e|Us[e]rs|wo[r]k|tm[p]|va[r])/\w",
    "a folder outside the project": r"\.\./sh[a]red",
    "a host of a package registry": r"p[y]pi\.org|python[h]osted|npm[j]s\.org|deb\.deb[i]an",
    "how it was made": r"tran[s]cript|seed doc[u]ment|before-stop h[o]ok|this se[s]sion|\bL[L]M\b|la[n]guage model",
    "unfinished work": r"\b(?:TO[D]O|FIX[M]E|X[X]X|HA[C]K)\b",
    "a merge gone wrong": r"^(?:<{7}|>{7}) ",
}
LARGEST = 800_000


def _texts():
    for path in tree.files():
        content = path.read_bytes()
        if b"\0" not in content[:8000]:
            yield path, content.decode("utf-8")


def _project() -> dict:
    return tomllib.loads((tree.ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]


def _pins() -> dict[str, str]:
    lines = (tree.ROOT / ".ci" / "constraints.txt").read_text(encoding="utf-8").splitlines()
    return dict(line.split("==") for line in lines if line and not line.startswith("#"))


def _plain(name: str) -> str:
    return re.sub(r"[-_.]+", "-", name).lower()


@pytest.mark.parametrize("what", FORBIDDEN)
def test_nothing_in_the_tree_holds(what: str):
    pattern = re.compile(FORBIDDEN[what], re.IGNORECASE if what == "how it was made" else 0)
    above = f"{tree.ROOT.parent}/" if what == "a path of one machine" else None
    found = [
        f"{tree.name(path)}:{number} {line.strip()[:100]}"
        for path, text in _texts()
        for number, line in enumerate(text.splitlines(), 1)
        if pattern.search(line) or (above and above in line)
    ]
    assert not found, "\n".join(found)


def test_the_patterns_find_what_they_are_for():
    bad = {
        "a path of one machine": "open('/" + "home/me/x')",
        "a folder outside the project": "../" + "shared/x",
        "a host of a package registry": "https://" + "py" + "pi.org/simple",
        "how it was made": "in this" + " session",
        "unfinished work": "# TO" + "DO: later",
        "a merge gone wrong": "<" * 7 + " HEAD",
    }
    assert {what for what, text in bad.items() if re.search(FORBIDDEN[what], text)} == set(FORBIDDEN)


def test_text_files_are_plain_utf8_with_unix_lines():
    bad = [
        tree.name(path)
        for path, text in _texts()
        if text.startswith("\ufeff") or ("\r" in text and path.suffix != ".csv")
    ]
    assert not bad


def test_no_file_is_heavy():
    assert not [f"{tree.name(p)} {p.stat().st_size}" for p in tree.files() if p.stat().st_size > LARGEST]


def test_every_dependency_is_pinned_within_its_bounds():
    from packaging.requirements import Requirement

    pins = {_plain(name): version for name, version in _pins().items()}
    project = _project()
    needs = [Requirement(need) for need in project["dependencies"] + project["optional-dependencies"]["test"]]
    wrong = [
        f"{need}: pinned {pins.get(_plain(need.name), 'nowhere')}"
        for need in needs
        if not need.specifier.contains(pins.get(_plain(need.name), "0"), prereleases=True)
    ]
    assert not wrong
    open_ended = [str(need) for need in needs if "<" not in str(need.specifier) and need.name != "tzdata"]
    assert not open_ended


def test_what_is_installed_is_what_is_pinned():
    """The environment of the README's lines holds the pinned versions and nothing that is pinned nowhere."""
    if not _installed():
        pytest.skip("loaftrace is not installed here; the README's lines install it")
    pins = {_plain(name): version for name, version in _pins().items()}
    here = {_plain(d.metadata["Name"]): d.version for d in importlib.metadata.distributions()}
    differs = {name: (version, pins[name]) for name, version in here.items() if pins.get(name, version) != version}
    unpinned = set(here) - set(pins) - {"loaftrace", "pip", "setuptools", "wheel"}
    assert not differs
    assert not unpinned


def _installed() -> list[str]:
    """Files of the program as pip installed it; empty where it did not, or where it only points to the checkout."""
    for found in importlib.metadata.distributions(name="loaftrace"):
        came_from = json.loads(found.read_text("direct_url.json") or "{}")
        if found.read_text("RECORD") and not came_from.get("dir_info", {}).get("editable"):
            return [file.as_posix() for file in found.files or [] if file.parts[0] in tree.PACKAGES]
    return []


def test_installed_program_carries_all_its_files():
    """A template or table that setuptools left behind is missed by nobody who runs from the checkout."""
    installed = _installed()
    if not installed:
        if os.environ.get("CI"):
            pytest.fail("the README's test line must install the program, and it is not installed")
        pytest.skip("loaftrace is not installed here; the README's lines install it")
    ours = {tree.name(path) for path in tree.files() if path.relative_to(tree.ROOT).parts[0] in tree.PACKAGES}
    assert ours - set(installed) == set()


def test_version_is_said_once(loaftrace, tmp_path):
    done = loaftrace("--version", cwd=tmp_path)
    assert done.returncode == 0
    assert _project()["version"] in done.stdout.split()
