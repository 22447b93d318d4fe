"""The folder of ugly files: what becomes of each, and that the account adds up. `python -m tests.ugly` shows it."""

from __future__ import annotations

import contextlib
import io
import json
from pathlib import Path
from typing import Any

import pytest

from flows import cli
from tests import ugly


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    made = tmp_path_factory.mktemp("ugly")
    ugly.build(made)
    return made


def run(folder: Path) -> dict[str, Any]:
    said = io.StringIO()
    with contextlib.redirect_stdout(said):
        assert cli.main([*ugly.words(folder), "--json"]) == 0
    return json.loads(said.getvalue())


@pytest.fixture(scope="module")
def result(folder: Path) -> dict[str, Any]:
    return run(folder)


@pytest.mark.parametrize("one", ugly.FILES, ids=lambda one: one.name)
def test_what_becomes_of_a_file(result: dict[str, Any], one: ugly.Ugly) -> None:
    (file,) = [file for file in result["files"] if file["file"] == one.name]
    outcome = "refused" if one.kind is None else "taken" if one.rows else "already taken"
    assert (file["outcome"], file["kind"]) == (outcome, one.kind), file["why"]
    assert one.says in (file["why"] or file["notes"])
    assert "\n" not in file["why"] + file["notes"]
    if outcome != "already taken":
        assert tuple(line["why"] for line in file["passed_over"]) == one.passed_over
    assert sum(row["file"] == one.name for row in result["quarantine"]) == one.waits


def test_the_account_adds_up_and_holds_every_row(result: dict[str, Any]) -> None:
    for kind, counts in result["rows"].items():
        assert counts["received"] == sum(n for name, n in counts.items() if name != "received")
        assert counts["received"] == sum(one.rows for one in ugly.FILES if one.kind == kind)
    assert result["rows"]["paste"]["duplicate"] == result["rows"]["paste"]["superseded"] == 1


def test_what_is_no_file_is_named_and_never_opened(result: dict[str, Any]) -> None:
    said = {file["file"]: file for file in result["files"]}
    for name, why in ugly.BESIDE.items():
        assert (said[name]["outcome"], said[name]["sha256"]) == ("refused", "") and why in said[name]["why"]
    assert not set(ugly.UNFINISHED) & set(said)
    assert set(said) == {one.name for one in ugly.FILES} | set(ugly.BESIDE)


def test_values_are_what_was_meant(result: dict[str, Any], folder: Path) -> None:
    from models.storage import store

    con = store.open_for_reading(folder / "s.duckdb")
    try:
        ask = {
            "SELECT weight_before_kg, weight_after_kg, note FROM log_paste WHERE paste_batch = '01'": [
                (36.0, 35.2, "bem cozido, não pegou")
            ],
            "SELECT pieces_made FROM log_output WHERE shift_date IN ('2026-05-06', '2026-05-07') ORDER BY seq": [
                (1900.0,),
                (1900.0,),
            ],
            "SELECT count(*) FROM log_output WHERE shift_date = '2026-05-14'": [(2,)],
            "SELECT date_diff('minute', proof_in, proof_out) FROM log_proof WHERE dough_batch = 'D1'": [(150,)],
            "SELECT loaf FROM log_loaf ORDER BY seq": [("00123",), ("1E5",)],
            "SELECT note FROM log_paste WHERE paste_batch IN ('41', '42') ORDER BY 1": [
                (ugly.MARKUP,),
                (ugly.FORMULA,),
            ],
        }
        for query, expected in ask.items():
            assert con.execute(query).fetchall() == expected, query
    finally:
        con.close()


def test_nothing_from_a_file_is_markup_and_a_second_run_changes_nothing(result: dict[str, Any], folder: Path) -> None:
    pages = {path: path.read_bytes() for path in sorted((folder / "out").rglob("*.html"))}
    assert pages and not [path for path, content in pages.items() if ugly.MARKUP.encode() in content]
    again = run(folder)
    assert again["rows"] == result["rows"] and again["quarantine"] == result["quarantine"] and again["reports"] == []
    assert {path: path.read_bytes() for path in pages} == pages
