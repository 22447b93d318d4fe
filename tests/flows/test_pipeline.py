"""The job as a Prefect flow on a local server: the same answer, its artifacts, the flows that can be scheduled."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from flows.job import read_job
from flows.work import work

SAMPLE = Path(__file__).resolve().parents[2] / "seed_data" / "sample"

pytestmark = [pytest.mark.prefect, pytest.mark.slow, pytest.mark.timeout(600)]


@pytest.fixture(scope="module")
def flown(tmp_path_factory: pytest.TempPathFactory):
    """The sample taken plainly, and taken by the flow; what the flow left on its server."""
    from flows import pipeline

    folder = tmp_path_factory.mktemp("flow")
    shutil.copytree(SAMPLE / "logs", folder / "logs")
    plain = work(read_job(SAMPLE / "plant.toml", folder / "logs", folder / "a.duckdb", folder / "a"))
    said: list[str] = []
    with pipeline.local_server(said.append):
        job = read_job(SAMPLE / "plant.toml", folder / "logs", folder / "b.duckdb", folder / "b")
        result = pipeline.pull_logs(job, said.append)
        page = pipeline.day_report(
            str(SAMPLE / "plant.toml"), str(folder / "b.duckdb"), str(folder / "c"), "2026-10-06"
        )
        month = pipeline.month_report(
            str(SAMPLE / "plant.toml"), str(folder / "b.duckdb"), str(folder / "c"), "2026-10"
        )
        server = _server_says()
    return plain, result, said, page, month, server


def _server_says() -> dict[str, list[str]]:
    from prefect.client.orchestration import get_client

    with get_client(sync_client=True) as client:
        return {
            "artifacts": sorted(artifact.key or "" for artifact in client.read_artifacts()),
            "flows": sorted(flow.name for flow in client.read_flows()),
            "tasks": sorted({run.name.rsplit("-", 1)[0] for run in client.read_task_runs()}),
            "states": sorted({run.state_name or "" for run in client.read_flow_runs()}),
        }


def test_the_flow_gives_the_same_answer(flown) -> None:
    plain, result, *_ = flown
    assert all(result[name] == plain[name] for name in ("rows", "files", "quarantine", "alerts"))
    assert [Path(p).name for p in result["reports"]] == [Path(p).name for p in plain["reports"]]


def test_it_says_what_it_does(flown) -> None:
    said = flown[2]
    assert said[0] == "starting a local Prefect server"
    assert said[-1] == "stopping the local Prefect server"
    assert "take the shift logs" in said and "write the pages" in said


def test_account_and_summary_are_artifacts(flown) -> None:
    assert {"row-account", "summary"} <= set(flown[5]["artifacts"])


def test_one_top_level_flow_a_run_and_all_completed(flown) -> None:
    server = flown[5]
    assert server["flows"] == ["loaftrace: day report", "loaftrace: month report", "loaftrace: pull shift logs"]
    assert server["states"] == ["Completed"]
    assert len(server["tasks"]) >= 6


def test_pages_again_from_the_store(flown) -> None:
    _, _, _, page, month, _ = flown
    assert Path(page).name == "day-2026-10-06.html"
    assert "2026" in Path(page).read_text(encoding="utf-8")
    assert Path(month).is_file()


def test_schedules_are_declared() -> None:
    from flows import pipeline

    made = pipeline.deployments(SAMPLE / "plant.toml", Path("logs"), Path("s"), Path("out"), "*/15 * * * *")
    assert [one.name for one in made] == ["pull", "day", "month"]
    (schedule,) = made[0].schedules
    assert (schedule.schedule.cron, schedule.schedule.timezone) == ("*/15 * * * *", "Europe/Lisbon")
